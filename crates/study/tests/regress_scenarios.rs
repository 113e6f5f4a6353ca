//! The table of all shipped scenarios with all learners is what the program gives, and nothing in it diverges.

mod support;

use support::assert_like;
use trimwright_harness::scenario::Scenario;
use trimwright_harness::shipped::SCENARIOS;
use trimwright_study::scenarios::{Driven, csv, drive};

/// What a learner leaves, over what the first calibration left, at most: it never makes things worse.
const LEAVES: f64 = 1.0;

fn assert_learned(driven: &Driven) {
    let figures = &driven.figures;
    let measured = |figure: Option<f64>| figure.unwrap_or_else(|| panic!("not measured: {driven:?}"));
    assert_eq!(figures.cells_run_away, 0, "{driven:?}");
    assert!(measured(figures.learned_map_rms) < LEAVES * measured(figures.base_map_rms), "{driven:?}");
    assert!(measured(figures.closed_loop_rms) < measured(figures.base_map_rms), "{driven:?}");
}

#[test]
fn regress_no_learner_diverges_on_any_shipped_drive() {
    let scenarios: Vec<Scenario> =
        SCENARIOS.iter().map(|shipped| Scenario::load(shipped.name).expect("shipped")).collect();
    let driven = drive(&scenarios).expect("drives");
    assert_eq!(driven.len(), 3 * SCENARIOS.len());
    driven.iter().for_each(assert_learned);
    let path = concat!(env!("CARGO_MANIFEST_DIR"), "/../../shared/studies/scenarios.csv");
    assert_like(&std::fs::read_to_string(path).expect("the table"), &csv(&driven), &[]);
}
