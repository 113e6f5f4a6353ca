//! An engine on a dynamometer, with the controller wired to it.

use super::RPM;
use trimwright_control::Options;
use trimwright_harness::closed_loop::ClosedLoop;
use trimwright_harness::scenario::Scenario;
use trimwright_harness::session::{Moment, Session, SessionBuilder, Until};
use trimwright_plant::{DriverInputs, Key, Truth};

/// The default van's engine, warm and running.
pub(crate) struct Stand {
    session: Session,
}

impl Stand {
    /// Starts the engine, with its truth changed as `change` says; then it idles with the gearbox in park.
    pub(crate) fn start(options: Options, change: impl FnOnce(&mut Truth)) -> Self {
        let mut scenario = Scenario::load("delivery-van").expect("it is shipped");
        (scenario.truth.thermal.start_k, scenario.truth.thermal.start_bonnet_k) = (358.0, 310.0);
        change(&mut scenario.truth);
        let session = SessionBuilder::new(scenario).with_options(options).by_hand().build();
        let mut stand = Self { session: session.expect("a truth within its ranges") };
        for (key, seconds) in [(Key::On, 2.0), (Key::Start, 1.5), (Key::On, 10.0)] {
            stand.inputs().key = key;
            stand.run(seconds, |_| ());
        }
        stand
    }

    /// Plant and controller.
    pub(crate) fn wired(&self) -> &ClosedLoop {
        self.session.closed_loop()
    }

    /// What is done with the engine.
    pub(crate) fn inputs(&mut self) -> &mut DriverInputs {
        self.session.inputs_mut()
    }

    /// Lets the dynamometer hold this speed.
    pub(crate) fn hold_rpm(&mut self, rpm: f64) {
        self.inputs().dyno_rad_per_s = Some(rpm * RPM);
    }

    /// Runs for so long and looks after each step of a millisecond.
    pub(crate) fn run(&mut self, seconds: f64, mut look: impl FnMut(&ClosedLoop)) {
        let observer = &mut |now: &Moment<'_>| look(now.closed_loop);
        self.session.run(Until::After(seconds), observer).expect("it has no faults");
    }
}
