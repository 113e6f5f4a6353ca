//! `trimwright fleet`: drives a fleet of randomly sampled engines.

use crate::command_line_error::whole;
use crate::failure::Failure;
use crate::fleet_report;
use crate::progress::bar;
use crate::scenario_choice::load;
use crate::standard_output::{json, print};
use clap::Args;
use serde_json::{Map, Value};
use std::path::{Path, PathBuf};
use std::sync::Arc;
use std::sync::atomic::{AtomicBool, Ordering};
use trimwright_harness::error::InputError;
use trimwright_harness::output;
use trimwright_harness::scenario::Scenario;
use trimwright_study::fleet::{self, EngineOutcome, FleetEngine, FleetError, FleetPlan};
use trimwright_study::journal::{Journal, JournalError, JournalHead};
use trimwright_study::learners::{self, LEARNERS};
use trimwright_study::{columns, parquet};

/// Values of the option `--learner`.
const LEARNER_NAMES: [&str; 4] = [LEARNERS[0].0, LEARNERS[1].0, LEARNERS[2].0, ALL];
/// Selects every learner.
const ALL: &str = "all";
/// The record of finished engines, from which a fleet is resumed.
const JOURNAL: &str = "fleet.jsonl";

/// Text below the options.
pub(crate) const EXAMPLES: &str = "\
Each engine is that of the scenario with randomly sampled deviations of its parts and errors of the owner's answers. The samples \
depend only on the seed and the engine's number.

Examples:
  trimwright fleet delivery-van --engines 50
  trimwright fleet delivery-van --engines 1000 --out fleet --resume
  trimwright fleet delivery-van --learner all

--json prints scenario, seed, learners and a list of engines. Each has engine (its number), learner, failure (reason why it was not driven, or \
null) and, when driven, the figures of fleet.csv: shares as ratios, settle_s in s, null for values that were not measured, and dtcs, \
a list of trouble codes.

Results go to out/SCENARIO-fleet/: report.html, fleet.csv, fleet.parquet, and fleet.jsonl, the record for \
--resume; an existing fleet is overwritten only with --force. Ctrl-C finishes the engines in progress and writes the results of the finished ones; a second Ctrl-C ends at once.";

/// Options of `trimwright fleet`.
#[derive(Args, Clone, Debug)]
pub(crate) struct FleetOptions {
    /// Number of engines
    #[arg(long, value_name = "N", default_value_t = 20, value_parser = whole::<u32>(1, 1_000_000), allow_negative_numbers = true)]
    engines: u32,
    /// Seed of the samples; the same seed gives the same fleet
    #[arg(long, value_name = "N", default_value_t = 1)]
    seed: u64,
    /// Number of engines to drive in parallel, 0 for one per core
    #[arg(long, value_name = "N", default_value_t = 0, value_parser = whole::<u16>(0, 1024), allow_negative_numbers = true)]
    jobs: u16,
    /// Learner, or several separated by commas to compare them
    #[arg(long, value_name = "NAME", default_value = "kalman", value_delimiter = ',', value_parser = LEARNER_NAMES)]
    learner: Vec<String>,
    /// How many times to drive the schedule, 1 to 100 [default: that of the scenario]
    #[arg(long, value_name = "N")]
    passes: Option<u32>,
    /// Drive this speed schedule instead: a name from `trimwright list` or a .csv file
    #[arg(long, value_name = "FILE.csv")]
    schedule: Option<String>,
    /// Without the disturbances that no map can know: constant fuel, no vapour, charge and drift as modelled
    #[arg(long)]
    undisturbed: bool,
    /// Where to write the results [default: out/SCENARIO-fleet]
    #[arg(long, value_name = "DIR")]
    out: Option<PathBuf>,
    /// Continue an interrupted fleet, or make it larger
    #[arg(long, conflicts_with = "force")]
    resume: bool,
    /// Overwrite an existing fleet in the results directory
    #[arg(long)]
    force: bool,
    /// Print nothing except errors
    #[arg(long, conflicts_with = "json")]
    quiet: bool,
    /// Print the figures of each engine as JSON instead of the table
    #[arg(long)]
    json: bool,
}

/// Drives the fleet, writes the results and prints them.
pub(crate) fn fleet(name: &str, options: &FleetOptions) -> Result<(), Failure> {
    let scenario = load(name, options.schedule.as_deref(), options.passes, None, options.undisturbed)?;
    let selected = |name: &str| options.learner.iter().any(|each| each == name || each == ALL);
    let learners = LEARNERS.iter().filter(|(name, _)| selected(name)).map(|(_, learner)| *learner).collect();
    let plan =
        FleetPlan { engines: options.engines, seed: options.seed, learners, jobs: usize::from(options.jobs) };
    let out =
        options.out.clone().unwrap_or_else(|| PathBuf::from("out").join(format!("{}-fleet", scenario.name)));
    output::check(&out)?;
    let (mut journal, done) = open(&scenario, &plan, &out, options)?;

    let stop = Arc::new(AtomicBool::new(false));
    let stop_requested = Arc::clone(&stop);
    let handler = ctrlc::set_handler(move || {
        if stop_requested.swap(true, Ordering::Relaxed) {
            std::process::exit(130);
        }
    });
    handler.map_err(|error| Failure::Other(format!("can't handle Ctrl-C: {error}")))?;

    let engines = u64::from(plan.engines);
    let bar = bar(options.quiet, engines, "{pos} of {len} engines {wide_bar} {eta} left");
    bar.set_position((done.len() / plan.learners.len()) as u64);
    bar.reset_eta();
    let driven = fleet::drive(&scenario, &plan, done, &stop, |engine| {
        bar.inc(1);
        journal.append(engine)
    });
    bar.finish_and_clear();
    let engines = driven.map_err(|error| match error {
        FleetError::Each(error) => Failure::Other(format!("{}: {error}", out.join(JOURNAL).display())),
        threads => Failure::Other(threads.to_string()),
    })?;
    write(&scenario, &plan, &engines, &out)?;
    if options.json {
        let result = serde_json::json!({
            "scenario": scenario.name, "seed": plan.seed,
            "learners": plan.learners.iter().map(|learner| learners::name(*learner)).collect::<Vec<_>>(),
            "engines": engines.iter().map(flat).collect::<Result<Vec<_>, _>>()?,
        });
        print(&json(&result)?)?;
    } else if !options.quiet {
        print(&fleet_report::text(&scenario, &plan, &engines, &out))?;
    }
    let (done, all) = (engines.len() / plan.learners.len(), plan.engines);
    if done < all as usize {
        return Err(Failure::Other(format!("stopped after {done} of {all} engines; --resume continues")));
    }
    Ok(())
}

/// An engine as a flat JSON object: number, learner, failure or figures.
fn flat(engine: &FleetEngine) -> Result<Value, Failure> {
    let unwritable = |error: serde_json::Error| Failure::Other(error.to_string());
    let (failure, figures) = match &engine.outcome {
        EngineOutcome::Failed(reason) => (Value::from(reason.as_str()), Value::Null),
        EngineOutcome::Driven(figures) => (Value::Null, serde_json::to_value(figures).map_err(unwritable)?),
    };
    let mut entries = Map::new();
    entries.insert("engine".to_owned(), engine.index.into());
    entries.insert("learner".to_owned(), learners::name(engine.learner).into());
    entries.insert("failure".to_owned(), failure);
    for (name, figure) in figures.as_object().into_iter().flatten() {
        let codes = figure.as_str().map(|codes| codes.split_whitespace().map(Value::from).collect());
        entries.insert(name.clone(), codes.unwrap_or_else(|| figure.clone()));
    }
    Ok(entries.into())
}

fn open(
    scenario: &Scenario,
    plan: &FleetPlan,
    out: &Path,
    options: &FleetOptions,
) -> Result<(Journal, Vec<FleetEngine>), Failure> {
    let (path, head) = (out.join(JOURNAL), JournalHead::of(scenario, plan));
    let wrong = |error: JournalError| {
        let reason = match error {
            JournalError::Exists => format!("{error}; --resume continues it, --force overwrites it"),
            _ if options.resume => format!("can't resume it: {error}"),
            _ => format!("can't start it: {error}"),
        };
        Failure::Input(InputError::new(path.display().to_string(), reason))
    };
    if options.resume {
        return Journal::resume(&path, &head).map_err(wrong);
    }
    std::fs::create_dir_all(out).map_err(|error| wrong(error.into()))?;
    let begin = if options.force { Journal::overwrite } else { Journal::create };
    Ok((begin(&path, &head).map_err(wrong)?, Vec::new()))
}

fn write(scenario: &Scenario, plan: &FleetPlan, engines: &[FleetEngine], out: &Path) -> Result<(), Failure> {
    let rows = columns::values(engines, plan.seed);
    let csv = columns::to_csv(&rows);
    let notes = [
        ("scenario", scenario.name.clone()),
        ("scenario_hash", scenario.hash()),
        ("seed", plan.seed.to_string()),
        ("program", env!("CARGO_PKG_VERSION").to_owned()),
    ];
    let parquet = parquet::to_bytes(&rows, &notes)
        .map_err(|error| Failure::Other(format!("the results can't be written as Parquet: {error}")))?;
    let page = trimwright_report::render_study(&fleet_report::study(scenario, plan, engines));
    let files: [(&str, &[u8]); 3] =
        [("fleet.csv", csv.as_bytes()), ("fleet.parquet", &parquet), ("report.html", page.as_bytes())];
    Ok(output::write(out, &files)?)
}

#[cfg(test)]
mod tests {
    use super::*;
    use serde_json::json;

    #[test]
    fn an_engine_is_a_flat_object() {
        let engine = |outcome| FleetEngine { index: 7, learner: LEARNERS[0].1, outcome };
        let failed = flat(&engine(EngineOutcome::Failed("too heavy".to_owned()))).expect("JSON");
        assert_eq!(failed, json!({ "engine": 7, "learner": LEARNERS[0].0, "failure": "too heavy" }));
        let figures = json!({
            "base_map_rms": 0.1, "learned_map_rms": 0.01, "learned_map_lasting_rms": 0.01, "closed_loop_rms": null, "p95_abs": null, "transient_rms": null,
            "settle_s": null, "cells_visited": 9, "cells_confident": 3, "within_two_sigma": null, "visited_error_rms": null,
            "offline_fit_rms": null, "cells_run_away": 0, "cells_beyond_authority": 0, "lessons": 12, "stalls": 0,
            "distance_km": 1.5, "fuel_kg": 0.2, "dtcs": "P0171 P0131",
        });
        let read = serde_json::from_value(figures.clone()).expect("figures");
        let driven = flat(&engine(EngineOutcome::Driven(read))).expect("JSON");
        for (name, figure) in figures.as_object().expect("an object") {
            let expected = if name == "dtcs" { json!(["P0171", "P0131"]) } else { figure.clone() };
            assert_eq!(driven[name], expected, "{name}");
        }
        assert_eq!((&driven["engine"], &driven["failure"]), (&json!(7), &Value::Null));
    }
}
