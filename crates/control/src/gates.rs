//! Enable conditions of learning: when a reading teaches nothing, and why.

use trimwright_numerics::Real;

use crate::believe::Belief;
use crate::phase::Phase;
use crate::refusal::Refusal;

trimwright_numerics::parameters! {
    /// When readings teach.
    #[cfg_attr(feature = "defmt", derive(defmt::Format))]
    pub struct EnableConditionParameters<f32> "enable_conditions" {
        /// Time after a start in which nothing is learned.
        number after_start_s { 15.0, 0.0..=600.0 "s", "engineering judgement" }
        /// Coolant temperature from which the map is learned.
        number warm_k { 333.0, 253.0..=373.0 "K", "engineering judgement" }
        /// Distance of the manifold pressure from its own lagged value at the end of what counts as calm.
        number calm_map_pa { 2.5e3, 100.0..=20e3 "Pa", "engineering judgement" }
        /// Distance of the crank speed from its own lagged value at the end of what counts as calm.
        number calm_speed_rad_per_s { 12.0, 1.0..=100.0 "rad/s", "engineering judgement" }
        /// Movement over what counts as calm above which nothing is learned.
        number most_moving { 4.0, 0.5..=20.0 "1", "engineering judgement" }
        /// Distance of the wanted mixture from its own lagged value above which nothing is learned.
        number calm_wanted_ln { 0.01, 0.001..=0.1 "ln", "engineering judgement" }
        /// Time constant of the lagged values that pressure, speed and wanted mixture are compared with.
        number calm_lag_s { 0.5, 0.05..=10.0 "s", "engineering judgement: about that of a warm wall film" }
        /// Supply voltage below which nothing is learned.
        number least_battery_v { 10.5, 6.0..=13.0 "V", "engineering judgement: the opening delay grows steep" }
        /// Supply voltage above which nothing is learned.
        number greatest_battery_v { 15.8, 13.0..=20.0 "V", "engineering judgement" }
    }
}

/// Watches how calmly the engine runs.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub struct Gates {
    map_pa: f32,
    speed_rad_per_s: f32,
    wanted_ln: f32,
    moving: f32,
}

/// What the gates look at when fuel is injected.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Circumstances<'a> {
    /// The believed quantities.
    pub belief: &'a Belief,
    /// Phase of the engine.
    pub phase: Phase,
    /// Time since the start, s.
    pub since_start_s: f32,
    /// Crank speed, rad/s.
    pub speed_rad_per_s: f32,
    /// Wanted mixture, ln lambda.
    pub wanted_ln: f32,
    /// The injectors are at their limit.
    pub duty_limited: bool,
    /// The wall film gives off more than is wanted.
    pub film_overflows: bool,
    /// Nitrous is on.
    pub nitrous: bool,
    /// A guard changes the mixture.
    pub guarded: bool,
}

impl Gates {
    /// How fast pressure and speed are moving: 1 at the end of what counts as calm. Lessons count less the more they moved.
    pub const fn moving(&self) -> f32 {
        self.moving
    }

    /// Whether the fuel of this instant can teach something later; the first reason found if not.
    ///
    /// ```
    /// use trimwright_control::{Phase, Refusal};
    /// use trimwright_control::believe::Belief;
    /// use trimwright_control::gates::{Circumstances, EnableConditionParameters, Gates};
    /// let after_10_s = |ect_k| {
    ///     let (mut gates, mut belief) = (Gates::default(), Belief::default());
    ///     (belief.ect_k, belief.battery_v) = (ect_k, 13.8);
    ///     let now = Circumstances { belief: &belief, phase: Phase::Running, since_start_s: 600.0, speed_rad_per_s: 150.0,
    ///         wanted_ln: 0.0, duty_limited: false, film_overflows: false, nitrous: false, guarded: false };
    ///     (0..500).map(|_| gates.step(&EnableConditionParameters::DEFAULT, &now, 0.02)).last()
    /// };
    /// assert_eq!(after_10_s(293.0), Some(Some(Refusal::Cold)));
    /// assert_eq!(after_10_s(360.0), Some(None), "calm and warm: this teaches");
    /// ```
    pub fn step(
        &mut self,
        parameters: &EnableConditionParameters,
        now: &Circumstances<'_>,
        dt_s: f32,
    ) -> Option<Refusal> {
        let share = dt_s / (parameters.calm_lag_s + dt_s);
        let moved = |lagged: &mut f32, value: f32| {
            *lagged += share * (value - *lagged);
            (value - *lagged).abs()
        };
        let map_moved_pa = moved(&mut self.map_pa, now.belief.map_pa);
        let speed_moved = moved(&mut self.speed_rad_per_s, now.speed_rad_per_s);
        let wanted_moved = moved(&mut self.wanted_ln, now.wanted_ln);
        self.moving =
            (map_moved_pa / parameters.calm_map_pa).at_least(speed_moved / parameters.calm_speed_rad_per_s);
        let volts = parameters.least_battery_v..=parameters.greatest_battery_v;
        let reasons = [
            (matches!(now.phase, Phase::FuelCut | Phase::OverSpeed | Phase::LeanGuard), Refusal::FuelCut),
            (!now.phase.burns() || now.since_start_s < parameters.after_start_s, Refusal::Starting),
            (now.nitrous, Refusal::Nitrous),
            (now.guarded, Refusal::Guard),
            (now.duty_limited, Refusal::DutyLimit),
            (now.film_overflows, Refusal::FilmOverflows),
            (now.belief.doubts.fuel(), Refusal::Substituted),
            (!volts.contains(&now.belief.battery_v), Refusal::Volts),
            (now.belief.ect_k < parameters.warm_k, Refusal::Cold),
            (wanted_moved > parameters.calm_wanted_ln, Refusal::WantedMoving),
            (self.moving > parameters.most_moving, Refusal::Transient),
        ];
        reasons.into_iter().find_map(|(found, reason)| found.then_some(reason))
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    const CONDITIONS: EnableConditionParameters = EnableConditionParameters::DEFAULT;

    fn warm() -> Belief {
        Belief { map_pa: 40e3, ect_k: 360.0, battery_v: 13.8, ..Belief::default() }
    }

    fn calm(belief: &Belief) -> Circumstances<'_> {
        Circumstances {
            belief,
            phase: Phase::Running,
            since_start_s: 100.0,
            speed_rad_per_s: 150.0,
            wanted_ln: 0.0,
            duty_limited: false,
            film_overflows: false,
            nitrous: false,
            guarded: false,
        }
    }

    fn settled(belief: &Belief) -> Gates {
        let mut gates = Gates::default();
        for _ in 0..500 {
            gates.step(&CONDITIONS, &calm(belief), 0.02);
        }
        gates
    }

    #[test]
    fn calm_warm_running_teaches() {
        let belief = warm();
        assert_eq!(settled(&belief).step(&CONDITIONS, &calm(&belief), 0.02), None);
    }

    #[test]
    fn each_circumstance_has_its_own_reason() {
        let belief = warm();
        let mut gates = settled(&belief);
        let now = calm(&belief);
        let cold = Belief { ect_k: 300.0, ..warm() };
        let flat = Belief { battery_v: 9.0, ..warm() };
        let moved = Belief { map_pa: 60e3, ..warm() };
        let cases = [
            (Circumstances { phase: Phase::FuelCut, ..now }, Refusal::FuelCut),
            (Circumstances { phase: Phase::Cranking, ..now }, Refusal::Starting),
            (Circumstances { since_start_s: 3.0, ..now }, Refusal::Starting),
            (Circumstances { nitrous: true, ..now }, Refusal::Nitrous),
            (Circumstances { guarded: true, ..now }, Refusal::Guard),
            (Circumstances { duty_limited: true, ..now }, Refusal::DutyLimit),
            (Circumstances { film_overflows: true, ..now }, Refusal::FilmOverflows),
            (Circumstances { belief: &flat, ..now }, Refusal::Volts),
            (Circumstances { belief: &cold, ..now }, Refusal::Cold),
            (Circumstances { belief: &moved, ..now }, Refusal::Transient),
            (Circumstances { wanted_ln: -0.1, ..now }, Refusal::WantedMoving),
        ];
        for (case, reason) in cases {
            assert_eq!(gates.clone().step(&CONDITIONS, &case, 0.02), Some(reason));
        }
        assert_eq!(gates.step(&CONDITIONS, &now, 0.02), None);
    }

    #[test]
    fn other_conditions_let_other_readings_teach() {
        let cool = Belief { ect_k: 320.0, ..warm() };
        let mut gates = settled(&cool);
        assert_eq!(gates.clone().step(&CONDITIONS, &calm(&cool), 0.02), Some(Refusal::Cold));
        let sooner = EnableConditionParameters { warm_k: 313.0, ..CONDITIONS };
        assert_eq!(gates.step(&sooner, &calm(&cool), 0.02), None);
    }
}
