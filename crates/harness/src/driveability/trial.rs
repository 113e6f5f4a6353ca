//! One engine at one temperature, its hands, and what its events showed.

use trimwright_control::{Calibration, Controller, LearnedMap};
use trimwright_plant::{DriverInputs, Key, Plant};

use crate::closed_loop::{ClosedLoop, STEP_S};
use crate::run_error::RunError;
use crate::scenario::Scenario;
use crate::starting::{Catch, STALLED_RAD_PER_S};

/// Zero degrees Celsius, K: ISO 80000-5.
pub(super) const ZERO_DEGC_K: f64 = 273.15;
/// Revolutions a minute in a radian a second.
const RPM_PER_RAD_PER_S: f64 = 30.0 / core::f64::consts::PI;
/// Ignition on before cranking, s.
const PRIME_S: f64 = 2.0;
/// Longest cranking, s.
const LONGEST_CRANKING_S: f64 = 10.0;
/// Under-bonnet air of a hot engine, degC at most: engineering judgement.
const BONNET_DEGC: f64 = 45.0;

/// What is tried.
pub(super) struct Car<'a> {
    pub(super) scenario: &'a Scenario,
    pub(super) calibration: &'a Calibration,
    pub(super) learned: &'a LearnedMap,
}

/// An engine being tried.
pub(super) struct Trial {
    pub(super) closed_loop: ClosedLoop,
    pub(super) hands: DriverInputs,
    /// Times it died after it had caught.
    pub(super) stalls: u32,
    catch: Catch,
    runs: bool,
}

/// One moment of a trial.
pub(super) struct Moment<'a> {
    /// Speed over the speed that idle control wants.
    pub(super) over_rpm: f64,
    /// Mixture errors of the events of this step.
    pub(super) errors: &'a [f64],
    pub(super) closed_loop: &'a ClosedLoop,
}

impl Trial {
    /// The car with engine, and in the cold the weather, at this temperature.
    pub(super) fn new(car: &Car<'_>, calibration: &Calibration, degc: f64) -> Result<Self, RunError> {
        let mut truth = car.scenario.truth.clone();
        let ambient = &mut truth.ambient;
        ambient.sea_level_k = ambient.sea_level_k.min(ZERO_DEGC_K + degc);
        (truth.thermal.start_k, truth.thermal.start_bonnet_k) =
            (ZERO_DEGC_K + degc, ZERO_DEGC_K + degc.min(BONNET_DEGC));
        let plant = Plant::new(truth, car.scenario.seed)?;
        let controller = Controller::new(calibration.clone()).with_learned(car.learned.clone());
        let hands = DriverInputs { key: Key::On, ..DriverInputs::default() };
        Ok(Self {
            closed_loop: ClosedLoop::new(plant, controller),
            hands,
            stalls: 0,
            catch: Catch::default(),
            runs: false,
        })
    }

    /// Primes and cranks; how long the starter turned until the engine caught, s, if it did.
    pub(super) fn start(&mut self) -> Option<f64> {
        self.hands.key = Key::On;
        self.run(PRIME_S, |_| ());
        self.hands.key = Key::Start;
        let mut cranked_s = 0.0;
        while !self.runs && cranked_s < LONGEST_CRANKING_S {
            self.run(STEP_S, |_| ());
            cranked_s += STEP_S;
        }
        self.hands.key = Key::On;
        self.runs.then_some(cranked_s)
    }

    /// A started engine that has idled for so long.
    pub(super) fn idling(
        car: &Car<'_>,
        calibration: &Calibration,
        degc: f64,
        seconds: f64,
    ) -> Result<Self, RunError> {
        let mut trial = Self::new(car, calibration, degc)?;
        trial.start();
        trial.run(seconds, |_| ());
        Ok(trial)
    }

    /// Lets time pass.
    pub(super) fn run(&mut self, seconds: f64, mut look: impl FnMut(&Moment<'_>)) {
        for _ in 0..(seconds / STEP_S).round() as u64 {
            self.closed_loop.step(&self.hands);
            let speed = self.closed_loop.view().speed_rad_per_s;
            let (ran, caught) = (self.runs, self.catch.step(speed, STEP_S));
            self.runs = if ran { speed > STALLED_RAD_PER_S } else { caught };
            self.stalls += u32::from(ran && !self.runs);
            let state = self.closed_loop.controller().state();
            let wanted_ln = libm::log(f64::from(state.insight().wanted_lambda));
            let burns = state.phase().phase().burns();
            let mut errors = [0.0; trimwright_plant::MAX_EVENTS];
            let mut count = 0;
            for event in self.closed_loop.plant().events().iter().filter(|event| burns && event.fuel_kg > 0.0)
            {
                errors[count] = libm::log(event.lambda) - wanted_ln;
                count += 1;
            }
            let over_rpm = (speed - f64::from(state.idle().target_rad_per_s())) * RPM_PER_RAD_PER_S;
            look(&Moment { over_rpm, errors: &errors[..count], closed_loop: &self.closed_loop });
        }
    }

    /// Mean mixture error over so long; NaN without any event.
    pub(super) fn mean_error(&mut self, seconds: f64) -> f64 {
        let (mut sum, mut count) = (0.0, 0_u32);
        self.run(seconds, |moment| {
            sum += moment.errors.iter().sum::<f64>();
            count += moment.errors.len() as u32;
        });
        sum / f64::from(count)
    }
}
