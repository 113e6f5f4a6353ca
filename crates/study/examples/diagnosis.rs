//! Writes the confusion table of the blind diagnosis to standard output and wrong diagnoses to standard error.
//!
//! `cargo run --release -p trimwright-study --example diagnosis > shared/studies/diagnosis.csv`; arguments after `--`: number
//! of faulty engines, number of fault-free engines, seed; default 300 100 7.

use std::io::Write;
use trimwright_harness::scenario::Scenario;
use trimwright_study::diagnosis::{RUNS, SEED, confusion_csv, diagnose};
use trimwright_study::tables::DIAGNOSIS;

fn main() -> Result<(), Box<dyn std::error::Error>> {
    let mut numbers = std::env::args().skip(1).map(|argument| argument.parse::<u32>());
    let mut next = |usual| numbers.next().unwrap_or(Ok(usual));
    let (faulty, fault_free, seed) = (next(RUNS.0)?, next(RUNS.1)?, next(SEED as u32)?);
    let runs = diagnose(&Scenario::load("delivery-van")?, u64::from(seed), faulty, fault_free);
    std::io::stdout().write_all(DIAGNOSIS.with_header(&confusion_csv(&runs))?.as_bytes())?;
    let wrong = runs.iter().filter(|run| !run.first_is_correct());
    wrong.for_each(|run| eprintln!("{run:?}"));
    let of = |faulty: bool| runs.iter().filter(move |run| run.truth.is_some() == faulty);
    let first = of(true).filter(|run| run.first_is_correct()).count();
    let two = of(true).filter(|run| run.within_two()).count();
    let quiet = of(false).filter(|run| run.first_is_correct()).count();
    eprintln!(
        "first cause correct in {first} of {faulty}, within two in {two}; no cause for {quiet} of {fault_free} fault-free engines"
    );
    Ok(())
}
