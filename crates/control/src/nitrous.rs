//! Nitrous oxide: when it may flow, and the fuel it needs.
//!
//! The gas carries 0.3635 of oxygen by mass; petrol CH1.87 burns 1 kg with 9.296 kg of it (atom balance,
//! shared/reference). The extra fuel is flow / 9.296 for the gas alone, made 10 % richer for cooling (engineering judgement).
//! Nitrous can destroy an engine and the bottle and lines can hurt: fit and use it as its maker and local rules say.

use crate::believe::Belief;
use crate::dtc::Dtcs;
use crate::setup::Setup;

/// Stoichiometric mass of nitrous oxide per mass of petrol CH1.87: atom balance.
const STOICH_RATIO: f32 = 9.296;
/// How much richer than that, ratio.
const RICHER: f32 = 1.1;
/// Throttle position above which it flows.
const THROTTLE: f32 = 0.85;
/// Crank speed between which it flows: above idle by this much, below the limit by this much, rad/s.
const WINDOW_RAD_PER_S: (f32, f32) = (170.0, 40.0);
/// Lambda read over wanted above which it drops out.
const LEAN: f32 = 1.08;
/// Rail pressure under which it drops out, share of the wanted.
const LOW_RAIL: f32 = 0.85;
/// The conditions must have held this long, s.
const STEADY_S: f32 = 0.2;

/// Nitrous control.
///
/// ```
/// use trimwright_control::believe::Belief;
/// use trimwright_control::dtc::Dtcs;
/// use trimwright_control::nitrous::Nitrous;
/// use trimwright_control::{Calibration, SetupAnswers};
/// let calibration = Calibration::from_answers(&SetupAnswers { nitrous: true, ..SetupAnswers::default() })?;
/// let (mut nitrous, mut full_throttle) = (Nitrous::default(), Belief::default());
/// (full_throttle.tp, full_throttle.ect_k) = (1.0, 360.0);
/// let mut half_a_second = |lean_ratio| {
///     for _ in 0..50 {
///         nitrous.step(&calibration, &full_throttle, true, 350.0, lean_ratio, true, &Dtcs::default(), 0.01);
///     }
///     (nitrous.on, nitrous.dropped_out)
/// };
/// assert_eq!(half_a_second(Some(1.0)), (true, false));
/// assert_eq!(half_a_second(Some(1.2)), (false, true), "20 % leaner than wanted: off");
/// assert_eq!(half_a_second(Some(1.0)), (false, true), "and off it stays while it is armed");
/// # Ok::<(), trimwright_control::AnswerError>(())
/// ```
#[derive(Clone, Copy, Debug, Default, PartialEq)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub struct Nitrous {
    /// The solenoids are open.
    pub on: bool,
    /// It dropped out for a lean mixture or low pressure; it stays off until it is disarmed.
    pub dropped_out: bool,
    fit_s: f32,
}

impl Nitrous {
    /// One 10 ms slot.
    ///
    /// ```
    /// use trimwright_control::believe::Belief;
    /// use trimwright_control::dtc::Dtcs;
    /// use trimwright_control::nitrous::Nitrous;
    /// use trimwright_control::{Calibration, SetupAnswers};
    /// let calibration = Calibration::from_answers(&SetupAnswers { nitrous: true, ..SetupAnswers::default() })?;
    /// let flows = |tp, ect_k| {
    ///     let (mut nitrous, mut belief) = (Nitrous::default(), Belief::default());
    ///     (belief.tp, belief.ect_k) = (tp, ect_k);
    ///     for _ in 0..50 {
    ///         nitrous.step(&calibration, &belief, true, 350.0, Some(1.0), true, &Dtcs::default(), 0.01);
    ///     }
    ///     nitrous.on
    /// };
    /// // Warm at full throttle; at half throttle; cold.
    /// assert_eq!([flows(1.0, 360.0), flows(0.5, 360.0), flows(1.0, 300.0)], [true, false, false]);
    /// # Ok::<(), trimwright_control::AnswerError>(())
    /// ```
    #[expect(clippy::too_many_arguments, reason = "every condition that must hold is one of them")]
    pub fn step(
        &mut self,
        setup: &Setup,
        belief: &Belief,
        armed: bool,
        speed_rad_per_s: f32,
        lean_ratio: Option<f32>,
        burns: bool,
        dtcs: &Dtcs,
        dt_s: f32,
    ) {
        let answers = setup.answers();
        let lean = lean_ratio.is_none_or(|ratio| ratio > LEAN || ratio.is_nan());
        let low = belief.rail_pa < LOW_RAIL * answers.rail_pressure_pa;
        let failed = lean || low || belief.doubts.fuel() || !dtcs.active_codes().is_empty();
        if !armed {
            self.dropped_out = false;
        } else if self.on && failed {
            self.dropped_out = true;
        }
        let in_window = speed_rad_per_s > answers.idle_speed_rad_per_s + WINDOW_RAD_PER_S.0
            && speed_rad_per_s < answers.rev_limit_rad_per_s - WINDOW_RAD_PER_S.1;
        let warm = belief.ect_k > 340.0 && belief.ect_k < 378.0;
        let fit = answers.nitrous
            && armed
            && !self.dropped_out
            && !failed
            && burns
            && belief.tp > THROTTLE
            && in_window
            && warm;
        self.fit_s = if fit { (self.fit_s + dt_s).min(10.0) } else { 0.0 };
        self.on = self.fit_s > STEADY_S;
    }

    /// Extra fuel of one cylinder event, kg.
    ///
    /// ```
    /// use trimwright_control::nitrous::Nitrous;
    /// use trimwright_control::{Calibration, SetupAnswers};
    /// let calibration = Calibration::from_answers(&SetupAnswers { nitrous: true, ..SetupAnswers::default() })?;
    /// let mut nitrous = Nitrous::default();
    /// assert_eq!(nitrous.extra_kg(&calibration, 4e-3), 0.0);
    /// // A V8 at 350 rad/s fires every 4.5 ms: 30 g/s of gas take 16 mg of fuel each time.
    /// nitrous.on = true;
    /// assert!((nitrous.extra_kg(&calibration, 4.5e-3) - 16e-6).abs() < 0.1e-6);
    /// # Ok::<(), trimwright_control::AnswerError>(())
    /// ```
    pub fn extra_kg(&self, setup: &Setup, interval_s: f32) -> f32 {
        if self.on {
            setup.answers().nitrous_flow_kg_per_s / STOICH_RATIO * RICHER * interval_s.clamp(0.0, 0.1)
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
    use crate::dtc::Dtc;

    fn calibration() -> Calibration {
        Calibration::from_answers(&SetupAnswers { nitrous: true, ..SetupAnswers::default() }).unwrap()
    }

    fn fit() -> Belief {
        Belief { tp: 1.0, ect_k: 360.0, map_pa: 98e3, ..Belief::default() }
    }

    fn run(nitrous: &mut Nitrous, belief: &Belief, armed: bool, speed: f32, lean: Option<f32>) -> bool {
        for _ in 0..50 {
            nitrous.step(&calibration(), belief, armed, speed, lean, true, &Dtcs::default(), 0.01);
        }
        nitrous.on
    }

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
        let mut dtcs = Dtcs::default();
        dtcs.report(Dtc::O2Slow, true, 10.0);
        let mut nitrous = Nitrous::default();
        for _ in 0..50 {
            nitrous.step(&calibration(), &fit(), true, 350.0, Some(1.0), true, &dtcs, 0.01);
        }
        assert!(!nitrous.on);
    }

    /// Atom balance: 9.296 kg of gas to 1 kg of CH1.87, 10 % rich.
    #[test]
    fn val_the_extra_fuel_burns_the_extra_oxygen() {
        let nitrous = Nitrous { on: true, ..Nitrous::default() };
        let per_s = nitrous.extra_kg(&calibration(), 0.01) / 0.01;
        assert!((per_s / (0.03 / 9.296 * 1.1) - 1.0).abs() < 1e-5);
    }
}
