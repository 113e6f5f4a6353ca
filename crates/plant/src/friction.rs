//! Friction, pumping and the belt-driven accessories.

use crate::check::{OutOfRange, within};
use crate::gas::{PER_CYCLE_RAD, RPM};
use trimwright_numerics::Real;

/// Losses at the crank.
#[derive(Clone, Debug, PartialEq)]
pub struct Friction {
    /// Scale on the published friction pressure, 0.5 to 2.
    pub scale: f64,
    /// Share of the published motored total that is not pumping, 0.5 to 1 (engineering judgement): pumping is
    /// worked out from the pressures instead.
    pub rubbing_share: f64,
    /// Growth per kelvin of oil below 363 K, 1/K, 0 to 0.05 (engineering judgement).
    pub cold_per_k: f64,
    /// Torque of the air-conditioning compressor when its clutch is in, N m, 0 to 40.
    pub ac_nm: f64,
}

/// Total motored friction mean effective pressure at full throttle, Pa: `0.97 + 0.15 N + 0.05 N^2` bar, N in
/// krpm (Heywood, eq. 13.6; four-cylinder to V8 engines between 845 and 2000 cm^3; used beyond its range for
/// larger ones).
///
/// ```
/// assert!((trimwright_plant::motored_fmep_pa(209.4395) - 147e3).abs() < 10.0);
/// ```
pub fn motored_fmep_pa(speed_rad_per_s: f64) -> f64 {
    const KRPM: f64 = 1.0 / (1000.0 * RPM);
    let krpm = speed_rad_per_s * KRPM;
    1e5 * (0.97 + 0.15 * krpm + 0.05 * krpm * krpm)
}

impl Friction {
    /// Rubbing over what is published for a motored engine with warm oil.
    pub(crate) fn rubbing(&self, oil_k: f64) -> f64 {
        let cold = 1.0 + self.cold_per_k * (363.0 - oil_k).held(0.0, 150.0);
        self.scale * self.rubbing_share * cold
    }

    /// Rubbing friction, N m, always against the motion: `fmep V / (4 pi)`.
    #[inline]
    pub(crate) fn rubbing_nm(rubbing: f64, displacement_m3: f64, speed_rad_per_s: f64) -> f64 {
        rubbing * motored_fmep_pa(speed_rad_per_s) * displacement_m3 * PER_CYCLE_RAD
    }

    /// Pumping torque of a whole engine that turns, N m: exhaust less intake pressure over the displacement.
    #[inline]
    pub(crate) fn pumping_nm(displacement_m3: f64, back_pressure_pa: f64, manifold_pa: f64) -> f64 {
        (back_pressure_pa - manifold_pa) * displacement_m3 * PER_CYCLE_RAD
    }

    pub(crate) fn check(&self) -> Result<(), OutOfRange> {
        within("friction.scale", self.scale, 0.5, 2.0)?;
        within("friction.rubbing_share", self.rubbing_share, 0.5, 1.0)?;
        within("friction.cold_per_k", self.cold_per_k, 0.0, 0.05)?;
        within("friction.ac_nm", self.ac_nm, 0.0, 40.0)
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
