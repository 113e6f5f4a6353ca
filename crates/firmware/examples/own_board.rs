//! The controller on your own board. What to write is marked below: `next_tick`, `read_pins`, `drive_pins` and the setup answers, and a
//! driver for the flash, which most hardware layers include. `own_board/parameters.rs` sets the sensors.
//!
//! The pins here are not those of a real board; the values in their place are examples. Before anything
//! is wired to an engine: a controller that has only been simulated is not known to be safe. Fuel under pressure, hot exhaust and a lean
//! mixture can hurt people and engines; follow the maker's instructions and local rules, and have licensed practice do what requires it.
#![no_std]
#![no_main]

#[path = "own_board/parameters.rs"]
mod parameters;

use cortex_m_rt::entry;
use parameters::PARAMETERS;
use semihosting::println; // Prints the message of a panic, too.
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
    /// To write: sleep until the tick's timer fires, and update the time since power-up.
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
    /// fires the coil. A watchdog must close all injectors when this is not called for some ticks.
    fn drive_pins(&mut self, commands: &Commands) {
        for open_time_s in commands.open_time_s {
            assert!((0.0..1.0).contains(&open_time_s), "an injector would be held open");
        }
    }
}

/// Driving cycle from key on to key off. A main relay has to keep the board powered until the learned map is stored.
fn driving_cycle(board: &mut Board, store: &mut Store<Blocking<RamFlash>>) {
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
    println!("key on: image {number}, {codes} codes; rejected: {:?}", restored.rejected);
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
        Err(error) => println!("key off: nothing stored, {error}"),
    }
}

#[entry]
fn main() -> ! {
    let flash = Blocking(RamFlash::erased());
    let mut store = Store::new(flash, 0..BYTES as u32).unwrap_or_else(|error| panic!("{error}"));
    for _ in 0..2 {
        driving_cycle(&mut Board::default(), &mut store);
    }
    semihosting::process::exit(0)
}
