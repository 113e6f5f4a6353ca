//! An engine on a dynamometer, with the controller wired to it.

use super::RPM;
use trimwright_control::{Controller, Options};
use trimwright_harness::closed_loop::{ClosedLoop, STEP_S};
use trimwright_harness::scenario::Scenario;
use trimwright_plant::{DriverInputs, Key, Plant, Truth};

/// The default van's engine, warm and running.
pub(crate) struct Stand {
    pub(crate) wired: ClosedLoop,
    pub(crate) inputs: DriverInputs,
}

impl Stand {
    /// Starts the engine, with its truth changed as `change` says; then it idles with the gearbox in park.
    pub(crate) fn start(options: Options, change: impl FnOnce(&mut Truth)) -> Self {
        let scenario = Scenario::load("delivery-van").expect("it is shipped");
        let mut truth = scenario.truth.clone();
        (truth.thermal.start_k, truth.thermal.start_bonnet_k) = (358.0, 310.0);
        change(&mut truth);
        let calibration = scenario.calibration().expect("they were checked");
        let controller = Controller::new(calibration.with_options(options));
        let plant = Plant::new(truth, scenario.seed).expect("a truth within its ranges");
        let mut stand = Self { wired: ClosedLoop::new(plant, controller), inputs: DriverInputs::default() };
        for (key, seconds) in [(Key::On, 2.0), (Key::Start, 1.5), (Key::On, 10.0)] {
            stand.inputs.key = key;
            stand.run(seconds, |_| ());
        }
        stand
    }

    /// Lets the dynamometer hold this speed.
    pub(crate) fn hold_rpm(&mut self, rpm: f64) {
        self.inputs.dyno_rad_per_s = Some(rpm * RPM);
    }

    /// Runs for so long and looks after each step of a millisecond.
    pub(crate) fn run(&mut self, seconds: f64, mut look: impl FnMut(&ClosedLoop)) {
        for _ in 0..(seconds / STEP_S) as u64 {
            self.wired.step(&self.inputs);
            look(&self.wired);
        }
    }
}
