//! The map cell by cell, as `map.csv` and the report have it.

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
    /// Filling efficiency that the first calibration believes.
    pub(crate) base_filling: f64,
    /// What was learned, ln of the fuel factor.
    pub(crate) learned_ln: f64,
    /// What would have been right, likewise.
    pub(crate) right_ln: f64,
    /// What the map thinks its error is.
    pub(crate) sigma_ln: f64,
    /// Time in steady state near the cell.
    pub(crate) dwell_s: f64,
    pub(crate) visited: bool,
}

/// What cells are made from.
pub(crate) struct LearnedCells<'a> {
    pub(crate) calibration: &'a Calibration,
    pub(crate) learned: &'a LearnedMap,
    /// What would have been right, ln.
    pub(crate) right_ln: &'a [f64],
    pub(crate) cells: &'a Cells,
}

impl<'a> From<&'a Run> for LearnedCells<'a> {
    fn from(run: &'a Run) -> Self {
        let Run { calibration, learned, true_correction_ln: right_ln, cells, .. } = run;
        Self { calibration, learned, right_ln, cells }
    }
}

/// The cells of a map, speed fastest.
pub(crate) fn cells(of: &LearnedCells<'_>) -> Vec<Cell> {
    let calibration = of.calibration;
    let speeds = calibration.setup().rpm_axis().points();
    let pressures = calibration.setup().map_axis().points();
    let (dwell_s, visited) = (of.cells.dwell_s(), of.cells.visited());
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
                learned_ln: single(of.learned.ln.flat()),
                right_ln: at(of.right_ln),
                sigma_ln: f64::from(of.learned.sigma_ln(index)),
                dwell_s: at(&dwell_s),
                visited: visited.get(index).copied().unwrap_or_default(),
            }
        })
        .collect()
}

/// The text of `map.csv`. What isn't known is left empty.
pub(crate) fn to_csv(of: &LearnedCells<'_>) -> String {
    let row = |cell: Cell| {
        [
            decimals(rpm(cell.speed_rad_per_s), 1),
            decimals(cell.map_pa / 1e3, 2),
            decimals(cell.base_filling, 4),
            decimals(cell.learned_ln, 5),
            decimals(cell.right_ln, 5),
            decimals(cell.sigma_ln, 5),
            decimals(cell.dwell_s, 2),
            cell.visited.to_string(),
        ]
    };
    csv_text(COLUMNS, cells(of).into_iter().map(row))
}

/// Crank speed in turns a minute.
pub(crate) fn rpm(speed_rad_per_s: f64) -> f64 {
    speed_rad_per_s * 60.0 / std::f64::consts::TAU
}
