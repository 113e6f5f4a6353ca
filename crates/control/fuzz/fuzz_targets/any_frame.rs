//! Any bytes as setup answers and frames: no step panics, and no command leaves what the hardware takes.
//!
//! `cargo +nightly fuzz run --fuzz-dir crates/control/fuzz any_frame -- -max_len=16384 -max_total_time=60`
#![no_main]

use arbitrary::{Arbitrary, Unstructured};
use libfuzzer_sys::fuzz_target;
use trimwright_control::{Calibration, Cam, Controller, Firing, FuelSystemType, Options, SetupAnswers, Strategy};
use trimwright_signals::{Commands, Frame, Switches};

/// What the owner answered and how the controller is to work.
#[derive(Arbitrary, Debug)]
struct Car {
    cylinders: u8,
    injectors: u8,
    cam: u8,
    strategy: u8,
    returnless: bool,
    nitrous: bool,
    self_check: bool,
    all_at_once: bool,
}

/// Some frames in a row: how far apart in time, what is on the wires, and for how many frames it stays.
#[derive(Arbitrary, Debug)]
struct Stretch {
    /// Time between two frames, microseconds; time may run back.
    apart_us: i32,
    /// A jump of time before the first of them, microseconds.
    jump_us: i64,
    /// Pulses before the end of each frame, microseconds.
    pulses_us: [u16; 8],
    pulses: u8,
    volts: [f32; 9],
    switches: u8,
    frames: u8,
}

impl Stretch {
    fn frame(&self, time_us: u64) -> Frame {
        let [battery_v, map_v, baro_v, tp_v, ect_v, iat_v, frp_v, o2_v, vss_hz] = self.volts;
        let bit = |bit: u8| self.switches & (1 << bit) != 0;
        let switches = Switches {
            ignition: bit(0),
            starter: bit(1),
            o2_ready: bit(2),
            ac_request: bit(3),
            in_gear: bit(4),
            nitrous_armed: bit(5),
        };
        let pulses = self.pulses_us.iter().take(usize::from(self.pulses % 9));
        let pulses_us = pulses.map(|&before_us| time_us.wrapping_sub(u64::from(before_us))).collect();
        Frame { time_us, pulses_us, battery_v, map_v, baro_v, tp_v, ect_v, iat_v, frp_v, o2_v, vss_hz, switches }
    }
}

fn controller(car: &Car) -> Option<Controller> {
    let answers = SetupAnswers {
        cylinders: car.cylinders,
        injectors: car.injectors,
        cam: [Cam::Stock, Cam::Mild, Cam::Hot][usize::from(car.cam % 3)],
        fuel_system: if car.returnless { FuelSystemType::Returnless } else { FuelSystemType::Return },
        nitrous: car.nitrous,
        ..SetupAnswers::default()
    };
    let options = Options {
        strategy: [Strategy::Integral, Strategy::NormalisedGradient, Strategy::Kalman]
            [usize::from(car.strategy % 3)],
        firing: if car.all_at_once { Firing::All } else { Firing::Chosen },
        self_check: car.self_check,
        ..Options::default()
    };
    // Answers outside their ranges are refused, which is an end too.
    let calibration = Calibration::from_answers(&answers).ok()?;
    Some(Controller::new(calibration.with_options(options)))
}

fn assert_within(commands: &Commands) {
    let within = |value: f32, low: f32, high: f32| (low..=high).contains(&value);
    assert!(commands.open_time_s.iter().all(|open_s| within(*open_s, 0.0, 0.1)), "{commands:?}");
    assert!(within(commands.spark_deg, -10.0, 50.0), "{commands:?}");
    assert!(within(commands.iac_duty, 0.0, 1.0) && within(commands.pump_duty, 0.0, 1.0), "{commands:?}");
}

fuzz_target!(|bytes: &[u8]| {
    let mut data = Unstructured::new(bytes);
    let Ok(car) = Car::arbitrary(&mut data) else { return };
    let Some(mut controller) = controller(&car) else { return };
    let mut time_us = 0_u64;
    while !data.is_empty() {
        let Ok(stretch) = Stretch::arbitrary(&mut data) else { return };
        time_us = time_us.wrapping_add_signed(stretch.jump_us);
        for _ in 0..=stretch.frames {
            time_us = time_us.wrapping_add_signed(i64::from(stretch.apart_us));
            assert_within(&controller.step(&stretch.frame(time_us)));
        }
    }
});
