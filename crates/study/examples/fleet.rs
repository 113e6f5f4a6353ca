//! Writes the quantiles of a fleet with every learner to standard output.
//!
//! `cargo run --release -p trimwright-study --example fleet > shared/studies/fleet.csv`; arguments after `--`: number of engines, default 1000, and the
//! results directory of a `trimwright fleet delivery-van --learner all` whose engines are reused.

use std::io::Write;
use std::path::Path;
use std::sync::atomic::AtomicBool;

use trimwright_harness::scenario::Scenario;
use trimwright_study::fleet::{drive, table_plan};
use trimwright_study::journal::{Journal, JournalHead};
use trimwright_study::quantiles::csv;
use trimwright_study::tables::FLEET;

fn main() -> Result<(), Box<dyn std::error::Error>> {
    let mut arguments = std::env::args().skip(1);
    let engines = arguments.next().map_or(Ok(1000), |number| number.parse())?;
    let plan = table_plan(engines);
    let scenario = Scenario::load("delivery-van")?;
    let done = match arguments.next() {
        Some(folder) => {
            Journal::resume(&Path::new(&folder).join("fleet.jsonl"), &JournalHead::of(&scenario, &plan))?.1
        }
        None => Vec::new(),
    };
    let driven =
        drive(&scenario, &plan, done, &AtomicBool::new(false), |_| Ok::<_, std::convert::Infallible>(()))?;
    std::io::stdout().write_all(FLEET.with_header(&(csv(&driven) + &FLEET.recomputed()?))?.as_bytes())?;
    Ok(())
}
