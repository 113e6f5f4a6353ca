//! The cells of the learned map for `map.csv` and the report.

use trimwright_control::{Calibration, LearnedMap};
use trimwright_harness::cells::Cells;
use trimwright_harness::csv_text::{csv_text, decimals};
use trimwright_harness::drive::Run;

/// Columns of `map.csv`.
const COLUMNS: [&str; 8] = [
    "engine_speed [rpm]",
    "map [kPa]",
    "base_filling [1]",
    "learned [ln]",
    "right [ln]",
    "standard_deviation [ln]",
    "dwell [s]",
    "visited",
];

/// One cell of the map.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(crate) struct Cell {
    pub(crate) speed_rad_per_s: f64,
    pub(crate) map_pa: f64,
    /// Filling efficiency of the first calibration, ratio.
    pub(crate) base_filling: f64,
    /// Learned correction, ln of the fuel factor.
    pub(crate) learned_ln: f64,
    /// True correction, ln of the fuel factor.
    pub(crate) true_ln: f64,
    /// Standard deviation as estimated by the learner, ln.
    pub(crate) sigma_ln: f64,
    /// Time in steady state near the cell, s.
    pub(crate) dwell_s: f64,
    pub(crate) visited: bool,
}

/// Sources of the cells of a map.
pub(crate) struct LearnedCells<'a> {
    pub(crate) calibration: &'a Calibration,
    pub(crate) learned: &'a LearnedMap,
    /// True corrections, ln of the fuel factor.
    pub(crate) true_ln: &'a [f64],
    pub(crate) cells: &'a Cells,
}

impl<'a> From<&'a Run> for LearnedCells<'a> {
    fn from(run: &'a Run) -> Self {
        let Run { calibration, learned, true_correction_ln: true_ln, cells, .. } = run;
        Self { calibration, learned, true_ln, cells }
    }
}

/// The cells of a map; crank speed is the inner index.
pub(crate) fn cells(sources: &LearnedCells<'_>) -> Vec<Cell> {
    let calibration = sources.calibration;
    let speeds = calibration.setup().rpm_axis().points();
    let pressures = calibration.setup().map_axis().points();
    let (dwell_s, visited) = (sources.cells.dwell_s(), sources.cells.visited());
    let places = pressures.iter().flat_map(|&map_pa| speeds.iter().map(move |&speed| (map_pa, speed)));
    places
        .enumerate()
        .map(|(index, (map_pa, speed))| {
            let at = |values: &[f64]| values.get(index).copied().unwrap_or(f64::NAN);
            let single = |values: &[f32]| values.get(index).map_or(f64::NAN, |value| f64::from(*value));
            Cell {
                speed_rad_per_s: f64::from(speed),
                map_pa: f64::from(map_pa),
                base_filling: single(calibration.setup().filling().flat()),
                learned_ln: single(sources.learned.ln.flat()),
                true_ln: at(sources.true_ln),
                sigma_ln: f64::from(sources.learned.sigma_ln(index)),
                dwell_s: at(&dwell_s),
                visited: visited.get(index).copied().unwrap_or_default(),
            }
        })
        .collect()
}

/// The text of `map.csv`. Unknown values are empty.
pub(crate) fn to_csv(sources: &LearnedCells<'_>) -> String {
    let row = |cell: Cell| {
        [
            decimals(rpm(cell.speed_rad_per_s), 1),
            decimals(cell.map_pa / 1e3, 2),
            decimals(cell.base_filling, 4),
            decimals(cell.learned_ln, 5),
            decimals(cell.true_ln, 5),
            decimals(cell.sigma_ln, 5),
            decimals(cell.dwell_s, 2),
            cell.visited.to_string(),
        ]
    };
    csv_text(COLUMNS, cells(sources).into_iter().map(row))
}

/// Crank speed in rpm.
pub(crate) fn rpm(speed_rad_per_s: f64) -> f64 {
    speed_rad_per_s * 60.0 / std::f64::consts::TAU
}
