//! Oxygen sensor: position, and delay of its reading at idle.

use super::car::Car;
use super::installation::SensorPlace;
use super::line::{BORE, DELAY, FLOW, Line, TEMPERATURE, VOLUME};
use core::f64::consts::{PI, TAU};

/// Recommended distance, six to eight inches after the tubes merge, m: common practice, no source.
const BEST_M: (f64, f64) = (0.1524, 0.2032);
/// Uncertainty of a measured distance, m.
const MEASURED_M: f64 = 5e-4;
/// Acceptable distances, m, 4 to 18 in (engineering judgement): closer, only some cylinders are seen; further, the gas cools and the
/// reading is late.
const WORKS_M: (f64, f64) = (0.1016, 0.4572);
/// Distance for which the exhaust volume is given, m: seven inches.
const STATED_M: f64 = 0.178;
/// Longest delay, s: well inside the controller's ring of 1.9 s of injections (engineering judgement).
const LONGEST_S: f64 = 1.5;
/// Crank turns from the middle of the injection to the exhaust port (four strokes less the intake).
const TURNS: f64 = 1.75;
/// Gas constant of exhaust, J/(kg K): about that of air.
const R_EXHAUST: f64 = 287.0;
const PART: &str = "oxygen sensor";

pub(super) fn lines(car: &Car<'_>) -> Vec<Line> {
    vec![distance(car), place(car), delay(car)]
}

fn distance(car: &Car<'_>) -> Line {
    let away_m = car.installation.sensor_after_merge_m;
    let best = (BEST_M.0 - MEASURED_M..=BEST_M.1 + MEASURED_M).contains(&away_m);
    let shown = |m| car.show(BORE, m);
    let usual = format!("{} to {}", shown(BEST_M.0), shown(BEST_M.1));
    car.figure(PART, "distance after the merge", BORE, away_m)
        .between(WORKS_M.0, WORKS_M.1, 0.0)
        .tight_unless(best)
        .formula(format!(
            "as measured, best {usual}; every joint and flange before the sensor must be tight: air drawn in reads falsely lean"
        ))
        .change(format!(
            "{usual} after the point where the tubes merge, before any slip joint; a welder who knows exhausts fits the boss."
        ))
        .source("best: common practice, no source; limits: engineering judgement")
}

fn place(car: &Car<'_>) -> Line {
    let (word, right) = match car.installation.sensor_place {
        SensorPlace::Straight => ("straight", true),
        SensorPlace::Inside => ("inside", true),
        SensorPlace::Outside => ("outside", false),
    };
    Line::word(PART, "side of a bend", word, right)
        .formula("inside of a bend or on a straight piece, not outside")
        .change("To the inside of the bend or a straight piece, upper half: on the outside it reads leaner than the engine is, and the controller would run it rich.")
        .source("common practice, no source")
}

/// Time from injection to reading at idle, by plug flow through the pipe.
fn delay(car: &Car<'_>) -> Line {
    let (exhaust, demand, installation) = (&car.parts.exhaust, &car.demand, car.installation);
    let answers = car.calibration.answers();
    let idle = f64::from(answers.idle_speed_rad_per_s);
    let firings_per_s = idle / TAU * 0.5 * f64::from(answers.cylinders);
    let gas = demand.idle_fuel_kg * (1.0 + f64::from(answers.stoich_afr)) * firings_per_s
        / f64::from(exhaust.banks.max(1));
    let ambient_k = car.parts.ambient.sea_level_k;
    let gas_k = ambient_k + (exhaust.port_k - ambient_k) * gas / (gas + exhaust.cooling_kg_per_s);
    let density = demand.outside_pa / (R_EXHAUST * gas_k);
    let bore_m2 = 0.25 * PI * installation.sensor_pipe_m * installation.sensor_pipe_m;
    let pipe_m3 = (exhaust.pipe_m3 + bore_m2 * (installation.sensor_after_merge_m - STATED_M)).max(0.0);
    let travel_s = density * pipe_m3 / gas;
    let engine_s = TURNS * TAU / idle;
    let sensor_s = car.parts.oxygen_sensor.tau_s + density * exhaust.mixing_m3 / gas;
    let ms = |si| car.show(DELAY, si);
    let (further, further_m) = car.system.pick(("a metre", 1.0), ("a foot", 0.3048));
    car.figure(PART, "delay at idle", DELAY, travel_s + engine_s + sensor_s)
        .at_most(LONGEST_S, 0.4)
        .formula(format!(
            "{} in {} of pipe at {} and {} of gas + {} in the engine + {} in the sensor; {further} further adds {}",
            ms(travel_s),
            car.show(VOLUME, pipe_m3),
            car.show(TEMPERATURE, gas_k),
            car.show(FLOW, gas),
            ms(engine_s),
            ms(sensor_s),
            ms(density * bore_m2 * further_m / gas),
        ))
        .change("Move the sensor closer to the engine: with such a delay the reading describes a state that has changed since.")
        .source("plug flow; sensor 50 to 100 ms: literature; limit: engineering judgement")
}
