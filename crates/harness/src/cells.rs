//! Dwell and mean conditions per cell of the map, and the true correction of each cell.

use trimwright_control::fueling::OUTSIDE_PA;
use trimwright_control::{Calibration, LearnedMap, State};
use trimwright_plant::{CylinderEvent, Truth, View};

/// Steady dwell above which a cell counts as visited, s.
pub const VISITED_S: f64 = 2.0;
/// Standard deviation of the learned correction below which a cell counts as confident, ln.
pub const CONFIDENT_LN: f64 = 0.01;

/// Conditions summed with the cell's share as weight.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
struct CellSums {
    dwell_s: f64,
    manifold_k: f64,
    charge_k: f64,
    battery_v: f64,
    drop_pa: f64,
    estimated_drop_pa: f64,
    injectors: f64,
    lasting_ln: f64,
}

impl CellSums {
    fn add(&mut self, by_s: f64, other: &Conditions) {
        self.dwell_s += by_s;
        self.manifold_k += by_s * other.manifold_k;
        self.charge_k += by_s * other.charge_k;
        self.battery_v += by_s * other.battery_v;
        self.drop_pa += by_s * other.drop_pa;
        self.estimated_drop_pa += by_s * other.estimated_drop_pa;
        self.injectors += by_s * other.injectors;
        self.lasting_ln += by_s * other.lasting_ln;
    }

    fn mean(&self) -> Conditions {
        Conditions {
            manifold_k: self.manifold_k / self.dwell_s,
            charge_k: self.charge_k / self.dwell_s,
            battery_v: self.battery_v / self.dwell_s,
            drop_pa: self.drop_pa / self.dwell_s,
            estimated_drop_pa: self.estimated_drop_pa / self.dwell_s,
            injectors: self.injectors / self.dwell_s,
            lasting_ln: self.lasting_ln / self.dwell_s,
        }
    }
}

/// Mean conditions of a cell.
#[derive(Clone, Copy, Debug, PartialEq)]
struct Conditions {
    manifold_k: f64,
    charge_k: f64,
    battery_v: f64,
    /// Pressure drop over the injectors, Pa: true, and as the controller estimates it.
    drop_pa: f64,
    estimated_drop_pa: f64,
    /// Injectors that open per firing.
    injectors: f64,
    /// Disturbances that last over the trip, ln.
    lasting_ln: f64,
}

/// Dwell and mean conditions of each cell, over the steady events of a run.
///
/// ```
/// use trimwright_control::Options;
/// use trimwright_harness::drive::{Record, drive_with};
/// use trimwright_harness::{scenario::Scenario, schedule::Schedule};
///
/// let trip = "time [s],speed [km/h]\n0,0\n20,0\n40,50\n150,50\n";
/// let schedule = Schedule::parse("trip", "trip.csv", trip)?;
/// let scenario = Scenario { schedule, passes: 1, ..Scenario::load("delivery-van")? };
/// let cells = drive_with(&scenario, Options::default(), Record::Figures, &mut |_| ())?.cells;
/// let visited = cells.visited().iter().filter(|visited| **visited).count();
/// assert!(visited > 0 && visited < 20, "one speed on a level road is a small part of the map");
/// # Ok::<(), Box<dyn std::error::Error>>(())
/// ```
#[derive(Clone, Debug, PartialEq)]
pub struct Cells {
    sums: Vec<CellSums>,
    whole: CellSums,
}

impl Cells {
    /// Empty sums for this many cells.
    pub fn new(cells: usize) -> Self {
        Self { sums: vec![CellSums::default(); cells], whole: CellSums::default() }
    }

    /// Adds a steady event that covers `span_s` seconds; each of its four cells gets its share.
    pub fn add(&mut self, event: &CylinderEvent, state: &State, view: &View, span_s: f64) {
        let insight = state.insight();
        let conditions = Conditions {
            manifold_k: event.manifold_k,
            charge_k: f64::from(insight.charge_k),
            battery_v: f64::from(state.estimate().battery_v),
            drop_pa: view.injector_drop_pa,
            estimated_drop_pa: f64::from(state.estimate().drop_pa()),
            injectors: f64::from(insight.injectors),
            lasting_ln: event.lasting_ln,
        };
        self.whole.add(span_s, &conditions);
        for (cell, share) in insight.weights.iter() {
            self.sums[cell].add(span_s * f64::from(share), &conditions);
        }
    }

    /// Steady dwell of each cell, s.
    pub fn dwell_s(&self) -> Vec<f64> {
        self.sums.iter().map(|sums| sums.dwell_s).collect()
    }

    /// True for cells with more than [`VISITED_S`] of steady dwell.
    pub fn visited(&self) -> Vec<bool> {
        self.sums.iter().map(|sums| sums.dwell_s > VISITED_S).collect()
    }

    /// True correction of each cell, ln: at the cell's breakpoints the plant takes in some air and needs the fuel for lambda 1; the open
    /// time of an injector for that fuel, converted to fuel by the calibration with an opening delay longer by `delay_s`, over the base
    /// fuel; and the disturbances that last over the trip. Temperatures, volts, pressures and these disturbances are the means of the cell's own events, or of all events for a cell without any. NaN when
    /// nothing was driven.
    ///
    /// ```
    /// # use trimwright_control::Options;
    /// # use trimwright_harness::drive::{Record, drive_with};
    /// # use trimwright_harness::{scenario::Scenario, schedule::Schedule};
    /// # let trip = "time [s],speed [km/h]\n0,0\n20,0\n40,50\n150,50\n";
    /// # let schedule = Schedule::parse("trip", "trip.csv", trip)?;
    /// # let scenario = Scenario { schedule, passes: 1, ..Scenario::load("delivery-van")? };
    /// let run = drive_with(&scenario, Options::default(), Record::Figures, &mut |_| ())?;
    /// let mut weak = scenario.truth.clone();
    /// weak.injectors.static_flow_kg_per_s *= 0.9;
    /// let [true_correction_ln, weak_ln] = [&scenario.truth, &weak].map(|truth| run.cells.true_correction_ln(truth, &run.calibration, 0.0));
    /// assert!(true_correction_ln.iter().zip(&weak_ln).all(|(right, weak)| weak > right), "weak injectors have to open for longer");
    /// # Ok::<(), Box<dyn std::error::Error>>(())
    /// ```
    pub fn true_correction_ln(&self, truth: &Truth, calibration: &Calibration, delay_s: f32) -> Vec<f64> {
        let columns = calibration.setup().rpm_axis().points().len();
        let outside_pa = truth.ambient.air(truth.ambient.altitude_m).pressure_pa as f32;
        let true_ln = |(cell, sums): (usize, &CellSums)| {
            let conditions = if sums.dwell_s > 0.0 { sums.mean() } else { self.whole.mean() };
            let speed = calibration.setup().rpm_axis().points()[cell % columns];
            let map_pa = calibration.setup().map_axis().points()[cell / columns] * outside_pa / OUTSIDE_PA;
            let air_kg = truth.air_charge_kg(f64::from(map_pa), conditions.manifold_k, f64::from(speed));
            let needed_kg = air_kg / truth.stoich_afr();
            let base_kg = f64::from(calibration.setup().base_air_charge_kg(
                map_pa,
                outside_pa,
                speed,
                conditions.charge_k as f32,
            )) / f64::from(calibration.answers().stoich_afr);
            let Conditions { battery_v, drop_pa, estimated_drop_pa, injectors, lasting_ln, .. } = conditions;
            let open_s = truth.open_time_s(needed_kg / injectors, battery_v, drop_pa) as f32;
            let (battery_v, drop_pa) = (battery_v as f32, estimated_drop_pa as f32);
            let each_kg = calibration.injected_fuel_kg(open_s - delay_s, battery_v, drop_pa);
            libm::log(injectors * f64::from(each_kg) / base_kg) + lasting_ln
        };
        self.sums.iter().enumerate().map(true_ln).collect()
    }

    /// Root mean square of (`learned` - `true_ln`) over the visited cells, weighted by dwell; NaN when none was visited.
    pub fn error_rms(&self, learned: impl Fn(usize) -> f64, true_ln: &[f64]) -> f64 {
        let (mut sum, mut weight) = (0.0, 0.0);
        for (cell, sums) in self.sums.iter().enumerate().filter(|(_, sums)| sums.dwell_s > VISITED_S) {
            let error = learned(cell) - true_ln[cell];
            sum += sums.dwell_s * error * error;
            weight += sums.dwell_s;
        }
        libm::sqrt(sum / weight)
    }

    /// Number of visited cells, and of those with a standard deviation below [`CONFIDENT_LN`].
    pub fn count(&self, map: &LearnedMap) -> (usize, usize) {
        let visited = self.visited();
        let confident = |cell: &usize| f64::from(map.sigma_ln(*cell)) < CONFIDENT_LN;
        let cells: Vec<usize> = (0..visited.len()).filter(|&cell| visited[cell]).collect();
        (cells.len(), cells.iter().filter(|cell| confident(cell)).count())
    }
}
