//! Writes the fault matrix to standard output.
//!
//! `cargo run --release -p trimwright-study --example fault_matrix > shared/studies/fault_matrix.csv`

use std::io::Write;
use trimwright_study::tables::FAULT_MATRIX;

fn main() -> Result<(), Box<dyn std::error::Error>> {
    std::io::stdout().write_all(FAULT_MATRIX.with_header(&FAULT_MATRIX.recomputed()?)?.as_bytes())?;
    Ok(())
}
