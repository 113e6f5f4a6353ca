//! An engine on a bench, and what is read there.

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
const PRIMES_S: f64 = 2.0;
const LONGEST_CRANKING_S: f64 = 6.0;
/// From here the starter is let go, rad/s.
const CAUGHT_RAD_PER_S: f64 = 55.0;
/// The sensor of every car is hot by then, and the trim at work.
const WARMS_S: f64 = 26.0;
/// Load is looked at, and the pedal moved, so often, s; and how fast for a load that is off by 1.
const PEDAL_S: f64 = 0.02;
const PEDAL_PER_S: f64 = 0.4;

/// The truth with engine, and in the cold the weather, at this temperature.
pub(crate) fn at_degc(truth: &Truth, degc: f64) -> Truth {
    let mut truth = truth.clone();
    truth.ambient.sea_level_k = truth.ambient.sea_level_k.min(ZERO_DEGC_K + degc);
    truth.thermal.start_k = ZERO_DEGC_K + degc;
    truth.thermal.start_bonnet_k = ZERO_DEGC_K + degc.min(BONNET_DEGC);
    truth
}

/// An engine, its controller, and whoever works both.
#[derive(Clone)]
pub(crate) struct Bench {
    pub(crate) closed_loop: ClosedLoop,
    pub(crate) inputs: DriverInputs,
}

impl Bench {
    /// The key is on, the crank stands.
    pub(crate) fn standing(truth: Truth, seed: u64, calibration: Calibration) -> Self {
        let plant = Plant::new(truth, seed).expect("a truth in range");
        Self {
            closed_loop: ClosedLoop::new(plant, Controller::new(calibration)),
            inputs: DriverInputs { key: Key::On, ..DriverInputs::default() },
        }
    }

    /// A hot idle, the oxygen sensor at work.
    pub(crate) fn warm(truth: Truth, seed: u64, calibration: Calibration) -> Self {
        let mut bench = Self::standing(at_degc(&truth, HOT_DEGC), seed, calibration);
        bench.start();
        bench.run(WARMS_S, |_| ());
        bench
    }

    /// The same engine at the same moment with a controller that goes on by another calibration.
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

    /// Another truth from now on.
    pub(crate) fn change_truth(&mut self, change: impl Fn(&mut Truth)) {
        let mut truth = self.closed_loop.plant().truth().clone();
        change(&mut truth);
        self.closed_loop.set_truth(truth).expect("a truth in range");
    }

    /// Primes and cranks until the engine catches.
    pub(crate) fn start(&mut self) {
        self.run(PRIMES_S, |_| ());
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

    /// Lets time pass.
    pub(crate) fn run(&mut self, seconds: f64, mut look: impl FnMut(&ClosedLoop)) {
        for _ in 0..(seconds / STEP_S).round() as u32 {
            self.closed_loop.step(&self.inputs);
            look(&self.closed_loop);
        }
    }

    /// Waits for something; how long that took, s.
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

    /// A dynamometer holds this speed, rad/s, and the foot this pedal.
    pub(crate) fn hold(&mut self, speed_rad_per_s: f64, throttle: f64, seconds: f64) {
        (self.inputs.dyno_rad_per_s, self.inputs.throttle) = (Some(speed_rad_per_s), throttle);
        self.run(seconds, |_| ());
    }

    /// A dynamometer holds this speed, rad/s, and the foot this share of the outside pressure in the manifold.
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

    /// Mean over so long.
    pub(crate) fn mean(&mut self, seconds: f64, figure: impl Fn(&ClosedLoop) -> f64) -> f64 {
        let (mut sum, mut count) = (0.0, 0.0);
        self.run(seconds, |closed_loop| {
            sum += figure(closed_loop);
            count += 1.0;
        });
        sum / count
    }

    /// Mean true lambda of the charges over so long.
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
