//! Report data of a run, and texts that table and report share.

use crate::map::{cells, rpm};
use trimwright_harness::drive::Run;
use trimwright_harness::parameters::changed;
use trimwright_harness::scenario::Scenario;
use trimwright_harness::summary::LearningFigures;
use trimwright_harness::units::{UnitSystem, times};
use trimwright_report::{
    Convergence, ErrorHistogram, Fact, Figure, MapFigures, Mark, RefusalCount, ReplayFrame, ReportData,
    Trace, TroubleCode,
};

/// Rows of the trace per sample of the page.
const ROWS_PER_SAMPLE: usize = 5;
/// Largest mixture error of the histogram, ln, and number of its bins.
const HISTOGRAM_RANGE_LN: f64 = 0.25;
const BINS: usize = 50;
/// Parts of the summary that have separate tables in the page.
const OWN_TABLES: [&str; 2] = ["learning.refusals", "driveability"];
/// A cell with a standard deviation below this share of the initial one has had a lesson, ratio.
const LESSON_SIGMA_SHARE: f32 = 0.98;

/// Largest relative difference between answered and simulated displacement without a note.
const SAME_ENGINE: f64 = 0.1;
/// Faults that cause such a difference on purpose.
const WRONG_ANSWERS: [&str; 2] = ["wrong_displacement", "wrong_cylinders"];

/// The report data of a run.
pub(crate) fn report_data(scenario: &Scenario, run: &Run, units: UnitSystem) -> ReportData {
    let summary = &run.summary;
    let refusals = summary.learning.refusals.iter();
    let mut figures = Vec::new();
    if let Ok(value) = serde_json::to_value(summary) {
        flatten("", &value, &mut figures);
    }
    ReportData {
        title: scenario.title.clone(),
        scenario: scenario.about.clone(),
        driven: driven(scenario),
        facts: facts(scenario, run),
        figures,
        trace: trace(run),
        driveability: summary.driveability.clone(),
        units,
        marks: marks(scenario),
        convergence: Convergence {
            window_s: trimwright_harness::mixture_observer::WINDOW_S,
            time_s: run.windows.iter().map(|window| window.end_s).collect(),
            map_rms: run.windows.iter().map(|window| window.map_rms).collect(),
            closed_loop_rms: run.windows.iter().map(|window| window.closed_loop_rms).collect(),
        },
        error_histogram: ErrorHistogram {
            edges_ln: (0..=BINS)
                .map(|edge| (2.0 * edge as f64 / BINS as f64 - 1.0) * HISTOGRAM_RANGE_LN)
                .collect(),
            base_map: run.base.histogram(HISTOGRAM_RANGE_LN, BINS),
            learned_map: run.frozen.histogram(HISTOGRAM_RANGE_LN, BINS),
            closed_loop: run.last_pass.histogram(HISTOGRAM_RANGE_LN, BINS),
        },
        map: map(run),
        snapshots: snapshots(run),
        lessons: summary.learning.lessons,
        refusals: refusals.map(|(reason, &count)| RefusalCount { reason: reason.clone(), count }).collect(),
        dtcs: dtcs(run),
        findings: summary.verdicts.clone(),
        cautions: Vec::new(),
    }
}

/// Appends all numbers by full name, as `mixture.p95_abs`, null as NaN; refusals and driveability have separate tables.
fn flatten(name: &str, value: &serde_json::Value, figures: &mut Vec<Figure>) {
    let below = |key: &str| if name.is_empty() { key.to_owned() } else { format!("{name}.{key}") };
    match value {
        serde_json::Value::Object(fields) if !OWN_TABLES.contains(&name) => {
            for (key, value) in fields {
                flatten(&below(key), value, figures);
            }
        }
        serde_json::Value::Number(number) if name.contains('.') => {
            figures.push(Figure { name: name.to_owned(), value: number.as_f64().unwrap_or(f64::NAN) });
        }
        serde_json::Value::Null if !OWN_TABLES.contains(&name) => {
            figures.push(Figure { name: name.to_owned(), value: f64::NAN })
        }
        _ => {}
    }
}

/// Name of the schedule and number of passes.
pub(crate) fn schedule(scenario: &Scenario) -> String {
    format!("{}, driven {} while learning", scenario.schedule.name(), times(scenario.passes))
}

fn driven(scenario: &Scenario) -> String {
    let schedule = &scenario.schedule;
    let times = times(scenario.passes);
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

/// SizeOptions of the engine as the owner answered, and as it was simulated.
fn engines(scenario: &Scenario) -> [String; 2] {
    let text = |m3: f64, cylinders: u8| format!("{:.1} L, {cylinders} cylinders", 1e3 * m3);
    let (answers, truth) = (&scenario.answers, &scenario.truth.engine);
    [
        text(f64::from(answers.displacement_m3), answers.cylinders),
        text(truth.displacement_m3, truth.cylinders),
    ]
}

/// A note when answers and simulated engine differ in size, unless a fault causes it.
pub(crate) fn engine_mismatch(scenario: &Scenario) -> Option<String> {
    let (answers, truth) = (&scenario.answers, &scenario.truth.engine);
    let off = f64::from(answers.displacement_m3) / truth.displacement_m3 - 1.0;
    let differs = off.abs() > SAME_ENGINE || answers.cylinders != truth.cylinders;
    let intended = scenario.faults.iter().any(|fault| WRONG_ANSWERS.contains(&fault.kind.name));
    let [answered, simulated] = engines(scenario);
    (differs && !intended).then(|| {
        format!(
            "[setup] says {answered}, but the engine that was driven has {simulated}: answers describe the engine to the controller and do not \
             change it. `engine = ...` selects another engine, from `trimwright list` or a file of your own"
        )
    })
}

fn facts(scenario: &Scenario, run: &Run) -> Vec<Fact> {
    let common = common_correction(&run.summary.learning);
    let [answered, simulated] = engines(scenario);
    let simulated =
        if simulated == answered { simulated } else { format!("{simulated}; differs from the answers") };
    [
        ("Scenario", scenario.name.clone()),
        ("Engine, as answered", answered),
        ("Engine, simulated", simulated),
        ("Seed", scenario.seed.to_string()),
        ("Scenario hash", run.summary.scenario_hash.clone()),
        ("Common fuel correction", common),
        ("Changed parameters", changed(&scenario.parameters).join(", ")),
    ]
    .map(|(label, value)| Fact { label: label.to_owned(), value })
    .into_iter()
    .filter(|fact| !fact.value.is_empty())
    .collect()
}

/// Common fuel correction and opening delay, and whether the drive could distinguish them.
pub(crate) fn common_correction(learning: &LearningFigures) -> String {
    let flow = format!("{:+.1} % fuel in all cells", 100.0 * learning.common_flow_ln);
    let when = if learning.opening_delay_s < 0.0 { "earlier" } else { "later" };
    let delay = format!("injectors {:.3} ms {when}", 1e3 * learning.opening_delay_s.abs());
    match learning.told_apart {
        true => format!("{flow}, {delay} than assumed"),
        false => format!("{flow}, {delay}; the drive could not separate the two"),
    }
}

fn trace(run: &Run) -> Trace {
    let series = |value: fn(&trimwright_harness::trace::TraceRow) -> f64| -> Vec<f64> {
        run.rows.iter().step_by(ROWS_PER_SAMPLE).map(value).collect()
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

fn map(run: &Run) -> MapFigures {
    let cells = cells(&run.into());
    let series = |value: fn(&crate::map::Cell) -> f64| -> Vec<f64> { cells.iter().map(value).collect() };
    let speeds = run.calibration.setup().rpm_axis().points();
    MapFigures {
        rpm: speeds.iter().map(|&speed| rpm(f64::from(speed))).collect(),
        map_pa: run.calibration.setup().map_axis().points().iter().map(|&map_pa| f64::from(map_pa)).collect(),
        base_filling: series(|cell| cell.base_filling),
        learned_ln: series(|cell| cell.learned_ln),
        true_ln: series(|cell| cell.true_ln),
        dwell_s: series(|cell| cell.dwell_s),
        sigma_ln: series(|cell| cell.sigma_ln),
        visited: cells.iter().map(|cell| cell.visited).collect(),
    }
}

fn snapshots(run: &Run) -> Vec<ReplayFrame> {
    let Some(first) = run.snapshots.first() else { return Vec::new() };
    let convert = |snapshot: &trimwright_harness::drive::Snapshot| {
        let learned = &snapshot.learned;
        let cells = 0..learned.ln.flat().len();
        ReplayFrame {
            time_s: snapshot.time_s,
            learned_ln: learned.ln.flat().iter().map(|&ln| f64::from(ln)).collect(),
            sigma_ln: cells.clone().map(|cell| f64::from(learned.sigma_ln(cell))).collect(),
            has_lesson: cells
                .map(|cell| learned.sigma_ln(cell) < LESSON_SIGMA_SHARE * first.learned.sigma_ln(cell))
                .collect(),
        }
    };
    run.snapshots.iter().map(convert).collect()
}

fn dtcs(run: &Run) -> Vec<TroubleCode> {
    let convert = |code: &String| TroubleCode {
        code: code.clone(),
        meaning: meaning(code).to_owned(),
        time_s: f64::NAN,
    };
    run.summary.dtcs.iter().map(convert).collect()
}

/// Meaning of a trouble code.
pub(crate) fn meaning(code: &str) -> &'static str {
    let known = trimwright_control::Dtc::ALL.into_iter().find(|dtc| dtc.code() == code);
    known.map_or("", trimwright_control::Dtc::meaning)
}

#[cfg(test)]
mod tests {
    use super::*;

    fn van() -> Scenario {
        Scenario::load("delivery-van").expect("shipped")
    }

    /// The text of the cells of a table's body, row by row.
    fn rows<'a>(page: &'a str, table: &str) -> Vec<Vec<&'a str>> {
        let (_, rest) = page.split_once(&format!("<table class=\"{table}\">")).expect("the table begins");
        let (_, body) = rest.split_once("<tbody>").expect("its body begins");
        let (body, _) = body.split_once("</tbody>").expect("it ends");
        let cell = |cell: &'a str| cell.split_once('>').map_or("", |(_, words)| words).trim();
        let cells = |row: &'a str| {
            row.split("<td").skip(1).map(|each| each.split("</td>").next().map_or("", cell)).collect()
        };
        body.split("<tr>").skip(1).map(cells).collect()
    }

    /// Names of all numbers of the summary, including null ones.
    fn numbers(name: &str, value: &serde_json::Value, found: &mut Vec<String>) {
        match value {
            serde_json::Value::Object(fields) => {
                fields.iter().for_each(|(key, value)| {
                    numbers(format!("{name}.{key}").trim_start_matches('.'), value, found)
                });
            }
            serde_json::Value::Number(_) | serde_json::Value::Null => found.push(name.to_owned()),
            _ => {}
        }
    }

    #[test]
    fn each_figure_of_a_summary_has_label_unit_and_explanation() {
        let trip = "time [s],speed [km/h]\n0,0\n20,0\n35,50\n100,50\n110,0\n";
        let schedule =
            trimwright_harness::schedule::Schedule::parse("trip", "trip.csv", trip).expect("a schedule");
        let scenario = Scenario { schedule, passes: 1, ..van() };
        let run = trimwright_harness::drive::drive(&scenario, &mut |_| ()).expect("driven");
        let data = report_data(&scenario, &run, UnitSystem::Us);
        assert_eq!(data.units, UnitSystem::Us);
        let tested = data.driveability.as_ref().expect("driveability was tested");
        assert_eq!((tested.starts.len(), tested.tip_ins.len()), (4, 2));
        let page = trimwright_report::render(&data);

        let mut named = Vec::new();
        for row in rows(&page, "figures") {
            let [what, value, explanation] = row[..] else { panic!("{row:?}") };
            let (label, name) = what.split_once("<code>").expect("a name");
            let name = name.trim_end_matches("</code>");
            assert!(label.len() > 4 && explanation.ends_with('.'), "{name}: {label}, {explanation}");
            let counted = value.chars().all(|sign| sign.is_ascii_digit());
            let has_unit = value
                .split_once(' ')
                .is_some_and(|(number, unit)| number.parse::<f64>().is_ok() && !unit.is_empty());
            let in_minutes = value.ends_with(" min");
            assert!(
                counted || has_unit || in_minutes || value.starts_with("not "),
                "{name}: {value} has no unit"
            );
            named.push(name.to_owned());
        }
        let mut there = Vec::new();
        numbers("", &serde_json::to_value(&run.summary).expect("JSON"), &mut there);
        // Without entries that are no figures or have a separate table.
        there.retain(|name| name.contains('.') && !OWN_TABLES.iter().any(|table| name.starts_with(table)));
        named.sort();
        there.sort();
        assert_eq!(named, there);
    }

    #[test]
    fn each_refusal_has_an_explanation() {
        let refusals = trimwright_control::Refusal::ALL
            .map(|refusal| RefusalCount { reason: refusal.name().to_owned(), count: 1 });
        let page =
            trimwright_report::render(&ReportData { refusals: refusals.into(), ..ReportData::default() });
        let rows = rows(&page, "reasons");
        assert_eq!(rows.len(), 1 + trimwright_control::Refusal::ALL.len());
        for row in rows {
            assert!(row.last().is_some_and(|why| why.len() > 20), "no explanation for {row:?}");
        }
    }

    #[test]
    fn a_note_is_given_when_answers_and_engine_differ() {
        let answered = |litres: f32, cylinders| {
            let mut scenario = van();
            (scenario.answers.displacement_m3, scenario.answers.cylinders) = (1e-3 * litres, cylinders);
            scenario
        };
        let words = engine_mismatch(&answered(5.9, 8)).expect("a note");
        assert!(
            words.starts_with(
                "[setup] says 5.9 L, 8 cylinders, but the engine that was driven has 5.2 L, 8 cylinders"
            ),
            "{words}"
        );
        assert!(engine_mismatch(&answered(5.2, 6)).is_some());
        assert_eq!(engine_mismatch(&answered(5.5, 8)), None, "a usual error of the owner");
        let kind = trimwright_harness::faults::find("wrong_displacement").expect("a kind");
        let intended =
            Scenario { faults: vec![trimwright_harness::faults::Fault::usual(kind)], ..answered(7.0, 8) };
        assert_eq!(engine_mismatch(&intended), None);
        for shipped in trimwright_harness::shipped::SCENARIOS {
            assert_eq!(
                engine_mismatch(&Scenario::load(shipped.name).expect("shipped")),
                None,
                "{}",
                shipped.name
            );
        }
        assert_eq!(engines(&answered(5.9, 6)), ["5.9 L, 6 cylinders", "5.2 L, 8 cylinders"]);
    }

    #[test]
    fn changed_parameters_are_named() {
        let mut set = van();
        set.parameters.feedback.hold_s = 60.0;
        let trip = "time [s],speed [km/h]\n0,0\n20,0\n";
        let schedule = trimwright_harness::schedule::Schedule::parse("trip", "trip.csv", trip);
        set = Scenario { schedule: schedule.expect("a schedule"), passes: 1, ..set };
        let changed = |scenario: &Scenario| {
            let run = trimwright_harness::drive::drive(scenario, &mut |_| ()).expect("driven");
            let facts = facts(scenario, &run).into_iter();
            facts.filter(|fact| fact.label.starts_with("Changed")).map(|fact| fact.value).collect::<Vec<_>>()
        };
        assert_eq!(changed(&set), ["feedback.hold_s"]);
        let default = Scenario { parameters: van().parameters, ..set };
        assert!(changed(&default).is_empty());
    }

    #[test]
    fn inseparable_common_corrections_are_marked() {
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
            common_correction(&learning(true)),
            "+3.3 % fuel in all cells, injectors 0.070 ms earlier than assumed"
        );
        assert!(common_correction(&learning(false)).ends_with("could not separate the two"));
    }
}
