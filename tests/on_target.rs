//! Comparison of host and target where the tools are installed; otherwise a message says what was skipped.

use std::io::Write;
use std::process::{Command, Output};

#[path = "../crates/firmware/examples/own_board/parameters.rs"]
mod own_board;

fn run_target(arguments: &[&str]) -> Output {
    Command::new(concat!(env!("CARGO_MANIFEST_DIR"), "/.ci/run_target"))
        .args(arguments)
        .output()
        .expect("the script can be started")
}

#[test]
fn ident_host_and_target_agree_to_the_bit() {
    let tools = run_target(&["tools"]);
    if tools.status.code() == Some(3) {
        // Directly to standard error, which tests do not capture.
        let missing = String::from_utf8_lossy(&tools.stderr);
        let text = writeln!(std::io::stderr(), "not run: host against target\n{}", missing.trim_end());
        return text.expect("standard error can be written");
    }
    let compared = run_target(&["same-bits", "6"]);
    let text = String::from_utf8_lossy(&compared.stdout);
    assert!(compared.status.success(), "{text}{}", String::from_utf8_lossy(&compared.stderr));
    assert!(text.starts_with("the same bits on host and target"), "{text}");
}

/// The board uses them unchecked.
#[test]
fn parameters_of_the_example_board_are_in_their_ranges() {
    assert_eq!(own_board::PARAMETERS.check(), Ok(()));
}
