//! Sensitivity of the results to each parameter of the controller, changed one at a time by +20 % and -20 %.
//!
//! All parameters are screened on two scenarios; the fifty most sensitive are then changed on all others, in the direction with the larger
//! effect. The parameters of `sensors` describe the fitted parts: they are changed too, but not counted among the fifty.

use rayon::prelude::*;
use trimwright_control::{Options, Parameters};
use trimwright_harness::csv_text::{csv_text, decimals};
use trimwright_harness::drive::{Record, RunError, drive_with};
use trimwright_harness::driveability::{Driveability, driveability};
use trimwright_harness::error::InputError;
use trimwright_harness::scenario::Scenario;
use trimwright_numerics::parameters::{ParameterInfo, Shape, Slot, Value};

/// Relative change of a parameter.
pub const CHANGE: f32 = 0.2;
/// Number of parameters that are changed on every scenario.
pub const MOST_SENSITIVE: usize = 50;
/// Screening scenarios, a warm van in town and a hot cam with spark control: together they use all stages except nitrous.
pub const SCREENING: [&str; 2] = ["delivery-van", "hot-cam-town"];
/// Part of each schedule that is driven, s: the length of the cold phase of the UDDS (40 CFR part 86).
pub const DRIVEN_S: f64 = 505.0;
/// The block of parameters of the fitted sensors.
const SENSORS_BLOCK: &str = "sensors";
/// Parameters that are recomputed to check whether the table is current: one each of learner, fuel and enable conditions.
const RECHECKED: [&str; 3] = ["learner.prior_sigma_ln", "film.warm_s", "enable_conditions.warm_k"];

/// Parameters with one of them changed.
#[derive(Clone, Debug, PartialEq)]
pub struct ChangedParameter {
    /// Stage and name, with a dot between.
    pub path: &'static str,
    /// Whether it was increased.
    pub up: bool,
    /// All parameters, with this one changed.
    pub parameters: Parameters,
}

/// Results of a drive.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct SensitivityFigures {
    /// `mixture.learned_map_rms`, ln.
    pub learned_map_rms: f64,
    /// `mixture.closed_loop_rms`, ln.
    pub closed_loop_rms: f64,
    /// Driveability: root mean square of the test figures, each divided by the limit of a good car; lower is better.
    pub demerit: f64,
    /// Number of stalls in the drive and in the driveability tests.
    pub stalls: u32,
}

/// One row of the table: a changed parameter in one scenario.
#[derive(Clone, Debug, PartialEq)]
pub struct SensitivityRow {
    /// Stage and name of the parameter; `None` for the reference drive.
    pub path: Option<&'static str>,
    /// Whether it was increased.
    pub up: bool,
    /// Name of the scenario.
    pub scenario: String,
    /// Results.
    pub figures: SensitivityFigures,
}

/// All numeric parameters, increased and decreased as far as their ranges allow; integers by at least one.
///
/// ```
/// use trimwright_control::Parameters;
/// let changed_parameters = trimwright_study::sensitivity::changed_parameters(&Parameters::DEFAULT);
/// assert!(changed_parameters.iter().all(|changed_parameters| changed_parameters.parameters.check().is_ok() && changed_parameters.parameters != Parameters::DEFAULT));
/// let hold_s = changed_parameters.iter().find(|changed_parameters| changed_parameters.path == "feedback.hold_s" && changed_parameters.up).expect("it is a number");
/// assert_eq!(hold_s.parameters.feedback.hold_s, 1.2 * Parameters::DEFAULT.feedback.hold_s);
/// ```
pub fn changed_parameters(parameters: &Parameters) -> Vec<ChangedParameter> {
    let mut all = Vec::new();
    for (block, found) in parameters.blocks().iter().enumerate() {
        for (place, info) in found.info().iter().enumerate() {
            for up in [false, true] {
                let mut changed_parameters =
                    ChangedParameter { path: info.path, up, parameters: parameters.clone() };
                let mut blocks = changed_parameters.parameters.blocks_mut();
                let changed = blocks
                    .get_mut(block)
                    .and_then(|block| block.slot(place))
                    .is_some_and(|slot| shift(info, slot, if up { CHANGE } else { -CHANGE }));
                if changed && changed_parameters.parameters.check().is_ok() {
                    all.push(changed_parameters);
                }
            }
        }
    }
    all
}

/// Changes all numbers of a parameter by a share of themselves, or of the range where they are 0; returns whether any changed.
fn shift(info: &ParameterInfo<f32>, slot: Slot<'_, f32>, by: f32) -> bool {
    let span = info.range.max - info.range.min;
    let mut any = false;
    let mut one = |number: &mut f32| {
        let step = if *number == 0.0 { by * span } else { by * number.abs() };
        let changed_parameters = (*number + step).clamp(info.range.min, info.range.max);
        any |= changed_parameters != *number;
        *number = changed_parameters;
    };
    match slot {
        Slot::Number(number) => one(number),
        Slot::List(numbers) => numbers.iter_mut().for_each(one),
        Slot::Curve(points) => points.iter_mut().for_each(|(_, value)| one(value)),
        Slot::Table(_, _, cells) => cells.iter_mut().for_each(one),
        Slot::Whole(number) => {
            let was = number.get();
            let step = ((was as f64 * f64::from(by.abs())).round() as u64).max(1);
            let wanted = if by > 0.0 { was.saturating_add(step) } else { was.saturating_sub(step) };
            any =
                number.set(wanted.clamp(info.range.min as u64, info.range.max as u64)) && number.get() != was;
        }
        Slot::Flag(_) | Slot::Choice(_) => {}
    }
    any
}

/// Number of numeric parameters and of choices.
pub fn numbers_of(parameters: &Parameters) -> (usize, usize) {
    let blocks = parameters.blocks();
    let infos = || blocks.iter().flat_map(|block| block.info());
    let selected = infos().filter(|info| matches!(info.shape, Shape::Flag | Shape::Choice(_))).count();
    (infos().count() - selected, selected)
}

/// Drives a scenario with these parameters and runs the driveability tests.
///
/// # Errors
/// [`RunError`] when the scenario's truth or answers are outside their ranges.
pub fn figures(scenario: &Scenario, parameters: &Parameters) -> Result<SensitivityFigures, RunError> {
    let scenario = Scenario { parameters: parameters.clone(), ..scenario.clone() };
    let run = drive_with(&scenario, Options::default(), Record::Figures, &mut |_| ())?;
    let trials = driveability(&scenario, &run.calibration, &run.learned)?;
    let (demerit, died) = demerit_and_stalls(&trials);
    Ok(SensitivityFigures {
        learned_map_rms: run.summary.mixture.learned_map_rms,
        closed_loop_rms: run.summary.mixture.closed_loop_rms,
        demerit,
        stalls: run.summary.drive.stalls + died,
    })
}

/// Root mean square of the test figures divided by the limits of `tests/ident_driveability.rs`, and number of stalls.
fn demerit_and_stalls(trials: &Driveability) -> (f64, u32) {
    let (idle, cut) = (&trials.idle, &trials.fuel_cut);
    let cranked = trials.starts.iter().map(|start| start.cranked_s.unwrap_or(10.0) / 3.0);
    let tip_ins = trials.tip_ins.iter().map(|tip_in| tip_in.compensated.farthest() / 0.12);
    let events = [Some(idle.ac), idle.fan].into_iter().flatten();
    let events = events.flat_map(|event| [event.drop_rpm / 120.0, event.mixture / 0.05]);
    let rest = [idle.park_rms_rpm / 25.0, idle.drive_rms_rpm / 25.0, cut.drop_rpm / 120.0];
    let all: Vec<f64> = cranked.chain(tip_ins).chain(events).chain(rest).collect();
    let squares: f64 = all.iter().map(|over| over * over).sum();
    let died = trials.starts.iter().map(|start| start.stalls).sum::<u32>() + cut.stalls;
    ((squares / all.len() as f64).sqrt(), died)
}

/// Screens all parameters on `screening`, then changes the `count` most sensitive on the remaining scenarios of `all`, in the direction with
/// the larger effect. Rows of the reference drives come first; `on_row` is called with each finished row.
///
/// # Errors
/// [`RunError`] when the truth or the answers of a scenario are outside their ranges.
pub fn table(
    screening: &[Scenario],
    all: &[Scenario],
    count: usize,
    on_row: &(dyn Fn(&SensitivityRow) + Sync),
) -> Result<Vec<SensitivityRow>, RunError> {
    let parameters = Parameters::DEFAULT;
    let changed_parameters = changed_parameters(&parameters);
    let drive = |changed_parameters: Option<&ChangedParameter>, scenario: &Scenario| {
        let figures = figures(
            scenario,
            changed_parameters.map_or(&parameters, |changed_parameters| &changed_parameters.parameters),
        )?;
        let (path, up) = (
            changed_parameters.map(|changed_parameters| changed_parameters.path),
            changed_parameters.is_some_and(|changed_parameters| changed_parameters.up),
        );
        let row = SensitivityRow { path, up, scenario: scenario.name.clone(), figures };
        on_row(&row);
        Ok(row)
    };
    let every = |changed_parameters: &[&ChangedParameter], scenarios: &[&Scenario]| {
        let pairs: Vec<(&ChangedParameter, &Scenario)> = changed_parameters
            .iter()
            .flat_map(|changed_parameters| scenarios.iter().map(|scenario| (*changed_parameters, *scenario)))
            .collect();
        let rows = pairs
            .par_iter()
            .with_max_len(1)
            .map(|(changed_parameters, scenario)| drive(Some(changed_parameters), scenario));
        rows.collect::<Result<Vec<SensitivityRow>, RunError>>()
    };
    let mut rows = all
        .par_iter()
        .with_max_len(1)
        .map(|scenario| drive(None, scenario))
        .collect::<Result<Vec<SensitivityRow>, RunError>>()?;
    rows.extend(every(
        &changed_parameters.iter().collect::<Vec<_>>(),
        &screening.iter().collect::<Vec<_>>(),
    )?);
    let ranked = ranked(&rows);
    let nearest: Vec<&str> = ranked.iter().take(count).map(|(path, _)| *path).collect();
    let selected: Vec<&ChangedParameter> = changed_parameters
        .iter()
        .filter(|changed_parameters| {
            nearest.contains(&changed_parameters.path)
                && changed_parameters.up == is_larger_when_increased(&rows, changed_parameters.path)
        })
        .collect();
    let rest: Vec<&Scenario> = all
        .iter()
        .filter(|scenario| screening.iter().all(|screened| screened.name != scenario.name))
        .collect();
    rows.extend(every(&selected, &rest)?);
    Ok(rows)
}

/// A shipped scenario as the table drives it: its first [`DRIVEN_S`], once.
///
/// ```
/// let van = trimwright_study::sensitivity::shortened("delivery-van")?;
/// assert_eq!((van.passes, van.schedule.duration_s()), (1, 505.0));
/// # Ok::<(), trimwright_harness::error::InputError>(())
/// ```
///
/// # Errors
/// When there is no such scenario.
pub fn shortened(name: &str) -> Result<Scenario, InputError> {
    let scenario = Scenario::load(name)?;
    Ok(Scenario { schedule: scenario.schedule.clone().until(DRIVEN_S), ..scenario.with_passes(1) })
}

/// Rows of a few parameters on the first screening scenario, at the end of the table; recomputed to check whether it is current.
///
/// # Errors
/// [`RunError`] when the truth or the answers of the scenario are outside their ranges.
pub fn rechecked() -> Result<Vec<SensitivityRow>, RunError> {
    let scenario = shortened(SCREENING[0]).expect("shipped scenarios can be read");
    let parameters = Parameters::DEFAULT;
    let reference = SensitivityRow {
        path: None,
        up: false,
        scenario: scenario.name.clone(),
        figures: figures(&scenario, &parameters)?,
    };
    let changed_parameters = changed_parameters(&parameters);
    let selected: Vec<&ChangedParameter> = changed_parameters
        .iter()
        .filter(|changed_parameters| RECHECKED.contains(&changed_parameters.path))
        .collect();
    let rows = selected.par_iter().map(|changed_parameters| {
        let figures = figures(&scenario, &changed_parameters.parameters)?;
        Ok(SensitivityRow {
            path: Some(changed_parameters.path),
            up: changed_parameters.up,
            scenario: scenario.name.clone(),
            figures,
        })
    });
    let rows = rows.collect::<Result<Vec<SensitivityRow>, RunError>>()?;
    Ok([vec![reference], rows].concat())
}

/// Whether increasing a parameter has the larger effect in the given rows.
fn is_larger_when_increased(rows: &[SensitivityRow], path: &str) -> bool {
    let sum = |up| {
        let of = rows.iter().filter(|row| row.path == Some(path) && row.up == up);
        of.filter_map(|row| Some(change(row, &reference(rows, &row.scenario)?))).sum::<f64>()
    };
    sum(true) >= sum(false)
}

/// The figures of the reference drive of a scenario.
fn reference(rows: &[SensitivityRow], scenario: &str) -> Option<SensitivityFigures> {
    rows.iter().find(|row| row.path.is_none() && row.scenario == scenario).map(|row| row.figures)
}

/// Sum of the relative changes of learned map, closed loop and driveability from the reference drive, plus 1 for each stall more or less. A
/// missing value counts as 1.
pub fn change(row: &SensitivityRow, reference: &SensitivityFigures) -> f64 {
    let share = |now: f64, was: f64| if now.is_finite() { ((now - was) / was).abs() } else { 1.0 };
    let now = &row.figures;
    share(now.learned_map_rms, reference.learned_map_rms)
        + share(now.closed_loop_rms, reference.closed_loop_rms)
        + share(now.demerit, reference.demerit)
        + f64::from(now.stalls.abs_diff(reference.stalls))
}

/// The parameters by sensitivity, most sensitive first, without those of the sensors: mean over scenarios of the larger [`change`] of both
/// directions.
pub fn ranked(rows: &[SensitivityRow]) -> Vec<(&'static str, f64)> {
    let mut sums: Vec<(&'static str, f64, f64)> = Vec::new();
    let mut greatest: Vec<(&'static str, &str, f64)> = Vec::new();
    for row in rows {
        let (Some(path), Some(reference)) = (row.path, reference(rows, &row.scenario)) else { continue };
        if path.split('.').next() == Some(SENSORS_BLOCK) {
            continue;
        }
        let by = change(row, &reference);
        match greatest.iter_mut().find(|(of, scenario, _)| *of == path && *scenario == row.scenario) {
            Some((_, _, most)) => *most = most.max(by),
            None => greatest.push((path, &row.scenario, by)),
        }
    }
    for (path, _, by) in greatest {
        match sums.iter_mut().find(|(of, _, _)| *of == path) {
            Some((_, sum, count)) => (*sum, *count) = (*sum + by, *count + 1.0),
            None => sums.push((path, by, 1.0)),
        }
    }
    let mut ranked: Vec<(&str, f64)> =
        sums.into_iter().map(|(path, sum, count)| (path, sum / count)).collect();
    ranked.sort_by(|one, other| other.1.total_cmp(&one.1));
    ranked
}

/// The table as CSV: figures and their change from the reference drive of the scenario.
pub fn csv(rows: &[SensitivityRow]) -> String {
    let head = [
        "parameter",
        "moved",
        "scenario",
        "learned_map_rms [%]",
        "closed_loop_rms [%]",
        "demerit",
        "stalls",
        "change",
    ];
    let written = |row: &SensitivityRow| {
        let change = reference(rows, &row.scenario).map_or(f64::NAN, |reference| change(row, &reference));
        let changed_parameters = match (row.path, row.up) {
            (None, _) => "",
            (_, true) => "+20 %",
            (_, false) => "-20 %",
        };
        let SensitivityFigures { learned_map_rms, closed_loop_rms, demerit, stalls } = row.figures;
        [
            row.path.unwrap_or("none").to_owned(),
            changed_parameters.to_owned(),
            row.scenario.clone(),
            decimals(100.0 * learned_map_rms, 3),
            decimals(100.0 * closed_loop_rms, 3),
            format!("{demerit:.3}"),
            stalls.to_string(),
            format!("{change:.4}"),
        ]
    };
    csv_text(head, rows.iter().map(written))
}

/// The value of a parameter as text.
pub fn written(parameters: &Parameters, path: &str) -> Option<String> {
    parameters.blocks().iter().find_map(|block| {
        let place = block.info().iter().position(|info| info.path == path)?;
        Some(match block.value(place)? {
            Value::Number(number) => format!("{number}"),
            Value::Whole(number) => format!("{number}"),
            Value::List(numbers) => format!("{numbers:?}"),
            Value::Curve(points) => format!("{points:?}"),
            Value::Table(..) => "a table".to_owned(),
            Value::Flag(flag) => format!("{flag}"),
            Value::Choice(word) => format!("word {word}"),
        })
    })
}

#[cfg(test)]
mod tests {
    use super::*;

    fn row(path: Option<&'static str>, up: bool, learned: f64, stalls: u32) -> SensitivityRow {
        let figures =
            SensitivityFigures { learned_map_rms: learned, closed_loop_rms: 0.01, demerit: 0.5, stalls };
        SensitivityRow { path, up, scenario: "one".to_owned(), figures }
    }

    #[test]
    fn the_most_sensitive_comes_first_and_sensors_are_excluded() {
        let rows = [
            row(None, false, 0.01, 0),
            row(Some("film.little"), true, 0.0101, 0),
            row(Some("film.much"), true, 0.01, 0),
            row(Some("film.much"), false, 0.02, 0),
            row(Some("idle.stalls"), true, 0.01, 3),
            row(Some("sensors.map_pa"), true, 0.9, 9),
        ];
        let plan: Vec<&str> = ranked(&rows).iter().map(|(path, _)| *path).collect();
        assert_eq!(plan, ["idle.stalls", "film.much", "film.little"]);
        assert!(csv(&rows).contains("film.much,-20 %,one,2.000,1.000,0.500,0,1.0000\n"));
    }

    #[test]
    fn every_numeric_parameter_changes_in_one_direction_at_least() {
        let changed_parameters = changed_parameters(&Parameters::DEFAULT);
        let (numbers, _) = numbers_of(&Parameters::DEFAULT);
        let mut paths: Vec<&str> =
            changed_parameters.iter().map(|changed_parameters| changed_parameters.path).collect();
        paths.dedup();
        assert_eq!(paths.len(), numbers, "{paths:?}");
    }
}
