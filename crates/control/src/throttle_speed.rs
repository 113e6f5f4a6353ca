//! MAP estimate from throttle, idle air valve and speed, used when the MAP sensor has failed.
//!
//! An opening `a` before a pump of speed `n` gives about `p0 a / sqrt(a^2 + (n / n0)^2)` (engineering judgement: right in trend only).
//! While MAP is valid, the ratio of this engine's opening to that of the curve is learned, with closed and open throttle separately.

use crate::base_map::OUTSIDE_PA;
use trimwright_numerics::Real;
use trimwright_numerics::parameters::along;

trimwright_numerics::parameters! {
    /// MAP estimate from throttle and speed.
    #[cfg_attr(feature = "defmt", derive(defmt::Format))]
    pub struct ThrottleSpeedParameters<f32> "throttle_speed" {
        /// Effective opening of the throttle against its position, leakage of the closed plates included.
        curve opening { [8] = [(0.0, 0.018), (0.1, 0.073), (0.3, 0.333), (0.6, 0.983), (1.0, 1.783)], 0.0..=1.0 "1" => 0.001..=10.0 "1", "engineering judgement" }
        /// Effective opening of the idle air valve at full duty.
        number idle_valve_opening { 0.053, 0.0..=1.0 "1", "common practice, no source: about three times the leak of the plates" }
        /// Speed at which an effective opening of 1 halves the squared pressure.
        number full_rad_per_s { 900.0, 100.0..=5000.0 "rad/s", "engineering judgement" }
        /// Lower limit of manifold over barometric pressure.
        number ratio_low { 0.2, 0.05..=0.5 "1", "engineering judgement" }
        /// Manifold over barometric pressure above which the opening is not learned.
        number learned_ratio_high { 0.95, 0.6..=0.99 "1", "engineering judgement: near 1 it depends little on the opening" }
        /// Manifold over barometric pressure below which the opening is not learned.
        number learned_ratio_low { 0.1, 0.02..=0.5 "1", "engineering judgement" }
        /// Lower limit of the learned ratio of openings.
        number fit_low { 0.3, 0.05..=1.0 "1", "engineering judgement" }
        /// Upper limit of the learned ratio of openings.
        number fit_high { 3.0, 1.0..=20.0 "1", "engineering judgement" }
        /// Throttle position below which the ratio of the closed throttle is learned and used.
        number closed_tp { 0.03, 0.005..=0.2 "1", "engineering judgement" }
        /// Time constant of learning the ratio.
        number fit_s { 8.0, 0.5..=200.0 "s", "engineering judgement" }
        /// Speed above which the ratio is learned.
        number fit_from_rad_per_s { 50.0, 20.0..=200.0 "rad/s", "engineering judgement" }
        /// Rate of throttle position below which the ratio is learned.
        number fit_still_per_s { 0.1, 0.01..=2.0 "1/s", "engineering judgement" }
    }
}

/// Inputs of the MAP estimate, and the MAP to compare it with.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct ThrottleSpeed {
    /// Manifold absolute pressure, Pa.
    pub map_pa: f32,
    /// Barometric pressure, Pa.
    pub baro_pa: f32,
    /// Throttle position, ratio.
    pub tp: f32,
    /// Idle air valve duty, ratio.
    pub iac_duty: f32,
    /// Crank speed, rad/s.
    pub speed_rad_per_s: f32,
}

impl Default for ThrottleSpeed {
    fn default() -> Self {
        Self { map_pa: OUTSIDE_PA, baro_pa: OUTSIDE_PA, tp: 0.0, iac_duty: 0.0, speed_rad_per_s: 0.0 }
    }
}

impl ThrottleSpeed {
    /// Estimated manifold pressure, Pa. `fit` is the ratio of this engine's opening to that of the curve.
    pub fn estimated_map_pa(&self, parameters: &ThrottleSpeedParameters, fit: f32) -> f32 {
        let open = self.opening(parameters) * fit;
        let demand = self.speed_rad_per_s / parameters.full_rad_per_s;
        let ratio = open / Real::sqrt(open * open + demand * demand).at_least(MIN_ROOT);
        self.baro_pa * ratio.held(parameters.ratio_low, 1.0)
    }

    /// The ratio of openings that gives this pressure: the inverse of [`ThrottleSpeed::estimated_map_pa`].
    pub fn fit(&self, parameters: &ThrottleSpeedParameters) -> f32 {
        let ratio =
            (self.map_pa / self.baro_pa).held(parameters.learned_ratio_low, parameters.learned_ratio_high);
        let open = self.speed_rad_per_s / parameters.full_rad_per_s * ratio / Real::sqrt(1.0 - ratio * ratio);
        (open / self.opening(parameters)).held(parameters.fit_low, parameters.fit_high)
    }

    /// Effective opening, ratio.
    fn opening(&self, parameters: &ThrottleSpeedParameters) -> f32 {
        along(&parameters.opening, self.tp) + parameters.idle_valve_opening * self.iac_duty
    }
}

/// Keeps the division by the root defined.
const MIN_ROOT: f32 = 1e-3;

#[cfg(test)]
mod tests {
    use super::*;

    const THROTTLE_SPEED: ThrottleSpeedParameters = ThrottleSpeedParameters::DEFAULT;

    #[test]
    fn without_map_the_throttle_and_the_speed_give_a_pressure() {
        let map_pa = |tp, iac_duty, speed_rad_per_s| {
            let at = ThrottleSpeed { tp, iac_duty, speed_rad_per_s, ..ThrottleSpeed::default() };
            at.estimated_map_pa(&THROTTLE_SPEED, 1.0)
        };
        let (closed, open) = (map_pa(0.0, 0.3, 75.0), map_pa(1.0, 0.3, 300.0));
        assert!((25e3..60e3).contains(&closed) && open > 90e3, "{closed} {open}");
        assert!(map_pa(0.2, 0.3, 300.0) < map_pa(0.2, 0.3, 150.0));
        assert!(map_pa(0.0, 0.6, 100.0) > 1.3 * map_pa(0.0, 0.3, 100.0), "the idle air valve counts");
    }

    #[test]
    fn ident_the_fit_gives_the_pressure_it_was_found_at() {
        for (map_pa, tp, speed_rad_per_s) in [(35e3, 0.0, 75.0), (45e3, 0.12, 160.0), (90e3, 0.5, 300.0)] {
            let at = ThrottleSpeed { map_pa, tp, speed_rad_per_s, ..ThrottleSpeed::default() };
            let again_pa = at.estimated_map_pa(&THROTTLE_SPEED, at.fit(&THROTTLE_SPEED));
            assert!((again_pa / map_pa - 1.0).abs() < 1e-3);
        }
    }
}
