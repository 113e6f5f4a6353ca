//! Tells a run as the story that the report page shows.

use crate::map::{cells, rpm};
use trimwright_harness::drive::Run;
use trimwright_harness::parameters::changed;
use trimwright_harness::scenario::Scenario;
use trimwright_harness::summary::LearningFigures;
use trimwright_harness::units::{UnitSystem, times};
use trimwright_report::{
    Convergence, Fact, Figure, MapFigures, Mark, RefusalCount, ReplayFrame, Spread, Story, Trace, TroubleCode,
};

/// Rows of the record to one sample of the page.
const ROWS_A_SAMPLE: usize = 5;
/// Reach and number of bins of the histogram of mixture errors.
const REACH_LN: f64 = 0.25;
const BINS: usize = 50;
/// Parts of the summary that the page shows in tables of their own.
const OWN_TABLES: [&str; 2] = ["learning.refusals", "driveability"];
/// Standard deviation below which a cell has had a lesson, as a share of the first one.
const TOUCHED: f32 = 0.98;

/// Largest difference between a displacement as answered and as simulated that is no other engine, ratio.
const SAME_ENGINE: f64 = 0.1;
/// Faults that answer for such a difference.
const WRONG_ANSWERS: [&str; 2] = ["wrong_displacement", "wrong_cylinders"];

/// The story of a run.
pub(crate) fn story(scenario: &Scenario, run: &Run, units: UnitSystem) -> Story {
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
        driveability: summary.driveability.clone(),
        units,
        marks: marks(scenario),
        convergence: Convergence {
            window_s: trimwright_harness::mixture_observer::WINDOW_S,
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
        refusals: refusals.map(|(reason, &count)| RefusalCount { reason: reason.clone(), count }).collect(),
        dtcs: dtcs(run),
        findings: summary.verdicts.clone(),
        cautions: Vec::new(),
    }
}

/// Numbers by their full name, `mixture.p95_abs`; one that could not be measured is NaN. Refusals and how it drives have tables of their own.
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

/// Which schedule, and how often while learning.
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

/// Size of the engine as the owner answered, and as it was simulated.
fn engines(scenario: &Scenario) -> [String; 2] {
    let told = |m3: f64, cylinders: u8| format!("{:.1} L, {cylinders} cylinders", 1e3 * m3);
    let (answers, truth) = (&scenario.answers, &scenario.truth.engine);
    [
        told(f64::from(answers.displacement_m3), answers.cylinders),
        told(truth.displacement_m3, truth.cylinders),
    ]
}

/// A word for an owner whose answers speak of another engine than the one that was driven, unless a fault asked for that.
pub(crate) fn another_engine(scenario: &Scenario) -> Option<String> {
    let (answers, truth) = (&scenario.answers, &scenario.truth.engine);
    let off = f64::from(answers.displacement_m3) / truth.displacement_m3 - 1.0;
    let differs = off.abs() > SAME_ENGINE || answers.cylinders != truth.cylinders;
    let asked_for = scenario.faults.iter().any(|fault| WRONG_ANSWERS.contains(&fault.kind.name));
    let [answered, simulated] = engines(scenario);
    (differs && !asked_for).then(|| {
        format!(
            "[setup] says {answered}, but the engine that was driven has {simulated}: answers tell the controller about an engine and do not \
             change it. `engine = ...` chooses another, `trimwright list` names them, and an engine file of your own works too"
        )
    })
}

fn facts(scenario: &Scenario, run: &Run) -> Vec<Fact> {
    let common = common_causes(&run.summary.learning);
    let [answered, simulated] = engines(scenario);
    let simulated =
        if simulated == answered { simulated } else { format!("{simulated}, whatever was answered") };
    [
        ("Scenario", scenario.name.clone()),
        ("Engine, as answered", answered),
        ("Engine, simulated", simulated),
        ("Seed", scenario.seed.to_string()),
        ("Scenario hash", run.summary.scenario_hash.clone()),
        ("Flow and opening delay", common),
        ("Parameters set by hand", changed(&scenario.parameters).join(", ")),
    ]
    .map(|(label, value)| Fact { label: label.to_owned(), value })
    .into_iter()
    .filter(|fact| !fact.value.is_empty())
    .collect()
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
    let series = |value: fn(&trimwright_harness::trace::TraceRow) -> f64| -> Vec<f64> {
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

fn map(run: &Run) -> MapFigures {
    let cells = cells(&run.into());
    let series = |value: fn(&crate::map::Cell) -> f64| -> Vec<f64> { cells.iter().map(value).collect() };
    let speeds = run.calibration.setup().rpm_axis().points();
    MapFigures {
        rpm: speeds.iter().map(|&speed| rpm(f64::from(speed))).collect(),
        map_pa: run.calibration.setup().map_axis().points().iter().map(|&map_pa| f64::from(map_pa)).collect(),
        base_filling: series(|cell| cell.base_filling),
        learned_ln: series(|cell| cell.learned_ln),
        right_ln: series(|cell| cell.right_ln),
        dwell_s: series(|cell| cell.dwell_s),
        sigma_ln: series(|cell| cell.sigma_ln),
        visited: cells.iter().map(|cell| cell.visited).collect(),
    }
}

fn snapshots(run: &Run) -> Vec<ReplayFrame> {
    let Some(first) = run.snapshots.first() else { return Vec::new() };
    let tell = |snapshot: &trimwright_harness::drive::Snapshot| {
        let learned = &snapshot.learned;
        let cells = 0..learned.ln.flat().len();
        ReplayFrame {
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

fn dtcs(run: &Run) -> Vec<TroubleCode> {
    let tell = |code: &String| TroubleCode {
        code: code.clone(),
        meaning: meaning(code).to_owned(),
        time_s: f64::NAN,
    };
    run.summary.dtcs.iter().map(tell).collect()
}

/// What a trouble code says.
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

    /// The words of each cell of each row of a table's body.
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

    /// All numbers of the summary, by name, and those that could not be measured.
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
        let story = story(&scenario, &run, UnitSystem::Us);
        assert_eq!(story.units, UnitSystem::Us);
        let tried = story.driveability.as_ref().expect("how it drives was tried");
        assert_eq!((tried.starts.len(), tried.tip_ins.len()), (4, 2));
        let page = trimwright_report::render(&story);

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
        // What is not a figure, and what has a table of its own.
        there.retain(|name| name.contains('.') && !OWN_TABLES.iter().any(|table| name.starts_with(table)));
        named.sort();
        there.sort();
        assert_eq!(named, there);
    }

    #[test]
    fn each_reason_to_refuse_a_lesson_has_words() {
        let refusals = trimwright_control::Refusal::ALL
            .map(|refusal| RefusalCount { reason: refusal.name().to_owned(), count: 1 });
        let page = trimwright_report::render(&Story { refusals: refusals.into(), ..Story::default() });
        let rows = rows(&page, "reasons");
        assert_eq!(rows.len(), 1 + trimwright_control::Refusal::ALL.len());
        for row in rows {
            assert!(row.last().is_some_and(|why| why.len() > 20), "no words for {row:?}");
        }
    }

    #[test]
    fn an_owner_hears_when_another_engine_was_driven() {
        let answered = |litres: f32, cylinders| {
            let mut scenario = van();
            (scenario.answers.displacement_m3, scenario.answers.cylinders) = (1e-3 * litres, cylinders);
            scenario
        };
        let words = another_engine(&answered(5.9, 8)).expect("a word");
        assert!(
            words.starts_with(
                "[setup] says 5.9 L, 8 cylinders, but the engine that was driven has 5.2 L, 8 cylinders"
            ),
            "{words}"
        );
        assert!(another_engine(&answered(5.2, 6)).is_some());
        assert_eq!(another_engine(&answered(5.5, 8)), None, "so much may an owner be mistaken");
        let kind = trimwright_harness::faults::find("wrong_displacement").expect("a kind");
        let asked_for =
            Scenario { faults: vec![trimwright_harness::faults::Fault::usual(kind)], ..answered(7.0, 8) };
        assert_eq!(another_engine(&asked_for), None);
        for shipped in trimwright_harness::shipped::SCENARIOS {
            assert_eq!(
                another_engine(&Scenario::load(shipped.name).expect("shipped")),
                None,
                "{}",
                shipped.name
            );
        }
        assert_eq!(engines(&answered(5.9, 6)), ["5.9 L, 6 cylinders", "5.2 L, 8 cylinders"]);
    }

    #[test]
    fn parameters_set_by_hand_are_named() {
        let mut set = van();
        set.parameters.feedback.hold_s = 60.0;
        let trip = "time [s],speed [km/h]\n0,0\n20,0\n";
        let schedule = trimwright_harness::schedule::Schedule::parse("trip", "trip.csv", trip);
        set = Scenario { schedule: schedule.expect("a schedule"), passes: 1, ..set };
        let told = |scenario: &Scenario| {
            let run = trimwright_harness::drive::drive(scenario, &mut |_| ()).expect("driven");
            let facts = facts(scenario, &run).into_iter();
            facts
                .filter(|fact| fact.label.starts_with("Parameters"))
                .map(|fact| fact.value)
                .collect::<Vec<_>>()
        };
        assert_eq!(told(&set), ["feedback.hold_s"]);
        let default = Scenario { parameters: van().parameters, ..set };
        assert!(told(&default).is_empty());
    }

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
