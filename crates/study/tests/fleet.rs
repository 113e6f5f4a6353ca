//! The table of a thousand engines under version control, held to what it has to show, and its first engines driven anew.

use std::collections::BTreeMap;
use trimwright_study::tables::{FLEET, difference};

type FleetRow = BTreeMap<String, f64>;

/// Rows of all engines by learner and figure.
fn table() -> BTreeMap<(String, String), FleetRow> {
    let text = FLEET.read().expect("the table");
    let mut reader = csv::ReaderBuilder::new().comment(Some(b'#')).from_reader(text.as_bytes());
    let heads = reader.headers().expect("a head").clone();
    let row = |record: csv::StringRecord| {
        let numbers = heads.iter().zip(&record).skip(2);
        let numbers = numbers.map(|(head, text)| (head.to_owned(), text.parse().expect("a number")));
        ((record[0].to_owned(), record[1].to_owned()), numbers.collect())
    };
    let all = reader.records().map(|record| row(record.expect("a row")));
    all.filter(|(_, row): &(_, FleetRow)| row["engines"] > 4.0).collect()
}

#[test]
fn of_a_thousand_engines_none_stalls_and_the_learned_map_is_right() {
    let table = table();
    let at =
        |learner: &str, figure: &str, column: &str| table[&(learner.to_owned(), figure.to_owned())][column];
    for learner in ["integral", "gradient", "kalman"] {
        assert!(at(learner, "learned_map_rms", "engines") >= 1000.0, "{learner}");
        assert_eq!(at(learner, "stalls", "q100"), 0.0, "{learner}");
        // Authority is reached only where an error that was drawn exceeds it, or comes so near that the learner cannot tell.
        assert_eq!(at(learner, "cells_run_away", "q100"), 0.0, "{learner}");
        // Of the cells visited, so many lie within two of the learner's own standard deviations.
        assert!((0.90..=0.99).contains(&at(learner, "within_two_sigma", "mean")), "{learner}");
    }
    assert!(at("kalman", "learned_map_rms", "q50") <= 0.010, "{:?}", table);
    assert!(at("kalman", "learned_map_rms", "q95") <= 0.020);
    assert!(at("kalman", "over_offline_fit", "q50") <= 1.3);
}

/// With all three learners, figure by figure: least, median and most of four tell each one of them.
#[test]
fn the_first_engines_come_out_as_the_table_has_them() {
    assert_eq!(difference(&FLEET.read().expect("the table"), &FLEET.anew().expect("drives")), None);
}
