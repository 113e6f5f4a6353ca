//! An engine on a test bench, and its measurements.

use trimwright_control::{Calibration, Controller, Options};
use trimwright_harness::closed_loop::{ClosedLoop, STEP_S};
use trimwright_plant::{DriverInputs, Key, Plant, Truth};

/// Zero degrees Celsius, K: ISO 80000-5.
pub(crate) const ZERO_DEGC_K: f64 = 273.15;
/// Radians a second in a revolution a minute.
pub(crate) const RPM: f64 = std::f64::consts::PI / 30.0;

const HOT_DEGC: f64 = 88.0;
/// Under-bonnet air of a hot engine, degC at most.
const BONNET_DEGC: f64 = 45.0;
const PRIMING_S: f64 = 2.0;
const LONGEST_CRANKING_S: f64 = 6.0;
/// Speed at which cranking ends, rad/s.
const CAUGHT_RAD_PER_S: f64 = 55.0;
/// Time until sensor and trim of every car are active, s.
const WARM_UP_S: f64 = 26.0;
/// Period of the load control by pedal, s, and its gain, 1/s.
const PEDAL_S: f64 = 0.02;
const PEDAL_PER_S: f64 = 0.4;

/// The truth with the engine, and when cold the ambient air, at this temperature.
pub(crate) fn at_degc(truth: &Truth, degc: f64) -> Truth {
    let mut truth = truth.clone();
    truth.ambient.sea_level_k = truth.ambient.sea_level_k.min(ZERO_DEGC_K + degc);
    truth.thermal.start_k = ZERO_DEGC_K + degc;
    truth.thermal.start_bonnet_k = ZERO_DEGC_K + degc.min(BONNET_DEGC);
    truth
}

/// An engine with controller and driver inputs.
#[derive(Clone)]
pub(crate) struct Bench {
    pub(crate) closed_loop: ClosedLoop,
    pub(crate) inputs: DriverInputs,
}

impl Bench {
    /// A stopped engine with the key on.
    pub(crate) fn stopped(truth: Truth, seed: u64, calibration: Calibration) -> Self {
        let plant = Plant::new(truth, seed).expect("a truth in range");
        Self {
            closed_loop: ClosedLoop::new(plant, Controller::new(calibration)),
            inputs: DriverInputs { key: Key::On, ..DriverInputs::default() },
        }
    }

    /// A hot idle with active oxygen sensor.
    pub(crate) fn warm(truth: Truth, seed: u64, calibration: Calibration) -> Self {
        let mut bench = Self::stopped(at_degc(&truth, HOT_DEGC), seed, calibration);
        bench.start();
        bench.run(WARM_UP_S, |_| ());
        bench
    }

    /// The same engine and state with another calibration of the controller.
    pub(crate) fn adjusted(&self, calibration: Calibration) -> Self {
        let mut controller = Controller::new(calibration);
        controller.restore(self.closed_loop.controller().state().clone());
        let closed_loop = ClosedLoop::new(self.closed_loop.plant().clone(), controller);
        Self { closed_loop, inputs: self.inputs.clone() }
    }

    /// The same with options changed.
    pub(crate) fn with_options(&self, change: impl Fn(&mut Options)) -> Self {
        let calibration = self.closed_loop.controller().calibration().clone();
        let mut options = *calibration.options();
        change(&mut options);
        self.adjusted(calibration.with_options(options))
    }

    /// Changes the truth.
    pub(crate) fn change_truth(&mut self, change: impl Fn(&mut Truth)) {
        let mut truth = self.closed_loop.plant().truth().clone();
        change(&mut truth);
        self.closed_loop.set_truth(truth).expect("a truth in range");
    }

    /// Primes and cranks until the engine catches.
    pub(crate) fn start(&mut self) {
        self.run(PRIMING_S, |_| ());
        self.inputs.key = Key::Start;
        let mut cranked_s = 0.0;
        while self.speed() < CAUGHT_RAD_PER_S && cranked_s < LONGEST_CRANKING_S {
            self.run(STEP_S, |_| ());
            cranked_s += STEP_S;
        }
        assert!(self.speed() >= CAUGHT_RAD_PER_S, "it does not start");
        self.inputs.key = Key::On;
    }

    /// Crank speed, rad/s.
    pub(crate) fn speed(&self) -> f64 {
        self.closed_loop.view().speed_rad_per_s
    }

    /// Runs for `seconds`; `observe` is called after each step.
    pub(crate) fn run(&mut self, seconds: f64, mut observe: impl FnMut(&ClosedLoop)) {
        for _ in 0..(seconds / STEP_S).round() as u32 {
            self.closed_loop.step(&self.inputs);
            observe(&self.closed_loop);
        }
    }

    /// Runs until a condition holds; returns the time, s.
    pub(crate) fn until(&mut self, longest_s: f64, mut is_so: impl FnMut(&ClosedLoop) -> bool) -> f64 {
        let mut waited_s = 0.0;
        while waited_s < longest_s {
            self.closed_loop.step(&self.inputs);
            waited_s += STEP_S;
            if is_so(&self.closed_loop) {
                return waited_s;
            }
        }
        longest_s
    }

    /// Holds this speed, rad/s, by dynamometer and this pedal position.
    pub(crate) fn hold(&mut self, speed_rad_per_s: f64, throttle: f64, seconds: f64) {
        (self.inputs.dyno_rad_per_s, self.inputs.throttle) = (Some(speed_rad_per_s), throttle);
        self.run(seconds, |_| ());
    }

    /// Holds this speed, rad/s, by dynamometer and this ratio of manifold to outside pressure by pedal.
    pub(crate) fn hold_load(&mut self, speed_rad_per_s: f64, load: f64, seconds: f64) {
        self.inputs.dyno_rad_per_s = Some(speed_rad_per_s);
        self.inputs.throttle = self.inputs.throttle.max(0.05);
        for _ in 0..(seconds / PEDAL_S).round() as u32 {
            let view = self.closed_loop.view();
            let missing = load - view.map_pa / view.ambient_pa;
            self.inputs.throttle = (self.inputs.throttle + missing * PEDAL_PER_S * PEDAL_S).clamp(0.04, 1.0);
            self.run(PEDAL_S, |_| ());
        }
    }

    /// Mean over `seconds`.
    pub(crate) fn mean(&mut self, seconds: f64, figure: impl Fn(&ClosedLoop) -> f64) -> f64 {
        let (mut sum, mut count) = (0.0, 0.0);
        self.run(seconds, |closed_loop| {
            sum += figure(closed_loop);
            count += 1.0;
        });
        sum / count
    }

    /// Mean true lambda of the charges over `seconds`.
    pub(crate) fn lambda(&mut self, seconds: f64) -> f64 {
        let (mut sum, mut count) = (0.0, 0.0);
        self.run(seconds, |closed_loop| {
            for event in closed_loop.plant().events().iter().filter(|event| event.fuel_kg > 0.0) {
                sum += event.lambda;
                count += 1.0;
            }
        });
        sum / count
    }
}
