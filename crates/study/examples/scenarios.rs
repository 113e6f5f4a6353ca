//! Writes the table of all shipped scenarios with every learner to standard output.
//!
//! `cargo run --release -p trimwright-study --example scenarios > shared/studies/scenarios.csv`

use std::io::Write;
use trimwright_study::tables::ALL_SCENARIOS;

fn main() -> Result<(), Box<dyn std::error::Error>> {
    std::io::stdout().write_all(ALL_SCENARIOS.with_header(&ALL_SCENARIOS.recomputed()?)?.as_bytes())?;
    Ok(())
}
