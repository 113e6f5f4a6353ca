//! Lesson 8: what does an air leak upstream of the oxygen sensor do to the mixture?
//!
//! The sensor measures oxygen. Air that enters the exhaust through a leaking gasket reads like a lean mixture: with `a` kg/s of leak air and
//! `e` kg/s of air through the engine's bank the reading is `1 + a / e` times the true lambda (mass balance). Feedback corrects the reading, so
//! the engine runs rich by this factor. The effect is large at idle, where `e` is small; with more flow the leak also draws less air. The
//! sensor cannot detect it, but the crank speed can: near lambda 1 additional fuel increases torque, in a rich engine it does not.
//! Exhaust gas is poisonous: repair a leak in a real exhaust, do not tune around it.

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
    /// Mean lambda over 30 s: at the sensor, and of the cylinder charges.
    pub(crate) measured: f64,
    pub(crate) burned: f64,
}

pub(crate) struct Answer {
    pub(crate) idles: Vec<Idle>,
    /// Whether the self-check detected the leak, and whether it had a false alarm on a fault-free engine, in 30 min of idling.
    pub(crate) detected: bool,
    pub(crate) false_alarm: bool,
}

/// Exhaust flow above which the leak of the simulated pipe draws no air, kg/s.
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
    stand.run(30.0, |closed_loop| {
        let View { engine_kg_per_s, exhaust_lambda, .. } = closed_loop.view();
        sums = (sums.0 + engine_kg_per_s, sums.1 + exhaust_lambda, sums.2);
        steps += 1.0;
        for event in closed_loop.plant().events() {
            sums.2 += event.lambda;
            events += 1.0;
        }
    });
    Idle { leak_kg_per_s, air_kg_per_s: sums.0 / steps, measured: sums.1 / steps, burned: sums.2 / events }
}

/// Whether the self-check detects an upstream air leak.
fn detects(leak_kg_per_s: f64) -> bool {
    let mut stand = leaking(leak_kg_per_s, true);
    stand.run(1800.0, |_| ());
    stand.closed_loop().controller().state().self_check().upstream_air_kg_per_s() > 0.0
}

pub(crate) fn answer() -> Answer {
    let leaks = [0.0, 1.5e-4, 3e-4, 4.5e-4, 6e-4];
    Answer { idles: leaks.map(idle).into(), detected: detects(6e-4), false_alarm: detects(0.0) }
}

impl Idle {
    /// Measured / true lambda by mass balance.
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
        Plot::new("An idling engine with feedback and an upstream leak", "leak, g/s", "lambda")
            .line("measured", at(|idle| idle.measured))
            .dots("true", at(|idle| idle.burned))
            .dashes("measured / (1 + a / e)", at(|idle| idle.measured / idle.balance()))
    }
}

impl fmt::Display for Answer {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        for Idle { leak_kg_per_s, air_kg_per_s, measured, burned } in &self.idles {
            let [leak_g, air_g] = [leak_kg_per_s, air_kg_per_s].map(|kg_per_s| kg_per_s * 1e3);
            writeln!(
                f,
                "leak {leak_g:.2} g/s, engine {air_g:.1} g/s: measured lambda {measured:.3}, true lambda {burned:.3}"
            )?;
        }
        let say = |detected| if detected { "detects it" } else { "reports no leak" };
        let (leaking, fault_free) = (say(self.detected), say(self.false_alarm));
        write!(f, "With the leak the self-check {leaking}; on a fault-free engine it {fault_free}.")
    }
}

fn main() -> Result<(), Box<dyn Error>> {
    let answer = answer();
    lesson::show("lesson_08_leak", &answer, &answer.plot())
}
