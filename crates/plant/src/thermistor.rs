//! Thermistors with negative temperature coefficient and a pull-up to 5 V.
//!
//! Resistance follows from temperature: `1/T = A + B L + C L^3 + D L^5` with `L = ln(R / ohm)` solved for L (Steinhart and Hart, Deep-Sea
//! Research 15 (1968) 497, with one term more), or by points.

use trimwright_numerics::Real;

/// Coefficients of the 10 kOhm thermistor, 1/K. Printed table and coefficients: Geokon 8002-4-1 manual, p. 58.
pub(crate) const TEN_KILO_OHM: [f64; 4] =
    [1.127_669_793_001_87e-3, 2.344_441_841_282_13e-4, 8.476_921_305_923_08e-8, 1.175_121_936_157_95e-11];
/// Coefficients of a sender of the 2 kOhm class, 1/K: through 5896 ohm at 0 degC, 1175 ohm at 40 degC and 187 ohm at 100 degC (common
/// practice, no source).
const TWO_KILO_OHM: [f64; 4] =
    [1.284_636_114_959_996_6e-3, 2.627_392_969_907_343e-4, 1.455_397_533_703_55e-7, 0.0];
/// Capacity of a sender's curve in points.
pub(crate) const SENDER_POINTS: usize = 10;
/// Limits of ln(R / ohm): 0.02 ohm to 72 GOhm.
const LN_OHM: (f64, f64) = (-4.0, 25.0);

/// Characteristic of a temperature sender.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
#[non_exhaustive]
pub enum SenderKind {
    /// 10 kOhm at 25 degC.
    TenKiloOhm,
    /// 2 kOhm class, as in many cars: 2.5 kOhm at 20 degC.
    TwoKiloOhm,
    /// By its coefficients.
    Coefficients,
    /// By its points.
    Points,
}

trimwright_numerics::choice!(SenderKind {
    TenKiloOhm = "10 kohm",
    TwoKiloOhm = "2 kohm",
    Coefficients = "coefficients",
    Points = "points",
});

/// Resistance of the 10 kOhm thermistor at a temperature, ohm, -60 to 200 degC. Geokon 8002-4-1 manual, p. 58.
pub fn thermistor_ohm(temperature_k: f64) -> f64 {
    Real::exp(by_coefficients(&TEN_KILO_OHM, temperature_k.held(213.0, 473.0)))
}

/// Voltage of a sender with its pull-up, V. Coefficients and points (temperature, K; resistance, ohm) are used by the senders of that kind.
pub(crate) fn sender_v(
    sender: SenderKind,
    pull_up_ohm: f64,
    coefficients: &[f64; 4],
    points: &[(f64, f64)],
    temperature_k: f64,
) -> f64 {
    let kelvin = temperature_k.held(213.0, 473.0);
    let ohm = Real::exp(match sender {
        SenderKind::TenKiloOhm => by_coefficients(&TEN_KILO_OHM, kelvin),
        SenderKind::TwoKiloOhm => by_coefficients(&TWO_KILO_OHM, kelvin),
        SenderKind::Coefficients => by_coefficients(coefficients, kelvin),
        SenderKind::Points => by_points(points, kelvin),
    });
    5.0 * ohm / (ohm + pull_up_ohm)
}

/// Solves the equation for ln(R / ohm) by Newton's method, which converges in four iterations from a beta-law start; unusual
/// coefficients may take more.
fn by_coefficients([a, b, c, d]: &[f64; 4], temperature_k: f64) -> f64 {
    let wanted = 1.0 / temperature_k;
    let mut l = 9.21 + 3900.0 * (wanted - 1.0 / 298.15);
    for iteration in 1..40 {
        let square = l * l;
        let value = a + l * (b + square * (c + square * d));
        let slope = b + square * (3.0 * c + 5.0 * d * square);
        let before = l;
        l = (l - (value - wanted) / slope).held(LN_OHM.0, LN_OHM.1);
        if iteration >= 4 && (l - before).abs() < 1e-9 {
            break;
        }
    }
    l
}

/// Between two points and beyond the outermost ones ln R is linear in 1/T: a semiconductor with one activation energy.
fn by_points(points: &[(f64, f64)], temperature_k: f64) -> f64 {
    let mut l = points.first().map_or(0.0, |(_, ohm)| Real::ln(*ohm));
    for pair in points.windows(2) {
        let ((low_k, low_ohm), (high_k, high_ohm)) = (pair[0], pair[1]);
        // The remaining points repeat the last one.
        if high_k <= low_k {
            break;
        }
        let (low_l, high_l) = (Real::ln(low_ohm), Real::ln(high_ohm));
        let share = (1.0 / temperature_k - 1.0 / low_k) / (1.0 / high_k - 1.0 / low_k);
        l = low_l + share * (high_l - low_l);
        if temperature_k <= high_k {
            break;
        }
    }
    l.held(LN_OHM.0, LN_OHM.1)
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Pull-up of the tests, ohm.
    const PULL_UP_OHM: f64 = 2490.0;
    /// Sender of the 2 kOhm class, degC and ohm: common practice, no source.
    const SMALL: [(f64, f64); 6] =
        [(-20.0, 15_462.0), (0.0, 5896.0), (20.0, 2500.0), (40.0, 1175.0), (80.0, 323.0), (100.0, 187.0)];

    fn ohm(sender: SenderKind, coefficients: &[f64; 4], points: &[(f64, f64)], celsius: f64) -> f64 {
        let volts = sender_v(sender, PULL_UP_OHM, coefficients, points, celsius + 273.15);
        PULL_UP_OHM * volts / (5.0 - volts)
    }

    #[test]
    fn val_printed_thermistor_table() {
        // Geokon 8002-4-1 manual p. 58: shared/reference/thermistor_10k.csv. 5 % per kelvin, so 0.05 K is
        // 0.25 %.
        for (celsius, printed) in
            [(-30.0, 176_974.0), (-25.0, 130_421.0), (-20.0, 97_081.0), (-15.0, 72_957.0)]
        {
            assert!((thermistor_ohm(celsius + 273.15) / printed - 1.0).abs() < 0.0035, "{celsius}");
            for sender in [SenderKind::TenKiloOhm, SenderKind::Coefficients] {
                assert!(
                    (ohm(sender, &TEN_KILO_OHM, &[], celsius) / printed - 1.0).abs() < 0.0035,
                    "{celsius}"
                );
            }
        }
    }

    #[test]
    fn ident_the_equation_holds_for_the_resistance_found() {
        for coefficients in [TEN_KILO_OHM, TWO_KILO_OHM] {
            for kelvin in 213..473 {
                let l = by_coefficients(&coefficients, f64::from(kelvin));
                let [a, b, c, d] = coefficients;
                let back = a + b * l + c * l * l * l + d * l * l * l * l * l;
                assert!((1.0 / back - f64::from(kelvin)).abs() < 1e-9, "{kelvin}");
            }
        }
    }

    #[test]
    fn band_the_2_kohm_sender_has_the_usual_resistances() {
        let kelvin_points = SMALL.map(|(celsius, ohm)| (celsius + 273.15, ohm));
        for (celsius, customary) in SMALL {
            // 4 % per kelvin.
            let by_kind = ohm(SenderKind::TwoKiloOhm, &TEN_KILO_OHM, &[], celsius);
            assert!((by_kind / customary - 1.0).abs() < 0.03, "{by_kind} {customary}");
            let by_points = ohm(SenderKind::Points, &TEN_KILO_OHM, &kelvin_points, celsius);
            assert!((by_points / customary - 1.0).abs() < 1e-9, "{by_points} {customary}");
        }
    }

    #[test]
    fn voltage_falls_with_heat_and_stays_within_the_supply() {
        let points = SMALL.map(|(celsius, ohm)| (celsius + 273.15, ohm));
        for sender in [SenderKind::TenKiloOhm, SenderKind::TwoKiloOhm, SenderKind::Points] {
            let mut last = 5.0;
            for kelvin in 213..473 {
                let volts = sender_v(sender, PULL_UP_OHM, &TEN_KILO_OHM, &points, f64::from(kelvin));
                assert!(volts < last && volts > 0.0);
                last = volts;
            }
        }
    }

    #[test]
    fn invalid_senders_still_give_a_voltage() {
        for coefficients in [[0.0; 4], [-0.1; 4], [0.1, 0.0, -0.1, 0.1], [1e-3, -2e-4, 0.0, 0.0]] {
            let volts = sender_v(SenderKind::Coefficients, PULL_UP_OHM, &coefficients, &[], 300.0);
            assert!((0.0..=5.0).contains(&volts), "{volts} for {coefficients:?}");
        }
        for points in [&[][..], &[(300.0, 1.0)], &[(300.0, 1.0), (300.0, 1e7)], &[(299.0, 1.0), (299.1, 1e7)]]
        {
            let volts = sender_v(SenderKind::Points, PULL_UP_OHM, &TEN_KILO_OHM, points, 400.0);
            assert!((0.0..=5.0).contains(&volts), "{volts} for {points:?}");
        }
    }
}
