//! `trimwright drive`: drives a scenario and writes the results.

use crate::arguments::DriveOptions;
use crate::failure::Failure;
use crate::progress::bar;
use crate::scenario_choice::load;
use crate::standard_output::print;
use crate::{map, page, table};
use std::io::{self, Write};
use std::path::{Path, PathBuf};
use trimwright_control::Parameters;
use trimwright_harness::drive::{Progress, Record, Run, RunError};
use trimwright_harness::error::InputError;
use trimwright_harness::on_target::{OnTarget, OnTargetError};
use trimwright_harness::scenario::Scenario;
use trimwright_harness::units::UnitSystem;
use trimwright_harness::{drive as harness, output, trace};

/// Drives the scenario, writes the results and prints them.
pub(crate) fn drive(name: &str, options: &DriveOptions) -> Result<(), Failure> {
    let scenario =
        load(name, options.schedule.as_deref(), options.passes, options.seed, options.undisturbed)?;
    let out = options.out.clone().unwrap_or_else(|| PathBuf::from("out").join(&scenario.name));
    output::check(&out)?;
    if options.on_target.is_some() && scenario.parameters != Parameters::DEFAULT {
        let problem = OnTargetError::Parameters.to_string();
        return Err(InputError::new(&scenario.name, problem).key("calibration").into());
    }

    let bar = bar(options.quiet, 0, "driving {wide_bar} {percent:>3} %  {eta} left");
    let mut show = |progress: Progress| {
        bar.set_length(progress.total_s as u64);
        bar.set_position(progress.done_s as u64);
    };
    let driven = match &options.on_target {
        Some(program) => OnTarget::emulated(program)
            .map_err(RunError::from)
            .and_then(|mut target| harness::drive_on(&scenario, &mut target, &mut show)),
        None => {
            let control =
                trimwright_control::Options { self_check: options.self_check, ..Default::default() };
            harness::drive_with(&scenario, control, Record::Everything, &mut show)
        }
    };
    let run = driven.map_err(|error| Failure::Other(error.to_string()))?;
    bar.finish_and_clear();

    let summary = run.summary.to_json().map_err(unwritable)?;
    write(&scenario, &run, &summary, &out, options.units)?;
    match (options.quiet, options.json) {
        (true, _) => return Ok(()),
        (_, true) => print(&summary)?,
        _ => print(&table::text(&scenario, &run, &out, options.units))?,
    }
    if let Some(words) = page::engine_mismatch(&scenario) {
        // An error while printing the note cannot be reported.
        let _ = writeln!(io::stderr(), "trimwright: note: {words}");
    }
    Ok(())
}

fn write(
    scenario: &Scenario,
    run: &Run,
    summary: &str,
    out: &Path,
    units: UnitSystem,
) -> Result<(), Failure> {
    let trace = trace::to_csv(&run.rows);
    let map = map::to_csv(&run.into());
    let page = trimwright_report::render(&page::report_data(scenario, run, units));
    let files: [(&str, &[u8]); 4] = [
        ("summary.json", summary.as_bytes()),
        ("trace.csv", trace.as_bytes()),
        ("map.csv", map.as_bytes()),
        ("report.html", page.as_bytes()),
    ];
    Ok(output::write(out, &files)?)
}

fn unwritable(error: impl std::fmt::Display) -> Failure {
    Failure::Other(format!("the results can't be written as JSON: {error}"))
}
