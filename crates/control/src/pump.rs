//! Fuel pump: primes, runs with the engine, holds the rail pressure where there is no return line.

use trimwright_numerics::Real;

use crate::answers::FuelSystem;
use crate::believe::Belief;
use crate::dtc::{Dtc, Dtcs};
use crate::phase::Phase;
use crate::setup::Setup;

/// Duty that about holds the pressure at idle, and what a flow of 1 kg/s adds (engineering judgement; feedback mends it).
const FEED_FORWARD: (f32, f32) = (0.35, 12.0);
/// Proportional gain, duty per Pa.
const GAIN: f32 = 3e-6;
/// Integral gain, duty per Pa and s.
const INTEGRAL_GAIN: f32 = 6e-6;

/// Pump control.
///
/// ```
/// use trimwright_control::believe::Belief;
/// use trimwright_control::dtc::Dtcs;
/// use trimwright_control::pump::Pump;
/// use trimwright_control::{Calibration, Phase, SetupAnswers};
/// let calibration = Calibration::from_answers(&SetupAnswers::default())?;
/// let (mut pump, mut dtcs) = (Pump::default(), Dtcs::default());
/// // With a return line the regulator holds the pressure: the pump runs at full supply or not at all.
/// let duties = [Phase::Stopped, Phase::Priming, Phase::Running].map(|phase| {
///     pump.step(&calibration, &Belief::default(), phase, 0.5e-3, 0.01, &mut dtcs);
///     pump.duty
/// });
/// assert_eq!(duties, [0.0, 1.0, 1.0]);
/// # Ok::<(), trimwright_control::AnswerError>(())
/// ```
#[derive(Clone, Copy, Debug, Default, PartialEq)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub struct Pump {
    integral: f32,
    /// The integral when the fuel was cut, while it is.
    before_cut: Option<f32>,
    /// Share of the supply voltage, 0 to 1.
    pub duty: f32,
}

impl Pump {
    /// One 10 ms slot; `fuel_kg_per_s` is the engine's consumption.
    ///
    /// ```
    /// use trimwright_control::believe::Belief;
    /// use trimwright_control::dtc::{Dtc, Dtcs};
    /// use trimwright_control::pump::Pump;
    /// use trimwright_control::{Calibration, FuelSystem, Phase, SetupAnswers};
    /// let answers = SetupAnswers { fuel_system: FuelSystem::Returnless, ..SetupAnswers::default() };
    /// let calibration = Calibration::from_answers(&answers)?;
    /// let (mut pump, mut dtcs, mut belief) = (Pump::default(), Dtcs::default(), Belief::default());
    /// // A clogged filter: 200 kPa where 300 are wanted. The pump works harder, and a code tells of it.
    /// belief.rail_pa = 200e3;
    /// (0..500).for_each(|_| pump.step(&calibration, &belief, Phase::Running, 2e-3, 0.01, &mut dtcs));
    /// assert!(pump.duty > 0.9 && dtcs.is_set(Dtc::RailTooLow));
    /// # Ok::<(), trimwright_control::AnswerError>(())
    /// ```
    pub fn step(
        &mut self,
        setup: &Setup,
        belief: &Belief,
        phase: Phase,
        fuel_kg_per_s: f32,
        dt_s: f32,
        dtcs: &mut Dtcs,
    ) {
        let wanted_pa = setup.answers().rail_pressure_pa;
        let off = wanted_pa - belief.rail_pa;
        let watched = phase.started() && !belief.doubts.rail;
        dtcs.report(Dtc::RailTooLow, watched && off > 0.25 * wanted_pa, dt_s);
        dtcs.report(Dtc::RailTooHigh, watched && off < -0.35 * wanted_pa, dt_s);
        if phase == Phase::Stopped {
            *self = Self::default();
            return;
        }
        if setup.answers().fuel_system == FuelSystem::Return || belief.doubts.rail {
            (self.duty, self.before_cut) = (1.0, None);
            return;
        }
        // What holds the pressure while nothing flows would let it dip when fuel is used again.
        if phase == Phase::FuelCut {
            self.before_cut.get_or_insert(self.integral);
        } else if let Some(before) = self.before_cut.take() {
            self.integral = before;
        }
        let known = FEED_FORWARD.0 + FEED_FORWARD.1 * fuel_kg_per_s.held(0.0, 0.1);
        let wanted = known + GAIN * off + self.integral;
        if (wanted < 1.0 || off < 0.0) && (wanted > 0.0 || off > 0.0) {
            self.integral = (self.integral + INTEGRAL_GAIN * off * dt_s).held(-0.6, 0.6);
        }
        self.duty = wanted.held(0.05, 1.0);
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::answers::SetupAnswers;
    use crate::calibration::Calibration;

    fn pump(fuel_system: FuelSystem, phase: Phase, rail_pa: f32, seconds: f32) -> (Pump, Dtcs) {
        let answers = SetupAnswers { fuel_system, ..SetupAnswers::default() };
        let calibration = Calibration::from_answers(&answers).unwrap();
        let (mut pump, mut dtcs) = (Pump::default(), Dtcs::default());
        let belief = Belief { rail_pa, ..Belief::default() };
        for _ in 0..(seconds * 100.0) as u32 {
            pump.step(&calibration, &belief, phase, 1e-3, 0.01, &mut dtcs);
        }
        (pump, dtcs)
    }

    #[test]
    fn with_a_return_line_it_is_on_or_off() {
        assert_eq!(pump(FuelSystem::Return, Phase::Stopped, 0.0, 0.1).0.duty, 0.0);
        assert_eq!(pump(FuelSystem::Return, Phase::Priming, 0.0, 0.1).0.duty, 1.0);
    }

    #[test]
    fn without_one_it_follows_the_pressure() {
        let low = pump(FuelSystem::Returnless, Phase::Running, 250e3, 0.5).0.duty;
        let high = pump(FuelSystem::Returnless, Phase::Running, 350e3, 0.5).0.duty;
        assert!(low > high + 0.2 && (0.0..=1.0).contains(&low) && (0.0..=1.0).contains(&high));
    }

    #[test]
    fn after_a_cut_it_goes_on_from_where_it_was_before() {
        let answers = SetupAnswers { fuel_system: FuelSystem::Returnless, ..SetupAnswers::default() };
        let calibration = Calibration::from_answers(&answers).unwrap();
        let (mut pump, mut dtcs) = (Pump::default(), Dtcs::default());
        let mut duty = |phase, rail_pa, fuel_kg_per_s| {
            let belief = Belief { rail_pa, ..Belief::default() };
            pump.step(&calibration, &belief, phase, fuel_kg_per_s, 0.01, &mut dtcs);
            pump.duty
        };
        let before = duty(Phase::Running, 300e3, 1e-3);
        let cut = (0..1000).map(|_| duty(Phase::FuelCut, 330e3, 0.0)).last();
        assert!(cut.is_some_and(|cut| cut < 0.5 * before), "{before} {cut:?}");
        assert_eq!(duty(Phase::Running, 300e3, 1e-3), before);
    }

    #[test]
    fn pressure_far_off_sets_a_code() {
        let codes = |rail_pa| pump(FuelSystem::Return, Phase::Running, rail_pa, 3.0).1;
        assert!(codes(150e3).is_set(Dtc::RailTooLow) && codes(450e3).is_set(Dtc::RailTooHigh));
        assert_eq!(codes(290e3).stored().count(), 0);
    }
}
