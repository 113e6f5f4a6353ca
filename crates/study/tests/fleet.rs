//! The table of a thousand engines under version control: limits, and recomputation of its first engines.

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
fn a_thousand_engines_do_not_stall_and_learn_the_map() {
    let table = table();
    let at =
        |learner: &str, figure: &str, column: &str| table[&(learner.to_owned(), figure.to_owned())][column];
    for learner in ["integral", "gradient", "kalman"] {
        assert!(at(learner, "learned_map_rms", "engines") >= 1000.0, "{learner}");
        assert_eq!(at(learner, "stalls", "q100"), 0.0, "{learner}");
        // Cells saturate only where the sampled error exceeds the authority limit, or is so near to it that the learner cannot distinguish.
        assert_eq!(at(learner, "cells_run_away", "q100"), 0.0, "{learner}");
        // Share of the visited cells within two standard deviations of the learner.
        assert!((0.90..=0.99).contains(&at(learner, "within_two_sigma", "mean")), "{learner}");
    }
    assert!(at("kalman", "learned_map_rms", "q50") <= 0.010, "{:?}", table);
    assert!(at("kalman", "learned_map_rms", "q95") <= 0.020);
    assert!(at("kalman", "over_offline_fit", "q50") <= 1.3);
}

/// All three learners and all figures.
#[test]
fn the_recomputed_first_engines_are_those_of_the_table() {
    assert_eq!(difference(&FLEET.read().expect("the table"), &FLEET.recomputed().expect("drives")), None);
}
