//! The controller on a board of one's own: three things to write, `read_pins`, `drive_pins` and `next_tick`, marked below.
//!
//! The pins here are those of no real board; what stands in their place shows the kind of thing that goes there. Before anything
//! is wired to an engine: a controller that has only been simulated is not known to be safe. Fuel under pressure, hot exhaust and a lean
//! mixture can hurt people and engines; follow the maker's instructions and local rules, and have licensed practice do what requires it.
#![no_std]
#![no_main]

use cortex_m_rt::entry;
use semihosting as _; // Says on the console what a panic said.
use trimwright_control::{Calibration, Cam, Controller, SetupAnswers, keep};
use trimwright_signals::{Commands, Frame, Switches};

/// What the owner answered. Everything else follows from it.
const ANSWERS: SetupAnswers = SetupAnswers {
    displacement_m3: 5.2e-3,
    cylinders: 8,
    cam: Cam::Mild,
    compression_ratio: 8.8,
    injectors: 4,
    injector_flow_kg_per_s: 8.0e-3,
    injector_rated_pressure_pa: 300e3,
    rail_pressure_pa: 300e3,
    fuel_system: trimwright_control::FuelSystem::Return,
    stoich_afr: 14.6,
    idle_speed_rad_per_s: 73.3,
    rev_limit_rad_per_s: 545.0,
    controls_spark: true,
    controls_fans: true,
    fan1_on_k: 364.0,
    fan2_on_k: 369.0,
    nitrous: false,
    nitrous_flow_kg_per_s: 0.03,
};

/// Time between two frames, microseconds. Anything from 0.5 to 10 ms works; shorter means a finer injection.
const TICK_US: u64 = 1000;

/// The board: converters, timers and ports as its own hardware layer gives them.
#[derive(Default)]
struct Board {
    time_us: u64,
    image: Option<[u8; keep::IMAGE_BYTES]>,
}

impl Board {
    /// To write: sleep until the tick's timer fires, and tell the time since power-up.
    fn next_tick(&mut self) {
        self.time_us += TICK_US;
    }

    /// To write: every converter in volts at the pin (undo the divider, nothing else), the time stamps that the input capture of
    /// the distributor's line took since the last tick, and the switches.
    fn read_pins(&self) -> Frame {
        Frame {
            time_us: self.time_us,
            battery_v: 12.6,
            map_v: 4.3,
            tp_v: 0.6,
            ect_v: 2.4,
            iat_v: 2.4,
            frp_v: 2.5,
            o2_v: 2.2,
            vss_hz: 0.0,
            switches: Switches { ignition: true, ..Switches::default() },
            ..Frame::default()
        }
    }

    /// To write: one-shot timers for the injectors, pulse width for idle air and pump, relays; the spark advance goes to whatever
    /// fires the coil. Let a watchdog close all injectors when this is not called for some ticks.
    fn drive_pins(&mut self, commands: &Commands) {
        for open_time_s in commands.open_time_s {
            assert!((0.0..1.0).contains(&open_time_s), "an injector would be held open");
        }
    }

    /// To write: two places in flash; keep the image in the older one. At key off, and now and then before.
    fn keep(&mut self, image: [u8; keep::IMAGE_BYTES]) {
        self.image = Some(image);
    }
}

#[entry]
fn main() -> ! {
    let mut board = Board::default();
    let calibration = match Calibration::from_answers(&ANSWERS) {
        Ok(calibration) => calibration,
        Err(error) => panic!("{error}"),
    };
    let kept = keep::newest(&calibration, board.image.iter().map(|image| &image[..]));
    let (map, mut number) = kept.unwrap_or_default();
    let mut controller = Controller::new(calibration).with_learned(map);
    for _ in 0..10_000 {
        board.next_tick();
        let commands = controller.step(&board.read_pins());
        board.drive_pins(&commands);
    }
    number += 1;
    board.keep(keep::pack(controller.calibration(), &controller.state().learned, number));
    semihosting::process::exit(0)
}
