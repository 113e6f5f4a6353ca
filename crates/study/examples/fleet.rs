//! Writes the quantiles of a fleet with every learner to standard output.
//!
//! `cargo run --release -p trimwright-study --example fleet > shared/studies/fleet.csv`; arguments after `--`: number of engines, default 300, and the
//! results directory of a `trimwright fleet delivery-van --learner all` whose engines are reused.

use std::io::Write;
use trimwright_study::fleet_table::table_file;
use trimwright_study::tables::{FLEET, van};

fn main() -> Result<(), Box<dyn std::error::Error>> {
    let file = table_file(&FLEET, &van(), std::env::args().skip(1))?;
    std::io::stdout().write_all(file.as_bytes())?;
    Ok(())
}
