//! A whole published spark-ignition engine, composed with this project's throttle flow function and delay line.
//!
//! Source: Crossley and Cook, IEE Conf. Publ. 332 vol. 2 (1991) 921-925, its equations and numbers; the results of them
//! are `shared/reference/crossley_cook.csv`. The paper's own pressure factor is a parabola under a root; the isentropic
//! flow function stands in for it here and must lead to the same engine.

use crate::table;
use std::f64::consts::PI;
use trimwright_numerics::Ring;
use trimwright_plant::flow_function;

const MANIFOLD_BAR_PER_G: f64 = 0.413_28;
const INERTIA_KG_M2: f64 = 0.14;
const STEP_S: f64 = 1e-4;

/// Flow through the plates at one bar outside, g/s: the paper's opening, this project's pressure factor.
fn throttled(theta_deg: f64, bar: f64) -> f64 {
    let opening = 2.821 - 0.052_31 * theta_deg + 0.102_99 * theta_deg.powi(2) - 0.000_63 * theta_deg.powi(3);
    opening * flow_function(bar) / flow_function(0.0)
}

/// Flow into the cylinders, g/s.
fn pumped(rad_per_s: f64, bar: f64) -> f64 {
    -0.366 + 0.089_79 * rad_per_s * bar - 0.0337 * rad_per_s * bar * bar
        + 0.0001 * rad_per_s * rad_per_s * bar
}

/// Torque of a charge (g) at 15 degrees of advance and 14.6 of air to fuel, Nm.
fn torque_nm(charge_g: f64, rad_per_s: f64) -> f64 {
    let (afr, spark) = (14.6_f64, 15.0_f64);
    -181.3 + 379.36 * charge_g + 21.91 * afr - 0.85 * afr.powi(2) + 0.26 * spark - 0.0028 * spark.powi(2)
        + 0.027 * rad_per_s
        - 0.000_107 * rad_per_s.powi(2)
        + 0.000_48 * rad_per_s * spark
        + 2.55 * spark * charge_g
        - 0.05 * spark.powi(2) * charge_g
}

#[test]
fn val_pressure_factor_lies_near_the_published_one() {
    // The paper's factor turns sonic at 0.5 instead of 0.528 and falls a little faster: 3.5 % at 0.95 bar.
    for row in table::read_where("crossley_cook", "item", "g(Pm)") {
        row.agrees("val", flow_function(row.number("x")) / flow_function(0.0), 0.045);
    }
}

#[test]
fn val_the_engine_settles_at_the_published_speeds() {
    let [speeds, pressures, flows] = ["steady state N", "  P bar", "  mdot g/s"]
        .map(|item| table::read_where("crossley_cook", "item", item));
    assert_eq!([speeds.len(), pressures.len(), flows.len()], [4; 3]);
    for ((speed, pressure), flow) in speeds.iter().zip(&pressures).zip(&flows) {
        let (theta_deg, load_nm) = (speed.number("x"), speed.number("y"));
        let (mut rad_per_s, mut bar) = (200.0, 0.6);
        // A charge makes its torque half a turn after it was drawn; the ring holds a little over that at 80 rad/s.
        let mut charges = Ring::<f64, 400>::filled(0.1);
        for _ in 0..400_000 {
            let out = pumped(rad_per_s, bar);
            bar += STEP_S * MANIFOLD_BAR_PER_G * (throttled(theta_deg, bar) - out);
            charges.push(out * PI / rad_per_s);
            let steps_ago = (PI / rad_per_s / STEP_S) as usize;
            let charge_g = *charges.back(steps_ago).expect("the engine keeps turning");
            rad_per_s += STEP_S / INERTIA_KG_M2 * (torque_nm(charge_g, rad_per_s) - load_nm);
        }
        speed.agrees("val", rad_per_s, 0.005);
        pressure.agrees("val", bar, 0.005);
        flow.agrees("val", pumped(rad_per_s, bar), 0.005);
    }
}

#[test]
fn val_the_manifold_follows_the_published_throttle_step() {
    let rows = table::read_where("crossley_cook", "item", "manifold step");
    let rad_per_s = 209.44;
    let mut bar = rows[0].number("val");
    let mut step = 0;
    for row in &rows {
        while f64::from(step) * STEP_S < row.number("x") - 0.5 * STEP_S {
            bar += STEP_S * MANIFOLD_BAR_PER_G * (throttled(20.0, bar) - pumped(rad_per_s, bar));
            step += 1;
        }
        row.agrees("val", bar, 0.012);
    }
}
