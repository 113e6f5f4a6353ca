//! Volts of a thermistor under a pull-up to temperature.
//!
//! `R = R_up v / (5 V - v)` and `1/T = A + B L + C L^3 + D L^5` with `L = ln(R / ohm)`. The logarithms are taken once, when
//! the calibration is made; a step only looks up between even steps of voltage.

use trimwright_numerics::Real;

/// Pull-up to 5 V, ohm.
const PULL_UP_OHM: f32 = 2490.0;
/// Coefficients of the 10 kOhm thermistor, 1/K: printed table, Geokon 8002-4-1 instruction manual p. 58.
const COEFFICIENTS: [f32; 4] = [1.127_669_8e-3, 2.344_441_8e-4, 8.476_921e-8, 1.175_121_9e-11];
/// Even steps of voltage from 0 to 5 V.
const STEPS: usize = 128;

/// Temperature at even steps of voltage.
#[derive(Clone, Debug, PartialEq)]
pub(crate) struct Thermistor {
    kelvin: [f32; STEPS + 1],
}

impl Thermistor {
    pub(crate) fn new() -> Self {
        Self { kelvin: core::array::from_fn(|step| kelvin_of(step as f32 * 5.0 / STEPS as f32)) }
    }

    /// Temperature at `volts`, K, between 200 and 460 K.
    pub(crate) fn kelvin(&self, volts: f32) -> f32 {
        let place = (volts * (STEPS as f32 / 5.0)).held(0.0, STEPS as f32 - 0.001);
        let index = place as usize;
        match (self.kelvin.get(index), self.kelvin.get(index + 1)) {
            (Some(low), Some(high)) => low + (place - index as f32) * (high - low),
            _ => 293.0,
        }
    }
}

fn kelvin_of(volts: f32) -> f32 {
    let volts = volts.held(0.01, 4.99);
    let l = Real::ln(PULL_UP_OHM * volts / (5.0 - volts));
    let [a, b, c, d] = COEFFICIENTS;
    let l2 = l * l;
    (1.0 / (a + l * (b + l2 * (c + l2 * d)))).held(200.0, 460.0)
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Geokon 8002-4-1 instruction manual p. 58, printed: degC and ohm (shared/reference/thermistor_10k.csv).
    #[test]
    fn val_the_printed_table_is_met() {
        let thermistor = Thermistor::new();
        let printed = [
            (-30.0, 176_974.0),
            (-20.0, 97_081.0),
            (0.0, 32_650.0),
            (20.0, 12_493.0),
            (25.0, 10_000.0),
            (40.0, 5326.0),
            (60.0, 2488.0),
            (80.0, 1255.0),
            (90.0, 915.5),
            (100.0, 678.6),
            (110.0, 510.6),
            (120.0, 389.6),
        ];
        for (celsius, ohm) in printed {
            let volts = 5.0 * ohm / (ohm + PULL_UP_OHM);
            let kelvin = thermistor.kelvin(volts);
            let limit = if celsius > -25.0 { 0.3 } else { 1.0 };
            assert!((kelvin - 273.15 - celsius).abs() < limit, "{kelvin} K at {celsius} degC");
        }
    }

    #[test]
    fn wild_volts_stay_in_range() {
        let thermistor = Thermistor::new();
        for volts in [f32::NAN, f32::INFINITY, -3.0, 0.0, 5.0, 99.0] {
            assert!((200.0..=460.0).contains(&thermistor.kelvin(volts)));
        }
    }
}
