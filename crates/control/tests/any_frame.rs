//! Whatever the wires hold, a step does not panic and its commands stay within what the hardware takes.
#![expect(clippy::print_stdout, reason = "the number of steps is what tells how much was tried")]

use proptest::prelude::*;
use std::cell::Cell;
use trimwright_control::{
    Calibration, Cam, Controller, Firing, FuelSystemType, Options, SetupAnswers, Strategy as Way,
};
use trimwright_signals::{Commands, Frame};

/// Cases and the steps of each: more than ten million.
const CASES: u32 = 256;
const STEPS: u32 = 40_000;

/// A small generator of numbers: xorshift64* (Vigna, ACM Trans. Math. Softw. 42 (2016) 30).
struct Dice(u64);

impl Dice {
    fn next(&mut self) -> u64 {
        self.0 ^= self.0 >> 12;
        self.0 ^= self.0 << 25;
        self.0 ^= self.0 >> 27;
        self.0.wrapping_mul(0x2545_F491_4F6C_DD1D)
    }

    fn below(&mut self, end: u64) -> u64 {
        (self.next() >> 11) % end
    }

    /// Usual volts, usual voltages of a battery, ends of ranges, or no sensible number at all.
    fn volts(&mut self, usual: f32) -> f32 {
        match self.below(40) {
            0 => f32::NAN,
            1 => f32::INFINITY,
            2 => f32::NEG_INFINITY,
            3 => f32::MAX,
            4 => f32::MIN_POSITIVE,
            5 => -1.0,
            6 => 0.0,
            7 => 5.0,
            8 => f32::from_bits(self.next() as u32),
            9..14 => self.below(5000) as f32 * 1e-3,
            _ => usual + self.below(100) as f32 * 1e-3,
        }
    }
}

/// How an interval of frames behaves: mostly like an engine, sometimes like nothing on earth.
struct Wires {
    dice: Dice,
    time_us: u64,
    next_pulse_us: u64,
    interval_us: u64,
    wild: bool,
    throttle_v: f32,
    map_v: f32,
}

impl Wires {
    fn frame(&mut self) -> Frame {
        if self.dice.below(500) == 0 {
            self.interval_us = 1500 + self.dice.below(30_000);
            self.wild = self.dice.below(3) == 0;
            self.throttle_v = 0.5 + self.dice.below(40) as f32 * 0.1;
            self.map_v = 0.6 + self.dice.below(38) as f32 * 0.1;
        }
        self.time_us = match if self.wild { self.dice.below(200) } else { 99 } {
            0 => self.dice.next(),
            1 => self.time_us.wrapping_sub(1_000_000),
            2 => u64::MAX,
            3 => self.time_us,
            _ => self.time_us.wrapping_add(1000),
        };
        let mut frame = Frame { time_us: self.time_us, ..Frame::default() };
        if self.next_pulse_us.abs_diff(self.time_us) > 100_000 {
            self.next_pulse_us = self.time_us;
        }
        if self.next_pulse_us <= self.time_us {
            let _full = frame.pulses_us.push(self.next_pulse_us);
            self.next_pulse_us = self.next_pulse_us.wrapping_add(self.interval_us);
        }
        if self.wild && self.dice.below(20) == 0 {
            while frame.pulses_us.push(self.time_us.wrapping_sub(self.dice.below(2000))).is_ok() {}
        }
        let usual = [13.5, self.map_v, self.throttle_v, 1.0, 2.0, 2.2, 4.15, 2.3, 100.0];
        let wires = [
            &mut frame.battery_v,
            &mut frame.map_v,
            &mut frame.tp_v,
            &mut frame.ect_v,
            &mut frame.iat_v,
            &mut frame.frp_v,
            &mut frame.baro_v,
            &mut frame.o2_v,
            &mut frame.vss_hz,
        ];
        for (wire, usual) in wires.into_iter().zip(usual) {
            *wire =
                if self.wild { self.dice.volts(usual) } else { usual + self.dice.below(20) as f32 * 1e-3 };
        }
        let bits = self.dice.next();
        frame.switches.ignition = !self.wild || bits & 0xff != 0;
        frame.switches.starter = bits & 0xff00 == 0;
        frame.switches.o2_ready = !self.wild || bits & 0x1_0000 == 0;
        frame.switches.ac_request = self.throttle_v > 2.0;
        frame.switches.in_gear = self.map_v > 2.0;
        frame.switches.nitrous_armed = self.throttle_v > 3.5;
        frame
    }
}

/// The first command outside what the hardware takes.
fn fault(commands: &Commands) -> Option<String> {
    let within = |value: f32, low: f32, high: f32| (low..=high).contains(&value);
    let good = commands.open_time_s.iter().all(|open| within(*open, 0.0, 0.1))
        && within(commands.spark_deg, -10.0, 50.0)
        && within(commands.iac_duty, 0.0, 1.0)
        && within(commands.pump_duty, 0.0, 1.0);
    (!good).then(|| format!("{commands:?}"))
}

fn answers(dice: &mut Dice) -> SetupAnswers {
    SetupAnswers {
        cylinders: 1 + dice.below(8) as u8,
        injectors: 1 + dice.below(8) as u8,
        cam: [Cam::Stock, Cam::Mild, Cam::Hot][dice.below(3) as usize],
        fuel_system: [FuelSystemType::Return, FuelSystemType::Returnless][dice.below(2) as usize],
        nitrous: dice.below(2) == 0,
        ..SetupAnswers::default()
    }
}

fn options(dice: &mut Dice) -> Options {
    Options {
        strategy: [Way::Integral, Way::NormalisedGradient, Way::Kalman][dice.below(3) as usize],
        firing: [Firing::Chosen, Firing::All][dice.below(2) as usize],
        self_check: dice.below(2) == 0,
        ..Options::default()
    }
}

/// One controller with answers and options by lot, through [`STEPS`] frames.
fn survives(seed: u64, steps: &Cell<u64>) -> Result<(), TestCaseError> {
    let mut dice = Dice(seed);
    let calibration =
        Calibration::from_answers(&answers(&mut dice)).unwrap().with_options(options(&mut dice));
    let mut controller = Controller::new(calibration);
    let mut wires = Wires {
        dice,
        time_us: 0,
        next_pulse_us: 0,
        interval_us: 20_000,
        wild: false,
        throttle_v: 0.5,
        map_v: 1.7,
    };
    for _ in 0..STEPS {
        let frame = wires.frame();
        let commands = controller.step(&frame);
        prop_assert!(fault(&commands).is_none(), "{:?} from {frame:?}", fault(&commands));
        steps.set(steps.get() + 1);
    }
    let state = controller.state();
    prop_assert!(state.learned().ln.flat().iter().all(|ln| ln.abs() <= 0.3));
    prop_assert!(state.learned().variance.flat().iter().all(|variance| (0.0..=0.0145).contains(variance)));
    prop_assert!(state.feedback().trim_ln().abs() <= 0.2231 && state.film().film_kg().is_finite());
    let estimate = state.estimate();
    prop_assert!(estimate.map_pa.is_finite() && estimate.ect_k.is_finite() && estimate.rail_pa.is_finite());
    Ok(())
}

/// Prints how many steps were taken (`cargo test -- --nocapture`).
#[test]
fn no_frame_makes_a_step_panic_or_leave_the_limits() {
    let config = ProptestConfig { failure_persistence: None, ..ProptestConfig::with_cases(CASES) };
    let steps = Cell::new(0);
    let mut runner = proptest::test_runner::TestRunner::new(config);
    runner.run(&(1..u64::MAX), |seed| survives(seed, &steps)).unwrap_or_else(|error| panic!("{error}"));
    println!("{} steps with arbitrary frames, every command finite and within its limits", steps.get());
    assert!(steps.get() >= 10_000_000);
}
