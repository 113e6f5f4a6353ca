//! Pump delivery at its real pressure and voltage.

use super::car::Car;
use super::demand::Demand;
use super::feed::{feed_drop_pa, feed_flow};
use super::line::{FLOW, Line, PRESSURE, digits, si};
use crate::units::Kind;
use trimwright_plant::{FuelSystem, Supply};

/// Voltage of the rated free flow, V.
const RATED_V: f64 = 13.5;
/// Supply voltage with a failed alternator or all loads on at idle, V (engineering judgement).
const LOW_V: f64 = 12.0;
/// Pump delivery over the demand, for wear and clogged filters (engineering judgement).
const RESERVE: f64 = 1.15;
/// Range of the rail pressure, and margin below which it is tight, psi: common practice, no source.
const RAIL_PSI: [f64; 3] = [30.0, 70.0, 2.0];
const PART: &str = "pump";

/// Delivery of a pump against a pressure at a voltage, kg/s: displacement by voltage less leakage by pressure,
/// `free V / 13.5 - free p / stall`.
///
/// ```
/// let system = trimwright_plant::Truth::mild_v8().fuel_system;
/// let half = trimwright_harness::sizing::delivery_kg_per_s(&system, 0.5 * system.pump_stall_pa, 13.5);
/// assert!((half - 0.5 * system.pump_free_kg_per_s).abs() < 1e-12);
/// ```
pub fn delivery_kg_per_s(system: &FuelSystem, pressure_pa: f64, volts: f64) -> f64 {
    let free = system.pump_free_kg_per_s;
    (free * volts / RATED_V - free * pressure_pa / system.pump_stall_pa).max(0.0)
}

/// Delivery with line and filter, kg/s: the flow at which the pump's pressure equals rail pressure plus losses.
pub(super) fn delivered(system: &FuelSystem, density_kg_per_m3: f64, volts: f64, demand: &Demand) -> f64 {
    let pressure_pa = |flow: f64| match system.supply {
        Supply::RegulatedAtTank => system.regulator_pa,
        Supply::Return => system.regulator_pa + feed_drop_pa(system, flow, density_kg_per_m3),
        Supply::Returnless => {
            system.regulator_pa + feed_drop_pa(system, demand.fuel_kg_per_s, density_kg_per_m3)
        }
    };
    let (mut low, mut high) = (0.0, delivery_kg_per_s(system, 0.0, volts));
    for _ in 0..60 {
        let middle = 0.5 * (low + high);
        if delivery_kg_per_s(system, pressure_pa(middle), volts) > middle {
            low = middle
        } else {
            high = middle
        }
    }
    low
}

pub(super) fn lines(car: &Car<'_>) -> Vec<Line> {
    let mut lines = vec![
        capacity(car, "delivery", car.pump_v, RESERVE),
        capacity(car, "delivery at low supply", car.pump_v - car.installation.supply_v + LOW_V, 1.0),
        work_pressure(car),
    ];
    lines.extend(mismatch(car));
    lines
}

fn capacity(car: &Car<'_>, what: &'static str, volts: f64, reserve: f64) -> Line {
    let system = car.fuel_system();
    let delivered = delivered(system, car.density_kg_per_m3(), volts, &car.demand);
    let flow = |si| car.show(FLOW, si);
    let pressure = |si| car.show(PRESSURE, si);
    let losses_pa = match system.supply {
        Supply::RegulatedAtTank => 0.0,
        _ => feed_drop_pa(system, feed_flow(system, delivered, &car.demand), car.density_kg_per_m3()),
    };
    let needed = reserve * car.demand.fuel_kg_per_s;
    car.figure(PART, what, FLOW, delivered)
        .at_least(needed, 0.1 * needed)
        .formula(format!(
            "{} free x {} V / {RATED_V} V - free x ({} + {} of line and filter) / {} where it stalls; needed {} x {reserve}",
            flow(system.pump_free_kg_per_s),
            digits(volts),
            pressure(system.regulator_pa),
            pressure(losses_pa),
            pressure(system.pump_stall_pa),
            flow(car.demand.fuel_kg_per_s),
        ))
        .change("A larger pump, a second one, or thicker wires to this one: flow falls with volts and with pressure.")
        .source("pump by displacement and leakage; reserve of 15 %: engineering judgement")
}

fn work_pressure(car: &Car<'_>) -> Line {
    let [least_pa, most_pa, spare_pa] = RAIL_PSI.map(|psi| si(Kind::Pressure, "psi", psi));
    let carburettor = car.system.pick("41 to 48 kPa", "6 to 7 psi");
    car.figure(PART, "rail pressure", PRESSURE, car.fuel_system().regulator_pa)
        .between(least_pa, most_pa, spare_pa)
        .formula(format!("as the regulator is set; a carburettor has {carburettor}"))
        .change("Set the regulator to what the injectors are rated for.")
        .source("common practice, no source")
}

/// The answered rail pressure against that of the regulator.
fn mismatch(car: &Car<'_>) -> Option<Line> {
    let (answered, there) =
        (f64::from(car.calibration.answers().rail_pressure_pa), car.fuel_system().regulator_pa);
    let apart = answered / there - 1.0;
    let error = (answered / there).sqrt() - 1.0;
    (apart.abs() > 0.02).then(|| {
        car.figure(PART, "answered rail pressure", PRESSURE, answered)
            .between(0.98 * there, 1.02 * there, 0.0)
            .formula(format!(
                "the regulator is set to {}; fuel is off by {} %",
                car.show(PRESSURE, there),
                digits(100.0 * error)
            ))
            .change("Correct the answer or the regulator.")
            .source("orifice law")
    })
}
