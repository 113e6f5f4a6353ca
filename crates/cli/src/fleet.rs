//! Drives a fleet of engines drawn by lot.

use crate::chosen::load;
use crate::failure::Failure;
use crate::fleet_words;
use crate::out::json;
use crate::out::say;
use crate::progress::bar;
use crate::refusal::whole;
use clap::Args;
use serde_json::{Map, Value};
use std::path::{Path, PathBuf};
use std::sync::Arc;
use std::sync::atomic::{AtomicBool, Ordering};
use trimwright_harness::error::InputError;
use trimwright_harness::output;
use trimwright_harness::scenario::Scenario;
use trimwright_study::fleet::{self, Ended, FleetEngine, FleetError, Order};
use trimwright_study::journal::{Head, Journal, JournalError};
use trimwright_study::learners::{self, LEARNERS};
use trimwright_study::{columns, parquet};

/// What may be asked for as a learner.
const NAMES: [&str; 4] = [LEARNERS[0].0, LEARNERS[1].0, LEARNERS[2].0, ALL];
/// Every learner.
const ALL: &str = "all";
/// The record of finished engines, from which a fleet goes on.
const JOURNAL: &str = "fleet.jsonl";

/// What is said below the options.
pub(crate) const EXAMPLES: &str = "\
Each engine is the scenario's, as its maker describes it, with parts that differ from that and an owner who is a little wrong in \
the answers, both drawn by lot. What is drawn depends only on the seed and the engine's number.

Examples:
  trimwright fleet delivery-van --engines 50
  trimwright fleet delivery-van --engines 1000 --out fleet --resume
  trimwright fleet delivery-van --learner all

--json prints scenario, seed, learners and a list of engines. Each has engine (its number), learner, failure (why it was not driven, or \
null) and, when it was, the figures that fleet.csv has: shares as ratios, settle_s in s, null for what could not be measured, and dtcs, \
a list of trouble codes.

Results go to out/SCENARIO-fleet/: report.html, fleet.csv, fleet.parquet, and fleet.jsonl, the record from which --resume goes \
on; a fleet that is there already is driven anew only with --force. Ctrl-C finishes the engines under way and writes the results of those that are done; a second one ends at once.";

/// Options of the fleet.
#[derive(Args, Clone, Debug)]
pub(crate) struct FleetOptions {
    /// How many engines
    #[arg(long, value_name = "N", default_value_t = 20, value_parser = whole::<u32>(1, 1_000_000), allow_negative_numbers = true)]
    engines: u32,
    /// Start of the lots; the same one gives the same fleet
    #[arg(long, value_name = "N", default_value_t = 1)]
    seed: u64,
    /// How many to drive at once, 0 for one on each core
    #[arg(long, value_name = "N", default_value_t = 0, value_parser = whole::<u16>(0, 1024), allow_negative_numbers = true)]
    jobs: u16,
    /// How lessons are taken; several, parted by commas, stand side by side
    #[arg(long, value_name = "NAME", default_value = "kalman", value_delimiter = ',', value_parser = NAMES)]
    learner: Vec<String>,
    /// How many times to drive the schedule, 1 to 100 [default: as the scenario says]
    #[arg(long, value_name = "N")]
    passes: Option<u32>,
    /// Drive this speed schedule instead: a name from `trimwright list` or a .csv file
    #[arg(long, value_name = "FILE.csv")]
    schedule: Option<String>,
    /// Where to write the results [default: out/SCENARIO-fleet]
    #[arg(long, value_name = "DIR")]
    out: Option<PathBuf>,
    /// Go on with a fleet that was interrupted, or make it larger
    #[arg(long, conflicts_with = "force")]
    resume: bool,
    /// Drive anew what was driven into that directory before; what is there is lost
    #[arg(long)]
    force: bool,
    /// Print nothing unless something goes wrong
    #[arg(long, conflicts_with = "json")]
    quiet: bool,
    /// Print the figures of each engine as JSON instead of the table
    #[arg(long)]
    json: bool,
}

/// Draws, drives, writes and tells.
pub(crate) fn fleet(name: &str, options: &FleetOptions) -> Result<(), Failure> {
    let scenario = load(name, options.schedule.as_deref(), options.passes, None)?;
    let asked = |name: &str| options.learner.iter().any(|each| each == name || each == ALL);
    let learners = LEARNERS.iter().filter(|(name, _)| asked(name)).map(|(_, learner)| *learner).collect();
    let order =
        Order { engines: options.engines, seed: options.seed, learners, jobs: usize::from(options.jobs) };
    let out =
        options.out.clone().unwrap_or_else(|| PathBuf::from("out").join(format!("{}-fleet", scenario.name)));
    output::check(&out)?;
    let (mut journal, done) = open(&scenario, &order, &out, options)?;

    let stop = Arc::new(AtomicBool::new(false));
    let asked = Arc::clone(&stop);
    let listening = ctrlc::set_handler(move || {
        if asked.swap(true, Ordering::Relaxed) {
            std::process::exit(130);
        }
    });
    listening.map_err(|error| Failure::Other(format!("can't listen for Ctrl-C: {error}")))?;

    let engines = u64::from(order.engines);
    let bar = bar(options.quiet, engines, "{pos} of {len} engines {wide_bar} {eta} left");
    bar.set_position((done.len() / order.learners.len()) as u64);
    bar.reset_eta();
    let driven = fleet::drive(&scenario, &order, done, &stop, |engine| {
        bar.inc(1);
        journal.add(engine)
    });
    bar.finish_and_clear();
    let engines = driven.map_err(|error| match error {
        FleetError::Each(error) => Failure::Other(format!("{}: {error}", out.join(JOURNAL).display())),
        threads => Failure::Other(threads.to_string()),
    })?;
    write(&scenario, &order, &engines, &out)?;
    if options.json {
        let told = serde_json::json!({
            "scenario": scenario.name, "seed": order.seed,
            "learners": order.learners.iter().map(|learner| learners::name(*learner)).collect::<Vec<_>>(),
            "engines": engines.iter().map(flat).collect::<Result<Vec<_>, _>>()?,
        });
        say(&json(&told)?)?;
    } else if !options.quiet {
        say(&fleet_words::text(&scenario, &order, &engines, &out))?;
    }
    let (done, all) = (engines.len() / order.learners.len(), order.engines);
    if done < all as usize {
        return Err(Failure::Other(format!("stopped after {done} of {all} engines; --resume goes on")));
    }
    Ok(())
}

/// An engine for other programs: its number, the learner, why it failed, and the figures of one that did not.
fn flat(engine: &FleetEngine) -> Result<Value, Failure> {
    let unwritable = |error: serde_json::Error| Failure::Other(error.to_string());
    let (failure, figures) = match &engine.ended {
        Ended::Failed(reason) => (Value::from(reason.as_str()), Value::Null),
        Ended::Driven(figures) => (Value::Null, serde_json::to_value(figures).map_err(unwritable)?),
    };
    let mut told = Map::new();
    told.insert("engine".to_owned(), engine.index.into());
    told.insert("learner".to_owned(), learners::name(engine.learner).into());
    told.insert("failure".to_owned(), failure);
    for (name, figure) in figures.as_object().into_iter().flatten() {
        let codes = figure.as_str().map(|codes| codes.split_whitespace().map(Value::from).collect());
        told.insert(name.clone(), codes.unwrap_or_else(|| figure.clone()));
    }
    Ok(told.into())
}

fn open(
    scenario: &Scenario,
    order: &Order,
    out: &Path,
    options: &FleetOptions,
) -> Result<(Journal, Vec<FleetEngine>), Failure> {
    let (path, head) = (out.join(JOURNAL), Head::of(scenario, order));
    let wrong = |error: JournalError| {
        let reason = match error {
            JournalError::There => format!("{error}; --resume goes on with it, --force drives it anew"),
            _ if options.resume => format!("can't go on from it: {error}"),
            _ => format!("can't begin it: {error}"),
        };
        Failure::Input(InputError::new(path.display().to_string(), reason))
    };
    if options.resume {
        return Journal::resume(&path, &head).map_err(wrong);
    }
    std::fs::create_dir_all(out).map_err(|error| wrong(error.into()))?;
    let begin = if options.force { Journal::begin_anew } else { Journal::begin };
    Ok((begin(&path, &head).map_err(wrong)?, Vec::new()))
}

fn write(scenario: &Scenario, order: &Order, engines: &[FleetEngine], out: &Path) -> Result<(), Failure> {
    let rows = columns::values(engines, order.seed);
    let csv = columns::to_csv(&rows);
    let notes = [
        ("scenario", scenario.name.clone()),
        ("scenario_hash", scenario.hash()),
        ("seed", order.seed.to_string()),
        ("program", env!("CARGO_PKG_VERSION").to_owned()),
    ];
    let parquet = parquet::to_bytes(&rows, &notes)
        .map_err(|error| Failure::Other(format!("the results can't be written as Parquet: {error}")))?;
    let page = trimwright_report::render_study(&fleet_words::study(scenario, order, engines));
    let files: [(&str, &[u8]); 3] =
        [("fleet.csv", csv.as_bytes()), ("fleet.parquet", &parquet), ("report.html", page.as_bytes())];
    Ok(output::write(out, &files)?)
}

#[cfg(test)]
mod tests {
    use super::*;
    use serde_json::json;

    #[test]
    fn an_engine_is_told_flat() {
        let engine = |ended| FleetEngine { index: 7, learner: LEARNERS[0].1, ended };
        let failed = flat(&engine(Ended::Failed("too heavy".to_owned()))).expect("JSON");
        assert_eq!(failed, json!({ "engine": 7, "learner": LEARNERS[0].0, "failure": "too heavy" }));
        let figures = json!({
            "base_map_rms": 0.1, "learned_map_rms": 0.01, "closed_loop_rms": null, "p95_abs": null, "transient_rms": null,
            "settle_s": null, "cells_visited": 9, "cells_confident": 3, "within_two_sigma": null, "visited_error_rms": null,
            "offline_fit_rms": null, "cells_run_away": 0, "cells_beyond_authority": 0, "lessons": 12, "stalls": 0,
            "distance_km": 1.5, "fuel_kg": 0.2, "dtcs": "P0171 P0131",
        });
        let read = serde_json::from_value(figures.clone()).expect("figures");
        let driven = flat(&engine(Ended::Driven(read))).expect("JSON");
        for (name, figure) in figures.as_object().expect("an object") {
            let told = if name == "dtcs" { json!(["P0171", "P0131"]) } else { figure.clone() };
            assert_eq!(driven[name], told, "{name}");
        }
        assert_eq!((&driven["engine"], &driven["failure"]), (&json!(7), &Value::Null));
    }
}
