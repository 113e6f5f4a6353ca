//! Nitrous oxide: when it may flow, and the fuel it needs.
//!
//! The gas carries 0.3635 of oxygen by mass; petrol CH1.87 burns 1 kg with 9.296 kg of it (atom balance,
//! shared/reference). The extra fuel is flow / 9.296 for the gas alone, made richer for cooling.
//! Nitrous can destroy an engine and the bottle and lines can hurt: fit and use it as its maker and local rules say.

use trimwright_numerics::Real;

use crate::believe::Belief;
use crate::clock::LONG_S;
use crate::setup::Setup;

trimwright_numerics::parameters! {
    /// When nitrous oxide flows and how much fuel goes with it. Its flow is an answer.
    #[cfg_attr(feature = "defmt", derive(defmt::Format))]
    pub struct NitrousParameters<f32> "nitrous" {
        /// Extra fuel over what the gas burns: richer for cooling.
        number richer { 1.1, 1.0..=1.5 "1", "engineering judgement" }
        /// Throttle position above which it flows.
        number least_throttle { 0.85, 0.3..=1.0 "1", "engineering judgement" }
        /// Speed above idle from which it flows.
        number above_idle_rad_per_s { 170.0, 0.0..=600.0 "rad/s", "engineering judgement" }
        /// Speed below the rev limit up to which it flows.
        number below_limit_rad_per_s { 40.0, 5.0..=400.0 "rad/s", "engineering judgement" }
        /// Coolant temperature from which it flows.
        number coldest_k { 340.0, 290.0..=365.0 "K", "engineering judgement" }
        /// Coolant temperature up to which it flows.
        number hottest_k { 378.0, 365.0..=400.0 "K", "engineering judgement" }
        /// Lambda read over lambda wanted above which it drops out.
        number lean_drop_out { 1.08, 1.0..=1.3 "1", "engineering judgement" }
        /// Rail pressure over the wanted one below which it drops out.
        number pressure_drop_out { 0.85, 0.5..=1.0 "1", "engineering judgement" }
        /// Time for which all conditions must have held before it flows.
        number steady_s { 0.2, 0.0..=5.0 "s", "engineering judgement" }
    }
}

/// Stoichiometric mass of nitrous oxide per mass of petrol CH1.87: atom balance.
const STOICH_RATIO: f32 = 9.296;
/// Longest time between firings that extra fuel is given for, s: a longer one is a gap in the pulses.
const LONGEST_INTERVAL_S: f32 = 0.1;
/// Nitrous control.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub struct Nitrous {
    on: bool,
    dropped_out: bool,
    fit_s: f32,
}

/// What must be fit beside the believed quantities.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Fitness {
    /// The driver has armed it.
    pub armed: bool,
    /// Crank speed, rad/s.
    pub speed_rad_per_s: f32,
    /// Lambda read over lambda wanted, where the reading is usable.
    pub lean_ratio: Option<f32>,
    /// The engine burns what is injected.
    pub burns: bool,
    /// A trouble code is set.
    pub trouble: bool,
}

impl Nitrous {
    /// Whether the solenoids are open.
    pub const fn is_on(&self) -> bool {
        self.on
    }

    /// Whether it dropped out for a lean mixture or low pressure; it stays off until it is disarmed.
    pub const fn dropped_out(&self) -> bool {
        self.dropped_out
    }

    /// One 10 ms slot. Gives whether the solenoids are open.
    ///
    /// ```
    /// use trimwright_control::believe::Belief;
    /// use trimwright_control::nitrous::{Fitness, Nitrous, NitrousParameters};
    /// use trimwright_control::{Calibration, SetupAnswers};
    /// let calibration = Calibration::from_answers(&SetupAnswers { nitrous: true, ..SetupAnswers::default() })?;
    /// let (mut nitrous, mut full_throttle) = (Nitrous::default(), Belief::default());
    /// (full_throttle.tp, full_throttle.ect_k) = (1.0, 360.0);
    /// let mut half_a_second = |lean_ratio| {
    ///     let fitness = Fitness { armed: true, speed_rad_per_s: 350.0, lean_ratio, burns: true, trouble: false };
    ///     for _ in 0..50 {
    ///         nitrous.step(&NitrousParameters::DEFAULT, calibration.setup(), &full_throttle, fitness, 0.01);
    ///     }
    ///     (nitrous.is_on(), nitrous.dropped_out())
    /// };
    /// assert_eq!(half_a_second(Some(1.0)), (true, false));
    /// assert_eq!(half_a_second(Some(1.2)), (false, true), "20 % leaner than wanted: off");
    /// assert_eq!(half_a_second(Some(1.0)), (false, true), "and off it stays while it is armed");
    /// # Ok::<(), trimwright_control::AnswerError>(())
    /// ```
    pub fn step(
        &mut self,
        parameters: &NitrousParameters,
        setup: &Setup,
        belief: &Belief,
        fitness: Fitness,
        dt_s: f32,
    ) -> bool {
        let answers = setup.answers();
        let Fitness { armed, speed_rad_per_s, lean_ratio, burns, trouble } = fitness;
        let lean = lean_ratio.is_none_or(|ratio| ratio > parameters.lean_drop_out || ratio.is_nan());
        let low = belief.rail_pa < parameters.pressure_drop_out * answers.rail_pressure_pa;
        let failed = lean || low || belief.doubts.fuel() || trouble;
        if !armed {
            self.dropped_out = false;
        } else if self.on && failed {
            self.dropped_out = true;
        }
        let in_window = speed_rad_per_s > answers.idle_speed_rad_per_s + parameters.above_idle_rad_per_s
            && speed_rad_per_s < answers.rev_limit_rad_per_s - parameters.below_limit_rad_per_s;
        let warm = belief.ect_k > parameters.coldest_k && belief.ect_k < parameters.hottest_k;
        let fit = answers.nitrous
            && armed
            && !self.dropped_out
            && !failed
            && burns
            && belief.tp > parameters.least_throttle
            && in_window
            && warm;
        self.fit_s = if fit { (self.fit_s + dt_s).at_most(LONG_S) } else { 0.0 };
        self.on = self.fit_s > parameters.steady_s;
        self.on
    }

    /// Extra fuel of one cylinder event, kg.
    pub fn extra_kg(&self, parameters: &NitrousParameters, setup: &Setup, interval_s: f32) -> f32 {
        if self.on {
            let burns_kg_per_s = setup.answers().nitrous_flow_kg_per_s / STOICH_RATIO;
            burns_kg_per_s * parameters.richer * interval_s.clamp(0.0, LONGEST_INTERVAL_S)
        } else {
            0.0
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::answers::SetupAnswers;
    use crate::calibration::Calibration;

    const NITROUS: NitrousParameters = NitrousParameters::DEFAULT;

    fn calibration() -> Calibration {
        Calibration::from_answers(&SetupAnswers { nitrous: true, ..SetupAnswers::default() }).unwrap()
    }

    fn fit() -> Belief {
        Belief { tp: 1.0, ect_k: 360.0, map_pa: 98e3, ..Belief::default() }
    }

    fn run(nitrous: &mut Nitrous, belief: &Belief, armed: bool, speed: f32, lean: Option<f32>) -> bool {
        let fitness =
            Fitness { armed, speed_rad_per_s: speed, lean_ratio: lean, burns: true, trouble: false };
        run_with(&NITROUS, nitrous, belief, fitness)
    }

    fn run_with(
        parameters: &NitrousParameters,
        nitrous: &mut Nitrous,
        belief: &Belief,
        fitness: Fitness,
    ) -> bool {
        (0..50).for_each(|_| _ = nitrous.step(parameters, calibration().setup(), belief, fitness, 0.01));
        nitrous.on
    }

    const FIT: Fitness =
        Fitness { armed: true, speed_rad_per_s: 350.0, lean_ratio: Some(1.0), burns: true, trouble: false };

    #[test]
    fn it_flows_only_when_everything_is_fit() {
        let (closed, cold) = (Belief { tp: 0.4, ..fit() }, Belief { ect_k: 300.0, ..fit() });
        assert!(run(&mut Nitrous::default(), &fit(), true, 350.0, Some(1.0)));
        assert!(!run(&mut Nitrous::default(), &fit(), false, 350.0, Some(1.0)));
        assert!(!run(&mut Nitrous::default(), &closed, true, 350.0, Some(1.0)));
        assert!(!run(&mut Nitrous::default(), &cold, true, 350.0, Some(1.0)));
        assert!(!run(&mut Nitrous::default(), &fit(), true, 150.0, Some(1.0)));
        assert!(!run(&mut Nitrous::default(), &fit(), true, 530.0, Some(1.0)));
        assert!(!run(&mut Nitrous::default(), &fit(), true, 350.0, None));
    }

    #[test]
    fn lean_or_low_pressure_drops_it_out_until_disarmed() {
        let starved = Belief { rail_pa: 200e3, ..fit() };
        for (belief, lean) in [(fit(), Some(1.2)), (starved, Some(1.0))] {
            let mut nitrous = Nitrous::default();
            assert!(run(&mut nitrous, &fit(), true, 350.0, Some(1.0)));
            assert!(!run(&mut nitrous, &belief, true, 350.0, lean));
            assert!(!run(&mut nitrous, &fit(), true, 350.0, Some(1.0)));
            run(&mut nitrous, &fit(), false, 350.0, Some(1.0));
            assert!(run(&mut nitrous, &fit(), true, 350.0, Some(1.0)));
        }
    }

    #[test]
    fn a_trouble_code_keeps_it_off() {
        let trouble = Fitness { trouble: true, ..FIT };
        assert!(!run_with(&NITROUS, &mut Nitrous::default(), &fit(), trouble));
    }

    #[test]
    fn the_window_of_speed_throttle_and_coolant_can_be_moved() {
        let flows = |parameters: &NitrousParameters, belief: &Belief, speed_rad_per_s| {
            let fitness = Fitness { speed_rad_per_s, ..FIT };
            run_with(parameters, &mut Nitrous::default(), belief, fitness)
        };
        let sooner = NitrousParameters { above_idle_rad_per_s: 60.0, ..NITROUS };
        assert!(!flows(&NITROUS, &fit(), 150.0) && flows(&sooner, &fit(), 150.0));
        let later = NitrousParameters { below_limit_rad_per_s: 10.0, ..NITROUS };
        assert!(!flows(&NITROUS, &fit(), 530.0) && flows(&later, &fit(), 530.0));
        let half = NitrousParameters { least_throttle: 0.4, ..NITROUS };
        let half_open = Belief { tp: 0.5, ..fit() };
        assert!(!flows(&NITROUS, &half_open, 350.0) && flows(&half, &half_open, 350.0));
        let cool = NitrousParameters { hottest_k: 365.0, ..NITROUS };
        let hot = Belief { ect_k: 370.0, ..fit() };
        assert!(flows(&NITROUS, &hot, 350.0) && !flows(&cool, &hot, 350.0));
    }

    /// Atom balance: 9.296 kg of gas to 1 kg of CH1.87, 10 % rich.
    #[test]
    fn val_the_extra_fuel_burns_the_extra_oxygen() {
        let nitrous = Nitrous { on: true, ..Nitrous::default() };
        let per_s = nitrous.extra_kg(&NITROUS, calibration().setup(), 0.01) / 0.01;
        assert!((per_s / (0.03 / 9.296 * 1.1) - 1.0).abs() < 1e-5);
    }
}
