//! Where the oxygen sensor sits, and how late its word is at idle.

use super::line::{Line, Verdict, digits, show};
use super::{Car, SensorPlace};
use crate::units::Kind;
use core::f64::consts::{PI, TAU};

/// Six to eight inches after the tubes merge: common practice, no source.
const USUAL_IN: (f64, f64) = (6.0, 8.0);
/// Distances that still work, in (engineering judgement): nearer only some cylinders are seen, further it cools and is late.
const WORKS_IN: (f64, f64) = (4.0, 18.0);
/// The distance that the exhaust's volume is stated for, m: seven inches.
const STATED_M: f64 = 0.178;
/// What the controller remembers of its injections is 1.9 s long; the delay has to stay well inside (engineering judgement).
const LONGEST_S: f64 = 1.5;
/// From the middle of a charge's injection until it is out of the port, crank turns (four strokes less the intake).
const TURNS: f64 = 1.75;
/// Gas constant of exhaust, J/(kg K): about that of air.
const R_EXHAUST: f64 = 287.0;
const PART: &str = "oxygen sensor";

pub(super) fn lines(car: &Car<'_>) -> Vec<Line> {
    vec![distance(car), place(car), delay(car)]
}

fn distance(car: &Car<'_>) -> Line {
    let line = Line::told(
        PART,
        "distance after the merge",
        Kind::Length,
        "in",
        car.installation.sensor_after_merge_m,
    );
    let verdict = if (USUAL_IN.0 - 0.01..=USUAL_IN.1 + 0.01).contains(&line.value) {
        Verdict::Ok
    } else if (WORKS_IN.0..=WORKS_IN.1).contains(&line.value) {
        Verdict::Tight
    } else {
        Verdict::NotEnough
    };
    line.between(USUAL_IN.0, USUAL_IN.1, 0.0)
        .with_verdict(verdict)
        .formula("as measured; every joint and flange before the sensor must be tight: air drawn in reads falsely lean".to_owned())
        .change("Six to eight inches after the point where the tubes merge, before any slip joint; a welder who knows exhausts fits the boss.")
        .source("common practice, no source")
}

fn place(car: &Car<'_>) -> Line {
    let (value, verdict) = match car.installation.sensor_place {
        SensorPlace::Straight => (0.0, Verdict::Ok),
        SensorPlace::Inside => (-1.0, Verdict::Ok),
        SensorPlace::Outside => (1.0, Verdict::NotEnough),
    };
    Line::told(PART, "side of a bend", Kind::Ratio, "", value)
        .with_verdict(verdict)
        .formula("-1 inside, 0 straight, 1 outside".to_owned())
        .change("To the inside of the bend or a straight piece, upper half: on the outside it reads leaner than the engine is, and the controller would run it rich.")
        .source("common practice, no source")
}

/// Time from injection to reading at idle, by how long the pipe's content takes to pass.
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
    let ms = |si| show(Kind::Time, "ms", si);
    Line::told(PART, "delay at idle", Kind::Time, "ms", travel_s + engine_s + sensor_s)
        .at_most(1e3 * LONGEST_S, 1e3 * 0.4)
        .formula(format!(
            "{} in {} of pipe at {} and {} of gas + {} in the engine + {} in the sensor; a foot further adds {}",
            ms(travel_s),
            show(Kind::Volume, "L", pipe_m3),
            show(Kind::Temperature, "degC", gas_k),
            show(Kind::MassRate, "g/s", gas),
            ms(engine_s),
            ms(sensor_s),
            digits(1e3 * density * bore_m2 * 0.3048 / gas) + " ms",
        ))
        .change("The sensor nearer to the engine: so late a word corrects what has long changed.")
        .source("plug flow; sensor 50 to 100 ms: literature; limit: engineering judgement")
}
