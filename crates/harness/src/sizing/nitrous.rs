//! Nitrous oxide: bottle, jet, and additional fuel.

use super::car::Car;
use super::injectors::{count, full_flow_kg_per_s};
use super::line::{AREA, FLOW, Line, MASS, PRESSURE, SHARE, TEMPERATURE, TIME, digits, si};
use crate::units::{Kind, UnitSystem};
use trimwright_plant::{nitrous_liquid_kg_per_m3, nitrous_saturation_pa};

/// Mass of nitrous oxide that burns 1 kg of petrol CH1.87: atom balance.
const STOICH: f64 = 9.296;
/// Enrichment with nitrous oxide, as in the controller.
const RICHER: f64 = 1.1;
/// Range of the bottle pressure, and margin below which it is tight, psi: common practice, no source.
const BOTTLE_PSI: [f64; 3] = [700.0, 1000.0, 30.0];
/// One pound per cubic foot, kg/m^3: NIST SP 811.
const POUND_PER_CUBIC_FOOT: f64 = 16.018_46;
/// Pump delivery over the demand (engineering judgement).
const RESERVE: f64 = 1.15;
/// Least duration of a bottle, s: about two long accelerations (engineering judgement).
const MIN_S: f64 = 20.0;
const PART: &str = "nitrous oxide";

/// True when the car has nitrous oxide.
pub(super) fn is_fitted(car: &Car<'_>) -> bool {
    car.calibration.answers().nitrous || car.parts.nitrous.jet_m2 > 0.0
}

pub(super) fn lines(car: &Car<'_>) -> Vec<Line> {
    let nitrous = &car.parts.nitrous;
    let pressure_pa = nitrous_saturation_pa(nitrous.bottle_k);
    let density = nitrous_liquid_kg_per_m3(nitrous.bottle_k);
    let jet = nitrous.jet_m2 * (2.0 * density * (pressure_pa - car.demand.outside_pa).max(0.0)).sqrt();
    let answered = f64::from(car.calibration.answers().nitrous_flow_kg_per_s);
    // The jet sets the gas flow; the answer sets the fuel that the controller adds.
    let extra = answered / STOICH * RICHER;
    let by_jet = jet * nitrous.fuel_jet_ratio;
    let fuel = car.demand.fuel_kg_per_s + (extra - by_jet).max(0.0);
    let flow = |si| car.show(FLOW, si);
    let [least_pa, most_pa, spare_pa] = BOTTLE_PSI.map(|psi| si(Kind::Pressure, "psi", psi));
    let shown_density = match car.system {
        UnitSystem::Si => format!("{} kg/m3", digits(density)),
        UnitSystem::Us => format!("{} lb/cu ft", digits(density / POUND_PER_CUBIC_FOOT)),
    };
    let duty = fuel / (count(car) * full_flow_kg_per_s(car));
    let needed = RESERVE * fuel;
    vec![
        car.figure(PART, "bottle pressure", PRESSURE, pressure_pa)
            .between(least_pa, most_pa, spare_pa)
            .formula(format!("saturated at {}", car.show(TEMPERATURE, nitrous.bottle_k)))
            .change("A bottle of the right temperature: cold gives little and rich, hot gives much and lean. Only a heater made for it, never a flame.")
            .source("property table; range: common practice, no source"),
        car.figure(PART, "flow of the jet", FLOW, jet)
            .between(0.95 * answered, 1.05 * answered, 0.02 * answered)
            .formula(format!(
                "{} x sqrt(2 x {shown_density} x {}); answered {}",
                car.show(AREA, nitrous.jet_m2),
                car.show(PRESSURE, pressure_pa - car.demand.outside_pa),
                flow(answered),
            ))
            .change("Answer what the jet gives, or change the jet: more gas than answered runs lean and melts pistons.")
            .source("orifice law"),
        car.figure(PART, "fuel for it", FLOW, extra)
            .formula(format!(
                "{} / {STOICH} x {RICHER}; {} of it by a jet of its own",
                flow(answered),
                flow(by_jet),
            ))
            .source("atom balance; 10 % richer: engineering judgement"),
        car.figure(PART, "duty with it", SHARE, duty)
            .at_most(car.installation.duty_limit, 0.05)
            .formula(format!("{} / ({} x {})", flow(fuel), count(car), flow(full_flow_kg_per_s(car))))
            .change("Larger injectors, a fuel jet beside the gas jet, or a smaller gas jet. Do not run it so: it goes lean.")
            .source("common practice, no source"),
        car.figure(PART, "pump with it", FLOW, car.delivery_kg_per_s)
            .at_least(needed, 0.1 * needed)
            .formula(format!("needed {} x {RESERVE}", flow(fuel)))
            .change("A larger pump, or a pump of its own for the fuel jet. Do not run it so: it goes lean.")
            .source("engineering judgement"),
        car.figure(PART, "bottle lasts", TIME, nitrous.bottle_kg / jet.max(1e-9))
            .at_least(MIN_S, 10.0)
            .formula(format!("{} / {}", car.show(MASS, nitrous.bottle_kg), flow(jet)))
            .change("A larger bottle or a smaller jet; as the bottle empties it cools and gives less.")
            .source("engineering judgement"),
    ]
}
