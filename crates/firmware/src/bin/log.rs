//! Logs the controller in the scripted drive: `log SECONDS`. From two thirds of it on the MAP sensor is shorted to ground. Standard
//! output is the log in defmt's encoding; `read_log` decodes it.
#![no_std]
#![no_main]

use core::sync::atomic::{AtomicU32, Ordering};
use cortex_m_rt::entry;
use defmt_semihosting as _;
use semihosting::{eprintln, process};
use trimwright_firmware::board;
use trimwright_firmware::scripted::{Drive, STEPS_PER_S, truth};
use trimwright_plant::Circuit;

/// Milliseconds of the drive so far.
static TIME_MS: AtomicU32 = AtomicU32::new(0);

defmt::timestamp!("{=u32:ms} s", TIME_MS.load(Ordering::Relaxed));

#[entry]
fn main() -> ! {
    let Ok(mut drive) = Drive::new() else {
        eprintln!("the drive is out of range");
        process::exit(1)
    };
    let steps = board::number_argument(60) * STEPS_PER_S;
    for step in 0..steps {
        if step == steps / 3 * 2 {
            let mut broken = truth();
            broken.faults.map = Circuit::Grounded;
            if drive.plant_mut().set_truth(broken).is_err() {
                eprintln!("the fault is out of range");
                process::exit(1)
            }
        }
        TIME_MS.store(step * (1000 / STEPS_PER_S), Ordering::Relaxed);
        drive.step();
    }
    process::exit(0)
}
