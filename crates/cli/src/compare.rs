//! `trimwright compare`: the learners on the same drive.

use crate::failure::Failure;
use crate::page;
use crate::progress::bar;
use crate::scenario_choice::load;
use crate::standard_output::{json, print};
use clap::{Args, value_parser};
use serde_json::{Value, json};
use std::fmt::Write;
use std::path::{Path, PathBuf};
use trimwright_harness::drive::RunError;
use trimwright_harness::mixture_observer::Window;
use trimwright_harness::output;
use trimwright_harness::scenario::Scenario;
use trimwright_report::{Chart, ChartLine, Drawing, Fact, Study, StudyTable};
use trimwright_study::compare::{self, LearnerRun};
use trimwright_study::learners::LEARNERS;
use trimwright_study::quantiles::FigureFormat;

pub(crate) const EXAMPLES: &str = "\
Examples:
  trimwright compare delivery-van --passes 4
  trimwright compare hot-cam-town --json

Results go to out/SCENARIO-compare/: report.html and compare.csv.";

/// Options of `trimwright compare`.
#[derive(Args, Clone, Debug)]
pub(crate) struct CompareOptions {
    /// How many times to drive the schedule, 1 to 100 [default: that of the scenario]
    #[arg(long, value_name = "N", value_parser = value_parser!(u32).range(1..=100))]
    passes: Option<u32>,
    /// Seed of the random numbers; the same seed gives the same drive [default: that of the scenario]
    #[arg(long, value_name = "N")]
    seed: Option<u64>,
    /// Drive this speed schedule instead: a name from `trimwright list` or a .csv file
    #[arg(long, value_name = "FILE.csv")]
    schedule: Option<String>,
    /// Without the disturbances that no map can know: constant fuel, no vapour, charge and drift as modelled
    #[arg(long)]
    undisturbed: bool,
    /// Where to write the results [default: out/SCENARIO-compare]
    #[arg(long, value_name = "DIR")]
    out: Option<PathBuf>,
    /// Print nothing except errors
    #[arg(long, conflicts_with = "json")]
    quiet: bool,
    /// Print the summary of each learner as JSON instead of the table
    #[arg(long)]
    json: bool,
}

/// Drives with each learner, writes the results and prints them.
pub(crate) fn compare(name: &str, options: &CompareOptions) -> Result<(), Failure> {
    let scenario =
        load(name, options.schedule.as_deref(), options.passes, options.seed, options.undisturbed)?;
    let out = options
        .out
        .clone()
        .unwrap_or_else(|| PathBuf::from("out").join(format!("{}-compare", scenario.name)));
    output::check(&out)?;
    let bar = bar(options.quiet, LEARNERS.len() as u64, "{pos} of {len} learners {wide_bar} {elapsed}");
    let compared = compare::compare(&scenario, || bar.inc(1))
        .map_err(|error: RunError| Failure::Other(error.to_string()))?;
    bar.finish_and_clear();
    let csv = compare::to_csv(&compared);
    let page = trimwright_report::render_study(&study(&scenario, &compared));
    output::write(&out, &[("compare.csv", csv.as_bytes()), ("report.html", page.as_bytes())])?;
    match (options.quiet, options.json) {
        (true, _) => Ok(()),
        (_, true) => {
            let learner = |each: &LearnerRun| json!({ "learner": each.learner, "summary": each.run.summary });
            let learners: Vec<Value> = compared.iter().map(learner).collect();
            print(&json(&json!({ "scenario": scenario.name, "seed": scenario.seed, "learners": learners }))?)
        }
        _ => print(&text(&scenario, &compared, &out)),
    }
}

/// Explanations of the figures of comparisons and fleets, one per line.
pub(crate) const EXPLANATIONS: &str = "\
    Error in visited cells: learned minus true correction, root mean square, weighted by dwell time.\n\
    Offline fit: the same for a least-squares fit to the whole log, about the practical limit.\n\
    Within two sigma: share of the visited cells whose error is below two standard deviations as estimated by the learner; 95 % is expected.\n\
    Learners: integral corrects each cell by a fixed part of the error times its share in the reading; gradient always removes the same \
    part of the error of a reading, wherever it lies between cells; kalman has a gain that falls with the variance of the cell, high at first \
    and low later.";

/// Label of a row and the value of each learner in it.
fn rows(compared: &[LearnerRun]) -> Vec<(&'static str, Vec<String>)> {
    let row = |label, format: FigureFormat, figure: fn(&LearnerRun) -> f64| {
        let written = compared.iter().map(|each| match figure(each) {
            value if value.is_finite() => {
                format!("{} {}", format.text(value), format.unit()).trim_end().to_owned()
            }
            _ => "not reached".to_owned(),
        });
        (label, written.collect())
    };
    let count = |label, figure: fn(&LearnerRun) -> u64| {
        (label, compared.iter().map(|each| figure(each).to_string()).collect())
    };
    vec![
        row("First calibration", FigureFormat::Percent, |each| each.run.summary.mixture.base_map_rms),
        row("Learned map", FigureFormat::Percent, |each| each.run.summary.mixture.learned_map_rms),
        row("  lasting part", FigureFormat::Percent, |each| each.run.summary.mixture.learned_map_lasting_rms),
        row("With feedback", FigureFormat::Percent, |each| each.run.summary.mixture.closed_loop_rms),
        row("In transients", FigureFormat::Percent, |each| each.run.summary.mixture.transient_rms),
        row("Within 2 % after", FigureFormat::Seconds, |each| each.run.summary.learning.settle_s),
        row("Error in visited cells", FigureFormat::Percent, |each| {
            each.run.summary.learning.visited_error_rms
        }),
        row("Offline fit", FigureFormat::Percent, |each| each.run.summary.learning.offline_fit_rms),
        row("Within two sigma", FigureFormat::Percent, |each| each.run.summary.learning.within_two_sigma),
        count("Cells visited", |each| each.run.summary.learning.cells_visited as u64),
        count("Cells known to 1 %", |each| each.run.summary.learning.cells_confident as u64),
        count("Lessons", |each| each.run.summary.learning.lessons),
        count("Stalls", |each| u64::from(each.run.summary.drive.stalls)),
    ]
}

fn text(scenario: &Scenario, compared: &[LearnerRun], out: &Path) -> String {
    let schedule = page::schedule(scenario);
    let mut text = format!(
        "{} (seed {})\n  {:<24}{schedule}\n\n  {:<24}",
        scenario.title, scenario.seed, "Schedule", ""
    );
    // Writing into a String can't fail.
    for each in compared {
        let _ = write!(text, "{:>12}", each.learner);
    }
    for (label, values) in rows(compared) {
        let _ = write!(text, "\n  {label:<24}");
        for value in values {
            let _ = write!(text, "{value:>12}");
        }
    }
    let _ = writeln!(
        text,
        "\n\nA simulation: it does not prove that a real engine is safe.\nWritten to {}: report.html, compare.csv",
        out.display()
    );
    text
}

fn study(scenario: &Scenario, compared: &[LearnerRun]) -> Study {
    let fact = |label: &str, value: String| Fact { label: label.to_owned(), value };
    Study {
        title: "Comparison of the learners".to_owned(),
        about: format!(
            "{}. Schedule {}. The same engine on the same drive, once with each learner; nothing else differs.",
            scenario.title,
            page::schedule(scenario)
        ),
        facts: vec![
            fact("Scenario", scenario.name.clone()),
            fact("Schedule", page::schedule(scenario)),
            fact("Seed", scenario.seed.to_string()),
        ],
        tables: vec![StudyTable {
            title: "The result".to_owned(),
            heads: std::iter::once("")
                .chain(compared.iter().map(|each| each.learner))
                .map(str::to_owned)
                .collect(),
            rows: rows(compared)
                .into_iter()
                .map(|(label, values)| std::iter::once(label.to_owned()).chain(values).collect())
                .collect(),
            note: format!(
                "Mixture errors are root mean squares of ln(lambda / wanted lambda). First calibration and learned map: steady driving, no \
                 feedback. With feedback: all of the last pass.\n{EXPLANATIONS}\nCells known to 1 %: visited cells whose standard deviation, \
                 as estimated by the learner, is below 1 %."
            ),
        }],
        charts: vec![
            chart(
                "The map alone",
                "Error of the learned map alone, steady driving, in each minute.",
                compared,
                |window| window.map_rms,
            ),
            chart("With feedback", "All driving, with feedback, in each minute.", compared, |window| {
                window.closed_loop_rms
            }),
        ],
    }
}

fn chart(title: &str, note: &str, compared: &[LearnerRun], error: fn(&Window) -> f64) -> Chart {
    let line = |each: &LearnerRun| ChartLine {
        name: each.learner.to_owned(),
        points: each.run.windows.iter().map(|window| [window.end_s / 60.0, 100.0 * error(window)]).collect(),
        dots: false,
    };
    Chart {
        title: title.to_owned(),
        note: note.to_owned(),
        drawing: Drawing::Lines {
            x_label: "time [min]".to_owned(),
            y_label: "mixture error, rms [%]".to_owned(),
            logarithmic: true,
            lines: compared.iter().map(line).collect(),
        },
    }
}
