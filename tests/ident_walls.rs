//! The walls of the house: the controller can't see the truth, and the plant can't see the controller.

use std::collections::{BTreeMap, BTreeSet};
use std::path::Path;
use std::process::Command;
use std::sync::LazyLock;

use serde_json::Value;

/// The workspace's packages as their manifests have them. Nothing is resolved, so that no package has to be there which no build
/// needs: a machine without a network and with an empty package cache can tell.
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

/// The workspace crates that `package` is built from, optional ones included: all that its dependencies lead to, but for those of
/// its tests. A package from a registry cannot lead back.
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

/// What a package is built on, without what only its tests need.
fn built_on(package: &Value) -> impl Iterator<Item = &str> {
    items(package, "dependencies")
        .iter()
        .filter(|part| part["kind"] != "dev")
        .filter_map(|part| part["name"].as_str())
}

/// Each crate of ours and the crates of ours that its manifest names.
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
fn the_pieces_they_share_know_neither() {
    assert_eq!(parts_of("trimwright-signals"), ["trimwright-signals"].into());
    assert_eq!(parts_of("trimwright-numerics"), ["trimwright-numerics"].into());
}

#[test]
fn what_closes_the_loop_is_seen_to_lead_to_both() {
    let parts = parts_of("trimwright-cli");
    assert!(
        ["trimwright-control", "trimwright-plant", "trimwright-harness"]
            .iter()
            .all(|part| parts.contains(part))
    );
}

/// The table of DEVELOPERS.md has every crate of ours with what it is built on, and in its picture each stands below all of these.
#[test]
fn the_house_is_as_the_text_draws_it() {
    const TEXT: &str = include_str!("../DEVELOPERS.md");
    let rows = TEXT.lines().filter_map(|row| row.strip_prefix("| `crates/")?.split_once('`'));
    let told: BTreeMap<String, BTreeSet<String>> = rows
        .map(|(name, row)| {
            let cells: Vec<&str> = row.split('|').map(str::trim).collect();
            let parts = cells[cells.len() - 2].split(", ").filter(|part| !part.is_empty());
            (name.to_owned(), parts.map(str::to_owned).collect())
        })
        .collect();
    assert_eq!(told, arrows());
    let picture = TEXT.split("```").nth(1).expect("a picture");
    let storey = |name: &str| {
        let words = |row: &str| row.split(|letter: char| !letter.is_alphabetic()).any(|word| word == name);
        picture.lines().position(words).unwrap_or_else(|| panic!("{name} is not in the picture"))
    };
    for (name, parts) in told {
        assert!(parts.iter().all(|part| storey(part) < storey(&name)), "{name} stands below {parts:?}");
    }
}
