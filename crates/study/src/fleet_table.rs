//! The versioned tables of a fleet, in either world.

use std::convert::Infallible;
use std::error::Error;
use std::path::Path;
use std::sync::atomic::AtomicBool;

use trimwright_harness::scenario::Scenario;

use crate::fleet::{drive, first_engines, table_plan};
use crate::journal::{Journal, JournalHead};
use crate::quantiles::csv;
use crate::tables::{VersionedTable, without_head};

/// Engines of a table, if not given.
const ENGINES: u32 = 300;

/// Drives the engines and returns the file of the table, with the first engines again at the end. `arguments`: number of engines, and the
/// results directory of a `trimwright fleet --learner all` whose engines are reused.
///
/// # Errors
/// When an argument is no number, the directory can't be read, or the threads can't be started.
pub fn table_file(
    table: &VersionedTable,
    scenario: &Scenario,
    mut arguments: impl Iterator<Item = String>,
) -> Result<String, Box<dyn Error>> {
    let plan = table_plan(arguments.next().map_or(Ok(ENGINES), |number| number.parse())?);
    let done = match arguments.next() {
        Some(directory) => {
            Journal::resume(&Path::new(&directory).join("fleet.jsonl"), &JournalHead::of(scenario, &plan))?.1
        }
        None => Vec::new(),
    };
    let driven = drive(scenario, &plan, done, &AtomicBool::new(false), |_| Ok::<_, Infallible>(()))?;
    let again = without_head(&csv(&first_engines(scenario)));
    Ok(table.with_header(&(csv(&driven) + &again))?)
}
