//! `trimwright stability`: stability limits of trim and learning.

use crate::failure::Failure;
use crate::standard_output::{json, print};
use clap::Args;
use serde_json::{Value, json};
use std::fmt::Write;
use std::path::{Path, PathBuf};
use trimwright_harness::csv_text::csv_text;
use trimwright_harness::output;
use trimwright_report::{Chart, ChartLine, Drawing, Fact, Study, StudyTable};
use trimwright_study::stability::{self, Response, SAMPLE_S, StabilityLimit};

/// Delays at which the limits are measured, samples.
const DELAYS: [usize; 12] = [1, 2, 3, 4, 5, 7, 10, 15, 20, 30, 45, 60];
/// Names of the kinds of response, in the order of [`Response`].
const KINDS: [&str; 3] = ["settles", "overshoots by 25 % or more", "unstable"];

pub(crate) const EXAMPLES: &str = "\
Examples:
  trimwright stability
  trimwright stability --out results/stability --json

Results go to out/stability/: report.html and stability.csv.";

/// Options of `trimwright stability`.
#[derive(Args, Clone, Debug)]
pub(crate) struct StabilityOptions {
    /// Where to write the results
    #[arg(long, value_name = "DIR", default_value = "out/stability")]
    out: PathBuf,
    /// Print nothing except errors
    #[arg(long, conflicts_with = "json")]
    quiet: bool,
    /// Print the limits as JSON instead of the table
    #[arg(long)]
    json: bool,
}

/// Measures the limits, writes the results and prints them.
pub(crate) fn stability(options: &StabilityOptions) -> Result<(), Failure> {
    output::check(&options.out)?;
    let limits = stability::limits(&DELAYS);
    let maps = maps(&stability::charts());
    let page = trimwright_report::render_study(&study(&limits, &maps));
    let csv = csv(&maps);
    output::write(&options.out, &[("stability.csv", csv.as_bytes()), ("report.html", page.as_bytes())])?;
    match (options.quiet, options.json) {
        (true, _) => Ok(()),
        (_, true) => print(&json(&json!({ "limits": limits.iter().map(to_json).collect::<Vec<_>>() }))?),
        _ => print(&text(&limits, &options.out)),
    }
}

/// A limit as JSON.
fn to_json(limit: &StabilityLimit) -> Value {
    let StabilityLimit { delay, exact, trim, learner } = limit;
    json!({ "delay": delay, "delay_s": *delay as f64 * SAMPLE_S, "exact": exact, "trim": trim, "learner": learner })
}

/// A chart with its texts.
struct StabilityMap {
    name: &'static str,
    title: &'static str,
    note: &'static str,
    y_label: &'static str,
    chart: stability::StabilityChart,
}

fn maps(charts: &stability::Charts) -> [StabilityMap; 5] {
    let map = |name, title, note, y_label, chart: &stability::StabilityChart| StabilityMap {
        name,
        title,
        note,
        y_label,
        chart: chart.clone(),
    };
    [
        map(
            "learner_unaware",
            "Learning without delay model",
            "Each reading is attributed to the correction that is applied now. The longer the delay, the lower the stable gain; above the \
             exact limit the error oscillates permanently.",
            "gain per reading",
            &charts.learner_unaware,
        ),
        map(
            "learner_aware",
            "Learning with attribution to the injection",
            "The same learner with the same gains; each reading is attributed to the correction at the time of its injection. It is stable for \
             every delay.",
            "gain per reading",
            &charts.learner_aware,
        ),
        map(
            "trim_unaware",
            "Short-term trim without delay model",
            "A plain integrator of the error, the usual feedback.",
            "gain per reading",
            &charts.trim_unaware,
        ),
        map(
            "trim_aware",
            "Short-term trim with delay model, wrong loop gain",
            "The assumed delay is true. A gain of 1 means that sensor and injectors are as assumed.",
            "loop gain",
            &charts.trim_aware,
        ),
        map(
            "trim_mistaken",
            "Short-term trim with delay model, wrong delay",
            "Loop gain 1.5. A ratio of 1 means that the assumed delay is true.",
            "assumed / true delay",
            &charts.trim_mistaken,
        ),
    ]
}

fn text(limits: &[StabilityLimit], out: &Path) -> String {
    let mut text = "Largest stable gain per reading without delay model\n\n".to_owned();
    // Writing into a String can't fail.
    let _ = writeln!(text, "  {:>10}{:>10}{:>10}{:>10}{:>10}", "readings", "s", "exact", "trim", "learner");
    for limit in limits {
        let seconds = limit.delay as f64 * SAMPLE_S;
        let _ = writeln!(
            text,
            "  {:>10}{seconds:>10.2}{:>10.4}{:>10.4}{:>10.4}",
            limit.delay, limit.exact, limit.trim, limit.learner
        );
    }
    let _ = writeln!(
        text,
        "\nTrim and learner of the controller use a delay model; their charts are in the report.\nWritten to {}: report.html, stability.csv",
        out.display()
    );
    text
}

/// The text of `stability.csv`: every field of every chart.
fn csv(maps: &[StabilityMap]) -> String {
    let rows = maps.iter().flat_map(|StabilityMap { name, chart, .. }| {
        let places =
            chart.values.iter().flat_map(move |value| chart.delays.iter().map(move |delay| (delay, value)));
        places.zip(&chart.responses).map(move |((delay, value), motion)| {
            let delay_s = format!("{:.2}", *delay as f64 * SAMPLE_S);
            [(*name).to_owned(), delay_s, value.to_string(), KINDS[place(*motion)].to_owned()]
        })
    });
    csv_text(["map", "delay [s]", "value [1]", "motion"], rows)
}

fn place(motion: Response) -> usize {
    match motion {
        Response::Settles => 0,
        Response::Overshoots => 1,
        Response::Unstable => 2,
    }
}

fn study(limits: &[StabilityLimit], maps: &[StabilityMap]) -> Study {
    let fact = |label: &str, value: String| Fact { label: label.to_owned(), value };
    let points = |value: fn(&StabilityLimit) -> f64| -> Vec<[f64; 2]> {
        limits.iter().map(|limit| [limit.delay as f64 * SAMPLE_S, value(limit)]).collect()
    };
    let line = |name: &str, value, dots| ChartLine { name: name.to_owned(), points: points(value), dots };
    let limit_chart = Chart {
        title: "Stability limit without delay model".to_owned(),
        note: "Line: 2 sin(pi / (2 (2 d - 1))), exact for an integrator with a delay of d readings. Dots: measured with the stages of the controller."
            .to_owned(),
        drawing: Drawing::Lines {
            x_label: "delay [s]".to_owned(),
            y_label: "gain per reading".to_owned(),
            logarithmic: true,
            lines: vec![
                line("exact", |limit| limit.exact, false),
                line("short-term trim", |limit| limit.trim, true),
                line("learner", |limit| limit.learner, true),
            ],
        },
    };
    Study {
        title: "Stability limits of trim and learning".to_owned(),
        about: "A constant mixture error is corrected by the controller's trim and learner, which measure the result after a delay."
            .to_owned(),
        facts: vec![fact("Time between readings", format!("{:.0} ms", 1e3 * SAMPLE_S))],
        tables: vec![StudyTable {
            title: "Limits".to_owned(),
            heads: ["delay [readings]", "exact", "trim", "learner"].map(str::to_owned).into(),
            rows: limits
                .iter()
                .map(|limit| {
                    let values = [limit.exact, limit.trim, limit.learner].map(|value| format!("{value:.4}"));
                    std::iter::once(limit.delay.to_string()).chain(values).collect()
                })
                .collect(),
            note: "Largest stable gain per reading when no delay is assumed.".to_owned(),
        }],
        charts: std::iter::once(limit_chart).chain(maps.iter().map(drawing)).collect(),
    }
}

fn drawing(map: &StabilityMap) -> Chart {
    Chart {
        title: map.title.to_owned(),
        note: map.note.to_owned(),
        drawing: Drawing::Fields {
            x_label: "delay [s]".to_owned(),
            y_label: map.y_label.to_owned(),
            columns: map
                .chart
                .delays
                .iter()
                .map(|delay| format!("{:.1}", *delay as f64 * SAMPLE_S))
                .collect(),
            rows: map.chart.values.iter().map(f64::to_string).collect(),
            values: map.chart.responses.iter().map(|motion| place(*motion)).collect(),
            kinds: KINDS.map(str::to_owned).into(),
        },
    }
}
