//! Heat released and friction.

use crate::table;
use std::f64::consts::PI;
use trimwright_plant::{heat_released, motored_fmep_pa};

/// Source: water-gas composition (K = 3.5) of CH1.87 at 43.0 MJ/kg, heating values of CO and H2 by cantera 3.2.0. The plant
/// interpolates between steps of 0.05.
#[test]
fn val_heat_released_against_lambda() {
    for row in table::read_where("combustion_eff", "fuel_H_C", "1.87") {
        row.agrees_within("eta_c", heat_released(row.number("lam")), 0.0015);
    }
}

/// Source: the same for CH1.85 and iso-octane: other petrols release their heat alike, within 1 %.
#[test]
fn val_heat_released_by_other_petrols() {
    for row in table::read("combustion_eff") {
        row.agrees("eta_c", heat_released(row.number("lam")), 0.01);
    }
}

/// Source: Heywood, Internal Combustion Engine Fundamentals, eq. 13.6: 0.97 + 0.15 N + 0.05 N^2 bar, N in krpm; the values
/// below are that formula's, worked by hand.
#[test]
fn val_motored_friction_pressure() {
    for (krpm, bar) in [(0.0, 0.97), (1.0, 1.17), (2.0, 1.47), (4.0, 2.37), (6.0, 3.67)] {
        let computed = motored_fmep_pa(krpm * 1000.0 * PI / 30.0);
        assert!((computed / 1e5 - bar).abs() < 1e-9, "{krpm}: {computed}");
    }
}
