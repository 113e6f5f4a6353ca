//! Accelerator-pump shot: pressure that is on its way but not yet in MAP.

use trimwright_numerics::Real;

use crate::believe::Belief;

trimwright_numerics::parameters! {
    /// Extra fuel for a quick foot.
    #[cfg_attr(feature = "defmt", derive(defmt::Format))]
    pub struct PumpShotParameters<f32> "pump_shot" {
        /// Pressure that a throttle step from closed to open is believed to add before MAP shows it.
        number amount_pa { 7.5e3, 0.0..=60e3 "Pa", "engineering judgement, from tip-ins" }
        /// Rate of throttle position above which there is a shot.
        number threshold_per_s { 0.4, 0.05..=10.0 "1/s", "engineering judgement" }
        /// Time constant in which the shot decays: sensor lag, averaging and the way from injection to intake.
        number decay_s { 0.08, 0.01..=2.0 "s", "engineering judgement" }
        /// Share of what is missing to barometric pressure that a shot may make up for.
        number room { 0.8, 0.0..=1.0 "1", "engineering judgement" }
        /// Least manifold pressure that a shot counts as a share of.
        number least_map_pa { 15e3, 5e3..=40e3 "Pa", "engineering judgement" }
    }
}

/// Pressure that is on its way but not yet in MAP.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub struct Shot {
    ahead_pa: f32,
}

impl Shot {
    /// Follows the throttle, once a quick slot. Gives the believed pressure to come, Pa.
    ///
    /// ```
    /// use trimwright_control::pump_shot::{PumpShotParameters, Shot};
    /// let parameters = PumpShotParameters::DEFAULT;
    /// let mut shot = Shot::default();
    /// let mut ahead_pa = |tp_rate_per_s, slots| (0..slots).fold(0.0, |_, _| shot.step(&parameters, tp_rate_per_s, 0.01));
    /// // A quick foot: half of the throttle in 0.1 s. MAP will follow.
    /// assert!((1.5e3..4e3).contains(&ahead_pa(5.0, 10)));
    /// // It has.
    /// assert!(ahead_pa(0.0, 50) < 20.0);
    /// ```
    pub fn step(&mut self, parameters: &PumpShotParameters, tp_rate_per_s: f32, dt_s: f32) -> f32 {
        let opening = if tp_rate_per_s > parameters.threshold_per_s { tp_rate_per_s } else { 0.0 };
        let left = self.ahead_pa * (1.0 - dt_s / (parameters.decay_s + dt_s))
            + parameters.amount_pa * opening * dt_s;
        self.ahead_pa = left.held(0.0, parameters.amount_pa);
        self.ahead_pa
    }

    /// Ratio of the charge to come over the charge that MAP shows.
    pub fn ratio(&self, parameters: &PumpShotParameters, belief: &Belief) -> f32 {
        let room_pa = (belief.baro_pa - belief.map_pa).at_least(0.0);
        1.0 + self.ahead_pa.at_most(parameters.room * room_pa)
            / belief.map_pa.at_least(parameters.least_map_pa)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    const SHOT: PumpShotParameters = PumpShotParameters::DEFAULT;

    fn at(map_pa: f32) -> Belief {
        Belief { map_pa, ..Belief::default() }
    }

    #[test]
    fn a_stab_of_the_throttle_gives_a_shot_that_fades() {
        let mut shot = Shot::default();
        for _ in 0..100 {
            shot.step(&SHOT, 5.0, 0.001);
        }
        let at_once = shot.ratio(&SHOT, &at(40e3));
        for _ in 0..400 {
            shot.step(&SHOT, 0.0, 0.001);
        }
        assert!(at_once > 1.03 && shot.ratio(&SHOT, &at(40e3)) < 1.01);
        shot.step(&SHOT, -5.0, 0.001);
        assert!(shot.ratio(&SHOT, &at(40e3)) < 1.01);
    }

    #[test]
    fn neither_a_gentle_foot_nor_a_closing_throttle_makes_a_shot() {
        for tp_rate_per_s in [0.2, -4.0] {
            assert_eq!(Shot::default().step(&SHOT, tp_rate_per_s, 0.01), 0.0);
        }
    }

    #[test]
    fn a_shot_is_a_share_of_what_map_shows_and_nothing_at_full_load() {
        let shot = Shot { ahead_pa: 4e3 };
        assert!((shot.ratio(&SHOT, &at(40e3)) - 1.1).abs() < 1e-6, "4 kPa to come over 40 kPa are a tenth");
        assert_eq!(shot.ratio(&SHOT, &at(101_325.0)), 1.0);
    }
}
