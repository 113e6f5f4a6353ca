//! The fault matrix, on standard output.
//!
//! `cargo run --release --example fault_matrix > shared/studies/fault_matrix.csv`

use std::io::Write;
use trimwright_harness::scenario::Scenario;
use trimwright_study::fault_matrix::{csv, matrix};

fn main() -> Result<(), Box<dyn std::error::Error>> {
    let cases = matrix(&Scenario::load("delivery-van")?)?;
    std::io::stdout().write_all(csv(&cases).as_bytes())?;
    Ok(())
}
