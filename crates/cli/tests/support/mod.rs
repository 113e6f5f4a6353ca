//! Runs the program in a temporary directory.
#![allow(dead_code, reason = "not every test file uses all of it")]

use std::fs;
use std::path::Path;
use std::process::{Command, Output, Stdio};

pub(crate) const VAN: &str = include_str!("../../shared/scenarios/delivery-van.toml");

/// A drive of less than two minutes.
const TRIP: &str = "time [s],speed [km/h]\n0,0\n20,0\n35,50\n100,50\n110,0\n";

/// An empty directory.
pub(crate) fn home() -> tempfile::TempDir {
    tempfile::tempdir().expect("a place")
}

/// A directory with `trip.csv`, a short drive, and `short.toml`, the van on another.
pub(crate) fn home_with_scenario() -> tempfile::TempDir {
    let home = home();
    fs::write(home.path().join("trip.csv"), TRIP).expect("written");
    short_scenario(home.path());
    home
}

/// A scenario of a minute and a half.
pub(crate) fn short_scenario(home: &Path) {
    fs::write(home.join("short.toml"), VAN.replace("\"udds\"", "\"short.csv\"")).expect("written");
    fs::write(home.join("short.csv"), "time [s],speed [km/h]\n0,0\n30,0\n50,40\n80,40\n100,0\n")
        .expect("written");
}

/// The program in a directory, without a terminal.
pub(crate) fn program(home: &Path, arguments: &[&str]) -> Command {
    let mut command = Command::new(env!("CARGO_BIN_EXE_trimwright"));
    command.args(arguments).current_dir(home).stdin(Stdio::null());
    for variable in ["NO_COLOR", "CLICOLOR", "CLICOLOR_FORCE"] {
        command.env_remove(variable);
    }
    command
}

/// Runs the program and returns its output.
pub(crate) fn run(home: &Path, arguments: &[&str]) -> Output {
    program(home, arguments).output().expect("it starts")
}

pub(crate) fn stdout(output: &Output) -> String {
    String::from_utf8(output.stdout.clone()).expect("UTF-8")
}

pub(crate) fn stderr(output: &Output) -> String {
    String::from_utf8(output.stderr.clone()).expect("UTF-8")
}

/// Relative paths of all files below a directory.
pub(crate) fn files(home: &Path) -> Vec<String> {
    let mut found = Vec::new();
    for entry in fs::read_dir(home).expect("a directory") {
        let path = entry.expect("an entry").path();
        let name = path.file_name().expect("a name").to_string_lossy().into_owned();
        match path.is_dir() {
            true => found.extend(files(&path).into_iter().map(|inner| format!("{name}/{inner}"))),
            false => found.push(name),
        }
    }
    found.sort();
    found
}

/// Asserts that the arguments are rejected as bad input with exactly this message and that no file is written.
pub(crate) fn assert_rejected(home: &Path, arguments: &[&str], message: &str) {
    let before = files(home);
    let output = run(home, arguments);
    assert_eq!(output.status.code(), Some(2), "{}", stderr(&output));
    assert_eq!(stderr(&output), format!("trimwright: {message}\n"));
    assert_eq!(stdout(&output), "");
    assert_eq!(files(home), before);
}
