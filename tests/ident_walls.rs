//! The walls of the house: the controller can't see the truth, and the plant can't see the controller.

use std::collections::BTreeSet;
use std::process::Command;
use std::sync::LazyLock;

use serde_json::Value;

/// The workspace's packages as their manifests have them. Nothing is resolved, so that no package has to be there which no build
/// needs: a machine without a network and with an empty package cache can tell.
static WORKSPACE: LazyLock<Value> = LazyLock::new(|| {
    let output = Command::new(env!("CARGO"))
        .args(["metadata", "--offline", "--no-deps", "--format-version", "1"])
        .current_dir(env!("CARGO_MANIFEST_DIR"))
        .output()
        .expect("cargo runs");
    assert!(output.status.success(), "{}", String::from_utf8_lossy(&output.stderr));
    serde_json::from_slice(&output.stdout).expect("cargo prints JSON")
});

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
            let built_from = items(found, "dependencies").iter().filter(|part| part["kind"] != "dev");
            to_do.extend(built_from.filter_map(|part| part["name"].as_str()).map(str::to_owned));
        }
    }
    parts
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
