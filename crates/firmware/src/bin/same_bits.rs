//! Runs controller and plant on the board and prints the digest of all frames and commands every ten simulated seconds:
//! `same_bits SECONDS`.
#![no_std]
#![no_main]

use cortex_m_rt::entry;
use semihosting::{eprintln, println, process};
use trimwright_firmware::board;
use trimwright_firmware::scripted::{Drive, STEPS_PER_S};

#[entry]
fn main() -> ! {
    let Ok(mut drive) = Drive::new() else {
        eprintln!("the drive is out of range");
        process::exit(1)
    };
    let seconds = board::number_argument(120);
    for second in 1..=seconds {
        for _ in 0..STEPS_PER_S {
            drive.step();
        }
        if second % 10 == 0 || second == seconds {
            println!("{second} s: {:016x}", drive.digest().value());
        }
    }
    process::exit(0)
}
