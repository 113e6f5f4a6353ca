//! The fault matrix under version control is what the program gives, and every case of it is as it has to be.

use trimwright_harness::scenario::Scenario;
use trimwright_study::fault_matrix::{Case, SENSORS, SITUATIONS, WAYS, csv, matrix};
use trimwright_study::tables::{FAULT_MATRIX, difference};

/// Within this time the right code has to be set, s.
const CODE_S: f64 = 3.0;
/// Farthest that a cell of the map may move, ratio.
const MOVED: f64 = 0.01;
/// Within this time the car has to be as before once the fault has gone, s: codes heal in 3 s, and an engine that stopped is started
/// again, at the second try if the first one fell into the fault.
const HEALED_S: f64 = 15.0;

fn assert_case(case: &Case) {
    assert_eq!(case.keeps_running, case.can_run(), "{case:?}");
    assert!(case.can_run() || !case.why().is_empty(), "{case:?}");
    if case.right_codes().is_empty() {
        assert!(case.code.is_none() && !case.why().is_empty(), "{case:?}");
    } else {
        assert!(case.code.is_some(), "no code: {case:?}");
        assert!(case.seconds_to_code.is_some_and(|seconds| seconds <= CODE_S), "late: {case:?}");
    }
    assert!(case.other_codes.is_empty(), "a wrong code: {case:?}");
    assert!(case.map_moved < MOVED, "the map moved: {case:?}");
    assert!(case.healed_s.is_some_and(|seconds| seconds < HEALED_S), "not healed: {case:?}");
}

#[test]
fn regress_every_sensor_broken_in_every_way_is_survived_told_and_not_learned_from() {
    let cases = matrix(&Scenario::load("delivery-van").expect("shipped")).expect("drives");
    assert_eq!(cases.len(), SENSORS.len() * WAYS.len() * SITUATIONS.len());
    cases.iter().for_each(assert_case);
    let told = cases.iter().filter(|case| case.code.is_some()).count();
    assert!(told > 100, "{told} cases of {} have a code", cases.len());
    assert_eq!(difference(&FAULT_MATRIX.read().expect("the table"), &csv(&cases)), None);
}
