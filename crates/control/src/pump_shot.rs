//! Accelerator-pump shot: fuel for a rise of pressure that MAP does not show yet.

use trimwright_numerics::Real;

use crate::estimate::Estimate;

trimwright_numerics::parameters! {
    /// Additional fuel for a fast opening throttle.
    #[cfg_attr(feature = "defmt", derive(defmt::Format))]
    pub struct PumpShotParameters<f32> "pump_shot" {
        /// Pressure that a throttle step from closed to open adds before MAP shows it.
        number amount_pa { 32e3, 0.0..=60e3 "Pa", "engineering judgement, from tip-ins" }
        /// Rate of throttle position above which a shot is given.
        number threshold_per_s { 0.4, 0.05..=10.0 "1/s", "engineering judgement" }
        /// Time constant of the shot: sensor lag, averaging and time from injection to intake.
        number decay_s { 0.14, 0.01..=2.0 "s", "engineering judgement" }
        /// Upper limit of the shot, as a share of the gap between MAP and barometric pressure.
        number max_gap_share { 0.8, 0.0..=1.0 "1", "engineering judgement" }
        /// Lower limit of MAP in the ratio of the shot.
        number min_map_pa { 15e3, 5e3..=40e3 "Pa", "engineering judgement" }
    }
}

/// Stage of the accelerator-pump shot.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub struct PumpShot {
    coming_pa: f32,
}

impl PumpShot {
    /// 10 ms task: follows the throttle. Returns the pressure rise that MAP does not show yet, Pa.
    ///
    /// ```
    /// use trimwright_control::parameters::PumpShotParameters;
    /// use trimwright_control::fueling::PumpShot;
    /// let parameters = PumpShotParameters::DEFAULT;
    /// let mut shot = PumpShot::default();
    /// let mut coming_pa = |tp_rate_per_s, steps| (0..steps).fold(0.0, |_, _| shot.step(&parameters, tp_rate_per_s, 0.01));
    /// // The throttle opens by half in 0.1 s; MAP follows later.
    /// assert!((6e3..12e3).contains(&coming_pa(5.0, 10)));
    /// // It has followed.
    /// assert!(coming_pa(0.0, 100) < 20.0);
    /// ```
    pub fn step(&mut self, parameters: &PumpShotParameters, tp_rate_per_s: f32, dt_s: f32) -> f32 {
        let opening = if tp_rate_per_s > parameters.threshold_per_s { tp_rate_per_s } else { 0.0 };
        let left = self.coming_pa * (1.0 - dt_s / (parameters.decay_s + dt_s))
            + parameters.amount_pa * opening * dt_s;
        self.coming_pa = left.held(0.0, parameters.amount_pa);
        self.coming_pa
    }

    /// Ratio of the coming charge over the one that MAP shows.
    pub fn ratio(&self, parameters: &PumpShotParameters, estimate: &Estimate) -> f32 {
        let room_pa = (estimate.baro_pa - estimate.map_pa).at_least(0.0);
        1.0 + self.coming_pa.at_most(parameters.max_gap_share * room_pa)
            / estimate.map_pa.at_least(parameters.min_map_pa)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    const SHOT: PumpShotParameters = PumpShotParameters::DEFAULT;

    fn at(map_pa: f32) -> Estimate {
        Estimate { map_pa, ..Estimate::default() }
    }

    #[test]
    fn a_fast_throttle_gives_a_shot_that_fades() {
        let mut shot = PumpShot::default();
        for _ in 0..100 {
            shot.step(&SHOT, 5.0, 0.001);
        }
        let at_once = shot.ratio(&SHOT, &at(40e3));
        for _ in 0..800 {
            shot.step(&SHOT, 0.0, 0.001);
        }
        assert!(at_once > 1.03 && shot.ratio(&SHOT, &at(40e3)) < 1.01);
        shot.step(&SHOT, -5.0, 0.001);
        assert!(shot.ratio(&SHOT, &at(40e3)) < 1.01);
    }

    #[test]
    fn neither_a_slow_nor_a_closing_throttle_gives_a_shot() {
        for tp_rate_per_s in [0.2, -4.0] {
            assert_eq!(PumpShot::default().step(&SHOT, tp_rate_per_s, 0.01), 0.0);
        }
    }

    #[test]
    fn a_shot_is_a_share_of_what_map_shows_and_nothing_at_full_load() {
        let shot = PumpShot { coming_pa: 4e3 };
        assert!((shot.ratio(&SHOT, &at(40e3)) - 1.1).abs() < 1e-6, "4 kPa to come over 40 kPa are a tenth");
        assert_eq!(shot.ratio(&SHOT, &at(101_325.0)), 1.0);
    }

    /// By hand: 20 ms of a decay of 80 ms leave four fifths of 4 kPa; a throttle at 2 per second adds 2 * 7.5 kPa * 20 ms.
    #[test]
    fn a_shot_decays_and_grows_by_the_throttles_movement() {
        let parameters = PumpShotParameters { amount_pa: 7.5e3, decay_s: 0.08, ..SHOT };
        let mut shot = PumpShot { coming_pa: 4e3 };
        assert!((shot.step(&parameters, 2.0, 0.02) - 3500.0).abs() < 0.01);
        assert_eq!(PumpShot::default().step(&SHOT, SHOT.threshold_per_s, 0.02), 0.0);
        assert_eq!(PumpShot::default().step(&SHOT, 900.0, 0.02), SHOT.amount_pa);
    }
}
