//! The parameters on which most depends are those that DEVELOPERS.md names.

use std::collections::BTreeMap;

use trimwright_study::tables::SENSITIVITY;

/// The ten most sensitive parameters of the table: mean over scenarios of the larger change of both directions.
fn ten(file_text: &str) -> Vec<String> {
    let mut greatest: BTreeMap<(&str, &str), f64> = BTreeMap::new();
    for row in file_text.lines().filter(|row| !row.starts_with('#')).skip(1) {
        let columns: Vec<&str> = row.split(',').collect();
        let (parameter, scenario) = (columns[0], columns[2]);
        if parameter != "none" && !parameter.starts_with("sensors.") {
            let change: f64 = columns[7].parse().expect("a number");
            let most = greatest.entry((parameter, scenario)).or_default();
            *most = most.max(change);
        }
    }
    let mut sums: BTreeMap<&str, (f64, f64)> = BTreeMap::new();
    for ((parameter, _), change) in greatest {
        let (sum, count) = sums.entry(parameter).or_default();
        (*sum, *count) = (*sum + change, *count + 1.0);
    }
    let mut ranked: Vec<(f64, &str)> =
        sums.into_iter().map(|(parameter, (sum, count))| (sum / count, parameter)).collect();
    ranked.sort_by(|one, other| other.0.total_cmp(&one.0));
    ranked.iter().take(10).map(|(_, parameter)| (*parameter).to_owned()).collect()
}

#[test]
fn ident_the_documented_parameters_are_the_most_sensitive_ones() {
    let file_text = SENSITIVITY.read().expect("a table");
    let page = include_str!("../DEVELOPERS.md");
    let (_, section) = page.split_once("### On which numbers most depends").expect("a section about it");
    let section = section.split("\n#").next().unwrap_or_default();
    let named: Vec<&str> = section
        .lines()
        .filter_map(|line| line.strip_prefix("| `"))
        .filter_map(|line| line.split('`').next())
        .collect();
    assert_eq!(named, ten(&file_text));
}
