//! Dependencies of the crates: control does not depend on plant, and plant not on control.

use std::collections::{BTreeMap, BTreeSet};
use std::path::Path;
use std::process::Command;
use std::sync::LazyLock;

use serde_json::Value;

/// The packages of the workspace from their manifests, without resolving dependencies: works without network and package cache.
static WORKSPACE: LazyLock<Value> = LazyLock::new(|| manifests("."));

fn manifests(workspace: &str) -> Value {
    let output = Command::new(env!("CARGO"))
        .args(["metadata", "--offline", "--no-deps", "--format-version", "1"])
        .current_dir(Path::new(env!("CARGO_MANIFEST_DIR")).join(workspace))
        .output()
        .expect("cargo runs");
    assert!(output.status.success(), "{}", String::from_utf8_lossy(&output.stderr));
    serde_json::from_slice(&output.stdout).expect("cargo prints JSON")
}

/// The items of a list of JSON.
fn items<'a>(of: &'a Value, name: &str) -> &'a [Value] {
    of[name].as_array().expect("cargo names a list")
}

/// The workspace crates on which `package` depends, transitively and with optional ones, without dev-dependencies.
fn parts_of(package: &str) -> BTreeSet<&'static str> {
    let (mut parts, mut to_do) = (BTreeSet::new(), vec![package.to_owned()]);
    while let Some(name) = to_do.pop() {
        let packages = items(&WORKSPACE, "packages");
        let Some(found) = packages.iter().find(|package| package["name"] == *name) else { continue };
        if parts.insert(found["name"].as_str().expect("a package has a name")) {
            to_do.extend(built_on(found).map(str::to_owned));
        }
    }
    parts
}

/// Dependencies of a package without dev-dependencies.
fn built_on(package: &Value) -> impl Iterator<Item = &str> {
    items(package, "dependencies")
        .iter()
        .filter(|part| part["kind"] != "dev")
        .filter_map(|part| part["name"].as_str())
}

/// Each crate of the workspace and its direct dependencies in the workspace.
fn arrows() -> BTreeMap<String, BTreeSet<String>> {
    let board = manifests("crates/firmware");
    let packages = items(&WORKSPACE, "packages").iter().chain(items(&board, "packages"));
    let ours = |name: &str| name.strip_prefix("trimwright-").map(str::to_owned);
    let arrows = packages.filter_map(|package| {
        Some((ours(package["name"].as_str()?)?, built_on(package).filter_map(ours).collect()))
    });
    arrows.filter(|(name, _)| name != "checks").collect()
}

#[test]
fn control_and_plant_share_only_wires_and_numerics() {
    for (package, others) in [
        ("trimwright-control", ["trimwright-control", "trimwright-numerics", "trimwright-signals"]),
        ("trimwright-plant", ["trimwright-numerics", "trimwright-plant", "trimwright-signals"]),
    ] {
        assert_eq!(parts_of(package), others.into());
    }
}

#[test]
fn the_shared_crates_depend_on_neither() {
    assert_eq!(parts_of("trimwright-signals"), ["trimwright-signals"].into());
    assert_eq!(parts_of("trimwright-numerics"), ["trimwright-numerics"].into());
}

#[test]
fn the_harness_depends_on_both() {
    let parts = parts_of("trimwright-cli");
    assert!(
        ["trimwright-control", "trimwright-plant", "trimwright-harness"]
            .iter()
            .all(|part| parts.contains(part))
    );
}

/// Table and picture of DEVELOPERS.md agree with the manifests: in the picture each crate is below its dependencies.
#[test]
fn developers_md_shows_the_dependencies() {
    const TEXT: &str = include_str!("../DEVELOPERS.md");
    let rows = TEXT.lines().filter_map(|row| row.strip_prefix("| `crates/")?.split_once('`'));
    let documented: BTreeMap<String, BTreeSet<String>> = rows
        .map(|(name, row)| {
            let cells: Vec<&str> = row.split('|').map(str::trim).collect();
            let parts = cells[cells.len() - 2].split(", ").filter(|part| !part.is_empty());
            (name.to_owned(), parts.map(str::to_owned).collect())
        })
        .collect();
    assert_eq!(documented, arrows());
    let picture = TEXT.split("```").nth(1).expect("a picture");
    let row_of = |name: &str| {
        let words = |row: &str| row.split(|letter: char| !letter.is_alphabetic()).any(|word| word == name);
        picture.lines().position(words).unwrap_or_else(|| panic!("{name} is not in the picture"))
    };
    for (name, parts) in documented {
        assert!(parts.iter().all(|part| row_of(part) < row_of(&name)), "{name} stands below {parts:?}");
    }
}
