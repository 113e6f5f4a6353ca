//! `same_bits` on the host: the same drive and the same output.

use trimwright_firmware::scripted::{Drive, STEPS_PER_S};

fn main() {
    let seconds: u32 = std::env::args().nth(1).and_then(|text| text.parse().ok()).unwrap_or(120);
    let mut drive = Drive::new().expect("the drive of this crate is within its ranges");
    for second in 1..=seconds {
        for _ in 0..STEPS_PER_S {
            drive.step();
        }
        if second % 10 == 0 || second == seconds {
            println!("{second} s: {:016x}", drive.digest().value());
        }
    }
}
