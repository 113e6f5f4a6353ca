//! Every shipped scenario with every learner, on standard output.
//!
//! `cargo run --release --example scenarios > shared/studies/scenarios.csv`

use std::io::Write;
use trimwright_harness::scenario::Scenario;
use trimwright_harness::shipped::SCENARIOS;
use trimwright_study::scenarios::{csv, drive};

fn main() -> Result<(), Box<dyn std::error::Error>> {
    let scenarios = SCENARIOS.iter().map(|shipped| Scenario::load(shipped.name));
    let driven = drive(&scenarios.collect::<Result<Vec<_>, _>>()?)?;
    std::io::stdout().write_all(csv(&driven).as_bytes())?;
    Ok(())
}
