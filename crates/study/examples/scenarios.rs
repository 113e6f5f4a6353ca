//! Every shipped scenario with every learner, on standard output.
//!
//! `cargo run --release -p trimwright-study --example scenarios > shared/studies/scenarios.csv`

use std::io::Write;
use trimwright_study::tables::ALL_SCENARIOS;

fn main() -> Result<(), Box<dyn std::error::Error>> {
    std::io::stdout().write_all(ALL_SCENARIOS.drawn(&ALL_SCENARIOS.anew()?)?.as_bytes())?;
    Ok(())
}
