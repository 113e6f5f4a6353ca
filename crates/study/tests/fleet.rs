//! The tables of a fleet under version control, in the disturbed world and without disturbances: limits, and recomputation of the first
//! engines.

use std::collections::BTreeMap;
use trimwright_study::tables::{FLEET, FLEET_UNDISTURBED, VersionedTable, difference};

type FleetRow = BTreeMap<String, f64>;

/// Smallest number of engines of a table.
const ENGINES: f64 = 300.0;

/// Rows of all engines by learner and figure.
fn rows(table: &VersionedTable) -> BTreeMap<(String, String), FleetRow> {
    let text = table.read().expect("the table");
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

/// Limits of a table: the map of the Kalman learner, median and 95 % quantile of the lasting error, ln, and the least mean share of cells within
/// two standard deviations.
struct Limits {
    median_rms: f64,
    q95_rms: f64,
    within_two_sigma: f64,
}

fn assert_within(table: &VersionedTable, limits: &Limits) {
    let rows = rows(table);
    let at =
        |learner: &str, figure: &str, column: &str| rows[&(learner.to_owned(), figure.to_owned())][column];
    for learner in ["integral", "gradient", "kalman"] {
        assert!(at(learner, "learned_map_lasting_rms", "engines") >= ENGINES, "{learner}");
        // Only engines whose mild cam is answered as hot stall, 9 of 300, until their map at idle is learned: up to 32 times and 0.54 times
        // on average with disturbances, 76 and 0.75 without.
        assert_eq!(at(learner, "stalls", "q95"), 0.0, "{learner}");
        assert!(at(learner, "stalls", "mean") <= 0.8 && at(learner, "stalls", "q100") <= 80.0, "{learner}");
        // Cells saturate only where the sampled error exceeds the authority limit, or is so near to it that the learner cannot distinguish.
        assert_eq!(at(learner, "cells_run_away", "q100"), 0.0, "{learner}");
        assert!(at(learner, "within_two_sigma", "mean") >= limits.within_two_sigma, "{learner}");
    }
    assert!(at("kalman", "learned_map_lasting_rms", "q50") <= limits.median_rms, "{rows:?}");
    assert!(at("kalman", "learned_map_lasting_rms", "q95") <= limits.q95_rms, "{rows:?}");
    assert!(at("kalman", "over_offline_fit", "q50") <= 1.3, "{rows:?}");
}

/// 20 engines with another seed: 1.35 and 1.85 %, 0.93 within two standard deviations, which leave out what lasts for the trip.
#[test]
fn disturbed_engines_learn_what_a_slow_map_can_know() {
    assert_within(&FLEET, &Limits { median_rms: 0.016, q95_rms: 0.025, within_two_sigma: 0.88 });
}

/// The same 20 engines: 0.92 and 1.05 %; the standard deviations allow for disturbances that are not there.
#[test]
fn undisturbed_engines_learn_the_map() {
    assert_within(&FLEET_UNDISTURBED, &Limits { median_rms: 0.010, q95_rms: 0.015, within_two_sigma: 0.95 });
}

/// All three learners and all figures.
#[test]
fn the_recomputed_first_engines_are_those_of_the_tables() {
    for table in [FLEET, FLEET_UNDISTURBED] {
        assert_eq!(difference(&table.read().expect("the table"), &table.recomputed().expect("drives")), None);
    }
}
