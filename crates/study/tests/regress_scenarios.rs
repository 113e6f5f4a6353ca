//! The table of all shipped scenarios with all learners is what the program gives, and nothing in it diverges.

mod support;

use support::assert_like;
use trimwright_harness::scenario::Scenario;
use trimwright_harness::shipped::SCENARIOS;
use trimwright_study::scenarios::{Driven, csv, drive};

/// Farthest that the mixture of all driving may be off in the last pass, ln: seen 0.19 on the dynamometer's sweep, whose wide-open
/// tip-ins are all film.
const CLOSED_LOOP: f64 = 0.25;
/// How far a figure of the table may be from the program's, per cent and seconds: learning and feedback may be tuned without drawing
/// the table anew.
const TOLERANCES: [(&str, f64); 10] = [
    ("cells_visited", 3.0),
    ("base_map_rms [%]", 0.5),
    ("learned_map_rms [%]", 0.5),
    ("closed_loop_rms [%]", 1.0),
    ("transient_rms [%]", 2.0),
    ("settle_s [s]", 600.0),
    ("visited_error_rms [%]", 1.0),
    ("offline_fit_rms [%]", 1.0),
    ("over_offline_fit", 0.5),
    ("within_two_sigma [%]", 10.0),
];

fn assert_learned(driven: &Driven) {
    let figures = &driven.figures;
    let measured = |figure: Option<f64>| figure.unwrap_or_else(|| panic!("not measured: {driven:?}"));
    assert_eq!(figures.cells_run_away, 0, "{driven:?}");
    assert!(measured(figures.learned_map_rms) < measured(figures.base_map_rms), "{driven:?}");
    assert!(measured(figures.closed_loop_rms) < CLOSED_LOOP, "{driven:?}");
}

#[test]
fn regress_no_learner_diverges_on_any_shipped_drive() {
    let scenarios: Vec<Scenario> =
        SCENARIOS.iter().map(|shipped| Scenario::load(shipped.name).expect("shipped")).collect();
    let driven = drive(&scenarios).expect("drives");
    assert_eq!(driven.len(), 3 * SCENARIOS.len());
    driven.iter().for_each(assert_learned);
    let path = concat!(env!("CARGO_MANIFEST_DIR"), "/../../shared/studies/scenarios.csv");
    assert_like(&std::fs::read_to_string(path).expect("the table"), &csv(&driven), &TOLERANCES);
}
