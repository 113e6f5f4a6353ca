//! How much depends on each parameter of the controller: one at a time a fifth up and down, and what that changes.
//!
//! All parameters are screened on two scenarios; the fifty on which most depends are then moved on every other, the way that changes more. The parameters of
//! `sensors` say which part is fitted: they are moved like the others, and are not counted among the fifty.

use rayon::prelude::*;
use trimwright_control::{Options, Parameters};
use trimwright_harness::csv_text::{csv_text, decimals};
use trimwright_harness::drive::{Record, RunError, drive_with};
use trimwright_harness::driveability::{Driveability, driveability};
use trimwright_harness::error::InputError;
use trimwright_harness::scenario::Scenario;
use trimwright_numerics::parameters::{ParameterInfo, Shape, Slot, Value};

/// Share by which a parameter is moved.
pub const MOVED: f32 = 0.2;
/// Parameters that are moved on every scenario.
pub const CLOSER: usize = 50;
/// A warm van in town and a hot cam with spark control: all parts but nitrous are at work in one of them.
pub const SCREENING: [&str; 2] = ["delivery-van", "hot-cam-town"];
/// How much of each schedule is driven, s: as long as the cold phase of the UDDS (40 CFR part 86).
pub const DRIVEN_S: f64 = 505.0;
/// The block that says which sensors are fitted.
const FITTED: &str = "sensors";
/// The few parameters that stand for all when it is asked whether the table is still right: one of the learner, one of the fuel, one of the
/// enable conditions.
const FEW: [&str; 3] = ["learner.prior_sigma_ln", "film.warm_s", "enable_conditions.warm_k"];

/// One parameter moved one way.
#[derive(Clone, Debug, PartialEq)]
pub struct MovedParameter {
    /// Stage and name, with a dot between.
    pub path: &'static str,
    /// Up or down.
    pub up: bool,
    /// All parameters, with this one moved.
    pub parameters: Parameters,
}

/// What a drive with some parameters came to.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct SensitivityFigures {
    /// `mixture.learned_map_rms`, ln.
    pub learned_map_rms: f64,
    /// `mixture.closed_loop_rms`, ln.
    pub closed_loop_rms: f64,
    /// Drive quality: root mean square of the trials' figures, each over what is a good car's limit; less is better.
    pub demerit: f64,
    /// Times the engine died, in the drive and in the trials.
    pub stalls: u32,
}

/// One row of the table: a parameter moved, in one scenario.
#[derive(Clone, Debug, PartialEq)]
pub struct SensitivityRow {
    /// Stage and name of the parameter; none for the drive with all as they are.
    pub path: Option<&'static str>,
    /// Up or down.
    pub up: bool,
    /// Name of the scenario.
    pub scenario: String,
    /// What came of it.
    pub figures: SensitivityFigures,
}

/// Every parameter of numbers moved up and down as far as its range allows; whole numbers by one at least.
///
/// ```
/// use trimwright_control::Parameters;
/// let moved = trimwright_study::sensitivity::moved(&Parameters::DEFAULT);
/// assert!(moved.iter().all(|moved| moved.parameters.check().is_ok() && moved.parameters != Parameters::DEFAULT));
/// let hold_s = moved.iter().find(|moved| moved.path == "feedback.hold_s" && moved.up).expect("it is a number");
/// assert_eq!(hold_s.parameters.feedback.hold_s, 1.2 * Parameters::DEFAULT.feedback.hold_s);
/// ```
pub fn moved(parameters: &Parameters) -> Vec<MovedParameter> {
    let mut all = Vec::new();
    for (block, found) in parameters.blocks().iter().enumerate() {
        for (place, info) in found.info().iter().enumerate() {
            for up in [false, true] {
                let mut moved = MovedParameter { path: info.path, up, parameters: parameters.clone() };
                let mut blocks = moved.parameters.blocks_mut();
                let changed = blocks
                    .get_mut(block)
                    .and_then(|block| block.slot(place))
                    .is_some_and(|slot| shift(info, slot, if up { MOVED } else { -MOVED }));
                if changed && moved.parameters.check().is_ok() {
                    all.push(moved);
                }
            }
        }
    }
    all
}

/// Moves all numbers of a parameter by a share of themselves, or of the range where they are 0; whether any moved.
fn shift(info: &ParameterInfo<f32>, slot: Slot<'_, f32>, by: f32) -> bool {
    let span = info.range.max - info.range.min;
    let mut any = false;
    let mut one = |number: &mut f32| {
        let step = if *number == 0.0 { by * span } else { by * number.abs() };
        let moved = (*number + step).clamp(info.range.min, info.range.max);
        any |= moved != *number;
        *number = moved;
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

/// How many parameters can be moved and how many only chosen.
pub fn numbers_of(parameters: &Parameters) -> (usize, usize) {
    let blocks = parameters.blocks();
    let infos = || blocks.iter().flat_map(|block| block.info());
    let chosen = infos().filter(|info| matches!(info.shape, Shape::Flag | Shape::Choice(_))).count();
    (infos().count() - chosen, chosen)
}

/// Drives a scenario with these parameters, and makes the trials.
///
/// # Errors
/// [`RunError`] when the scenario's truth or answers are outside their ranges.
pub fn figures(scenario: &Scenario, parameters: &Parameters) -> Result<SensitivityFigures, RunError> {
    let scenario = Scenario { parameters: parameters.clone(), ..scenario.clone() };
    let run = drive_with(&scenario, Options::default(), Record::Figures, &mut |_| ())?;
    let trials = driveability(&scenario, &run.calibration, &run.learned)?;
    let (demerit, died) = judged(&trials);
    Ok(SensitivityFigures {
        learned_map_rms: run.summary.mixture.learned_map_rms,
        closed_loop_rms: run.summary.mixture.closed_loop_rms,
        demerit,
        stalls: run.summary.drive.stalls + died,
    })
}

/// The trials' figures over the limits that `tests/ident_driveability.rs` holds for the shipped cars, as a root mean square; and
/// times the engine died.
fn judged(trials: &Driveability) -> (f64, u32) {
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

/// Screens all parameters on the first scenarios, then moves those on which most depends on the others, the way that changes more. The rows of the unmoved
/// drives come first; `told` hears of each row as it is done.
///
/// # Errors
/// [`RunError`] when the truth or the answers of a scenario are outside their ranges.
pub fn table(
    screening: &[Scenario],
    all: &[Scenario],
    closer: usize,
    told: &(dyn Fn(&SensitivityRow) + Sync),
) -> Result<Vec<SensitivityRow>, RunError> {
    let parameters = Parameters::DEFAULT;
    let moved = moved(&parameters);
    let drive = |moved: Option<&MovedParameter>, scenario: &Scenario| {
        let figures = figures(scenario, moved.map_or(&parameters, |moved| &moved.parameters))?;
        let (path, up) = (moved.map(|moved| moved.path), moved.is_some_and(|moved| moved.up));
        let row = SensitivityRow { path, up, scenario: scenario.name.clone(), figures };
        told(&row);
        Ok(row)
    };
    let every = |moved: &[&MovedParameter], scenarios: &[&Scenario]| {
        let pairs: Vec<(&MovedParameter, &Scenario)> =
            moved.iter().flat_map(|moved| scenarios.iter().map(|scenario| (*moved, *scenario))).collect();
        let rows = pairs.par_iter().with_max_len(1).map(|(moved, scenario)| drive(Some(moved), scenario));
        rows.collect::<Result<Vec<SensitivityRow>, RunError>>()
    };
    let mut rows = all
        .par_iter()
        .with_max_len(1)
        .map(|scenario| drive(None, scenario))
        .collect::<Result<Vec<SensitivityRow>, RunError>>()?;
    rows.extend(every(&moved.iter().collect::<Vec<_>>(), &screening.iter().collect::<Vec<_>>())?);
    let ranked = ranked(&rows);
    let nearest: Vec<&str> = ranked.iter().take(closer).map(|(path, _)| *path).collect();
    let chosen: Vec<&MovedParameter> = moved
        .iter()
        .filter(|moved| nearest.contains(&moved.path) && moved.up == goes_farther_up(&rows, moved.path))
        .collect();
    let rest: Vec<&Scenario> = all
        .iter()
        .filter(|scenario| screening.iter().all(|screened| screened.name != scenario.name))
        .collect();
    rows.extend(every(&chosen, &rest)?);
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

/// A few parameters on the first scenario of the screening, for the end of the table: they are driven anew to tell whether it is still right.
///
/// # Errors
/// [`RunError`] when the truth or the answers of the scenario are outside their ranges.
pub fn few() -> Result<Vec<SensitivityRow>, RunError> {
    let scenario = shortened(SCREENING[0]).expect("shipped scenarios can be read");
    let parameters = Parameters::DEFAULT;
    let unmoved = SensitivityRow {
        path: None,
        up: false,
        scenario: scenario.name.clone(),
        figures: figures(&scenario, &parameters)?,
    };
    let moved = moved(&parameters);
    let chosen: Vec<&MovedParameter> = moved.iter().filter(|moved| FEW.contains(&moved.path)).collect();
    let rows = chosen.par_iter().map(|moved| {
        let figures = figures(&scenario, &moved.parameters)?;
        Ok(SensitivityRow { path: Some(moved.path), up: moved.up, scenario: scenario.name.clone(), figures })
    });
    let rows = rows.collect::<Result<Vec<SensitivityRow>, RunError>>()?;
    Ok([vec![unmoved], rows].concat())
}

/// Whether more changes when a parameter goes up than when it goes down, over the rows there are.
fn goes_farther_up(rows: &[SensitivityRow], path: &str) -> bool {
    let sum = |up| {
        let of = rows.iter().filter(|row| row.path == Some(path) && row.up == up);
        of.filter_map(|row| Some(change(row, &unmoved(rows, &row.scenario)?))).sum::<f64>()
    };
    sum(true) >= sum(false)
}

/// The figures of the unmoved drive of a scenario.
fn unmoved(rows: &[SensitivityRow], scenario: &str) -> Option<SensitivityFigures> {
    rows.iter().find(|row| row.path.is_none() && row.scenario == scenario).map(|row| row.figures)
}

/// How far a row's figures are from those of the unmoved drive of the same scenario, in shares of these: learned map, closed loop and
/// drive quality added up, and one for each time more or less that the engine died. What could not be measured counts as one.
pub fn change(row: &SensitivityRow, unmoved: &SensitivityFigures) -> f64 {
    let share = |now: f64, was: f64| if now.is_finite() { ((now - was) / was).abs() } else { 1.0 };
    let now = &row.figures;
    share(now.learned_map_rms, unmoved.learned_map_rms)
        + share(now.closed_loop_rms, unmoved.closed_loop_rms)
        + share(now.demerit, unmoved.demerit)
        + f64::from(now.stalls.abs_diff(unmoved.stalls))
}

/// The parameters by how much depends on them, most first, without those of the sensors: the mean over scenarios of the greater
/// [`change`] of both ways.
pub fn ranked(rows: &[SensitivityRow]) -> Vec<(&'static str, f64)> {
    let mut sums: Vec<(&'static str, f64, f64)> = Vec::new();
    let mut greatest: Vec<(&'static str, &str, f64)> = Vec::new();
    for row in rows {
        let (Some(path), Some(unmoved)) = (row.path, unmoved(rows, &row.scenario)) else { continue };
        if path.split('.').next() == Some(FITTED) {
            continue;
        }
        let by = change(row, &unmoved);
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

/// The table as comma-separated values: figures, and their change against the unmoved drive of the scenario.
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
        let change = unmoved(rows, &row.scenario).map_or(f64::NAN, |unmoved| change(row, &unmoved));
        let moved = match (row.path, row.up) {
            (None, _) => "",
            (_, true) => "+20 %",
            (_, false) => "-20 %",
        };
        let SensitivityFigures { learned_map_rms, closed_loop_rms, demerit, stalls } = row.figures;
        [
            row.path.unwrap_or("none").to_owned(),
            moved.to_owned(),
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

/// The value of a parameter, for a sentence about it.
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
    fn what_changes_most_comes_first_and_sensors_are_left_out() {
        let rows = [
            row(None, false, 0.01, 0),
            row(Some("film.little"), true, 0.0101, 0),
            row(Some("film.much"), true, 0.01, 0),
            row(Some("film.much"), false, 0.02, 0),
            row(Some("idle.stalls"), true, 0.01, 3),
            row(Some("sensors.map_pa"), true, 0.9, 9),
        ];
        let order: Vec<&str> = ranked(&rows).iter().map(|(path, _)| *path).collect();
        assert_eq!(order, ["idle.stalls", "film.much", "film.little"]);
        assert!(csv(&rows).contains("film.much,-20 %,one,2.000,1.000,0.500,0,1.0000\n"));
    }

    #[test]
    fn every_parameter_of_numbers_moves_one_way_at_least() {
        let moved = moved(&Parameters::DEFAULT);
        let (numbers, _) = numbers_of(&Parameters::DEFAULT);
        let mut paths: Vec<&str> = moved.iter().map(|moved| moved.path).collect();
        paths.dedup();
        assert_eq!(paths.len(), numbers, "{paths:?}");
    }
}
