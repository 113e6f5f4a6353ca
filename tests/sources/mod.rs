//! Source files of all crates, for tests of the code itself.

use std::fs;
use std::path::{Path, PathBuf};

/// Path below `crates`, such as `plant/src/lib.rs`, and code before the unit tests of every source file, sorted by path. Files of tests are left out.
pub(crate) fn crate_sources() -> Vec<(String, String)> {
    let crates = Path::new(env!("CARGO_MANIFEST_DIR")).join("crates");
    let mut files = Vec::new();
    for member in fs::read_dir(&crates).expect("crates") {
        collect(&member.expect("an entry").path().join("src"), &mut files);
    }
    files.sort();
    let source = |file: PathBuf| {
        let path = file.strip_prefix(&crates).expect("below it").to_string_lossy().replace('\\', "/");
        (path, without_tests(&fs::read_to_string(&file).expect("a source")).to_owned())
    };
    files.into_iter().map(source).collect()
}

/// The code before the unit tests.
pub(crate) fn without_tests(text: &str) -> &str {
    text.split("#[cfg(test)]").next().unwrap_or_default()
}

fn collect(directory: &Path, found: &mut Vec<PathBuf>) {
    for entry in fs::read_dir(directory).expect("a directory").map(|entry| entry.expect("an entry").path()) {
        if entry.is_dir() {
            collect(&entry, found);
        } else if entry.extension().is_some_and(|extension| extension == "rs") && !entry.ends_with("tests.rs")
        {
            found.push(entry);
        }
    }
}
