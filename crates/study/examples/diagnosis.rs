//! The confusion table of the blind diagnosis, on standard output; the runs that went wrong beside it.
//!
//! `cargo run --release -p trimwright-study --example diagnosis > shared/studies/diagnosis.csv`; behind `--` may stand how many
//! faulty and sound engines and which seed: 300 100 7 if not given.

use std::io::Write;
use trimwright_harness::scenario::Scenario;
use trimwright_study::diagnosis::{RUNS, SEED, confusion_csv, diagnose};
use trimwright_study::tables::DIAGNOSIS;

fn main() -> Result<(), Box<dyn std::error::Error>> {
    let mut numbers = std::env::args().skip(1).map(|argument| argument.parse::<u32>());
    let mut next = |usual| numbers.next().unwrap_or(Ok(usual));
    let (faulty, sound, seed) = (next(RUNS.0)?, next(RUNS.1)?, next(SEED as u32)?);
    let runs = diagnose(&Scenario::load("delivery-van")?, u64::from(seed), faulty, sound);
    std::io::stdout().write_all(DIAGNOSIS.drawn(&confusion_csv(&runs))?.as_bytes())?;
    let wrong = runs.iter().filter(|run| !run.first_right());
    wrong.for_each(|run| eprintln!("{run:?}"));
    let of = |faulty: bool| runs.iter().filter(move |run| run.truth.is_some() == faulty);
    let first = of(true).filter(|run| run.first_right()).count();
    let two = of(true).filter(|run| run.within_two()).count();
    let quiet = of(false).filter(|run| run.first_right()).count();
    eprintln!(
        "first cause right in {first} of {faulty}, within two in {two}; nothing said of {quiet} of {sound} sound engines"
    );
    Ok(())
}
