//! The walls of the house: the controller can't see the truth, and the plant can't see the controller.

use std::process::Command;

/// The workspace crates that `package` is built from, by `cargo tree`.
fn parts_of(package: &str) -> Vec<String> {
    let output = Command::new(env!("CARGO"))
        .args([
            "tree",
            "--offline",
            "--all-features",
            "--edges",
            "normal,build",
            "--prefix",
            "none",
            "--package",
            package,
        ])
        .current_dir(env!("CARGO_MANIFEST_DIR"))
        .output()
        .expect("cargo runs");
    assert!(output.status.success(), "{}", String::from_utf8_lossy(&output.stderr));
    let text = String::from_utf8(output.stdout).expect("cargo prints UTF-8");
    let mut parts: Vec<String> = text
        .lines()
        .filter_map(|line| line.split(' ').next())
        .filter(|name| name.starts_with("trimwright"))
        .map(str::to_owned)
        .collect();
    parts.sort();
    parts.dedup();
    parts
}

#[test]
fn control_and_plant_share_only_wires_and_numerics() {
    for (package, others) in [
        ("trimwright-control", ["trimwright-control", "trimwright-numerics", "trimwright-signals"]),
        ("trimwright-plant", ["trimwright-numerics", "trimwright-plant", "trimwright-signals"]),
    ] {
        assert_eq!(parts_of(package), others);
    }
}

#[test]
fn the_pieces_they_share_know_neither() {
    assert_eq!(parts_of("trimwright-signals"), ["trimwright-signals"]);
    assert_eq!(parts_of("trimwright-numerics"), ["trimwright-numerics"]);
}
