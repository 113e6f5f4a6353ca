//! The columns of a fleet's result, the same in every file: what was drawn, then what came of it.

use trimwright_harness::csv_text::csv_text;

use crate::draw::Draw;
use crate::fleet::{Figures, FleetEngine};
use crate::learners;

/// What stands in one place of the table; `None` where there is nothing to say.
///
/// ```
/// use trimwright_control::Strategy;
/// use trimwright_study::columns::{ColumnValue, values};
/// use trimwright_study::fleet::{Ended, FleetEngine};
/// let ended = Ended::Failed("setup answer out of its range".to_owned());
/// let rows = values(&[FleetEngine { index: 4, learner: Strategy::Kalman, ended }], 9);
/// assert_eq!(rows[0][..2], [ColumnValue::Whole(Some(4)), ColumnValue::Text(Some("kalman".to_owned()))]);
/// assert!(rows[0].contains(&ColumnValue::Real(None)), "what was not driven has no figures");
/// ```
#[derive(Clone, Debug, PartialEq)]
pub enum ColumnValue {
    /// A whole number.
    Whole(Option<i64>),
    /// A real number.
    Real(Option<f64>),
    /// Words.
    Text(Option<String>),
}

/// One engine with its lot, as a row is made from it.
///
/// ```
/// use trimwright_control::Strategy;
/// use trimwright_study::columns::{COLUMNS, FleetRow, ColumnValue};
/// use trimwright_study::draw::Draw;
/// use trimwright_study::fleet::{Ended, FleetEngine};
/// # let ended = Ended::Failed("no sensor".to_owned());
/// let engine = FleetEngine { index: 4, learner: Strategy::Kalman, ended };
/// let row = FleetRow { engine: &engine, draw: &Draw::of(9, 4) };
/// let lag = COLUMNS.iter().find(|(name, _)| *name == "sensor_lag").map(|(_, value)| value(&row));
/// assert_eq!(lag, Some(ColumnValue::Real(Some(row.draw.deviations.sensor_lag))));
/// ```
#[derive(Clone, Copy, Debug)]
pub struct FleetRow<'a> {
    /// The engine.
    pub engine: &'a FleetEngine,
    /// Its lot.
    pub draw: &'a Draw,
}

/// Name of a column, with its unit, and how its value is had.
///
/// ```
/// use trimwright_study::columns::{COLUMNS, FleetColumn};
/// let with_unit = |(name, _): &&FleetColumn| name.ends_with("_s");
/// let names: Vec<&str> = COLUMNS.iter().filter(with_unit).map(|(name, _)| *name).collect();
/// assert_eq!(names, ["opening_delay_s", "settle_s"]);
/// ```
pub type FleetColumn = (&'static str, fn(&FleetRow<'_>) -> ColumnValue);

fn whole(value: u64) -> ColumnValue {
    ColumnValue::Whole(i64::try_from(value).ok())
}

fn real(value: f64) -> ColumnValue {
    ColumnValue::Real(Some(value))
}

fn count(row: &FleetRow<'_>, figure: fn(&Figures) -> u64) -> ColumnValue {
    ColumnValue::Whole(row.engine.figures().and_then(|figures| i64::try_from(figure(figures)).ok()))
}

fn figure(row: &FleetRow<'_>, figure: fn(&Figures) -> Option<f64>) -> ColumnValue {
    ColumnValue::Real(row.engine.figures().and_then(figure))
}

/// All columns in their order.
///
/// ```
/// use trimwright_study::columns::COLUMNS;
/// let place = |name: &str| COLUMNS.iter().position(|(each, _)| *each == name);
/// assert_eq!(place("engine"), Some(0));
/// assert!(place("injector_flow") < place("learned_map_rms"), "the lot stands before what came of it");
/// ```
pub const COLUMNS: &[FleetColumn] = &[
    ("engine", |row| whole(u64::from(row.engine.index))),
    ("learner", |row| ColumnValue::Text(Some(learners::name(row.engine.learner).to_owned()))),
    ("run_seed", |row| whole(row.draw.run_seed)),
    ("filling_seed", |row| whole(row.draw.deviations.filling_seed)),
    ("filling", |row| real(row.draw.deviations.filling)),
    ("injector_flow", |row| real(row.draw.deviations.injector_flow)),
    ("opening_delay_s", |row| real(row.draw.deviations.opening_delay_s)),
    ("film_x", |row| real(row.draw.deviations.film_x)),
    ("film_tau", |row| real(row.draw.deviations.film_tau)),
    ("sensor_lag", |row| real(row.draw.deviations.sensor_lag)),
    ("pipe", |row| real(row.draw.pipe)),
    ("ethanol_share", |row| real(row.draw.ethanol_share)),
    ("answered_displacement", |row| real(row.draw.answered_displacement)),
    ("answered_compression", |row| real(row.draw.answered_compression)),
    ("answered_rail_pressure", |row| real(row.draw.answered_rail_pressure)),
    ("answered_cam_steps", |row| ColumnValue::Whole(Some(i64::from(row.draw.answered_cam_steps)))),
    ("base_map_rms", |row| figure(row, |figures| figures.base_map_rms)),
    ("learned_map_rms", |row| figure(row, |figures| figures.learned_map_rms)),
    ("closed_loop_rms", |row| figure(row, |figures| figures.closed_loop_rms)),
    ("p95_abs", |row| figure(row, |figures| figures.p95_abs)),
    ("transient_rms", |row| figure(row, |figures| figures.transient_rms)),
    ("settle_s", |row| figure(row, |figures| figures.settle_s)),
    ("cells_visited", |row| count(row, |figures| figures.cells_visited)),
    ("cells_confident", |row| count(row, |figures| figures.cells_confident)),
    ("within_two_sigma", |row| figure(row, |figures| figures.within_two_sigma)),
    ("visited_error_rms", |row| figure(row, |figures| figures.visited_error_rms)),
    ("offline_fit_rms", |row| figure(row, |figures| figures.offline_fit_rms)),
    ("cells_run_away", |row| count(row, |figures| figures.cells_run_away)),
    ("cells_beyond_authority", |row| count(row, |figures| figures.cells_beyond_authority)),
    ("lessons", |row| count(row, |figures| figures.lessons)),
    ("stalls", |row| count(row, |figures| figures.stalls)),
    ("distance_km", |row| figure(row, |figures| Some(figures.distance_km))),
    ("fuel_kg", |row| figure(row, |figures| Some(figures.fuel_kg))),
    ("dtcs", |row| ColumnValue::Text(row.engine.figures().map(|figures| figures.dtcs.clone()))),
    ("failure", |row| ColumnValue::Text(row.engine.failure().map(str::to_owned))),
];

/// The values of a fleet, row by row.
///
/// ```
/// use trimwright_control::Strategy;
/// use trimwright_study::columns::{COLUMNS, values};
/// use trimwright_study::fleet::{Ended, FleetEngine};
/// let failed = |index| FleetEngine {
///     index,
///     learner: Strategy::Integral,
///     ended: Ended::Failed("setup answer out of its range".to_owned()),
/// };
/// let rows = values(&[failed(0), failed(1)], 9);
/// assert!(rows.len() == 2 && rows.iter().all(|row| row.len() == COLUMNS.len()));
/// assert_ne!(rows[0][5], rows[1][5], "each has injectors of its own");
/// ```
pub fn values(engines: &[FleetEngine], seed: u64) -> Vec<Vec<ColumnValue>> {
    let row = |engine: &FleetEngine| {
        let draw = Draw::of(seed, engine.index);
        let row = FleetRow { engine, draw: &draw };
        COLUMNS.iter().map(|(_, value)| value(&row)).collect()
    };
    engines.iter().map(row).collect()
}

/// The text of `fleet.csv`. What isn't known is left empty; floats read back as the same bits.
///
/// ```
/// use trimwright_control::Strategy;
/// use trimwright_study::columns::{to_csv, values};
/// use trimwright_study::fleet::{Ended, FleetEngine};
/// let ended = Ended::Failed("truth vehicle.mass_kg, which is -1".to_owned());
/// let text = to_csv(&values(&[FleetEngine { index: 4, learner: Strategy::Kalman, ended }], 9));
/// assert!(text.starts_with("engine,learner,run_seed,") && text.contains("\n4,kalman,"));
/// assert!(text.ends_with(",,\"truth vehicle.mass_kg, which is -1\"\n"), "no figures, but a reason");
/// ```
pub fn to_csv(rows: &[Vec<ColumnValue>]) -> String {
    let written = |value: &ColumnValue| match value {
        ColumnValue::Whole(value) => value.map(|value| value.to_string()),
        ColumnValue::Real(value) => value.map(|value| value.to_string()),
        ColumnValue::Text(value) => value.clone(),
    };
    let row = |row: &Vec<ColumnValue>| {
        row.iter().map(|value| written(value).unwrap_or_default()).collect::<Vec<_>>()
    };
    csv_text(COLUMNS.iter().map(|(name, _)| name), rows.iter().map(row))
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::fleet::Ended;
    use trimwright_control::Strategy;

    #[test]
    fn csv_reads_back_as_it_was() {
        let failure = "answer \"cam\", which is wrong";
        let engine =
            FleetEngine { index: 4, learner: Strategy::Kalman, ended: Ended::Failed(failure.to_owned()) };
        let text = to_csv(&values(&[engine], 9));
        let mut reader = csv::Reader::from_reader(text.as_bytes());
        let names: Vec<String> = reader.headers().expect("a head").iter().map(str::to_owned).collect();
        let record = reader.records().next().expect("a row").expect("readable");
        let at = |name: &str| &record[names.iter().position(|each| each == name).expect("a column")];
        assert_eq!((at("engine"), at("learner"), at("failure")), ("4", "kalman", failure));
        assert_eq!(at("learned_map_rms"), "");
        assert_eq!(at("film_x").parse(), Ok(Draw::of(9, 4).deviations.film_x));
    }
}
