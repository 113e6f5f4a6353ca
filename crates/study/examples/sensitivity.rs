//! What depends on each parameter of the controller, on standard output; the ten on which most does, on standard error.
//!
//! `cargo run --release -p trimwright-study --example sensitivity > shared/studies/sensitivity.csv`: a quarter of an hour on two cores. Of each
//! schedule the first 505 s are driven once: as long as the cold phase of the UDDS (40 CFR part 86).

use std::io::Write;
use std::sync::atomic::{AtomicUsize, Ordering};

use trimwright_control::Parameters;
use trimwright_harness::scenario::Scenario;
use trimwright_harness::shipped::SCENARIOS;
use trimwright_study::sensitivity::{CLOSER, csv, ranked, table, written};

/// A warm van in town and a hot cam with spark control: all parts but nitrous are at work in one of them.
const SCREENING: [&str; 2] = ["delivery-van", "hot-cam-town"];

/// How much of each schedule is driven, s.
const DRIVEN_S: f64 = 505.0;

fn main() -> Result<(), Box<dyn std::error::Error>> {
    let once = |name: &str| {
        Scenario::load(name).map(|scenario| Scenario {
            schedule: scenario.schedule.clone().until(DRIVEN_S),
            ..scenario.with_passes(1)
        })
    };
    let screening = SCREENING.map(once).into_iter().collect::<Result<Vec<_>, _>>()?;
    let all = SCENARIOS.iter().map(|shipped| once(shipped.name)).collect::<Result<Vec<_>, _>>()?;
    let done = AtomicUsize::new(0);
    let rows = table(&screening, &all, CLOSER, &|_| {
        let done = done.fetch_add(1, Ordering::Relaxed) + 1;
        if done.is_multiple_of(100) {
            _ = writeln!(std::io::stderr(), "{done} drives");
        }
    })?;
    std::io::stdout().write_all(csv(&rows).as_bytes())?;
    for (path, by) in ranked(&rows).iter().take(10) {
        let value = written(&Parameters::DEFAULT, path).unwrap_or_default();
        writeln!(std::io::stderr(), "{by:.2} {path} = {value}")?;
    }
    Ok(())
}
