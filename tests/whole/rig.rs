//! A shipped car with controller and driver.

use trimwright_harness::closed_loop::STEP_S;
use trimwright_harness::scenario::Scenario;
use trimwright_harness::schedule::Schedule;
use trimwright_harness::session::{Session, SessionBuilder, Until};
use trimwright_plant::{Balances, Plant, View};

/// 1 rpm in rad/s.
pub(crate) const RPM: f64 = core::f64::consts::PI / 30.0;
/// Angle of a working cycle of a four-stroke engine, rad.
const CYCLE_RAD: f64 = 2.0 * core::f64::consts::TAU;

/// Drives a schedule.
pub(crate) struct Rig {
    session: Session,
}

impl Rig {
    /// A shipped scenario.
    pub(crate) fn shipped(name: &str) -> Self {
        Self::of(Scenario::load(name).expect("it is shipped"), STEP_S)
    }

    /// Its car on another schedule, given as a table.
    pub(crate) fn on(name: &str, table: &str) -> Self {
        let scenario = Scenario::load(name).expect("it is shipped");
        let schedule = Schedule::parse("test", "test.csv", table).expect("a schedule");
        Self::of(Scenario { schedule, ..scenario }, STEP_S)
    }

    /// A scenario, without its faults, with a length of the step.
    pub(crate) fn of(scenario: Scenario, step_s: f64) -> Self {
        let scenario = Scenario { faults: Vec::new(), ..scenario };
        Self { session: SessionBuilder::new(scenario).with_step(step_s).build().expect("it was checked") }
    }

    /// Runs until a time of the schedule, s.
    pub(crate) fn run_to(&mut self, time_s: f64) {
        self.session.run(Until::After(time_s - self.time_s()), &mut ()).expect("it has no faults");
    }

    /// Runs to the end of the schedule.
    pub(crate) fn run_all(&mut self) {
        self.run_to(self.duration_s());
    }

    /// Duration of the schedule, s.
    pub(crate) fn duration_s(&self) -> f64 {
        self.session.scenario().schedule.duration_s()
    }

    pub(crate) fn time_s(&self) -> f64 {
        self.session.closed_loop().time_s()
    }

    pub(crate) fn view(&self) -> View {
        self.session.closed_loop().view()
    }

    pub(crate) fn balances(&self) -> Balances {
        self.session.closed_loop().plant().balances()
    }

    pub(crate) fn plant(&self) -> &Plant {
        self.session.closed_loop().plant()
    }

    pub(crate) fn stalls(&self) -> u32 {
        self.session.starting().stalls()
    }

    /// Mean effective pressure, Pa, and specific consumption, g/kWh, over `seconds` on a dynamometer.
    pub(crate) fn pull(&mut self, seconds: f64) -> Pull {
        let (before, from_s) = (self.balances(), self.time_s());
        let speed_rad_per_s = self.view().speed_rad_per_s;
        self.run_to(from_s + seconds);
        let after = self.balances();
        let work_j = after.load_j - before.load_j;
        let cycles = 0.5 * (speed_rad_per_s + self.view().speed_rad_per_s) * seconds / CYCLE_RAD;
        Pull {
            rpm: self.view().speed_rad_per_s / RPM,
            bmep_pa: work_j / cycles / self.plant().truth().engine.displacement_m3,
            bsfc_g_per_kwh: (after.fuel_drawn_kg - before.fuel_drawn_kg) / work_j * 3.6e9,
        }
    }
}

/// Result of a measurement on a dynamometer.
#[derive(Clone, Copy, Debug)]
pub(crate) struct Pull {
    pub(crate) rpm: f64,
    pub(crate) bmep_pa: f64,
    pub(crate) bsfc_g_per_kwh: f64,
}
