//! The fault matrix under version control is current, and every case meets its limits.

use trimwright_harness::scenario::Scenario;
use trimwright_study::fault_matrix::{Case, FAULT_TYPES, SENSORS, SITUATIONS, csv, matrix};
use trimwright_study::tables::{FAULT_MATRIX, difference};

/// Largest time until the expected code is set, s.
const CODE_S: f64 = 3.0;
/// Largest movement of a cell of the map, ratio.
const MOVED: f64 = 0.01;
/// Largest time until the car has recovered after the fault, s: codes clear in 3 s, and a stopped engine is started again, at the
/// second attempt if the first one was during the fault.
const HEALED_S: f64 = 15.0;

fn assert_case(case: &Case) {
    assert_eq!(case.keeps_running, case.can_run(), "{case:?}");
    assert!(case.can_run() || !case.why().is_empty(), "{case:?}");
    if case.expected_codes().is_empty() {
        assert!(case.code.is_none() && !case.why().is_empty(), "{case:?}");
    } else {
        assert!(case.code.is_some(), "no code: {case:?}");
        assert!(case.seconds_to_code.is_some_and(|seconds| seconds <= CODE_S), "late: {case:?}");
    }
    assert!(case.other_codes.is_empty(), "an unexpected code: {case:?}");
    assert!(case.map_moved < MOVED, "the map moved: {case:?}");
    assert!(case.healed_s.is_some_and(|seconds| seconds < HEALED_S), "not healed: {case:?}");
}

#[test]
fn regress_every_sensor_fault_is_survived_reported_and_not_learned() {
    let cases = matrix(&Scenario::load("delivery-van").expect("shipped")).expect("drives");
    assert_eq!(cases.len(), SENSORS.len() * FAULT_TYPES.len() * SITUATIONS.len());
    cases.iter().for_each(assert_case);
    let with_code = cases.iter().filter(|case| case.code.is_some()).count();
    assert!(with_code > 100, "{with_code} cases of {} have a code", cases.len());
    assert_eq!(difference(&FAULT_MATRIX.read().expect("the table"), &csv(&cases)), None);
}
