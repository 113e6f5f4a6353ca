//! The 10 kilo-ohm thermistor.

use crate::table;
use trimwright_control::parameters::SensorParameters;
use trimwright_plant::thermistor_ohm;

/// Source: Geokon manual 8002-4-1 p. 58, printed coefficients: at the temperature that they give for a resistance, the plant
/// has that resistance.
#[test]
fn val_the_coefficients_are_inverted() {
    for row in table::read("thermistor_10k") {
        row.agrees("R_ohm", thermistor_ohm(row.number("T_from_coeff") + 273.15), 1e-5);
    }
}

/// Source: Geokon manual 8002-4-1 p. 58, printed coefficients: the controller's give the same temperature for a resistance.
#[test]
fn val_the_controllers_coefficients_are_the_printed_ones() {
    let sensors = SensorParameters::DEFAULT;
    for coefficients in [sensors.ect_coefficients, sensors.iat_coefficients] {
        let [a, b, c, d] = coefficients.map(f64::from);
        for row in table::read("thermistor_10k") {
            let l = row.number("R_ohm").ln();
            let kelvin = 1.0 / (a + b * l + c * l.powi(3) + d * l.powi(5));
            row.agrees_within("T_from_coeff", kelvin - 273.15, 5e-4);
        }
    }
}

/// Source: Geokon manual 8002-4-1 p. 58, printed table: within 0.05 degC up to 110 degC, where the print follows its own
/// coefficients, and within 0.35 degC above.
#[test]
fn val_the_printed_table_is_met() {
    for row in table::read("thermistor_10k") {
        let kelvin = row.number("T_C") + 273.15;
        let allowed_k = if kelvin <= 383.15 { 0.05 } else { 0.35 };
        let (warmer, colder) = (thermistor_ohm(kelvin + allowed_k), thermistor_ohm(kelvin - allowed_k));
        let printed = row.number("R_ohm");
        assert!((warmer..colder).contains(&printed), "{printed} ohm is not in {warmer}..{colder}");
    }
}
