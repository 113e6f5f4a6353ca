//! Type names are unique in the workspace.

use std::collections::{BTreeMap, BTreeSet};
use std::fs;
use std::path::{Path, PathBuf};

/// Names of two types, with the reason.
const TWICE: [(&str, &str); 4] = [
    ("Error", "the associated type of two foreign traits"),
    ("Film", "the wall film: the plant's, and the controller's estimate of it"),
    ("Nitrous", "the nitrous system: the plant's parts, and the controller's stage"),
    ("OutOfRange", "the same type: the plant's alias says that its numbers are f64"),
];
/// Keywords of type definitions.
const KEYWORDS: [&str; 5] = ["struct", "enum", "trait", "type", "union"];

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

/// Names of the types that a file defines outside its tests.
fn defined(text: &str) -> BTreeSet<&str> {
    let code = text.split("#[cfg(test)]").next().unwrap_or_default();
    code.lines().filter_map(type_name).collect()
}

/// The name of the type whose definition begins in this line.
fn type_name(line: &str) -> Option<&str> {
    let mut words = line.split_whitespace().skip_while(|word| word.starts_with("pub"));
    KEYWORDS.contains(&words.next()?).then_some(())?;
    words.next()?.split(|letter: char| !letter.is_alphanumeric()).next()
}

#[test]
fn ident_one_name_is_one_type() {
    let crates = Path::new(env!("CARGO_MANIFEST_DIR")).join("crates");
    let mut places: BTreeMap<String, usize> = BTreeMap::new();
    for member in fs::read_dir(&crates).expect("crates") {
        let mut files = Vec::new();
        sources(&member.expect("an entry").path().join("src"), &mut files);
        for file in files {
            for name in defined(&fs::read_to_string(&file).expect("a source")) {
                // It stands in for each crate's README in its doc tests alone.
                if name != "Readme" {
                    *places.entry(name.to_owned()).or_default() += 1;
                }
            }
        }
    }
    assert!(places.len() > 300, "types are found at all");
    let twice: Vec<&str> =
        places.iter().filter(|(_, count)| **count > 1).map(|(name, _)| name.as_str()).collect();
    assert_eq!(twice, TWICE.map(|(name, _)| name));
}

#[test]
fn definitions_are_recognised() {
    assert_eq!(type_name("    pub(crate) struct Held<'a> {"), Some("Held"));
    assert_eq!(type_name("pub enum Key {"), Some("Key"));
    assert_eq!(type_name("    pub fn struct_of() {"), None);
    assert_eq!(type_name("/// struct in a comment"), None);
}
