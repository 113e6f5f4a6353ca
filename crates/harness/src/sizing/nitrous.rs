//! Nitrous oxide: bottle, jet, and the fuel that goes with it.

use super::Car;
use super::injectors::{count, full_flow_kg_per_s};
use super::line::{Line, digits, in_unit, show};
use crate::units::Kind;
use trimwright_plant::{nitrous_liquid_kg_per_m3, nitrous_saturation_pa};

/// Mass of nitrous oxide that burns 1 kg of petrol CH1.87: atom balance.
const STOICH: f64 = 9.296;
/// How much richer the controller makes it.
const RICHER: f64 = 1.1;
/// Bottle pressure to use, psi: common practice, no source.
const BOTTLE_PSI: (f64, f64) = (700.0, 1000.0);
/// What a pump should deliver over the demand (engineering judgement).
const RESERVE: f64 = 1.15;
/// Shortest use that a bottle should be good for, s: about two long pulls (engineering judgement).
const LEAST_S: f64 = 20.0;
const PART: &str = "nitrous oxide";

/// Whether there is any.
pub(super) fn is_fitted(car: &Car<'_>) -> bool {
    car.calibration.answers().nitrous || car.parts.nitrous.jet_m2 > 0.0
}

pub(super) fn lines(car: &Car<'_>) -> Vec<Line> {
    let nitrous = &car.parts.nitrous;
    let pressure_pa = nitrous_saturation_pa(nitrous.bottle_k);
    let density = nitrous_liquid_kg_per_m3(nitrous.bottle_k);
    let jet = nitrous.jet_m2 * (2.0 * density * (pressure_pa - car.demand.outside_pa).max(0.0)).sqrt();
    let answered = f64::from(car.calibration.answers().nitrous_flow_kg_per_s);
    // What it takes is given by the jet, what the controller adds by the answer.
    let extra = answered / STOICH * RICHER;
    let by_jet = jet * nitrous.fuel_jet_ratio;
    let fuel = car.demand.fuel_kg_per_s + (extra - by_jet).max(0.0);
    let flow = |si| show(Kind::MassRate, "lb/h", si);
    let gas = |si| in_unit(Kind::MassRate, "g/s", si);
    let duty = fuel / (count(car) * full_flow_kg_per_s(car));
    let needed = in_unit(Kind::MassRate, "lb/h", RESERVE * fuel);
    vec![
        Line::told(PART, "bottle pressure", Kind::Pressure, "psi", pressure_pa)
            .between(BOTTLE_PSI.0, BOTTLE_PSI.1, 30.0)
            .formula(format!("saturated at {}", show(Kind::Temperature, "degC", nitrous.bottle_k)))
            .change("A bottle of the right temperature: cold gives little and rich, hot gives much and lean. Only a heater made for it, never a flame.")
            .source("property table; range: common practice, no source"),
        Line::told(PART, "flow of the jet", Kind::MassRate, "g/s", jet)
            .between(0.95 * gas(answered), 1.05 * gas(answered), 0.02 * gas(answered))
            .formula(format!(
                "{} x sqrt(2 x {} kg/m3 x {}); answered {}",
                show(Kind::Area, "mm2", nitrous.jet_m2),
                digits(density),
                show(Kind::Pressure, "psi", pressure_pa - car.demand.outside_pa),
                show(Kind::MassRate, "g/s", answered),
            ))
            .change("Answer what the jet gives, or change the jet: more gas than answered runs lean and melts pistons.")
            .source("orifice law"),
        Line::told(PART, "fuel for it", Kind::MassRate, "lb/h", extra)
            .formula(format!(
                "{} / {STOICH} x {RICHER}; {} of it by a jet of its own",
                show(Kind::MassRate, "g/s", answered),
                flow(by_jet),
            ))
            .source("atom balance; 10 % richer: engineering judgement"),
        Line::told(PART, "duty with it", Kind::Ratio, "%", duty)
            .at_most(100.0 * car.installation.duty_limit, 5.0)
            .formula(format!("{} / ({} x {})", flow(fuel), count(car), flow(full_flow_kg_per_s(car))))
            .change("Larger injectors, a fuel jet beside the gas jet, or a smaller gas jet. Do not run it so: it goes lean.")
            .source("common practice, no source"),
        Line::told(PART, "pump with it", Kind::MassRate, "lb/h", car.delivery_kg_per_s)
            .at_least(needed, 0.1 * needed)
            .formula(format!("needed {} x {RESERVE}", flow(fuel)))
            .change("A larger pump, or a pump of its own for the fuel jet. Do not run it so: it goes lean.")
            .source("engineering judgement"),
        Line::told(PART, "bottle lasts", Kind::Time, "s", nitrous.bottle_kg / jet.max(1e-9))
            .at_least(LEAST_S, 10.0)
            .formula(format!("{} / {}", show(Kind::Mass, "kg", nitrous.bottle_kg), show(Kind::MassRate, "g/s", jet)))
            .change("A larger bottle or a smaller jet; as the bottle empties it cools and gives less.")
            .source("engineering judgement"),
    ]
}
