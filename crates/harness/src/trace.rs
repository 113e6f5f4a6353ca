//! Trace of a run: one row every 0.1 s.

use trimwright_control::Phase;

use crate::csv_text::{csv_text, decimals};
use crate::mixture_observer::MixtureObserver;
use crate::session::Moment;

/// Time between two rows, s.
pub const PERIOD_S: f64 = 0.1;

/// Columns of `trace.csv` with their units.
pub const COLUMNS: [&str; 20] = [
    "time [s]",
    "wanted_speed [m/s]",
    "speed [m/s]",
    "engine_speed [rpm]",
    "throttle [1]",
    "map [kPa]",
    "ect [degC]",
    "iat [degC]",
    "battery [V]",
    "lambda [1]",
    "wanted_lambda [1]",
    "sensor_lambda [1]",
    "short_term_trim [%]",
    "long_term_trim [%]",
    "open_time [ms]",
    "fuel_flow [g/s]",
    "air_flow [g/s]",
    "spark_advance [deg]",
    "torque [N m]",
    "phase",
];

/// One row in the order of [`COLUMNS`], in SI units where the columns use trade units.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct TraceRow {
    /// Time since power-up, s.
    pub time_s: f64,
    /// Scheduled speed, m/s.
    pub wanted_speed_m_per_s: f64,
    /// Vehicle speed, m/s.
    pub speed_m_per_s: f64,
    /// Crank speed, rpm.
    pub engine_rpm: f64,
    /// Pedal travel, 0 to 1.
    pub throttle: f64,
    /// True manifold pressure, Pa.
    pub map_pa: f64,
    /// True coolant temperature, K.
    pub ect_k: f64,
    /// True intake air temperature, K.
    pub iat_k: f64,
    /// Supply voltage, V.
    pub battery_v: f64,
    /// True lambda of the last charge; NaN without fuel.
    pub lambda: f64,
    /// Target lambda of the controller; NaN without fuel.
    pub wanted_lambda: f64,
    /// Lambda measured by the controller; NaN without a reading.
    pub sensor_lambda: f64,
    /// Short-term trim, ln.
    pub trim_ln: f64,
    /// Long-term trim in use, ln.
    pub learned_ln: f64,
    /// Last open time of the first injector, s.
    pub open_time_s: f64,
    /// Fuel into the cylinders, kg/s.
    pub fuel_kg_per_s: f64,
    /// Air into the cylinders, kg/s.
    pub air_kg_per_s: f64,
    /// Commanded spark advance, degrees.
    pub spark_deg: f64,
    /// Crank torque after friction, N m.
    pub torque_nm: f64,
    /// Phase of the controller.
    pub phase: Phase,
}

impl TraceRow {
    /// Row of this step; `mixture` has observed all steps so far.
    pub fn of(now: &Moment<'_>, mixture: &MixtureObserver) -> Self {
        let closed_loop = now.closed_loop;
        let view = closed_loop.view();
        let insight = closed_loop.controller().state().insight();
        let fuelled = insight.phase.burns();
        let or_gap = |value: f64| if fuelled { value } else { f64::NAN };
        Self {
            time_s: closed_loop.time_s(),
            wanted_speed_m_per_s: now.wanted_m_per_s(),
            speed_m_per_s: view.vehicle_m_per_s,
            engine_rpm: view.speed_rad_per_s * 30.0 / core::f64::consts::PI,
            throttle: now.inputs.throttle,
            map_pa: view.map_pa,
            ect_k: view.coolant_k,
            iat_k: view.intake_k,
            battery_v: view.supply_v,
            lambda: or_gap(mixture.last.lambda),
            wanted_lambda: or_gap(f64::from(insight.wanted_lambda)),
            sensor_lambda: if view.sensor_ready { f64::from(insight.measured_lambda) } else { f64::NAN },
            trim_ln: f64::from(insight.trim_ln),
            learned_ln: f64::from(insight.learned_ln),
            open_time_s: f64::from(insight.open_time_s),
            fuel_kg_per_s: mixture.last.fuel_kg / mixture.last_span_s,
            air_kg_per_s: view.engine_kg_per_s,
            spark_deg: f64::from(closed_loop.commands().spark_deg),
            torque_nm: view.brake_nm,
            phase: insight.phase,
        }
    }
}

/// The text of `trace.csv`.
///
/// ```
/// use trimwright_harness::{drive::drive, scenario::Scenario, schedule::Schedule, trace};
/// let schedule = Schedule::parse("trip", "trip.csv", "time [s],speed [km/h]\n0,0\n20,0\n40,50\n60,50\n")?;
/// let scenario = Scenario { schedule, passes: 1, ..Scenario::load("delivery-van")? };
/// let text = trace::to_csv(&drive(&scenario, &mut |_| ())?.rows);
/// assert!(text.starts_with("time [s],wanted_speed [m/s],"));
/// assert_eq!(text.lines().count(), 601, "a header and a row each tenth of a second");
/// # Ok::<(), Box<dyn std::error::Error>>(())
/// ```
pub fn to_csv(rows: &[TraceRow]) -> String {
    let written = |row: &TraceRow| {
        [
            decimals(row.time_s, 1),
            decimals(row.wanted_speed_m_per_s, 3),
            decimals(row.speed_m_per_s, 3),
            decimals(row.engine_rpm, 1),
            decimals(row.throttle, 4),
            decimals(row.map_pa / 1e3, 3),
            decimals(row.ect_k - 273.15, 2),
            decimals(row.iat_k - 273.15, 2),
            decimals(row.battery_v, 3),
            decimals(row.lambda, 5),
            decimals(row.wanted_lambda, 5),
            decimals(row.sensor_lambda, 5),
            decimals(percent(row.trim_ln), 3),
            decimals(percent(row.learned_ln), 3),
            decimals(row.open_time_s * 1e3, 4),
            decimals(row.fuel_kg_per_s * 1e3, 4),
            decimals(row.air_kg_per_s * 1e3, 4),
            decimals(row.spark_deg, 2),
            decimals(row.torque_nm, 2),
            format!("{:?}", row.phase),
        ]
    };
    csv_text(COLUMNS, rows.iter().map(written))
}

/// Converts ln of a factor to a percentage.
pub fn percent(ln: f64) -> f64 {
    100.0 * libm::expm1(ln)
}
