//! The controller on a board of one's own: what to write, `read_pins`, `drive_pins`, `next_tick` and the owner's answers, is marked below, and a
//! driver for its flash, which most hardware layers bring with them. Which sensors it has is told in `own_board/parameters.rs`.
//!
//! The pins here are those of no real board; what stands in their place shows the kind of thing that goes there. Before anything
//! is wired to an engine: a controller that has only been simulated is not known to be safe. Fuel under pressure, hot exhaust and a lean
//! mixture can hurt people and engines; follow the maker's instructions and local rules, and have licensed practice do what requires it.
#![no_std]
#![no_main]

#[path = "own_board/parameters.rs"]
mod parameters;

use cortex_m_rt::entry;
use parameters::PARAMETERS;
use semihosting::println; // Says on the console what a panic said, too.
use trimwright_control::{Calibration, Controller};
use trimwright_firmware::ram_flash::{BYTES, RamFlash};
use trimwright_signals::{Commands, Frame, Switches};
use trimwright_store::{Blocking, Store, wait_for};

/// Time between two frames, microseconds. Anything from 0.5 to 10 ms works; shorter means a finer injection.
const TICK_US: u64 = 1000;

/// The board: converters, timers and ports as its own hardware layer gives them.
#[derive(Default)]
struct Board {
    time_us: u64,
}

impl Board {
    /// To write: sleep until the tick's timer fires, and tell the time since power-up.
    fn next_tick(&mut self) {
        self.time_us += TICK_US;
    }

    /// To write: every converter in volts at the pin (undo the divider, nothing else), the time stamps that the input capture of
    /// the distributor's line took since the last tick, and the switches. The throttle's wire touches ground here: a code sets.
    fn read_pins(&self) -> Frame {
        Frame {
            time_us: self.time_us,
            battery_v: 12.6,
            map_v: 1.6,
            ect_v: 3.4,
            iat_v: 2.4,
            frp_v: 2.5,
            baro_v: 4.15,
            o2_v: 2.5,
            switches: Switches { ignition: self.time_us < 10_000_000, ..Switches::default() },
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
}

/// From key on to key off. A relay of its own has to keep the board alive until what was learned is kept.
fn trip(board: &mut Board, store: &mut Store<Blocking<RamFlash>>) {
    // To write: ask the owner when the flash holds no answers yet. These are of an invented V8; everything else follows from them.
    let answers = wait_for(store.answers()).unwrap_or_default();
    let calibration =
        Calibration::from_checked(&answers, &PARAMETERS).unwrap_or_else(|error| panic!("{error}"));
    let restored = wait_for(store.restore(&calibration));
    let number = restored.kept.as_ref().map_or(0, |(_, number)| *number);
    let mut controller = Controller::new(calibration);
    if let Some((kept, _)) = restored.kept {
        controller = controller.with_persistent(kept);
    }
    let codes = controller.state().dtcs().stored_codes().iter().count();
    println!("key on: image {number}, {codes} codes; refused: {:?}", restored.refused);
    loop {
        board.next_tick();
        let frame = board.read_pins();
        board.drive_pins(&controller.step(&frame));
        if !frame.switches.ignition {
            break;
        }
    }
    let (calibration, state) = (controller.calibration(), controller.state());
    match wait_for(store.save(calibration, state.learned(), state.dtcs().stored_codes(), number)) {
        Ok(number) => println!("key off: image {number}"),
        Err(error) => println!("key off: nothing kept, {error}"),
    }
}

#[entry]
fn main() -> ! {
    let flash = Blocking(RamFlash::erased());
    let mut store = Store::new(flash, 0..BYTES as u32).unwrap_or_else(|error| panic!("{error}"));
    for _ in 0..2 {
        trip(&mut Board::default(), &mut store);
    }
    semihosting::process::exit(0)
}
