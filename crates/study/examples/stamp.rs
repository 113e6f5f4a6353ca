//! Writes today's fingerprint of controller and plant into each table of `shared/studies` that still says what is so.
//!
//! `cargo run --release -p trimwright-study --example stamp`. All of each table that has another is driven again, but for fleet and leaks, of which only the
//! first engines are: one whose rows come out otherwise is left as it is, and has to be drawn anew by its command. Minutes.

use trimwright_study::fingerprint::fingerprint;
use trimwright_study::tables::{TABLES, difference};

fn main() -> Result<(), Box<dyn std::error::Error>> {
    let now = fingerprint()?;
    let mut stale = 0;
    for table in TABLES {
        let kept = table.read()?;
        if table.stamp(&kept) == now {
            continue;
        }
        match difference(&kept, &table.anew()?) {
            None => {
                table.restamp(&now)?;
                eprintln!("{}: stands, stamped {now}", table.name);
            }
            Some(difference) => {
                stale += 1;
                eprintln!("{}: {difference}\n  draw it anew: {}", table.name, table.command());
            }
        }
    }
    if stale > 0 { Err(format!("{stale} tables are stale").into()) } else { Ok(()) }
}
