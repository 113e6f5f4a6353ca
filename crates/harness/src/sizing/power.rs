//! Basis of the fuel demand: the given power, or the engine's air.

use super::car::Car;
use super::demand::{FULL_LOAD_LAMBDA, POUND_PER_HORSEPOWER_HOUR};
use super::line::{FLOW, Line, POWER, ROTATION, digits};

pub(super) fn lines(car: &Car<'_>) -> Vec<Line> {
    let demand = &car.demand;
    let consumption = |lb_per_hp_h: f64| {
        let si = format!("{} g/kWh", digits(lb_per_hp_h * POUND_PER_HORSEPOWER_HOUR * 3.6e9));
        car.system.pick(si, format!("{} lb/(hp h)", digits(lb_per_hp_h)))
    };
    let bsfc = consumption(car.installation.bsfc_lb_per_hp_h);
    let flow = |si| car.show(FLOW, si);
    let power = car.show(POWER, demand.power_w);
    let fuel = car.figure("demand", "fuel flow at peak power", FLOW, demand.fuel_kg_per_s);
    let by_air = format!(
        "air of the first calibration at {} and full throttle / ({} x {FULL_LOAD_LAMBDA})",
        car.show(ROTATION, demand.peak_rad_per_s),
        digits(f64::from(car.calibration.answers().stoich_afr)),
    );
    let fuel = match car.installation.fed_power_w() {
        Some(_) => fuel
            .formula(format!("{power} x {bsfc}"))
            .source(format!("{}: common practice, no source", consumption(0.5))),
        None => fuel
            .formula(format!("{by_air}; that is fuel for {power} at {bsfc}"))
            .source("speed density; Heywood"),
    };
    let air = car
        .figure("demand", "fuel that the air asks for", FLOW, demand.by_air_kg_per_s)
        .formula(by_air)
        .source("speed density; Heywood");
    match car.installation.fed_power_w() {
        // More air than for the given power: the injectors would be too small.
        Some(_) => {
            let most = demand.fuel_kg_per_s;
            let air = air.at_most(1.1 * most, 0.1 * most).change(format!(
                "The engine can take in air for {}: size for that, or give the power it really makes.",
                flow(demand.by_air_kg_per_s)
            ));
            vec![fuel, air]
        }
        None => vec![fuel],
    }
}
