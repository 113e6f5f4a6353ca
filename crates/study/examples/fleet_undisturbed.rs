//! Writes the quantiles of a fleet with every learner to standard output, without the disturbances that no map can know.
//!
//! `cargo run --release -p trimwright-study --example fleet_undisturbed > shared/studies/fleet_undisturbed.csv`; arguments after `--`: number of engines, default 300, and the
//! results directory of a `trimwright fleet delivery-van --learner all --undisturbed` whose engines are reused.

use std::io::Write;
use trimwright_study::fleet_table::table_file;
use trimwright_study::tables::{FLEET_UNDISTURBED, undisturbed_van};

fn main() -> Result<(), Box<dyn std::error::Error>> {
    let file = table_file(&FLEET_UNDISTURBED, &undisturbed_van(), std::env::args().skip(1))?;
    std::io::stdout().write_all(file.as_bytes())?;
    Ok(())
}
