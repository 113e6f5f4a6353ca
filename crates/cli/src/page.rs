//! Tells a run as the story that the report page shows.

use crate::map::{cells, rpm};
use trimwright_harness::drive::Run;
use trimwright_harness::scenario::Scenario;
use trimwright_harness::summary::{self, LearningFigures};
use trimwright_report::{
    Convergence, Dtc, Fact, Figure, Map, Mark, Refusal, Snapshot, Spread, Story, Trace, Verdict, Weight,
};

/// Rows of the record to one sample of the page.
const ROWS_A_SAMPLE: usize = 5;
/// Reach and number of bins of the histogram of mixture errors.
const REACH_LN: f64 = 0.25;
const BINS: usize = 50;
/// Standard deviation below which something was learned in a cell, as a share of the first one.
const TOUCHED: f32 = 0.98;

/// The story of a run.
pub(crate) fn story(scenario: &Scenario, run: &Run) -> Story {
    let summary = &run.summary;
    let refusals = summary.learning.refusals.iter();
    let mut figures = Vec::new();
    if let Ok(value) = serde_json::to_value(summary) {
        flatten("", &value, &mut figures);
    }
    Story {
        title: scenario.title.clone(),
        scenario: scenario.about.clone(),
        driven: driven(scenario),
        facts: facts(scenario, run),
        figures,
        trace: trace(run),
        marks: marks(scenario),
        convergence: Convergence {
            window_s: trimwright_harness::watch::WINDOW_S,
            time_s: run.windows.iter().map(|window| window.end_s).collect(),
            map_rms: run.windows.iter().map(|window| window.map_rms).collect(),
            closed_loop_rms: run.windows.iter().map(|window| window.closed_loop_rms).collect(),
        },
        spread: Spread {
            edges_ln: (0..=BINS).map(|edge| (2.0 * edge as f64 / BINS as f64 - 1.0) * REACH_LN).collect(),
            base_map: run.base.histogram(REACH_LN, BINS),
            learned_map: run.frozen.histogram(REACH_LN, BINS),
            closed_loop: run.last_pass.histogram(REACH_LN, BINS),
        },
        map: map(run),
        snapshots: snapshots(run),
        lessons: summary.learning.lessons,
        refusals: refusals.map(|(reason, &count)| Refusal { reason: reason.clone(), count }).collect(),
        dtcs: dtcs(run),
        verdicts: verdicts(run),
        cautions: Vec::new(),
    }
}

/// Numbers by their full name, `mixture.p95_abs`; one that could not be measured is NaN.
fn flatten(name: &str, value: &serde_json::Value, figures: &mut Vec<Figure>) {
    let below = |key: &str| if name.is_empty() { key.to_owned() } else { format!("{name}.{key}") };
    match value {
        serde_json::Value::Object(fields) if name != "learning.refusals" => {
            for (key, value) in fields {
                flatten(&below(key), value, figures);
            }
        }
        serde_json::Value::Number(number) if name.contains('.') => {
            figures.push(Figure { name: name.to_owned(), value: number.as_f64().unwrap_or(f64::NAN) });
        }
        serde_json::Value::Null => figures.push(Figure { name: name.to_owned(), value: f64::NAN }),
        _ => {}
    }
}

fn driven(scenario: &Scenario) -> String {
    let schedule = &scenario.schedule;
    let times = if scenario.passes == 1 { "once".to_owned() } else { format!("{} times", scenario.passes) };
    let way = if schedule.on_dynamometer() {
        "on a dynamometer for".to_owned()
    } else {
        format!("{:.1} km in", schedule.distance_m() / 1e3)
    };
    format!(
        "Schedule {}, {way} {:.0} min, driven {times} while learning, and once each before and after with the map frozen.",
        schedule.name(),
        schedule.duration_s() / 60.0
    )
}

fn facts(scenario: &Scenario, run: &Run) -> Vec<Fact> {
    let answers = &scenario.answers;
    let common = common_causes(&run.summary.learning);
    let engine =
        format!("{:.1} L, {} cylinders", f64::from(answers.displacement_m3) * 1e3, answers.cylinders);
    [
        ("Scenario", scenario.name.clone()),
        ("Engine, as answered", engine),
        ("Seed", scenario.seed.to_string()),
        ("Scenario hash", run.summary.scenario_hash.clone()),
        ("Flow and opening delay", common),
    ]
    .map(|(label, value)| Fact { label: label.to_owned(), value })
    .into()
}

/// What all cells have in common, and whether the drive could part its two causes.
pub(crate) fn common_causes(learning: &LearningFigures) -> String {
    let flow = format!("{:+.1} % fuel everywhere", 100.0 * learning.common_flow_ln);
    let when = if learning.opening_delay_s < 0.0 { "sooner" } else { "later" };
    let delay = format!("injectors {:.3} ms {when}", 1e3 * learning.opening_delay_s.abs());
    match learning.told_apart {
        true => format!("{flow}, {delay} than believed"),
        false => format!("{flow}, {delay}, or another such pair: the drive could not tell them apart"),
    }
}

fn trace(run: &Run) -> Trace {
    let series = |value: fn(&trimwright_harness::trace::Row) -> f64| -> Vec<f64> {
        run.rows.iter().step_by(ROWS_A_SAMPLE).map(value).collect()
    };
    Trace {
        time_s: series(|row| row.time_s),
        wanted_speed_m_per_s: series(|row| row.wanted_speed_m_per_s),
        speed_m_per_s: series(|row| row.speed_m_per_s),
        lambda: series(|row| row.lambda),
        wanted_lambda: series(|row| row.wanted_lambda),
        short_term_trim_ln: series(|row| row.trim_ln),
        long_term_trim_ln: series(|row| row.learned_ln),
        map_pa: series(|row| row.map_pa),
        rpm: series(|row| row.engine_rpm),
    }
}

fn marks(scenario: &Scenario) -> Vec<Mark> {
    let pass_s = scenario.schedule.duration_s();
    (1..scenario.passes)
        .map(|pass| Mark { time_s: pass_s * f64::from(pass), label: format!("pass {}", pass + 1) })
        .collect()
}

fn map(run: &Run) -> Map {
    let cells = cells(&run.into());
    let series = |value: fn(&crate::map::Cell) -> f64| -> Vec<f64> { cells.iter().map(value).collect() };
    let speeds = run.calibration.rpm_axis().points();
    Map {
        rpm: speeds.iter().map(|&speed| rpm(f64::from(speed))).collect(),
        map_pa: run.calibration.map_axis().points().iter().map(|&map_pa| f64::from(map_pa)).collect(),
        base_filling: series(|cell| cell.base_filling),
        learned_ln: series(|cell| cell.learned_ln),
        right_ln: series(|cell| cell.right_ln),
        dwell_s: series(|cell| cell.dwell_s),
        sigma_ln: series(|cell| cell.sigma_ln),
        visited: cells.iter().map(|cell| cell.visited).collect(),
    }
}

fn snapshots(run: &Run) -> Vec<Snapshot> {
    let Some(first) = run.snapshots.first() else { return Vec::new() };
    let tell = |snapshot: &trimwright_harness::drive::Snapshot| {
        let learned = &snapshot.learned;
        let cells = 0..learned.ln.flat().len();
        Snapshot {
            time_s: snapshot.time_s,
            learned_ln: learned.ln.flat().iter().map(|&ln| f64::from(ln)).collect(),
            sigma_ln: cells.clone().map(|cell| f64::from(learned.sigma_ln(cell))).collect(),
            touched: cells
                .map(|cell| learned.sigma_ln(cell) < TOUCHED * first.learned.sigma_ln(cell))
                .collect(),
        }
    };
    run.snapshots.iter().map(tell).collect()
}

fn dtcs(run: &Run) -> Vec<Dtc> {
    let tell =
        |code: &String| Dtc { code: code.clone(), meaning: meaning(code).to_owned(), time_s: f64::NAN };
    run.summary.dtcs.iter().map(tell).collect()
}

/// What a trouble code says.
pub(crate) fn meaning(code: &str) -> &'static str {
    let known = trimwright_control::Dtc::ALL.into_iter().find(|dtc| dtc.code() == code);
    known.map_or("", trimwright_control::Dtc::meaning)
}

fn verdicts(run: &Run) -> Vec<Verdict> {
    let findings = run.summary.verdicts.iter().cloned();
    findings
        .map(|finding| Verdict {
            title: finding.title,
            weight: match finding.weight {
                summary::Weight::Note => Weight::Note,
                summary::Weight::Act => Weight::Act,
                summary::Weight::Stop => Weight::Stop,
            },
            evidence: finding.evidence,
            causes: finding.causes,
            tell_apart: finding.tell_apart,
            check: finding.check,
        })
        .collect()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn it_is_said_when_two_causes_could_not_be_told_apart() {
        let learning = |told_apart| LearningFigures {
            settle_s: f64::NAN,
            cells_visited: 0,
            cells_confident: 0,
            within_two_sigma: f64::NAN,
            visited_error_rms: f64::NAN,
            offline_fit_rms: f64::NAN,
            common_flow_ln: 0.033,
            opening_delay_s: -7e-5,
            told_apart,
            lessons: 0,
            refusals: std::collections::BTreeMap::new(),
        };
        assert_eq!(
            common_causes(&learning(true)),
            "+3.3 % fuel everywhere, injectors 0.070 ms sooner than believed"
        );
        assert!(common_causes(&learning(false)).ends_with("the drive could not tell them apart"));
    }
}
