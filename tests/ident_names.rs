//! Type names are unique in the workspace.

mod sources;

use sources::crate_sources;
use std::collections::{BTreeMap, BTreeSet};

/// Names of two types, with the reason.
const TWICE: [(&str, &str); 4] = [
    ("Error", "the associated type of two foreign traits"),
    ("Film", "the wall film: the plant's, and the controller's estimate of it"),
    ("Nitrous", "the nitrous system: the plant's parts, and the controller's stage"),
    ("OutOfRange", "the same type: the plant's alias says that its numbers are f64"),
];
/// Keywords of type definitions.
const KEYWORDS: [&str; 5] = ["struct", "enum", "trait", "type", "union"];

/// Names of the types that this code defines.
fn defined(code: &str) -> BTreeSet<&str> {
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
    let mut places: BTreeMap<String, usize> = BTreeMap::new();
    for (_, code) in crate_sources() {
        // `Readme` stands in for each crate's README in its doc tests alone.
        for name in defined(&code).into_iter().filter(|name| *name != "Readme") {
            *places.entry(name.to_owned()).or_default() += 1;
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
