//! Writes the current fingerprint of controller and plant into each table of `shared/studies` whose rows are unchanged.
//!
//! `cargo run --release -p trimwright-study --example stamp`. Recomputes each table with another fingerprint, of fleet and leaks only the
//! first engines. A table with different rows is not changed and must be regenerated with its command. Takes minutes.

use trimwright_study::fingerprint::fingerprint;
use trimwright_study::tables::{TABLES, difference};

fn main() -> Result<(), Box<dyn std::error::Error>> {
    let now = fingerprint()?;
    let mut stale = 0;
    for table in TABLES {
        let file = table.read()?;
        if table.stamp(&file) == now {
            continue;
        }
        match difference(&file, &table.recomputed()?) {
            None => {
                table.restamp(&now)?;
                eprintln!("{}: unchanged, stamped {now}", table.name);
            }
            Some(difference) => {
                stale += 1;
                eprintln!("{}: {difference}\n  regenerate it: {}", table.name, table.command());
            }
        }
    }
    if stale > 0 { Err(format!("{stale} tables are stale").into()) } else { Ok(()) }
}
