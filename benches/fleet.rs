//! Speed of a fleet: simulated seconds per second of processor time, and speed-up with two cores.
//!
//! The second figure needs idle cores: each round drives the same fleet on one core and on two, and the best round counts.

use std::convert::Infallible;
use std::io::{self, Write};
use std::sync::atomic::AtomicBool;
use std::time::Instant;
use trimwright_control::Strategy;
use trimwright_harness::scenario::Scenario;
use trimwright_study::fleet::{FleetPlan, drive};

/// Engines of the fleet, each of which drives the highway schedule three times: first calibration, learning, learned.
const ENGINES: u32 = 8;
const DRIVES: f64 = 3.0;
/// Number of rounds.
const ROUNDS: usize = 5;
/// Clock ticks per second of the processor time on Linux (`proc(5)`, `USER_HZ`).
const TICKS_PER_S: f64 = 100.0;

/// Processor time of all threads of this program, s; `None` where it is not available.
fn processor_s() -> Option<f64> {
    let stat = std::fs::read_to_string("/proc/self/stat").ok()?;
    // The name of the program, in brackets, may hold blanks; user and system time are the 12th and 13th word after it.
    let (_, words) = stat.rsplit_once(')')?;
    let ticks: Vec<f64> =
        words.split_whitespace().skip(11).take(2).filter_map(|word| word.parse().ok()).collect();
    Some(ticks.iter().sum::<f64>() / TICKS_PER_S)
}

/// Wall time and processor time of driving the fleet, s.
fn measured(scenario: &Scenario, jobs: usize) -> (f64, f64) {
    let plan = FleetPlan { engines: ENGINES, seed: 1, learners: vec![Strategy::Kalman], jobs };
    let (began, before_s) = (Instant::now(), processor_s());
    let driven = drive(scenario, &plan, Vec::new(), &AtomicBool::new(false), |_| Ok::<_, Infallible>(()));
    assert_eq!(driven.expect("driven").len(), ENGINES as usize);
    let wall_s = began.elapsed().as_secs_f64();
    let spent_s = processor_s().zip(before_s).map(|(after_s, before_s)| after_s - before_s);
    (wall_s, spent_s.unwrap_or(f64::NAN))
}

fn main() -> io::Result<()> {
    let mut out = io::stdout().lock();
    let scenario = Scenario::load("delivery-van").and_then(|scenario| scenario.with_schedule("hwfet"));
    let scenario = scenario.expect("both are shipped").with_passes(1);
    let simulated_s = f64::from(ENGINES) * DRIVES * scenario.schedule.duration_s();
    let (mut pace, mut speed_up) = (0.0_f64, 0.0_f64);
    for round in 1..=ROUNDS {
        let [(one_s, spent_s), (two_s, _)] = [1, 2].map(|jobs| measured(&scenario, jobs));
        writeln!(
            out,
            "round {round}: one core {one_s:.2} s, two cores {two_s:.2} s, {:.2} times as fast",
            one_s / two_s
        )?;
        pace = pace.max(simulated_s / spent_s);
        speed_up = speed_up.max(one_s / two_s);
    }
    writeln!(out, "{pace:.0} simulated seconds per second of processor time")?;
    writeln!(out, "two cores are {speed_up:.2} times as fast as one")
}
