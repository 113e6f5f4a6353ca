//! Negative-temperature-coefficient thermistor, 10 kOhm at 25 degC.

use trimwright_numerics::Real;

/// Coefficients of `1/T = A + B L + C L^3 + D L^5`, L = ln(R / ohm). Printed table and coefficients: Geokon
/// 8002-4-1 manual, p. 58.
const A: f64 = 1.127_669_793_001_87e-3;
const B: f64 = 2.344_441_841_282_13e-4;
const C: f64 = 8.476_921_305_923_08e-8;
const D: f64 = 1.175_121_936_157_95e-11;
/// Pull-up to 5 V, ohm.
const PULL_UP_OHM: f64 = 2490.0;

/// Resistance at a temperature, ohm, -60 to 200 degC: the equation solved for L by Newton's method, which
/// converges in four rounds from a beta-law start.
///
/// ```
/// assert!((trimwright_plant::thermistor_ohm(298.15) / 10_000.0 - 1.0).abs() < 0.002);
/// ```
pub fn thermistor_ohm(temperature_k: f64) -> f64 {
    let wanted = 1.0 / temperature_k.held(213.0, 473.0);
    let mut l = 9.21 + 3900.0 * (wanted - 1.0 / 298.15);
    for _ in 0..4 {
        let square = l * l;
        let value = A + l * (B + square * (C + square * D));
        let slope = B + square * (3.0 * C + 5.0 * D * square);
        l -= (value - wanted) / slope;
    }
    Real::exp(l)
}

/// Voltage of the thermistor under its pull-up, V.
pub(crate) fn thermistor_v(temperature_k: f64) -> f64 {
    let ohm = thermistor_ohm(temperature_k);
    5.0 * ohm / (ohm + PULL_UP_OHM)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn val_printed_thermistor_table() {
        // Geokon 8002-4-1 manual p. 58: shared/reference/thermistor_10k.csv. 5 % per kelvin, so 0.05 K is
        // 0.25 %.
        for (celsius, ohm) in [(-30.0, 176_974.0), (-25.0, 130_421.0), (-20.0, 97_081.0), (-15.0, 72_957.0)] {
            assert!((thermistor_ohm(celsius + 273.15) / ohm - 1.0).abs() < 0.0035, "{celsius}");
        }
    }

    #[test]
    fn voltage_falls_with_heat_and_stays_within_the_supply() {
        let mut last = 5.0;
        for kelvin in 213..473 {
            let volts = thermistor_v(f64::from(kelvin));
            assert!(volts < last && volts > 0.0);
            last = volts;
        }
    }
}
