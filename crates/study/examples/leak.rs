//! The table of leaks before the oxygen sensor, on standard output.
//!
//! `cargo run --release -p trimwright-study --example leak > shared/studies/leak.csv`; behind `--` may stand how many sound engines, how many
//! leaking ones and which seed: 500 100 8 if not given.

use std::io::Write;
use trimwright_harness::scenario::Scenario;
use trimwright_study::leak::{SEED, csv, leaks};
use trimwright_study::tables::LEAK;

fn main() -> Result<(), Box<dyn std::error::Error>> {
    let mut numbers = std::env::args().skip(1).map(|argument| argument.parse::<u32>());
    let mut next = |usual| numbers.next().unwrap_or(Ok(usual));
    let (sound, leaking, seed) = (next(500)?, next(100)?, next(SEED as u32)?);
    let runs = leaks(&Scenario::load("delivery-van")?, u64::from(seed), sound, leaking)?;
    std::io::stdout().write_all(LEAK.drawn(&(csv(&runs) + &LEAK.anew()?))?.as_bytes())?;
    Ok(())
}
