//! The loop of plant and controller is run in one place; everything else uses a session.

mod sources;

use sources::{crate_sources, without_tests};

/// Files below `crates` that may call a step, with the reason.
const STEPS: [(&str, &str); 5] = [
    ("harness/src/session.rs", "the loop itself"),
    ("harness/src/closed_loop.rs", "one step of it: plant, then controller"),
    ("harness/src/drive/recorder.rs", "gives the session a step on another processor"),
    ("link/src/processor.rs", "answers one frame"),
    ("control/src/controller.rs", "a step is one with the options' learner"),
];
/// Calls of steps.
const STEPPED: [&str; 5] =
    ["plant.step(", "controller.step(", "closed_loop.step(", ".step_with(", ".step_on("];

/// Number of lines of code with a call of a step, without comments.
fn stepping(code: &str) -> usize {
    let lines = code.lines().map(str::trim_start).filter(|line| !line.starts_with("//"));
    lines.filter(|line| STEPPED.iter().any(|stepped| line.contains(stepped))).count()
}

#[test]
fn ident_the_loop_is_driven_in_one_place() {
    // The programs of the board have no session: they step a controller, or controller and plant.
    let files = crate_sources().into_iter().filter(|(path, _)| !path.starts_with("firmware/"));
    let stepping_files: Vec<String> =
        files.filter(|(_, code)| stepping(code) > 0).map(|(path, _)| path).collect();
    let mut allowed = STEPS.map(|(file, _)| file);
    allowed.sort_unstable();
    assert_eq!(stepping_files, allowed);
}

#[test]
fn a_second_loop_would_be_found() {
    let loops = "fn drive() {\n    for _ in 0..9 {\n        self.closed_loop.step(&inputs);\n    }\n}\n";
    assert_eq!(stepping(loops), 1);
    let tested = format!("/// closed_loop.step(&inputs);\n#[cfg(test)]\nmod tests {{\n{loops}}}\n");
    assert_eq!(stepping(without_tests(&tested)), 0);
}
