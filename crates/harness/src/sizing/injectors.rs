//! Injector size: large enough for peak power, small enough for idle.

use super::car::Car;
use super::line::{CHARGE, DELAY, FLOW, Line, PRESSURE, ROTATION, SHARE, digits};
use core::f64::consts::TAU;

/// Shortest linear flow time, s: engineering judgement, as in the controller's short-pulse correction.
const MIN_FLOW_S: f64 = 0.6e-3;

const PART: &str = "injectors";

pub(super) fn lines(car: &Car<'_>) -> Vec<Line> {
    vec![flow_of_each(car), duty(car), pulse_at_peak(car), pulse_at_idle(car)]
}

/// Pressure drop over the injectors, Pa.
fn drop_pa(car: &Car<'_>, map_pa: f64) -> f64 {
    let rail_pa = f64::from(car.calibration.answers().rail_pressure_pa);
    if car.fuel_system().manifold_referenced { rail_pa } else { rail_pa + car.demand.outside_pa - map_pa }
}

/// Static flow of one injector at full throttle, kg/s.
pub(super) fn full_flow_kg_per_s(car: &Car<'_>) -> f64 {
    f64::from(car.calibration.injector_flow_kg_per_s(drop_pa(car, car.demand.outside_pa) as f32))
}

pub(super) fn count(car: &Car<'_>) -> f64 {
    f64::from(car.calibration.answers().injectors)
}

fn flow_of_each(car: &Car<'_>) -> Line {
    let answers = car.calibration.answers();
    let limit = car.installation.duty_limit;
    let needed = car.demand.fuel_kg_per_s / (count(car) * limit);
    let flow = |si| car.show(FLOW, si);
    let pressure = |si: f32| car.show(PRESSURE, f64::from(si));
    car.figure(PART, "flow of each", FLOW, full_flow_kg_per_s(car))
        .at_least(needed, 0.05 * needed)
        .formula(format!(
            "{} x sqrt({} / {}); needed {} / ({} x {})",
            flow(f64::from(answers.injector_flow_kg_per_s)),
            pressure(answers.rail_pressure_pa),
            pressure(answers.injector_rated_pressure_pa),
            flow(car.demand.fuel_kg_per_s),
            count(car),
            digits(limit),
        ))
        .change(format!("Injectors of {} each at this pressure, more of them, or more pressure (flow goes with its root).", flow(needed)))
        .source("orifice law; duty not above 80 % when sizing: common practice, no source")
}

fn duty(car: &Car<'_>) -> Line {
    let each = full_flow_kg_per_s(car);
    let duty = car.demand.fuel_kg_per_s / (count(car) * each);
    let flow = |si| car.show(FLOW, si);
    car.figure(PART, "duty at peak power", SHARE, duty)
        .at_most(car.installation.duty_limit, 0.05)
        .formula(format!("{} / ({} x {})", flow(car.demand.fuel_kg_per_s), count(car), flow(each)))
        .change("Larger injectors, more of them, or more pressure.")
        .source("common practice, no source")
}

/// Duty with the opening delay, which a throttle body has at every firing.
fn pulse_at_peak(car: &Car<'_>) -> Line {
    let answers = car.calibration.answers();
    let interval_s = TAU * 2.0 / (car.demand.peak_rad_per_s * f64::from(answers.cylinders));
    let (opening, pulse_every_s) = pattern(car, interval_s);
    let fuel_kg = car.demand.fuel_kg_per_s * interval_s / opening;
    let drop = drop_pa(car, car.demand.outside_pa);
    let supply_v = car.installation.supply_v;
    let open_s = f64::from(car.calibration.open_time_s(fuel_kg as f32, supply_v as f32, drop as f32));
    let delay_s = f64::from(car.calibration.opening_delay_s(supply_v as f32));
    let ms = |si| car.show(DELAY, si);
    car.figure(PART, "share of time open", SHARE, open_s / pulse_every_s)
        .at_most(f64::from(car.calibration.parameters().open_time.duty_limit), 0.05)
        .formula(format!(
            "{} for {} by {opening} at a firing, {} of it opening delay at {} V; each opens every {} at {}",
            ms(open_s),
            car.show(CHARGE, fuel_kg * opening),
            ms(delay_s),
            digits(supply_v),
            ms(pulse_every_s),
            car.show(ROTATION, car.demand.peak_rad_per_s),
        ))
        .change("Larger injectors: the delay stays, the flow time shrinks. Check the supply at the injectors too.")
        .source("common practice, no source; delay at 13.5 V from memory of common data sheets")
}

/// Injectors per firing, and the period of each, s: half of them alternately where their number is even.
fn pattern(car: &Car<'_>, interval_s: f64) -> (f64, f64) {
    let injectors = car.calibration.answers().injectors;
    if injectors.is_multiple_of(2) { (count(car) / 2.0, 2.0 * interval_s) } else { (count(car), interval_s) }
}

fn pulse_at_idle(car: &Car<'_>) -> Line {
    let (opening, _) = pattern(car, 0.0);
    let drop = drop_pa(car, car.demand.idle_map_pa);
    let supply_v = car.installation.supply_v as f32;
    let open_s = f64::from(car.calibration.open_time_s(
        (car.demand.idle_fuel_kg / opening) as f32,
        supply_v,
        drop as f32,
    ));
    let delay_s = f64::from(car.calibration.opening_delay_s(supply_v));
    let ms = |si| car.show(DELAY, si);
    let flow_s = open_s - delay_s;
    car.figure(PART, "flow time at idle", DELAY, flow_s)
        .at_least(MIN_FLOW_S, 0.4e-3)
        .formula(format!(
            "{} open - {} delay, {} by {opening} at a firing over {}; 0.1 ms of error in the delay is {} % of the fuel",
            ms(open_s),
            ms(delay_s),
            car.show(CHARGE, car.demand.idle_fuel_kg),
            car.show(PRESSURE, drop),
            digits(100.0 * 1e-4 / flow_s),
        ))
        .change("Smaller injectors or less pressure: such a short pulse is mostly opening delay, and the mixture at idle will vary.")
        .source("SAE J1832 terms; least time: engineering judgement")
}
