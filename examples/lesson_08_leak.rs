//! Lesson 8: what does a leak before the oxygen sensor do to an engine that trusts the sensor?
//!
//! The sensor counts oxygen. Air that a leaking gasket lets into the exhaust has not been in a cylinder, but reads like lean mixture: with
//! `a` kg/s of it beside `e` kg/s of air through the engine's bank the reading is `1 + a / e` times the truth (mass balance). Feedback makes
//! the reading right, and so the engine rich by just that. It matters at idle, where `e` is small; with more flow the pulses suck in
//! less, too. The sensor cannot know; the crank can: near lambda 1 a little more fuel makes the engine pull harder, in a rich one
//! it does not.
//! Exhaust gas is poisonous: a leak in a real exhaust is to be mended, not tuned around.

mod lesson;

use lesson::plot::Plot;
use lesson::stand::Stand;
use std::error::Error;
use std::fmt;
use trimwright_control::Options;
use trimwright_plant::View;

/// An idling engine with a leak.
pub(crate) struct Idle {
    pub(crate) leak_kg_per_s: f64,
    pub(crate) air_kg_per_s: f64,
    /// Means over half a minute: at the sensor, and of the cylinders.
    pub(crate) read: f64,
    pub(crate) burned: f64,
}

pub(crate) struct Answer {
    pub(crate) idles: Vec<Idle>,
    /// Whether the self-check found the leak, and whether it suspected a sound engine, in half an hour of idling.
    pub(crate) found: bool,
    pub(crate) suspected: bool,
}

/// Exhaust flow at which the leak in the simulated pipe takes in no air any more, kg/s.
const NO_LEAK_KG_PER_S: f64 = 0.06;

/// Starts the engine with this leak.
fn leaking(leak_kg_per_s: f64, self_check: bool) -> Stand {
    let options = Options { self_check, ..Options::default() };
    Stand::start(options, |truth| truth.faults.exhaust_leak_kg_per_s = leak_kg_per_s)
}

fn idle(leak_kg_per_s: f64) -> Idle {
    let mut stand = leaking(leak_kg_per_s, false);
    stand.run(120.0, |_| ());
    let (mut sums, mut events, mut steps) = ((0.0, 0.0, 0.0), 0.0, 0.0);
    stand.run(30.0, |wired| {
        let View { engine_kg_per_s, exhaust_lambda, .. } = wired.view();
        sums = (sums.0 + engine_kg_per_s, sums.1 + exhaust_lambda, sums.2);
        steps += 1.0;
        for event in wired.plant().events() {
            sums.2 += event.lambda;
            events += 1.0;
        }
    });
    Idle { leak_kg_per_s, air_kg_per_s: sums.0 / steps, read: sums.1 / steps, burned: sums.2 / events }
}

/// Whether the self-check says that air enters before the sensor.
fn suspects(leak_kg_per_s: f64) -> bool {
    let mut stand = leaking(leak_kg_per_s, true);
    stand.run(1800.0, |_| ());
    stand.wired().controller().state().self_check().upstream_air_kg_per_s() > 0.0
}

pub(crate) fn answer() -> Answer {
    let leaks = [0.0, 1.5e-4, 3e-4, 4.5e-4, 6e-4];
    Answer { idles: leaks.map(idle).into(), found: suspects(6e-4), suspected: suspects(0.0) }
}

impl Idle {
    /// What a mass balance says of reading over truth.
    pub(crate) fn balance(&self) -> f64 {
        let bank_kg_per_s = 0.5 * self.air_kg_per_s;
        1.0 + self.leak_kg_per_s * (1.0 - self.air_kg_per_s / NO_LEAK_KG_PER_S) / bank_kg_per_s
    }
}

impl Answer {
    pub(crate) fn plot(&self) -> Plot {
        let at = |pick: fn(&Idle) -> f64| {
            self.idles.iter().map(move |idle| (idle.leak_kg_per_s * 1e3, pick(idle)))
        };
        Plot::new("An idling engine with feedback and a leak before the sensor", "leak, g/s", "lambda")
            .line("as read", at(|idle| idle.read))
            .dots("as burned", at(|idle| idle.burned))
            .dashes("as read, over 1 + a / e", at(|idle| idle.read / idle.balance()))
    }
}

impl fmt::Display for Answer {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        for Idle { leak_kg_per_s, air_kg_per_s, read, burned } in &self.idles {
            let [leak_g, air_g] = [leak_kg_per_s, air_kg_per_s].map(|kg_per_s| kg_per_s * 1e3);
            writeln!(f, "leak {leak_g:.2} g/s, engine {air_g:.1} g/s: reads {read:.3}, burns {burned:.3}")?;
        }
        let say = |suspects| if suspects { "says so" } else { "does not say so" };
        let (found, suspected) = (say(self.found), say(self.suspected));
        write!(
            f,
            "Asked whether air enters before the sensor, the crank {found}; of a sound engine it {suspected}."
        )
    }
}

fn main() -> Result<(), Box<dyn Error>> {
    let answer = answer();
    lesson::show("lesson_08_leak", &answer, &answer.plot())
}
