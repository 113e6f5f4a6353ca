//! Writes the table of leaks upstream of the oxygen sensor to standard output.
//!
//! `cargo run --release -p trimwright-study --example leak > shared/studies/leak.csv`; arguments after `--`: number of fault-free engines,
//! number of leaking engines, seed; default 500 100 8.

use std::io::Write;
use trimwright_harness::scenario::Scenario;
use trimwright_study::leak::{SEED, csv, leaks};
use trimwright_study::tables::LEAK;

fn main() -> Result<(), Box<dyn std::error::Error>> {
    let mut numbers = std::env::args().skip(1).map(|argument| argument.parse::<u32>());
    let mut next = |usual| numbers.next().unwrap_or(Ok(usual));
    let (fault_free, leaking, seed) = (next(500)?, next(100)?, next(SEED as u32)?);
    let runs = leaks(&Scenario::load("delivery-van")?, u64::from(seed), fault_free, leaking)?;
    std::io::stdout().write_all(LEAK.with_header(&(csv(&runs) + &LEAK.recomputed()?))?.as_bytes())?;
    Ok(())
}
