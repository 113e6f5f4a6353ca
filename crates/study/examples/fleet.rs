//! The quantiles of a fleet with every learner, on standard output.
//!
//! `cargo run --release -p trimwright-study --example fleet > shared/studies/fleet.csv`; behind `--` may stand how many engines and the folder of
//! a `trimwright fleet delivery-van --learner all` whose engines are not driven again: 1000 and none if not given.

use std::io::Write;
use std::path::Path;
use std::sync::atomic::AtomicBool;

use trimwright_harness::scenario::Scenario;
use trimwright_study::fleet::{all_learners, drive};
use trimwright_study::journal::{Head, Journal};
use trimwright_study::quantiles::csv;
use trimwright_study::tables::FLEET;

fn main() -> Result<(), Box<dyn std::error::Error>> {
    let mut arguments = std::env::args().skip(1);
    let engines = arguments.next().map_or(Ok(1000), |number| number.parse())?;
    let order = all_learners(engines);
    let scenario = Scenario::load("delivery-van")?;
    let done = match arguments.next() {
        Some(folder) => {
            Journal::resume(&Path::new(&folder).join("fleet.jsonl"), &Head::of(&scenario, &order))?.1
        }
        None => Vec::new(),
    };
    let driven =
        drive(&scenario, &order, done, &AtomicBool::new(false), |_| Ok::<_, std::convert::Infallible>(()))?;
    std::io::stdout().write_all(FLEET.drawn(&(csv(&driven) + &FLEET.anew()?))?.as_bytes())?;
    Ok(())
}
