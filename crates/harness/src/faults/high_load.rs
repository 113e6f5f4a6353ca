//! True mixture at high load, where a lean mixture damages the engine.

use crate::closed_loop::ClosedLoop;
use crate::units::RPM_PER_RAD_PER_S;
use serde::Serialize;

/// Manifold over ambient pressure that counts as high load: as in the controller's lean guard.
const LOAD: f64 = 0.85;
/// Speed above which the engine counts as running, rpm (engineering judgement): one that is cranked takes whole charges without load.
pub(super) const RUNS_RPM: f64 = 300.0;
/// Lambda above which the mixture is lean there; peak power is at 0.87 (engineering judgement).
const LEAN: f64 = 1.0;
/// Lambda above which nothing burns (engineering judgement).
const BURNS: f64 = 1.6;
/// Longest lean period without damage, s (engineering judgement).
pub const LEAN_S: f64 = 1.0;
/// Share of knocking charges that damages the engine (engineering judgement).
const KNOCKS: f64 = 0.05;
/// Pause between charges that ends a lean period, s.
const APART_S: f64 = 0.5;

/// True mixture and knock at high load.
///
/// ```
/// use trimwright_harness::faults::examination::experience;
/// use trimwright_harness::{scenario::Scenario, schedule::Schedule};
/// let pull = "time [s],speed [km/h]\n0,0\n20,0\n25,120\n40,120\n";
/// let schedule = Schedule::parse("pull", "pull.csv", pull)?;
/// let van = Scenario { schedule, ..Scenario::load("delivery-van")? };
/// let high_load = experience(&van, 40.0, &mut |_| ())?.high_load;
/// assert!(high_load.time_s > 5.0 && high_load.mean_lambda < 1.0, "full throttle is fed rich");
/// # Ok::<(), Box<dyn std::error::Error>>(())
/// ```
#[derive(Clone, Debug, Default, PartialEq, Serialize)]
pub struct HighLoad {
    /// Time with fuel at high load, s.
    pub time_s: f64,
    /// Mean lambda at high load.
    pub mean_lambda: f64,
    /// Lean time at high load, s.
    pub lean_s: f64,
    /// Longest lean period at high load, s.
    pub longest_lean_s: f64,
    /// Share of charges at high load that knocked.
    pub knocks: f64,
    #[serde(skip)]
    sums: HighLoadSums,
}

/// Sums behind the figures.
#[derive(Clone, Debug, Default, PartialEq)]
struct HighLoadSums {
    charges: f64,
    knocks: f64,
    lambda_s: f64,
    stretch_s: f64,
    last_s: f64,
    last_loaded_s: f64,
}

/// Kind of engine damage.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize)]
#[serde(rename_all = "snake_case")]
pub enum Danger {
    /// No high load was reached.
    NotReached,
    /// No damage.
    No,
    /// Lean at high load for longer than [`LEAN_S`].
    Lean,
    /// Too many knocking charges.
    Knocks,
}

impl Danger {
    /// Word for tables.
    pub const fn words(self) -> &'static str {
        match self {
            Self::NotReached => "no high load",
            Self::No => "no",
            Self::Lean => "LEAN",
            Self::Knocks => "KNOCKS",
        }
    }
}

impl HighLoad {
    /// Adds the charges of the last step.
    pub(super) fn sample(&mut self, closed_loop: &ClosedLoop) {
        for event in closed_loop.plant().events() {
            let span_s = (event.time_s - self.sums.last_s).min(APART_S);
            self.sums.last_s = event.time_s;
            let view = closed_loop.view();
            let runs = view.speed_rad_per_s * RPM_PER_RAD_PER_S > RUNS_RPM;
            if !runs || event.map_pa < LOAD * view.ambient_pa || event.fuel_kg <= 0.0 || event.lambda > BURNS
            {
                continue;
            }
            self.sums.charges += 1.0;
            self.sums.knocks += f64::from(u8::from(view.knock_index > 1.0));
            self.time_s += span_s;
            self.sums.lambda_s += span_s * event.lambda;
            if event.time_s - self.sums.last_loaded_s > APART_S {
                self.sums.stretch_s = 0.0;
            }
            self.sums.last_loaded_s = event.time_s;
            self.sums.stretch_s = if event.lambda > LEAN { self.sums.stretch_s + span_s } else { 0.0 };
            self.lean_s += if event.lambda > LEAN { span_s } else { 0.0 };
            self.longest_lean_s = self.longest_lean_s.max(self.sums.stretch_s);
            self.mean_lambda = self.sums.lambda_s / self.time_s;
            self.knocks = self.sums.knocks / self.sums.charges;
        }
    }

    /// Evaluates whether the engine would have been damaged.
    pub fn danger(&self) -> Danger {
        if self.time_s < LEAN_S {
            Danger::NotReached
        } else if self.longest_lean_s > LEAN_S {
            Danger::Lean
        } else if self.knocks > KNOCKS {
            Danger::Knocks
        } else {
            Danger::No
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::scenario::Scenario;
    use crate::session::{Moment, SessionBuilder, Until};
    use trimwright_plant::CylinderEvent;

    /// Up to the start of a cold engine, which is fed whole charges for two seconds.
    #[test]
    fn a_cranked_engine_is_under_no_load() {
        let scenario = Scenario::load("cold-morning").expect("shipped");
        let mut session = SessionBuilder::new(scenario).build().expect("in range");
        let (mut high_load, mut charges) = (HighLoad::default(), 0);
        session
            .run(Until::After(8.0), &mut |now: &Moment<'_>| {
                let view = now.closed_loop.view();
                if charges == 0 || view.speed_rad_per_s * RPM_PER_RAD_PER_S < RUNS_RPM {
                    let whole =
                        |event: &&CylinderEvent| event.map_pa > LOAD * view.ambient_pa && event.fuel_kg > 0.0;
                    charges += now.closed_loop.plant().events().iter().filter(whole).count();
                    high_load.sample(now.closed_loop);
                }
            })
            .expect("a drive");
        assert!(charges > 5, "{charges}");
        assert_eq!(high_load, HighLoad { sums: high_load.sums.clone(), ..HighLoad::default() });
    }

    #[test]
    fn danger_follows_the_figures() {
        let of = |time_s, longest_lean_s, knocks| {
            HighLoad { time_s, longest_lean_s, knocks, ..HighLoad::default() }.danger()
        };
        assert_eq!(of(0.2, 0.0, 0.0), Danger::NotReached);
        assert_eq!(of(30.0, 0.4, 0.01), Danger::No);
        assert_eq!(of(30.0, 1.4, 0.01), Danger::Lean);
        assert_eq!(of(30.0, 0.4, 0.2), Danger::Knocks);
    }
}
