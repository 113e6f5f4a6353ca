//! Writes the sensitivity to each parameter of the controller to standard output, and the ten most sensitive ones to standard error.
//!
//! `cargo run --release -p trimwright-study --example sensitivity > shared/studies/sensitivity.csv`; takes 15 min on two cores.

use std::io::Write;
use std::sync::atomic::{AtomicUsize, Ordering};

use trimwright_control::Parameters;
use trimwright_harness::shipped::SCENARIOS;
use trimwright_study::sensitivity::{MOST_SENSITIVE, SCREENING, csv, ranked, shortened, table, written};
use trimwright_study::tables::SENSITIVITY;

fn main() -> Result<(), Box<dyn std::error::Error>> {
    let screening = SCREENING.map(shortened).into_iter().collect::<Result<Vec<_>, _>>()?;
    let all = SCENARIOS.iter().map(|shipped| shortened(shipped.name)).collect::<Result<Vec<_>, _>>()?;
    let done = AtomicUsize::new(0);
    let rows = table(&screening, &all, MOST_SENSITIVE, &|_| {
        let done = done.fetch_add(1, Ordering::Relaxed) + 1;
        if done.is_multiple_of(100) {
            _ = writeln!(std::io::stderr(), "{done} drives");
        }
    })?;
    let file = SENSITIVITY.with_header(&(csv(&rows) + &SENSITIVITY.recomputed()?))?;
    std::io::stdout().write_all(file.as_bytes())?;
    for (path, by) in ranked(&rows).iter().take(10) {
        let value = written(&Parameters::DEFAULT, path).unwrap_or_default();
        writeln!(std::io::stderr(), "{by:.2} {path} = {value}")?;
    }
    Ok(())
}
