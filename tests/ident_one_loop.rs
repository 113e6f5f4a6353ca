//! The loop of plant and controller is run in one place; everything else uses a session.

use std::fs;
use std::path::{Path, PathBuf};

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

fn sources(directory: &Path, found: &mut Vec<PathBuf>) {
    for entry in fs::read_dir(directory).expect("a directory").map(|entry| entry.expect("an entry").path()) {
        if entry.is_dir() {
            sources(&entry, found);
        } else if entry.extension().is_some_and(|extension| extension == "rs") && !entry.ends_with("tests.rs")
        {
            found.push(entry);
        }
    }
}

/// Number of lines of a file with a call of a step, without comments and tests.
fn stepping(text: &str) -> usize {
    let code = text.split("#[cfg(test)]").next().unwrap_or_default();
    let lines = code.lines().map(str::trim_start).filter(|line| !line.starts_with("//"));
    lines.filter(|line| STEPPED.iter().any(|stepped| line.contains(stepped))).count()
}

#[test]
fn ident_the_loop_is_driven_in_one_place() {
    let crates = Path::new(env!("CARGO_MANIFEST_DIR")).join("crates");
    let mut stepping_files = Vec::new();
    for name in fs::read_dir(&crates).expect("crates").map(|entry| entry.expect("an entry").file_name()) {
        // The programs of the board have no session: they step a controller, or controller and plant.
        if name == "firmware" {
            continue;
        }
        let mut files = Vec::new();
        sources(&crates.join(&name).join("src"), &mut files);
        for file in files {
            if stepping(&fs::read_to_string(&file).expect("a source")) > 0 {
                let path = file.strip_prefix(&crates).expect("below it").to_string_lossy().replace('\\', "/");
                stepping_files.push(path);
            }
        }
    }
    stepping_files.sort();
    let mut allowed = STEPS.map(|(file, _)| file);
    allowed.sort_unstable();
    assert_eq!(stepping_files, allowed);
}

#[test]
fn a_second_loop_would_be_found() {
    let loops = "fn drive() {\n    for _ in 0..9 {\n        self.closed_loop.step(&inputs);\n    }\n}\n";
    assert_eq!(stepping(loops), 1);
    assert_eq!(
        stepping(&format!("/// closed_loop.step(&inputs);\n#[cfg(test)]\nmod tests {{\n{loops}}}\n")),
        0
    );
}
