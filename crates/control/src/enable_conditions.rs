//! Enable conditions of learning: which injections may be learned from, and the reason when not.

use trimwright_numerics::Real;

use crate::estimate::Estimate;
use crate::phase::Phase;
use crate::refusal::Refusal;

trimwright_numerics::parameters! {
    /// Enable conditions of learning.
    #[cfg_attr(feature = "defmt", derive(defmt::Format))]
    pub struct EnableConditionParameters<f32> "enable_conditions" {
        /// Time after a start during which nothing is learned.
        number after_start_s { 15.0, 0.0..=600.0 "s", "engineering judgement" }
        /// Coolant temperature above which the map is learned.
        number warm_k { 333.0, 253.0..=373.0 "K", "engineering judgement" }
        /// Limit of steady running: distance of manifold pressure from its lagged value.
        number steady_map_pa { 2.5e3, 100.0..=20e3 "Pa", "engineering judgement" }
        /// Limit of steady running: distance of crank speed from its lagged value.
        number steady_speed_rad_per_s { 12.0, 1.0..=100.0 "rad/s", "engineering judgement" }
        /// Samples are rejected as transient when pressure or speed move more than this multiple of the steady limits.
        number max_movement { 4.0, 0.5..=20.0 "1", "engineering judgement" }
        /// Distance of the wanted lambda from its lagged value above which samples are rejected.
        number steady_wanted_ln { 0.01, 0.001..=0.1 "ln", "engineering judgement" }
        /// Time constant of the lagged values of pressure, speed and wanted lambda.
        number steady_lag_s { 0.5, 0.05..=10.0 "s", "engineering judgement: about that of a warm wall film" }
        /// Supply voltage below which samples are rejected.
        number min_battery_v { 10.5, 6.0..=13.0 "V", "engineering judgement: the opening delay grows steep" }
        /// Supply voltage above which samples are rejected.
        number max_battery_v { 15.8, 13.0..=20.0 "V", "engineering judgement" }
    }
}

/// Stage that checks the enable conditions.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub struct EnableConditions {
    map_pa: f32,
    speed_rad_per_s: f32,
    /// Wanted lambda, ln.
    wanted_ln: f32,
    movement: f32,
}

/// Inputs of the enable conditions at an injection.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct EnableInputs<'a> {
    /// Sensor estimates.
    pub estimate: &'a Estimate,
    /// Phase of the engine.
    pub phase: Phase,
    /// Time since the start, s.
    pub since_start_s: f32,
    /// Crank speed, rad/s.
    pub speed_rad_per_s: f32,
    /// Wanted mixture, ln lambda.
    pub wanted_ln: f32,
    /// The injectors are at their duty limit.
    pub duty_limited: bool,
    /// The wall film delivers more than is wanted.
    pub film_overflows: bool,
    /// Nitrous is on.
    pub nitrous: bool,
    /// The lean guard is active.
    pub guarded: bool,
    /// The measured rail pressure is not the one asked for.
    pub rail_off: bool,
}

impl EnableConditions {
    /// Rate of change of pressure and speed, relative to the limit of steady running; lessons get less weight as it rises.
    pub const fn movement(&self) -> f32 {
        self.movement
    }

    /// 20 ms task. Returns the first reason why a reading of this injection must not be learned from, or `None`.
    ///
    /// ```
    /// use trimwright_control::{Phase, Refusal};
    /// use trimwright_control::sensing::Estimate;
    /// use trimwright_control::learning::{EnableConditions, EnableInputs};
    /// use trimwright_control::parameters::EnableConditionParameters;
    /// let after_10_s = |ect_k| {
    ///     let (mut conditions, mut estimate) = (EnableConditions::default(), Estimate::default());
    ///     (estimate.ect_k, estimate.battery_v) = (ect_k, 13.8);
    ///     let now = EnableInputs { estimate: &estimate, phase: Phase::Running, since_start_s: 600.0, speed_rad_per_s: 150.0,
    ///         wanted_ln: 0.0, duty_limited: false, film_overflows: false, nitrous: false, guarded: false,
    ///         rail_off: false };
    ///     (0..500).map(|_| conditions.step(&EnableConditionParameters::DEFAULT, &now, 0.02)).last()
    /// };
    /// assert_eq!(after_10_s(293.0), Some(Some(Refusal::Cold)));
    /// assert_eq!(after_10_s(360.0), Some(None), "steady and warm: accepted");
    /// ```
    pub fn step(
        &mut self,
        parameters: &EnableConditionParameters,
        now: &EnableInputs<'_>,
        dt_s: f32,
    ) -> Option<Refusal> {
        let share = dt_s / (parameters.steady_lag_s + dt_s);
        let moved = |lagged: &mut f32, value: f32| {
            *lagged += share * (value - *lagged);
            (value - *lagged).abs()
        };
        let map_moved_pa = moved(&mut self.map_pa, now.estimate.map_pa);
        let speed_moved = moved(&mut self.speed_rad_per_s, now.speed_rad_per_s);
        let wanted_moved = moved(&mut self.wanted_ln, now.wanted_ln);
        self.movement = (map_moved_pa / parameters.steady_map_pa)
            .at_least(speed_moved / parameters.steady_speed_rad_per_s);
        let volts = parameters.min_battery_v..=parameters.max_battery_v;
        let reasons = [
            (matches!(now.phase, Phase::FuelCut | Phase::OverSpeed | Phase::LeanGuard), Refusal::FuelCut),
            (!now.phase.burns() || now.since_start_s < parameters.after_start_s, Refusal::Starting),
            (now.nitrous, Refusal::Nitrous),
            (now.guarded, Refusal::Guard),
            (now.duty_limited, Refusal::DutyLimit),
            (now.film_overflows, Refusal::FilmOverflows),
            (now.estimate.invalid.any_fuel_input(), Refusal::Substituted),
            (now.rail_off, Refusal::RailPressure),
            (!volts.contains(&now.estimate.battery_v), Refusal::Volts),
            (now.estimate.ect_k < parameters.warm_k, Refusal::Cold),
            (wanted_moved > parameters.steady_wanted_ln, Refusal::WantedMoving),
            (self.movement > parameters.max_movement, Refusal::Transient),
        ];
        reasons.into_iter().find_map(|(found, reason)| found.then_some(reason))
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    const CONDITIONS: EnableConditionParameters = EnableConditionParameters::DEFAULT;

    fn warm() -> Estimate {
        Estimate { map_pa: 40e3, ect_k: 360.0, battery_v: 13.8, ..Estimate::default() }
    }

    fn steady(estimate: &Estimate) -> EnableInputs<'_> {
        EnableInputs {
            estimate,
            phase: Phase::Running,
            since_start_s: 100.0,
            speed_rad_per_s: 150.0,
            wanted_ln: 0.0,
            duty_limited: false,
            film_overflows: false,
            nitrous: false,
            guarded: false,
            rail_off: false,
        }
    }

    fn settled(estimate: &Estimate) -> EnableConditions {
        let mut conditions = EnableConditions::default();
        for _ in 0..500 {
            conditions.step(&CONDITIONS, &steady(estimate), 0.02);
        }
        conditions
    }

    #[test]
    fn steady_warm_running_is_accepted() {
        let estimate = warm();
        assert_eq!(settled(&estimate).step(&CONDITIONS, &steady(&estimate), 0.02), None);
    }

    #[test]
    fn each_condition_has_its_own_reason() {
        let estimate = warm();
        let mut conditions = settled(&estimate);
        let now = steady(&estimate);
        let cold = Estimate { ect_k: 300.0, ..warm() };
        let flat = Estimate { battery_v: 9.0, ..warm() };
        let moved = Estimate { map_pa: 60e3, ..warm() };
        let cases = [
            (EnableInputs { phase: Phase::FuelCut, ..now }, Refusal::FuelCut),
            (EnableInputs { phase: Phase::Cranking, ..now }, Refusal::Starting),
            (EnableInputs { since_start_s: 3.0, ..now }, Refusal::Starting),
            (EnableInputs { nitrous: true, ..now }, Refusal::Nitrous),
            (EnableInputs { guarded: true, ..now }, Refusal::Guard),
            (EnableInputs { rail_off: true, ..now }, Refusal::RailPressure),
            (EnableInputs { duty_limited: true, ..now }, Refusal::DutyLimit),
            (EnableInputs { film_overflows: true, ..now }, Refusal::FilmOverflows),
            (EnableInputs { estimate: &flat, ..now }, Refusal::Volts),
            (EnableInputs { estimate: &cold, ..now }, Refusal::Cold),
            (EnableInputs { estimate: &moved, ..now }, Refusal::Transient),
            (EnableInputs { wanted_ln: -0.1, ..now }, Refusal::WantedMoving),
        ];
        for (case, reason) in cases {
            assert_eq!(conditions.clone().step(&CONDITIONS, &case, 0.02), Some(reason));
        }
        assert_eq!(conditions.step(&CONDITIONS, &now, 0.02), None);
    }

    #[test]
    fn a_lower_temperature_limit_accepts_a_cooler_engine() {
        let cool = Estimate { ect_k: 320.0, ..warm() };
        let mut conditions = settled(&cool);
        assert_eq!(conditions.clone().step(&CONDITIONS, &steady(&cool), 0.02), Some(Refusal::Cold));
        let sooner = EnableConditionParameters { warm_k: 313.0, ..CONDITIONS };
        assert_eq!(conditions.step(&sooner, &steady(&cool), 0.02), None);
    }

    /// By hand: of a step of 4 kPa and 9.6 rad/s a first-order lag of 0.48 s leaves 24 of 25 parts after 20 ms.
    #[test]
    fn movement_is_the_deviation_from_a_lag_over_its_limit() {
        let estimate = warm();
        let conditions = EnableConditionParameters { steady_lag_s: 0.48, ..CONDITIONS };
        let after = |map_pa, speed_rad_per_s| {
            let mut settled = settled(&estimate);
            let moved = Estimate { map_pa, ..warm() };
            settled.step(&conditions, &EnableInputs { speed_rad_per_s, ..steady(&moved) }, 0.02);
            settled.movement()
        };
        assert!((after(44e3, 150.0) - 0.96 * 4e3 / CONDITIONS.steady_map_pa).abs() < 1e-3);
        assert!((after(36e3, 150.0) - 0.96 * 4e3 / CONDITIONS.steady_map_pa).abs() < 1e-3);
        assert!((after(40e3, 159.6) - 0.96 * 9.6 / CONDITIONS.steady_speed_rad_per_s).abs() < 1e-3);
        assert!(after(40e3, 150.0) < 1e-3);
    }

    #[test]
    fn at_its_limit_a_condition_still_holds() {
        let refused = |change: fn(&mut Estimate), since_start_s, parameters: &EnableConditionParameters| {
            let mut estimate = warm();
            change(&mut estimate);
            let mut settled = settled(&estimate);
            let refusal =
                settled.step(parameters, &EnableInputs { since_start_s, ..steady(&estimate) }, 0.02);
            (refusal, settled.movement())
        };
        let refusal = |change, since_start_s| refused(change, since_start_s, &CONDITIONS).0;
        assert_eq!(refusal(|_| (), CONDITIONS.after_start_s), None);
        assert_eq!(refusal(|_| (), CONDITIONS.after_start_s - 0.1), Some(Refusal::Starting));
        assert_eq!(refusal(|estimate| estimate.ect_k = CONDITIONS.warm_k, 100.0), None);
        assert_eq!(refusal(|estimate| estimate.battery_v = CONDITIONS.min_battery_v, 100.0), None);
        assert_eq!(refusal(|estimate| estimate.battery_v = 15.9, 100.0), Some(Refusal::Volts));
    }

    #[test]
    fn pressure_speed_or_wanted_lambda_may_move_as_far_as_their_limits() {
        let estimate = warm();
        let refusal = |map_pa, wanted_ln| {
            // Too short a time for the lag to follow: what moved is the whole step.
            let moved = Estimate { map_pa, ..warm() };
            let now = EnableInputs { wanted_ln, ..steady(&moved) };
            settled(&estimate).step(
                &EnableConditionParameters { steady_lag_s: 10.0, ..CONDITIONS },
                &now,
                1e-9,
            )
        };
        assert_eq!(refusal(40e3 + 3.9 * CONDITIONS.steady_map_pa, 0.0), None);
        assert_eq!(refusal(40e3 + 4.1 * CONDITIONS.steady_map_pa, 0.0), Some(Refusal::Transient));
        assert_eq!(refusal(40e3, 0.009), None);
        assert_eq!(refusal(40e3, 0.011), Some(Refusal::WantedMoving));
    }

    #[test]
    fn a_movement_of_just_the_limit_is_accepted() {
        let estimate = warm();
        let (moved, mut conditions) = (Estimate { map_pa: 45e3, ..warm() }, settled(&estimate));
        let now = EnableInputs { wanted_ln: 0.02, ..steady(&moved) };
        let mut seen = conditions;
        seen.step(&CONDITIONS, &now, 0.02);
        let limits = EnableConditionParameters {
            max_movement: seen.movement(),
            steady_wanted_ln: 0.02 - seen.wanted_ln,
            ..CONDITIONS
        };
        assert_eq!(conditions.step(&limits, &now, 0.02), None);
    }
}
