//! One engine at one temperature, its driver inputs, and measurements of its events.

use trimwright_control::{Calibration, LearnedMap};
use trimwright_plant::{DriverInputs, Key};

use crate::closed_loop::{ClosedLoop, STEP_S};
use crate::run_error::RunError;
use crate::scenario::Scenario;
use crate::session::{Moment, Session, SessionBuilder, Until};
use crate::starting::{STALLED_RAD_PER_S, StartDetection};
use crate::units::RPM_PER_RAD_PER_S;

/// Zero degrees Celsius, K: ISO 80000-5.
pub(super) const ZERO_DEGC_K: f64 = 273.15;
/// Ignition on before cranking, s.
const PRIME_S: f64 = 2.0;
/// Longest cranking, s.
const LONGEST_CRANKING_S: f64 = 10.0;
/// Highest under-bonnet air temperature of a hot engine, degC: engineering judgement.
const BONNET_DEGC: f64 = 45.0;

/// Car under trial.
pub(super) struct TrialCar<'a> {
    pub(super) scenario: &'a Scenario,
    pub(super) calibration: &'a Calibration,
    pub(super) learned: &'a LearnedMap,
}

/// A running trial.
pub(super) struct Trial {
    session: Session,
    /// Stalls after the engine had started.
    pub(super) stalls: u32,
    start_detection: StartDetection,
    runs: bool,
}

/// State of one step of a trial.
pub(super) struct TrialMoment<'a> {
    /// Speed minus target idle speed, rpm.
    pub(super) over_rpm: f64,
    /// Mixture errors of the cylinder events of this step, ln.
    pub(super) errors: &'a [f64],
    pub(super) closed_loop: &'a ClosedLoop,
}

impl Trial {
    /// The car with the engine, and in the cold the ambient air, at this temperature.
    pub(super) fn new(car: &TrialCar<'_>, calibration: &Calibration, degc: f64) -> Result<Self, RunError> {
        let mut truth = car.scenario.truth.clone();
        let ambient = &mut truth.ambient;
        ambient.sea_level_k = ambient.sea_level_k.min(ZERO_DEGC_K + degc);
        (truth.thermal.start_k, truth.thermal.start_bonnet_k) =
            (ZERO_DEGC_K + degc, ZERO_DEGC_K + degc.min(BONNET_DEGC));
        let scenario = Scenario { truth, faults: Vec::new(), ..car.scenario.clone() };
        let session = SessionBuilder::new(scenario)
            .with_calibration(calibration.clone())
            .with_learned(car.learned.clone())
            .by_hand()
            .build()?;
        let mut trial = Self { session, stalls: 0, start_detection: StartDetection::default(), runs: false };
        trial.inputs().key = Key::On;
        Ok(trial)
    }

    pub(super) fn closed_loop(&self) -> &ClosedLoop {
        self.session.closed_loop()
    }

    pub(super) fn inputs(&mut self) -> &mut DriverInputs {
        self.session.inputs_mut()
    }

    /// Primes and cranks; returns the cranking time until the engine ran, s, if it did.
    pub(super) fn start(&mut self) -> Option<f64> {
        self.inputs().key = Key::On;
        self.run(PRIME_S, |_| ());
        self.inputs().key = Key::Start;
        let mut cranked_s = 0.0;
        while !self.runs && cranked_s < LONGEST_CRANKING_S {
            self.run(STEP_S, |_| ());
            cranked_s += STEP_S;
        }
        self.inputs().key = Key::On;
        self.runs.then_some(cranked_s)
    }

    /// A started engine that has idled for `seconds`.
    pub(super) fn idling(
        car: &TrialCar<'_>,
        calibration: &Calibration,
        degc: f64,
        seconds: f64,
    ) -> Result<Self, RunError> {
        let mut trial = Self::new(car, calibration, degc)?;
        trial.start();
        trial.run(seconds, |_| ());
        Ok(trial)
    }

    /// Runs for `seconds` and calls `observe` each step.
    pub(super) fn run(&mut self, seconds: f64, mut observe: impl FnMut(&TrialMoment<'_>)) {
        let Self { session, stalls, start_detection, runs } = self;
        let observer = &mut |now: &Moment<'_>| {
            let closed_loop = now.closed_loop;
            let speed = closed_loop.view().speed_rad_per_s;
            let (ran, caught) = (*runs, start_detection.step(speed, STEP_S));
            *runs = if ran { speed > STALLED_RAD_PER_S } else { caught };
            *stalls += u32::from(ran && !*runs);
            let state = closed_loop.controller().state();
            let wanted_ln = libm::log(f64::from(state.insight().wanted_lambda));
            let burns = state.phase().phase().burns();
            let mut errors = [0.0; trimwright_plant::MAX_EVENTS];
            let mut count = 0;
            for event in closed_loop.plant().events().iter().filter(|event| burns && event.fuel_kg > 0.0) {
                errors[count] = libm::log(event.lambda) - wanted_ln;
                count += 1;
            }
            let over_rpm = (speed - f64::from(state.idle().target_rad_per_s())) * RPM_PER_RAD_PER_S;
            observe(&TrialMoment { over_rpm, errors: &errors[..count], closed_loop });
        };
        session.run(Until::After(seconds), observer).expect("without faults nothing leaves its range");
    }

    /// Mean mixture error over `seconds`, ln; NaN without any event.
    pub(super) fn mean_error(&mut self, seconds: f64) -> f64 {
        let (mut sum, mut count) = (0.0, 0_u32);
        self.run(seconds, |moment| {
            sum += moment.errors.iter().sum::<f64>();
            count += moment.errors.len() as u32;
        });
        sum / f64::from(count)
    }
}
