//! Friction, pumping and the belt-driven accessories.

use crate::gas::{PER_CYCLE_RAD, RPM};
use trimwright_numerics::Real;

trimwright_numerics::parameters! {
    /// Friction and accessories at the crank.
    pub struct Friction<f64> "friction" {
        /// Factor on the published friction mean effective pressure.
        number scale { 1.0, 0.5..=2.0 "1", "Heywood, eq. 13.6, as published" }
        /// Fraction of the published motored total that is rubbing; pumping is computed from the pressures instead.
        number rubbing_share { 0.75, 0.5..=1.0 "1", "engineering judgement" }
        /// Relative increase of rubbing friction per kelvin of oil temperature below 363 K.
        number cold_per_k { 0.010, 0.0..=0.05 "1/K", "engineering judgement" }
        /// Torque of the air-conditioning compressor when its clutch is in.
        number ac_nm { 14.0, 0.0..=40.0 "N m", "engineering judgement" }
    }
}

/// Total motored friction mean effective pressure at full throttle, Pa: `0.97 + 0.15 N + 0.05 N^2` bar, N in
/// krpm (Heywood, eq. 13.6; four-cylinder to V8 engines between 845 and 2000 cm^3; used beyond its range for
/// larger ones).
pub fn motored_fmep_pa(speed_rad_per_s: f64) -> f64 {
    const KRPM: f64 = 1.0 / (1000.0 * RPM);
    let krpm = speed_rad_per_s * KRPM;
    1e5 * (0.97 + 0.15 * krpm + 0.05 * krpm * krpm)
}

impl Friction {
    /// Rubbing friction over the published motored total with warm oil.
    pub(crate) fn rubbing(&self, oil_k: f64) -> f64 {
        let cold = 1.0 + self.cold_per_k * (363.0 - oil_k).held(0.0, 150.0);
        self.scale * self.rubbing_share * cold
    }

    /// Rubbing friction torque, N m: `fmep V / (4 pi)`.
    #[inline]
    pub(crate) fn rubbing_nm(rubbing: f64, displacement_m3: f64, speed_rad_per_s: f64) -> f64 {
        rubbing * motored_fmep_pa(speed_rad_per_s) * displacement_m3 * PER_CYCLE_RAD
    }

    /// Pumping torque of a turning engine, N m: `(p_exhaust - p_intake) V / (4 pi)`.
    #[inline]
    pub(crate) fn pumping_nm(displacement_m3: f64, back_pressure_pa: f64, manifold_pa: f64) -> f64 {
        (back_pressure_pa - manifold_pa) * displacement_m3 * PER_CYCLE_RAD
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn val_motored_friction_pressure() {
        // Heywood eq. 13.6 at 1000, 3000 and 5000 rpm: exact arithmetic.
        for (rpm, bar) in [(1000.0, 1.17), (3000.0, 1.87), (5000.0, 2.97)] {
            assert!((motored_fmep_pa(rpm * RPM) / (bar * 1e5) - 1.0).abs() < 1e-12);
        }
    }

    #[test]
    fn cold_oil_drags_more() {
        let friction = crate::Truth::mild_v8().friction;
        let rubbing_nm = |oil_k| Friction::rubbing_nm(friction.rubbing(oil_k), 5e-3, 70.0);
        assert!(rubbing_nm(255.0) > 1.8 * rubbing_nm(363.0));
    }
}
