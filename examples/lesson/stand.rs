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
    /// Starts the engine with its truth modified by `change`; it then idles in park.
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

    /// The closed loop of plant and controller.
    pub(crate) fn closed_loop(&self) -> &ClosedLoop {
        self.session.closed_loop()
    }

    /// Driver inputs and dynamometer.
    pub(crate) fn inputs(&mut self) -> &mut DriverInputs {
        self.session.inputs_mut()
    }

    /// Sets the speed of the dynamometer, rpm.
    pub(crate) fn hold_rpm(&mut self, rpm: f64) {
        self.inputs().dyno_rad_per_s = Some(rpm * RPM);
    }

    /// Runs for `seconds` and calls `observe` after each step of 1 ms.
    pub(crate) fn run(&mut self, seconds: f64, mut observe: impl FnMut(&ClosedLoop)) {
        let observer = &mut |now: &Moment<'_>| observe(now.closed_loop);
        self.session.run(Until::After(seconds), observer).expect("it has no faults");
    }
}
