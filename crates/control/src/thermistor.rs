//! Thermistors: volts under a pull-up to temperature.
//!
//! `R = R_up v / (5 V - v)` and `1/T = A + B L + C L^3 + D L^5` with `L = ln(R / ohm)` (Steinhart and Hart, Deep-Sea Research 15 (1968)
//! 497, with one term more), or by points. The logarithms are calculated once with the calibration; a step only interpolates in a table
//! over voltage.

use trimwright_numerics::Real;

/// Coefficients of the 10 kOhm thermistor, 1/K: printed table, Geokon 8002-4-1 instruction manual p. 58.
pub(crate) const TEN_KILO_OHM: [f32; 4] = [1.127_669_8e-3, 2.344_441_8e-4, 8.476_921e-8, 1.175_121_9e-11];
/// Coefficients of a sender of the 2 kOhm class, 1/K: through 5896 ohm at 0 degC, 1175 ohm at 40 degC and 187 ohm at 100 degC (common
/// practice, from memory).
const TWO_KILO_OHM: [f32; 4] = [1.284_636_1e-3, 2.627_393e-4, 1.455_397_5e-7, 0.0];
/// Supply of the pull-up and of the converter, V.
pub(crate) const REFERENCE_V: f32 = 5.0;
/// Distance from both ends of the range within which the voltage is limited, V.
const EDGE_V: f32 = 0.01;
/// Number of steps of the table.
const STEPS: usize = 128;
/// Highest place in the table.
const LAST_PLACE: f32 = STEPS as f32 - 0.001;
/// Limits of the temperature, K.
const COLDEST_K: f32 = 200.0;
const HOTTEST_K: f32 = 460.0;

/// Type of a temperature sender.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
#[non_exhaustive]
pub enum Sender {
    /// 10 kOhm at 25 degC.
    TenKiloOhm,
    /// 2 kOhm class, as in many cars: 2.5 kOhm at 20 degC.
    TwoKiloOhm,
    /// By coefficients.
    Coefficients,
    /// By points.
    Points,
}

trimwright_numerics::choice!(Sender {
    TenKiloOhm = "10 kohm",
    TwoKiloOhm = "2 kohm",
    Coefficients = "coefficients",
    Points = "points",
});

/// Table of temperature over voltage.
#[derive(Clone, Debug, PartialEq)]
pub(crate) struct Thermistor {
    kelvin: [f32; STEPS + 1],
}

impl Thermistor {
    /// Table of a sender under its pull-up; coefficients, and points of temperature, K, and resistance, ohm, are used by the sender types
    /// of that name.
    pub(crate) fn new(
        sender: Sender,
        pull_up_ohm: f32,
        coefficients: &[f32; 4],
        points: &[(f32, f32)],
    ) -> Self {
        let kelvin_of = |volts: f32| {
            let volts = volts.held(EDGE_V, REFERENCE_V - EDGE_V);
            let l = Real::ln(pull_up_ohm * volts / (REFERENCE_V - volts));
            let kelvin = match sender {
                Sender::TenKiloOhm => by_coefficients(&TEN_KILO_OHM, l),
                Sender::TwoKiloOhm => by_coefficients(&TWO_KILO_OHM, l),
                Sender::Coefficients => by_coefficients(coefficients, l),
                Sender::Points => by_points(points, l),
            };
            kelvin.held(COLDEST_K, HOTTEST_K)
        };
        Self { kelvin: core::array::from_fn(|step| kelvin_of(step as f32 * REFERENCE_V / STEPS as f32)) }
    }

    /// Temperature at `volts`, K, between 200 and 460 K.
    pub(crate) fn kelvin(&self, volts: f32) -> f32 {
        let place = (volts * (STEPS as f32 / REFERENCE_V)).held(0.0, LAST_PLACE);
        let index = place as usize;
        match (self.kelvin.get(index), self.kelvin.get(index + 1)) {
            (Some(low), Some(high)) => low + (place - index as f32) * (high - low),
            _ => HOTTEST_K,
        }
    }
}

fn by_coefficients([a, b, c, d]: &[f32; 4], l: f32) -> f32 {
    let l2 = l * l;
    1.0 / (a + l * (b + l2 * (c + l2 * d)))
}

/// 1/T is linear in ln R between two points and beyond the outermost two: the law of a semiconductor with one activation energy.
fn by_points(points: &[(f32, f32)], l: f32) -> f32 {
    let mut found = None;
    for pair in points.windows(2) {
        let &[(low_k, low_ohm), (high_k, high_ohm)] = pair else { continue };
        let (low_l, high_l) = (Real::ln(low_ohm), Real::ln(high_ohm));
        // The rest repeats the last point, or the curve does not fall.
        if high_k <= low_k || high_l >= low_l {
            break;
        }
        let slope = (1.0 / high_k - 1.0 / low_k) / (high_l - low_l);
        found = Some(1.0 / (1.0 / low_k + (l - low_l) * slope));
        if l >= high_l {
            break;
        }
    }
    found.unwrap_or(HOTTEST_K)
}

#[cfg(test)]
mod tests {
    use super::*;

    const PULL_UP_OHM: f32 = 2490.0;

    fn thermistor(sender: Sender, points: &[(f32, f32)]) -> Thermistor {
        Thermistor::new(sender, PULL_UP_OHM, &TEN_KILO_OHM, points)
    }

    fn volts(ohm: f32) -> f32 {
        5.0 * ohm / (ohm + PULL_UP_OHM)
    }

    /// Geokon 8002-4-1 instruction manual p. 58, printed: degC and ohm (shared/reference/thermistor_10k.csv).
    const PRINTED: [(f32, f32); 12] = [
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

    #[test]
    fn val_the_printed_table_is_reproduced() {
        for sender in [Sender::TenKiloOhm, Sender::Coefficients] {
            let thermistor = thermistor(sender, &[]);
            for (celsius, ohm) in PRINTED {
                let kelvin = thermistor.kelvin(volts(ohm));
                let limit = if celsius > -25.0 { 0.3 } else { 1.0 };
                assert!((kelvin - 273.15 - celsius).abs() < limit, "{kelvin} K at {celsius} degC");
            }
        }
    }

    #[test]
    fn val_points_of_the_printed_table_interpolate_the_others() {
        let points: [(f32, f32); 6] =
            core::array::from_fn(|place| (PRINTED[2 * place].0 + 273.15, PRINTED[2 * place].1));
        let thermistor = thermistor(Sender::Points, &points);
        for (celsius, ohm) in PRINTED {
            let kelvin = thermistor.kelvin(volts(ohm));
            let limit = if celsius > -25.0 { 0.5 } else { 1.5 };
            assert!((kelvin - 273.15 - celsius).abs() < limit, "{kelvin} K at {celsius} degC");
        }
    }

    /// Points of such a sender, degC and ohm: common practice, from memory.
    #[test]
    fn band_the_small_sender_is_the_customary_one() {
        let thermistor = thermistor(Sender::TwoKiloOhm, &[]);
        for (celsius, ohm) in
            [(-20.0, 15_462.0), (0.0, 5896.0), (20.0, 2500.0), (40.0, 1175.0), (80.0, 323.0), (100.0, 187.0)]
        {
            let kelvin = thermistor.kelvin(volts(ohm));
            assert!((kelvin - 273.15 - celsius).abs() < 0.6, "{kelvin} K at {celsius} degC");
        }
    }

    #[test]
    fn any_volts_give_a_temperature_in_range() {
        for sender in [Sender::TenKiloOhm, Sender::TwoKiloOhm, Sender::Points] {
            let thermistor = thermistor(sender, &[(300.0, 100.0), (300.0, 100.0)]);
            for volts in [f32::NAN, f32::INFINITY, -3.0, 0.0, 5.0, 99.0] {
                assert!((200.0..=460.0).contains(&thermistor.kelvin(volts)));
            }
        }
    }

    /// By hand: 1 / (0.001 + 2 (0.0002 + 4 (1e-7 + 4 * 1e-9))).
    #[test]
    fn ident_the_equation_has_three_powers_of_the_logarithm() {
        let kelvin = by_coefficients(&[1e-3, 2e-4, 1e-7, 1e-9], 2.0);
        assert!((kelvin - 1.0 / 1.400_832e-3).abs() < 0.01, "{kelvin}");
    }

    #[test]
    fn points_that_do_not_fall_end_the_curve() {
        let l = Real::ln(100.0_f32);
        assert_eq!(by_points(&[(300.0, 100.0), (320.0, 100.0)], l), HOTTEST_K);
        assert_eq!(by_points(&[(300.0, 100.0), (300.0, 50.0)], l), HOTTEST_K);
        let falls = by_points(&[(300.0, 100.0), (320.0, 50.0), (320.0, 40.0)], Real::ln(20.0_f32));
        let straight = by_points(&[(300.0, 100.0), (320.0, 50.0)], Real::ln(20.0_f32));
        assert!(falls == straight && falls > 320.0);
    }

    #[test]
    fn an_open_wire_is_coldest_and_a_shorted_one_hottest() {
        let thermistor = thermistor(Sender::TenKiloOhm, &[]);
        assert!([4.98, 5.0, 9.0].iter().all(|volts| thermistor.kelvin(*volts) < 235.0));
        assert_eq!([0.0, -1.0].map(|volts| thermistor.kelvin(volts)), [HOTTEST_K; 2]);
    }
}
