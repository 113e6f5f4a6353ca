//! Nitrous oxide in its bottle.

use crate::table;
use trimwright_plant::{
    nitrous_evaporation_j_per_kg, nitrous_liquid_kg_per_m3, nitrous_saturation_pa, nitrous_vapour_kg_per_m3,
};

/// Source: CoolProp 8.0.0, saturated nitrous oxide from -70 to 36 degC, 0.4 K below the critical temperature, where the densities fall
/// out of the fit.
#[test]
fn val_the_bottle_against_temperature() {
    for row in table::read("nitrous_saturation") {
        let bottle_k = row.number("T_C") + 273.15;
        let of_density = if row.number("T_C") < 36.0 { 0.0025 } else { 0.006 };
        for (column, value, tolerance) in [
            ("p_sat_Pa", nitrous_saturation_pa(bottle_k), 0.001),
            ("rho_liquid_kg_per_m3", nitrous_liquid_kg_per_m3(bottle_k), of_density),
            ("rho_vapour_kg_per_m3", nitrous_vapour_kg_per_m3(bottle_k), of_density),
            ("heat_of_vaporisation_J_per_kg", nitrous_evaporation_j_per_kg(bottle_k), 0.01),
        ] {
            row.agrees(column, value, tolerance);
        }
    }
}
