//! Loops with dead time.

use crate::table;
use trimwright_control::attribution::Attribution;
use trimwright_control::feedback::Feedback;
use trimwright_control::{Calibration, SetupAnswers};
use trimwright_numerics::Ring;

/// The largest error in the last tenth of a long run of a sampled integrator of gain `gain` whose action is felt
/// `delay` samples later, after a unit disturbance.
fn tail(gain: f64, delay: usize) -> f64 {
    const SAMPLES: usize = 20_000;
    let mut sent = Ring::<f64, 16>::filled(0.0);
    let mut action = 0.0;
    let mut worst = 0.0_f64;
    for sample in 0..SAMPLES {
        let felt = *sent.back(delay - 1).expect("the ring is longer than the delay");
        let error = 1.0 - felt;
        action += gain * error;
        sent.push(action);
        if sample >= SAMPLES - SAMPLES / 10 {
            worst = worst.max(error.abs());
        }
    }
    worst
}

/// Source: `z^d - z^(d-1) + Ki` has its roots inside the unit circle for `Ki < 2 sin(pi / (2 (2d - 1)))`; the same gains by
/// numerical roots.
#[test]
fn val_a_delayed_integrator_turns_unstable_where_its_polynomial_says() {
    for row in table::read_where("control_margins", "case", "discrete I") {
        let delay: usize = row.text("p1").trim_start_matches("d=").parse().expect("a whole number");
        let limit = row.number("Ku_Td");
        row.agrees("w_pc_Td", limit, 1e-6);
        assert!(tail(0.99 * limit, delay) < 1e-3, "delay {delay}");
        assert!(tail(1.01 * limit, delay) > 1e3, "delay {delay}");
    }
}

/// Largest remaining error of the short-term trim over the last tenth of 300 s, with a disturbance of 1 %, a delay of `delay_steps`
/// milliseconds that it knows, and a sensor that shows `gain` times the error there is.
fn trim_error(delay_steps: usize, gain: f32) -> f32 {
    const STEPS: usize = 300_000;
    const DISTURBANCE: f32 = 0.01;
    let calibration = Calibration::from_answers(&SetupAnswers::default()).expect("sound answers");
    let mut past = Attribution::default().past;
    past.delay_s = delay_steps as f32 * 1e-3;
    let mut feedback = Feedback::default();
    let mut applied = Ring::<f32, 512>::filled(0.0);
    let mut worst = 0.0_f32;
    for step in 0..STEPS {
        applied.push(feedback.trim_ln);
        let then = *applied.back(delay_steps).expect("the ring is longer than the delay");
        feedback.step(&calibration, &past, then + gain * (DISTURBANCE - then), 0.0, 1e-3);
        if step >= STEPS - STEPS / 10 {
            worst = worst.max((feedback.trim_ln - DISTURBANCE).abs());
        }
    }
    worst
}

/// Source: ultimate gain of a first-order lag with dead time, phase condition `w Td + atan(w tau) = pi`. With the delay right, the
/// predictor leaves `(gain - 1) exp(-s Td) / (tau s + 1)` in the loop, where tau is the larger of the delay and 0.3 s.
#[test]
fn val_the_trim_bears_a_wrong_gain_up_to_the_published_limit() {
    for (ratio, delay_steps) in
        [("Td/tau=1.0", 300), ("Td/tau=1.0", 450), ("Td/tau=0.5", 150), ("Td/tau=0.25", 75)]
    {
        let rows = table::read_where("control_margins", "case", "P + FOPDT");
        let row = rows.iter().find(|row| row.text("p1") == ratio).expect("the ratio is in the table");
        let limit = row.number("Ku_Td") as f32;
        let (below, above) =
            (trim_error(delay_steps, 1.0 + 0.95 * limit), trim_error(delay_steps, 1.0 + 1.05 * limit));
        assert!(below < 1e-4, "{ratio} with {delay_steps} ms: {below}");
        assert!(above > 0.05, "{ratio} with {delay_steps} ms: {above}");
    }
}
