//! Loops with dead time.

use crate::table;
use std::f64::consts::PI;
use trimwright_control::learning::Feedback;
use trimwright_control::parameters::FeedbackParameters;
use trimwright_numerics::Ring;

/// The largest error in the last tenth of a long run of a sampled integrator of gain `gain` whose action is effective
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
fn val_a_delayed_integrator_has_the_stability_limit_of_its_polynomial() {
    for row in table::read_where("control_margins", "case", "discrete I") {
        let delay: usize = row.text("p1").trim_start_matches("d=").parse().expect("a whole number");
        let limit = row.number("Ku_Td");
        row.agrees("w_pc_Td", limit, 1e-6);
        assert!(tail(0.99 * limit, delay) < 1e-3, "delay {delay}");
        assert!(tail(1.01 * limit, delay) > 1e3, "delay {delay}");
    }
}

const DISTURBANCE: f32 = 0.01;

/// The short-term trim step by step of 1 ms after a disturbance of 1 %, with a known delay of `delay_steps` milliseconds and
/// a sensor with `gain` times the true error.
fn trims(delay_steps: usize, gain: f32) -> impl Iterator<Item = f32> {
    let mut feedback = Feedback::default();
    let mut applied = Ring::<f32, 512>::filled(0.0);
    std::iter::repeat_with(move || {
        applied.push(feedback.trim_ln());
        let then = *applied.back(delay_steps).expect("the ring is longer than the delay");
        let right_ln = then + gain * (DISTURBANCE - then);
        feedback.step(&FeedbackParameters::DEFAULT, delay_steps as f32 * 1e-3, right_ln, 0.0, 1e-3)
    })
}

/// Gain at which a lag with dead time, `K exp(-s Td) / (tau s + 1)`, is at the stability limit in closed loop: `w Td + atan(w tau) = pi`,
/// found by bisection, and there `K = hypot(1, w tau)`.
fn ultimate_gain(delay_over_tau: f64) -> f64 {
    let (mut low, mut high) = (0.0, PI);
    for _ in 0..60 {
        let w_delay = 0.5 * (low + high);
        let beyond = w_delay + (w_delay / delay_over_tau).atan() > PI;
        *(if beyond { &mut high } else { &mut low }) = w_delay;
    }
    1.0_f64.hypot(low / delay_over_tau)
}

/// Source: ultimate gain of a first-order lag with dead time, from the phase condition by scipy's root finder.
#[test]
fn val_ultimate_gain_of_a_lag_with_dead_time() {
    for row in table::read_where("control_margins", "case", "P + FOPDT") {
        let ratio: f64 = row.text("p1").trim_start_matches("Td/tau=").parse().expect("a number");
        row.agrees("Ku_Td", ultimate_gain(ratio), 1e-9);
    }
}

/// Source: the same. With the delay right, the predictor leaves `(gain - 1) exp(-s Td) / (tau s + 1)` in the loop, tau being the
/// time constant with which the trim takes up a disturbance: the loop is stable up to the gain at which that is.
#[test]
fn val_the_trim_is_stable_up_to_the_published_gain() {
    const STEPS: usize = 400_000;
    for delay_steps in [75, 150, 300, 450] {
        let taken_up = DISTURBANCE * (1.0 - (-1.0_f32).exp());
        let tau_steps =
            trims(delay_steps, 1.0).take(STEPS).position(|trim| trim >= taken_up).expect("it settles");
        let limit = ultimate_gain(delay_steps as f64 / tau_steps as f64) as f32;
        assert!(limit > 2.0, "{delay_steps} ms: no room for a gain that is doubled");
        let swing = |gain| {
            let last = trims(delay_steps, gain).take(STEPS).skip(STEPS - STEPS / 10);
            last.map(|trim| (trim - DISTURBANCE).abs()).fold(0.0, f32::max)
        };
        let (below, above) = (swing(1.0 + 0.95 * limit), swing(1.0 + 1.05 * limit));
        assert!(below < 1e-4, "{delay_steps} ms: {below}");
        assert!(above > 0.05, "{delay_steps} ms: {above}");
    }
}
