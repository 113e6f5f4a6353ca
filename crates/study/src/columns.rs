//! Columns of the result files of a fleet: the sample of each engine, then its figures.

use trimwright_harness::csv_text::csv_text;

use crate::fleet::{Figures, FleetEngine};
use crate::learners;
use crate::sample::EngineSample;

/// One value of the table; `None` when missing.
///
/// ```
/// use trimwright_control::Strategy;
/// use trimwright_study::columns::{ColumnValue, values};
/// use trimwright_study::fleet::{EngineOutcome, FleetEngine};
/// let outcome = EngineOutcome::Failed("setup answer out of its range".to_owned());
/// let rows = values(&[FleetEngine { index: 4, learner: Strategy::Kalman, outcome }], 9);
/// assert_eq!(rows[0][..2], [ColumnValue::Whole(Some(4)), ColumnValue::Text(Some("kalman".to_owned()))]);
/// assert!(rows[0].contains(&ColumnValue::Real(None)), "an engine that failed has no figures");
/// ```
#[derive(Clone, Debug, PartialEq)]
pub enum ColumnValue {
    /// A whole number.
    Whole(Option<i64>),
    /// A real number.
    Real(Option<f64>),
    /// Text.
    Text(Option<String>),
}

/// One engine with its sample, the source of a row.
#[derive(Clone, Copy, Debug)]
pub struct FleetRow<'a> {
    /// The engine.
    pub engine: &'a FleetEngine,
    /// Its sample.
    pub sample: &'a EngineSample,
}

/// Name of a column and the function of its value.
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

/// All columns in order.
pub const COLUMNS: &[FleetColumn] = &[
    ("engine", |row| whole(u64::from(row.engine.index))),
    ("learner", |row| ColumnValue::Text(Some(learners::name(row.engine.learner).to_owned()))),
    ("run_seed", |row| whole(row.sample.run_seed)),
    ("filling_seed", |row| whole(row.sample.deviations.filling_seed)),
    ("filling", |row| real(row.sample.deviations.filling)),
    ("injector_flow", |row| real(row.sample.deviations.injector_flow)),
    ("opening_delay_s", |row| real(row.sample.deviations.opening_delay_s)),
    ("film_x", |row| real(row.sample.deviations.film_x)),
    ("film_tau", |row| real(row.sample.deviations.film_tau)),
    ("sensor_lag", |row| real(row.sample.deviations.sensor_lag)),
    ("pipe", |row| real(row.sample.pipe)),
    ("ethanol_share", |row| real(row.sample.ethanol_share)),
    ("answered_displacement", |row| real(row.sample.answered_displacement)),
    ("answered_compression", |row| real(row.sample.answered_compression)),
    ("answered_rail_pressure", |row| real(row.sample.answered_rail_pressure)),
    ("answered_cam_steps", |row| ColumnValue::Whole(Some(i64::from(row.sample.answered_cam_steps)))),
    ("base_map_rms", |row| figure(row, |figures| figures.base_map_rms)),
    ("learned_map_rms", |row| figure(row, |figures| figures.learned_map_rms)),
    ("learned_map_lasting_rms", |row| figure(row, |figures| figures.learned_map_lasting_rms)),
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
/// use trimwright_study::fleet::{EngineOutcome, FleetEngine};
/// let failed = |index| FleetEngine {
///     index,
///     learner: Strategy::Integral,
///     outcome: EngineOutcome::Failed("setup answer out of its range".to_owned()),
/// };
/// let rows = values(&[failed(0), failed(1)], 9);
/// assert!(rows.len() == 2 && rows.iter().all(|row| row.len() == COLUMNS.len()));
/// assert_ne!(rows[0][5], rows[1][5], "each has its own injectors");
/// ```
pub fn values(engines: &[FleetEngine], seed: u64) -> Vec<Vec<ColumnValue>> {
    let row = |engine: &FleetEngine| {
        let sample = EngineSample::of(seed, engine.index);
        let row = FleetRow { engine, sample: &sample };
        COLUMNS.iter().map(|(_, value)| value(&row)).collect()
    };
    engines.iter().map(row).collect()
}

/// The text of `fleet.csv`. Unknown values are empty; floats read back as the same bits.
///
/// ```
/// use trimwright_control::Strategy;
/// use trimwright_study::columns::{to_csv, values};
/// use trimwright_study::fleet::{EngineOutcome, FleetEngine};
/// let outcome = EngineOutcome::Failed("truth vehicle.mass_kg, which is -1".to_owned());
/// let text = to_csv(&values(&[FleetEngine { index: 4, learner: Strategy::Kalman, outcome }], 9));
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
    use crate::fleet::EngineOutcome;
    use trimwright_control::Strategy;

    #[test]
    fn csv_reads_back_as_it_was() {
        let failure = "answer \"cam\", which is wrong";
        let engine = FleetEngine {
            index: 4,
            learner: Strategy::Kalman,
            outcome: EngineOutcome::Failed(failure.to_owned()),
        };
        let text = to_csv(&values(&[engine], 9));
        let mut reader = csv::Reader::from_reader(text.as_bytes());
        let names: Vec<String> = reader.headers().expect("a head").iter().map(str::to_owned).collect();
        let record = reader.records().next().expect("a row").expect("readable");
        let at = |name: &str| &record[names.iter().position(|each| each == name).expect("a column")];
        assert_eq!((at("engine"), at("learner"), at("failure")), ("4", "kalman", failure));
        assert_eq!(at("learned_map_rms"), "");
        assert_eq!(at("film_x").parse(), Ok(EngineSample::of(9, 4).deviations.film_x));
    }
}
