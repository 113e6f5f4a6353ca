//! How parts are built in, from the section `[installation]` of a scenario. What is not given is customary.

use crate::document::Document;
use crate::error::InputError;
use crate::units::Kind;

/// Where along a pipe the oxygen sensor sits.
///
/// ```
/// use trimwright_harness::sizing::{SensorPlace, Verdict, System, size};
/// # use trimwright_harness::scenario::Scenario;
/// let mut van = Scenario::load("delivery-van")?;
/// van.installation.sensor_place = SensorPlace::Outside;
/// let sizing = size(&van, System::Si)?;
/// assert!(sizing.line("side of a bend").is_some_and(|line| line.verdict == Verdict::Wrong));
/// # Ok::<(), Box<dyn std::error::Error>>(())
/// ```
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum SensorPlace {
    /// On a straight piece.
    Straight,
    /// On the inside of a bend.
    Inside,
    /// On the outside of a bend.
    Outside,
}

/// What holds the hoses.
///
/// ```
/// use trimwright_harness::sizing::{Clamps, System, size};
/// # use trimwright_harness::scenario::Scenario;
/// let mut van = Scenario::load("delivery-van")?;
/// van.installation.clamps = Clamps::Carburettor;
/// let sizing = size(&van, System::Si)?;
/// let clamps = sizing.line("clamps made for injection").ok_or("a line")?;
/// assert!(clamps.change.contains("cut the hose"), "{}", clamps.change);
/// # Ok::<(), Box<dyn std::error::Error>>(())
/// ```
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Clamps {
    /// Made for injection pressure: rolled edges, even all around.
    Injection,
    /// As they were on the carburettor's hose.
    Carburettor,
}

/// How the parts are built in. SI units; the ranges are those of the scenario's keys. The customary values are engineering
/// judgement unless a source is named.
///
/// ```
/// use trimwright_harness::sizing::{Installation, System, size};
/// # use trimwright_harness::scenario::Scenario;
/// let lost_v = |pump_wire_m2| {
///     let installation = Installation { pump_wire_m2, ..Installation::default() };
///     let van = Scenario { installation, ..Scenario::load("delivery-van").ok()? };
///     Some(size(&van, System::Si).ok()?.line("wire to the pump")?.value)
/// };
/// assert!(lost_v(0.75e-6).is_some_and(|volts| volts > 0.5) && lost_v(4e-6).is_some_and(|volts| volts < 0.5));
/// ```
#[derive(Clone, Debug, PartialEq)]
pub struct Installation {
    /// Peak power that is to be fed, W, 10e3 to 1.5e6; `None`: what the engine's air makes.
    pub power_w: Option<f64>,
    /// Brake specific fuel consumption at peak power, lb/(hp h), 0.35 to 0.80. 0.50: common practice, no source.
    pub bsfc_lb_per_hp_h: f64,
    /// Share of time that injectors may be open, 0.5 to 1. 0.80 when sizing: common practice, no source.
    pub duty_limit: f64,
    /// Supply with the engine running, V, 11 to 16.
    pub supply_v: f64,
    /// Hottest fuel in the tank, K, 273 to 340: a summer's day with fuel that comes back warm from the engine.
    pub hot_fuel_k: f64,
    /// Height of the pump over the lowest fuel, m, 0 to 2.
    pub suction_lift_m: f64,
    /// Sum of the loss coefficients of bends and fittings before the pump, 0 to 30. 2.5: inlet and two bends.
    pub suction_fittings: f64,
    /// Pressure drop of the strainer on the pickup, Pa, 0 to 50 kPa, and at which flow, kg/s; it goes with the flow squared.
    pub strainer_pa: f64,
    /// The flow at which it has that drop, kg/s, 1e-3 to 0.3.
    pub strainer_flow_kg_per_s: f64,
    /// Length of the return line, m, 0.1 to 20.
    pub return_m: f64,
    /// Bore of the return line, m, 0.003 to 0.03.
    pub return_bore_m: f64,
    /// Working pressure printed on the hose, Pa, 0 to 5 MPa.
    pub hose_rating_pa: f64,
    /// What holds the hoses.
    pub clamps: Clamps,
    /// Length of the pump's wire, one way, m, 0 to 20.
    pub pump_wire_m: f64,
    /// Copper in it, m^2, 2e-7 to 5e-5.
    pub pump_wire_m2: f64,
    /// Length of a fan's wire, one way, m, 0 to 20.
    pub fan_wire_m: f64,
    /// Copper in it, m^2, 2e-7 to 5e-5.
    pub fan_wire_m2: f64,
    /// Distance of the oxygen sensor after the tubes merge, m, 0 to 5. Seven inches: common practice, no source.
    pub sensor_after_merge_m: f64,
    /// Where it sits.
    pub sensor_place: SensorPlace,
    /// Bore of the pipe there, m, 0.02 to 0.15.
    pub sensor_pipe_m: f64,
}

impl Default for Installation {
    fn default() -> Self {
        Self {
            power_w: None,
            bsfc_lb_per_hp_h: 0.50,
            duty_limit: 0.80,
            supply_v: 13.5,
            hot_fuel_k: 318.15,
            suction_lift_m: 0.35,
            suction_fittings: 2.5,
            strainer_pa: 3e3,
            strainer_flow_kg_per_s: 0.0189,
            return_m: 4.5,
            return_bore_m: 7.9e-3,
            hose_rating_pa: 690e3,
            clamps: Clamps::Injection,
            pump_wire_m: 5.0,
            pump_wire_m2: 4e-6,
            fan_wire_m: 2.0,
            fan_wire_m2: 4e-6,
            sensor_after_merge_m: 0.178,
            sensor_place: SensorPlace::Straight,
            sensor_pipe_m: 0.057,
        }
    }
}

const PLACES: &[(&str, SensorPlace)] = &[
    ("straight", SensorPlace::Straight),
    ("inside of a bend", SensorPlace::Inside),
    ("outside of a bend", SensorPlace::Outside),
];
const CLAMPS: &[(&str, Clamps)] = &[("injection", Clamps::Injection), ("carburettor", Clamps::Carburettor)];

/// Reads the section; what isn't given stays customary.
pub(crate) fn read(document: &Document) -> Result<Installation, InputError> {
    let mut read = Installation::default();
    let mut power_w = 0.0;
    if document.has("installation.power") {
        document.quantity_within("installation.power", Kind::Power, (10e3, 1.5e6), &mut power_w)?;
        read.power_w = Some(power_w);
    }
    for (key, kind, range, target) in [
        ("bsfc_lb_per_hp_h", Kind::Ratio, (0.35, 0.80), &mut read.bsfc_lb_per_hp_h),
        ("duty_limit", Kind::Ratio, (0.5, 1.0), &mut read.duty_limit),
        ("supply", Kind::Voltage, (11.0, 16.0), &mut read.supply_v),
        ("hot_fuel", Kind::Temperature, (273.0, 340.0), &mut read.hot_fuel_k),
        ("suction_lift", Kind::Length, (0.0, 2.0), &mut read.suction_lift_m),
        ("suction_fittings", Kind::Ratio, (0.0, 30.0), &mut read.suction_fittings),
        ("strainer_drop", Kind::Pressure, (0.0, 50e3), &mut read.strainer_pa),
        ("strainer_flow", Kind::MassRate, (1e-3, 0.3), &mut read.strainer_flow_kg_per_s),
        ("return_line", Kind::Length, (0.1, 20.0), &mut read.return_m),
        ("return_bore", Kind::Length, (0.003, 0.03), &mut read.return_bore_m),
        ("hose_rating", Kind::Pressure, (0.0, 5e6), &mut read.hose_rating_pa),
        ("pump_wire", Kind::Length, (0.0, 20.0), &mut read.pump_wire_m),
        ("pump_wire_copper", Kind::Area, (2e-7, 5e-5), &mut read.pump_wire_m2),
        ("fan_wire", Kind::Length, (0.0, 20.0), &mut read.fan_wire_m),
        ("fan_wire_copper", Kind::Area, (2e-7, 5e-5), &mut read.fan_wire_m2),
        ("sensor_after_merge", Kind::Length, (0.0, 5.0), &mut read.sensor_after_merge_m),
        ("sensor_pipe_bore", Kind::Length, (0.02, 0.15), &mut read.sensor_pipe_m),
    ] {
        document.quantity_within(&format!("installation.{key}"), kind, range, target)?;
    }
    document.choice("installation.sensor_place", PLACES, &mut read.sensor_place)?;
    document.choice("installation.clamps", CLAMPS, &mut read.clamps)?;
    Ok(read)
}
