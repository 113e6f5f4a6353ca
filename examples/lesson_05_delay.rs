//! Lesson 5: which gain is stable when the effect of a correction is measured with a delay?
//!
//! A correction that adds a share `K` of the measured error at each sample, with readings that show the correction of `d` samples ago, has
//! the characteristic equation `z^d - z^(d-1) + K = 0`. All roots lie inside the unit circle for `K < 2 sin(pi / (2 (2 d - 1)))`; above this
//! limit the mixture oscillates with growing amplitude. The longer the delay, the lower the gain. A correction that compares each reading with
//! the correction that was applied then has no delay in its loop: it is stable up to `K = 2` for any known delay. Lambda readings have such
//! a delay: the gas has to travel from valve to sensor.

mod lesson;

use lesson::plot::Plot;
use lesson::stand::Stand;
use std::error::Error;
use std::f64::consts::PI;
use std::fmt;
use trimwright_control::Options;

/// Time between two readings, s.
const SAMPLE_S: f64 = 0.02;

pub(crate) struct Answer {
    /// Delay in samples and largest stable gain, without and with known delay.
    pub(crate) unaware: Vec<(usize, f64)>,
    pub(crate) aware: Vec<(usize, f64)>,
    /// Crank speed in rpm and time from intake to sensor of the simulated engine, s, at the same pedal.
    pub(crate) travel_s: Vec<(f64, f64)>,
}

/// Whether an error of 1 decays when a share `gain` of it is corrected at each sample.
fn settles(gain: f64, delay: usize, aware: bool) -> bool {
    let mut applied = vec![0.0; delay];
    for now in delay - 1..4000 {
        let then = applied[now + 1 - delay];
        let read = 1.0 - then;
        // With known delay, the corrections added since then are subtracted.
        let remaining = if aware { read + then - applied[now] } else { read };
        applied.push(applied[now] + gain * remaining);
    }
    applied[3600..].iter().all(|applied| (1.0 - applied).abs() < 0.1)
}

/// The largest stable gain, by bisection.
fn limit(delay: usize, aware: bool) -> f64 {
    let (mut stable, mut unstable) = (0.0, 4.0);
    for _ in 0..12 {
        let middle = 0.5 * (stable + unstable);
        if settles(middle, delay, aware) { stable = middle } else { unstable = middle }
    }
    stable
}

/// Exact limit without known delay.
pub(crate) fn exact_limit(delay: usize) -> f64 {
    2.0 * libm::sin(PI / (2.0 * (2.0 * delay as f64 - 1.0)))
}

/// Travel time of the gas in the simulated engine at this speed, s.
fn travel_s(stand: &mut Stand, rpm: f64) -> f64 {
    stand.hold_rpm(rpm);
    stand.inputs().throttle = 0.08;
    stand.run(5.0, |_| ());
    let view = stand.closed_loop().view();
    view.time_s - view.sensed_intake_s
}

pub(crate) fn answer() -> Answer {
    let limits = |aware| (1..=10).map(|delay| (delay, limit(delay, aware))).collect();
    let mut stand = Stand::start(Options::default(), |_| ());
    let speeds = [800.0, 1200.0, 2000.0, 3000.0];
    let travel_s = speeds.map(|rpm| (rpm, travel_s(&mut stand, rpm))).to_vec();
    Answer { unaware: limits(false), aware: limits(true), travel_s }
}

impl Answer {
    pub(crate) fn plot(&self) -> Plot {
        let points =
            |limits: &[(usize, f64)]| limits.iter().map(|&(delay, k)| (delay as f64, k)).collect::<Vec<_>>();
        let exact = (1..=10).map(|delay| (delay as f64, exact_limit(delay)));
        Plot::new("Largest stable gain per sample", "delay, samples", "gain K")
            .line("theory, delay not known", exact)
            .dots("simulated, delay not known", points(&self.unaware))
            .dots("simulated, delay known", points(&self.aware))
    }
}

impl fmt::Display for Answer {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        for (&(delay, unaware), &(_, aware)) in self.unaware.iter().zip(&self.aware).step_by(3) {
            writeln!(
                f,
                "delay {delay:2} samples: stable below {unaware:.2}, with the delay known below {aware:.2}"
            )?;
        }
        let samples = |seconds: f64| seconds / SAMPLE_S;
        for &(rpm, seconds) in &self.travel_s {
            writeln!(
                f,
                "at {rpm:4.0} rpm the gas takes {seconds:.2} s to the sensor: {:.0} samples",
                samples(seconds)
            )?;
        }
        write!(f, "Knowing the delay matters more than the choice of the gain.")
    }
}

fn main() -> Result<(), Box<dyn Error>> {
    let answer = answer();
    lesson::show("lesson_05_delay", &answer, &answer.plot())
}
