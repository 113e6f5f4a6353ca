//! Lesson 5: how hard may a correction push when its effect is seen late?
//!
//! A correction that adds a part `K` of the error it reads, look by look, while each reading shows the correction of `d` looks ago,
//! obeys `z^d - z^(d-1) + K = 0`. All its roots lie inside the unit circle for `K < 2 sin(pi / (2 (2 d - 1)))`: beyond that the mixture
//! swings for ever, wider and wider. The later the answer, the more patient the correction has to be. One that remembers what it
//! did, and compares each reading with the correction that made it, has no delay left in its loop: it is stable to `K = 2` at any
//! delay, as long as it knows the delay. Each lambda reading is such a late answer: the gas has to travel from valve to sensor.

mod lesson;

use lesson::plot::Plot;
use lesson::stand::Stand;
use std::error::Error;
use std::f64::consts::PI;
use std::fmt;
use trimwright_control::Options;

/// Time between two readings, s.
const LOOK_S: f64 = 0.02;

pub(crate) struct Answer {
    /// Delay in looks and largest stable part, ignorant of the delay and aware of it.
    pub(crate) ignorant: Vec<(usize, f64)>,
    pub(crate) aware: Vec<(usize, f64)>,
    /// Crank speed in rpm and time from intake to sensor of the simulated engine, s, at the same pedal.
    pub(crate) travel_s: Vec<(f64, f64)>,
}

/// Whether an error of 1 dies away when a part `gain` of it is corrected at each look.
fn settles(gain: f64, delay: usize, aware: bool) -> bool {
    let mut applied = vec![0.0; delay];
    for now in delay - 1..4000 {
        let then = applied[now + 1 - delay];
        let read = 1.0 - then;
        // One that knows the delay takes off what it has already added since then.
        let lacking = if aware { read + then - applied[now] } else { read };
        applied.push(applied[now] + gain * lacking);
    }
    applied[3600..].iter().all(|applied| (1.0 - applied).abs() < 0.1)
}

/// The largest part that still settles, by halving.
fn limit(delay: usize, aware: bool) -> f64 {
    let (mut calm, mut wild) = (0.0, 4.0);
    for _ in 0..12 {
        let middle = 0.5 * (calm + wild);
        if settles(middle, delay, aware) { calm = middle } else { wild = middle }
    }
    calm
}

/// What theory says of a correction that does not know the delay.
pub(crate) fn exact_limit(delay: usize) -> f64 {
    2.0 * libm::sin(PI / (2.0 * (2.0 * delay as f64 - 1.0)))
}

/// How long the gas travels in the simulated engine at this speed, s.
fn travel_s(stand: &mut Stand, rpm: f64) -> f64 {
    stand.hold_rpm(rpm);
    stand.inputs().throttle = 0.08;
    stand.run(5.0, |_| ());
    let view = stand.wired().view();
    view.time_s - view.sensed_intake_s
}

pub(crate) fn answer() -> Answer {
    let limits = |aware| (1..=10).map(|delay| (delay, limit(delay, aware))).collect();
    let mut stand = Stand::start(Options::default(), |_| ());
    let speeds = [800.0, 1200.0, 2000.0, 3000.0];
    let travel_s = speeds.map(|rpm| (rpm, travel_s(&mut stand, rpm))).to_vec();
    Answer { ignorant: limits(false), aware: limits(true), travel_s }
}

impl Answer {
    pub(crate) fn plot(&self) -> Plot {
        let points =
            |limits: &[(usize, f64)]| limits.iter().map(|&(delay, k)| (delay as f64, k)).collect::<Vec<_>>();
        let exact = (1..=10).map(|delay| (delay as f64, exact_limit(delay)));
        Plot::new("The largest part of an error that may be corrected at each look", "delay, looks", "part K")
            .line("theory, delay not known", exact)
            .dots("tried, delay not known", points(&self.ignorant))
            .dots("tried, delay known", points(&self.aware))
    }
}

impl fmt::Display for Answer {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        for (&(delay, ignorant), &(_, aware)) in self.ignorant.iter().zip(&self.aware).step_by(3) {
            writeln!(
                f,
                "delay {delay:2} looks: stable below {ignorant:.2}, with the delay known below {aware:.2}"
            )?;
        }
        let looks = |seconds: f64| seconds / LOOK_S;
        for &(rpm, seconds) in &self.travel_s {
            writeln!(
                f,
                "at {rpm:4.0} rpm the gas takes {seconds:.2} s to the sensor: {:.0} looks",
                looks(seconds)
            )?;
        }
        write!(f, "Knowing the delay is worth more than any choice of gain.")
    }
}

fn main() -> Result<(), Box<dyn Error>> {
    let answer = answer();
    lesson::show("lesson_05_delay", &answer, &answer.plot())
}
