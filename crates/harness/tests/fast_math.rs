//! The closed loop with the controller's approximate functions (feature `fast-math`) against the exact ones.
//!
//! Both builds drive the same two minutes, an idle and a little driving. Without the feature, what is learned is [`EXACT_LEARNED_LN`];
//! with it, it must come close to that.

use trimwright_harness::drive::{Run, drive};
use trimwright_harness::mixture_observer::SETTLED_AFTER_S;
use trimwright_harness::scenario::Scenario;
use trimwright_harness::schedule::Schedule;

/// What the exact build learns, ln: the mean over the visited cells by the time spent near them.
const EXACT_LEARNED_LN: f64 = 0.071_421;
/// Farther from it than this is another arithmetic, ln.
const SAME_LN: f64 = 1e-5;
/// How far the approximations may lead from it, ln. They are off by up to 0.4 % each (`trimwright_numerics::real`), and the oxygen sensor
/// sees what they do to the fuel.
const CLOSE_LN: f64 = 0.004;

fn two_minutes() -> Run {
    let trip = "time [s],speed [km/h]\n0,0\n70,0\n80,30\n90,30\n100,50\n120,50\n";
    let schedule = Schedule::parse("trip", "trip.csv", trip).expect("a schedule");
    let mut scenario = Scenario { schedule, passes: 1, ..Scenario::load("delivery-van").expect("shipped") };
    // Warm, so that it learns from the beginning.
    scenario.truth.thermal.start_k = 363.15;
    drive(&scenario, &mut |_| ()).expect("driven")
}

fn learned_ln(run: &Run) -> f64 {
    let (dwell_s, visited) = (run.cells.dwell_s(), run.cells.visited());
    let cells =
        run.learned.ln.flat().iter().zip(dwell_s.iter().zip(&visited)).filter(|(_, (_, visited))| **visited);
    let (sum, time_s) = cells.fold((0.0, 0.0), |(sum, time_s), (ln, (dwell_s, _))| {
        (sum + f64::from(*ln) * dwell_s, time_s + dwell_s)
    });
    sum / time_s
}

#[test]
fn regress_two_minutes_as_with_exact_functions() {
    let run = two_minutes();
    assert_eq!((run.summary.drive.stalls, run.summary.dtcs.len()), (0, 0));
    let learned_ln = learned_ln(&run);
    let apart_ln = (learned_ln - EXACT_LEARNED_LN).abs();
    assert!(apart_ln < CLOSE_LN, "{learned_ln}");
    assert_eq!(apart_ln > SAME_LN, cfg!(feature = "fast-math"), "{learned_ln}");
    let settled = run.rows.iter().filter(|row| row.time_s > SETTLED_AFTER_S && row.wanted_lambda.is_finite());
    let off: Vec<f64> = settled.map(|row| row.lambda / row.wanted_lambda).collect();
    assert!(off.len() > 500, "{}", off.len());
    assert!(off.iter().all(|off| (0.85..1.15).contains(off)), "{off:?}");
    assert!(run.last_pass.rms() < 0.03, "{}", run.last_pass.rms());
}
