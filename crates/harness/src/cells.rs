//! What happened in each cell of the map, and which correction would have been right there.

use trimwright_control::fueling::OUTSIDE_PA;
use trimwright_control::{Calibration, LearnedMap, State};
use trimwright_plant::{CylinderEvent, Truth, View};

/// Steady dwell that makes a cell visited.
pub const VISITED_S: f64 = 2.0;
/// Standard deviation below which a cell counts as confident.
pub const CONFIDENT_LN: f64 = 0.01;

/// Conditions added up with the share that a cell had in them.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
struct CellSums {
    dwell_s: f64,
    manifold_k: f64,
    charge_k: f64,
    battery_v: f64,
    drop_pa: f64,
    estimated_drop_pa: f64,
    injectors: f64,
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
    }

    fn mean(&self) -> Conditions {
        Conditions {
            manifold_k: self.manifold_k / self.dwell_s,
            charge_k: self.charge_k / self.dwell_s,
            battery_v: self.battery_v / self.dwell_s,
            drop_pa: self.drop_pa / self.dwell_s,
            estimated_drop_pa: self.estimated_drop_pa / self.dwell_s,
            injectors: self.injectors / self.dwell_s,
        }
    }
}

/// Under which conditions a cell is judged.
#[derive(Clone, Copy, Debug, PartialEq)]
struct Conditions {
    manifold_k: f64,
    charge_k: f64,
    battery_v: f64,
    /// Over the injectors, as it is and as the controller believes.
    drop_pa: f64,
    estimated_drop_pa: f64,
    /// How many injectors open for a firing.
    injectors: f64,
}

/// Dwell and mean conditions of each cell over the steady events of a run.
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
    /// Nothing visited yet.
    pub fn new(cells: usize) -> Self {
        Self { sums: vec![CellSums::default(); cells], whole: CellSums::default() }
    }

    /// A steady event that stands for `span_s` of driving; each of its four cells gets its share of it.
    pub fn add(&mut self, event: &CylinderEvent, state: &State, view: &View, span_s: f64) {
        let insight = state.insight();
        let conditions = Conditions {
            manifold_k: event.manifold_k,
            charge_k: f64::from(insight.charge_k),
            battery_v: f64::from(state.estimate().battery_v),
            drop_pa: view.injector_drop_pa,
            estimated_drop_pa: f64::from(state.estimate().drop_pa()),
            injectors: f64::from(insight.injectors),
        };
        self.whole.add(span_s, &conditions);
        for (cell, share) in insight.weights.iter() {
            self.sums[cell].add(span_s * f64::from(share), &conditions);
        }
    }

    /// Steady dwell of each cell, seconds.
    pub fn dwell_s(&self) -> Vec<f64> {
        self.sums.iter().map(|sums| sums.dwell_s).collect()
    }

    /// Whether there was enough steady dwell for the cell to count.
    pub fn visited(&self) -> Vec<bool> {
        self.sums.iter().map(|sums| sums.dwell_s > VISITED_S).collect()
    }

    /// The correction that would be right in each cell, ln: at the cell's breakpoints the truth takes in some air and needs so much
    /// fuel for lambda 1; the injector must open so long for it; what the calibration believes to inject in that time, when injectors
    /// open `delay_s` later than it has it, over its base fuel, is the right correction. Temperatures, volts and pressures
    /// are the means of the cell's own events (for a cell without any, of all events). NaN where nothing was driven at all.
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
        let right = |(cell, sums): (usize, &CellSums)| {
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
            let Conditions { battery_v, drop_pa, estimated_drop_pa, injectors, .. } = conditions;
            let open_s = truth.open_time_s(needed_kg / injectors, battery_v, drop_pa) as f32;
            let (battery_v, drop_pa) = (battery_v as f32, estimated_drop_pa as f32);
            let each_kg = calibration.injected_fuel_kg(open_s - delay_s, battery_v, drop_pa);
            libm::log(injectors * f64::from(each_kg) / base_kg)
        };
        self.sums.iter().enumerate().map(right).collect()
    }

    /// Dwell-weighted root mean square of (`learned` - `right`) over the visited cells; NaN when none was visited.
    pub fn error_rms(&self, learned: impl Fn(usize) -> f64, right: &[f64]) -> f64 {
        let (mut sum, mut weight) = (0.0, 0.0);
        for (cell, sums) in self.sums.iter().enumerate().filter(|(_, sums)| sums.dwell_s > VISITED_S) {
            let error = learned(cell) - right[cell];
            sum += sums.dwell_s * error * error;
            weight += sums.dwell_s;
        }
        libm::sqrt(sum / weight)
    }

    /// Visited cells, and those of them in which the map is sure of itself to [`CONFIDENT_LN`].
    pub fn count(&self, map: &LearnedMap) -> (usize, usize) {
        let visited = self.visited();
        let sure = |cell: &usize| f64::from(map.sigma_ln(*cell)) < CONFIDENT_LN;
        let cells: Vec<usize> = (0..visited.len()).filter(|&cell| visited[cell]).collect();
        (cells.len(), cells.iter().filter(|cell| sure(cell)).count())
    }
}
