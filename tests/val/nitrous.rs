//! Nitrous oxide in its bottle.

use crate::table;
use trimwright_plant::nitrous_saturation_pa;

/// Source: CoolProp 8.0.0, saturation pressure of nitrous oxide. Close to the critical point, 309.5 K, the plant goes on in a line.
#[test]
fn val_bottle_pressure_against_temperature() {
    for row in table::read("nitrous_saturation") {
        row.agrees("p_sat_Pa", nitrous_saturation_pa(row.number("T_C") + 273.15), 0.003);
    }
}
