//! Knock index: burn duration over the autoignition delay of the end gas.

use crate::gas::{CYCLE_RAD, KAPPA};
use trimwright_numerics::Real;

/// Factors of compression ratio and octane number, computed once.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(crate) struct EndGas {
    /// Pressure ratio of the compression.
    compressed: f64,
    /// Factor of the octane number on the autoignition delay.
    octane: f64,
}

impl EndGas {
    pub(crate) fn new(compression_ratio: f64, octane: f64) -> Self {
        Self { compressed: Real::powf(compression_ratio, 1.3), octane: Real::powf(octane / 100.0, 3.402) }
    }
}

/// Knock index of one charge: burn duration over the autoignition delay of the end gas at peak pressure.
/// Above 1 the charge knocks.
///
/// Delay by Douglas & Eyzat (Heywood, eq. 9.20, constants from memory): `tau = 17.68 (ON/100)^3.402 p^-1.7
/// exp(3800 / T)`, tau in ms, p in atm, T in K. Peak pressure: polytropic compression (1.3) times a rise by
/// combustion that falls with late spark; end gas compressed isentropically to it; burn duration a ninth of a
/// cycle, a tenth of it near the peak (engineering judgement). Valid for ranking only.
pub(crate) fn knock_index(
    end_gas: &EndGas,
    map_pa: f64,
    charge_k: f64,
    speed_rad_per_s: f64,
    off_mbt_deg: f64,
) -> f64 {
    let compressed_pa = map_pa * end_gas.compressed;
    let rise = (2.6 + 0.03 * off_mbt_deg).held(1.2, 4.0);
    let peak_pa = compressed_pa * rise;
    let intake_gas_k = charge_k + 40.0;
    // Powers by logarithms, at half the cost of separate ones.
    let compressed_ln = Real::ln(peak_pa / map_pa.held(5e3, 1e6));
    let end_k = intake_gas_k * Real::exp((KAPPA - 1.0) / KAPPA * 0.93 * compressed_ln);
    let pressure_ln = Real::ln(peak_pa / 101_325.0);
    let delay_ms = 17.68 * end_gas.octane * Real::exp(3800.0 / end_k - 1.7 * pressure_ln);
    let near_peak_ms = 1e3 * CYCLE_RAD / 90.0 / speed_rad_per_s.held(10.0, 2000.0);
    (near_peak_ms / delay_ms).held(0.0, 100.0)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn more_load_compression_heat_and_advance_knock_more_and_octane_less() {
        let knock_index = |ratio, octane, map_pa, charge_k, speed, off_deg| {
            super::knock_index(&EndGas::new(ratio, octane), map_pa, charge_k, speed, off_deg)
        };
        let base = knock_index(9.0, 91.0, 95e3, 310.0, 200.0, 0.0);
        assert!(base > 0.0 && base.is_finite());
        assert!(knock_index(11.0, 91.0, 95e3, 310.0, 200.0, 0.0) > base);
        assert!(knock_index(9.0, 91.0, 95e3, 340.0, 200.0, 0.0) > base);
        assert!(knock_index(9.0, 91.0, 95e3, 310.0, 200.0, 8.0) > base);
        assert!(knock_index(9.0, 98.0, 95e3, 310.0, 200.0, 0.0) < base);
        assert!(knock_index(9.0, 91.0, 40e3, 310.0, 200.0, 0.0) < 0.3 * base);
    }
}
