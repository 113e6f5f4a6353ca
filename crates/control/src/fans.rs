//! Two cooling fans with hysteresis, and the air-conditioning clutch.

use crate::believe::Belief;
use crate::setup::Setup;

/// Temperature below its starting point at which a fan stops, K.
const BAND_K: f32 = 5.0;
/// Coolant temperature above which the compressor is kept off, K.
const TOO_HOT_FOR_AC_K: f32 = 386.0;
/// Throttle position above which the compressor is let go: power for the wheels.
const TOO_OPEN_FOR_AC: f32 = 0.8;
/// Time the idle air and the fan lead the clutch, s: longer than the air for both takes to come, so that battery and manifold are through
/// with their part when the load arrives (engineering judgement, from A/C trials of the shipped cars).
const AC_LEAD_S: f32 = 1.0;
/// Time the idle air leads a fan, s: it takes away a third of the voltage between charging and battery, and with it of the speed
/// (engineering judgement, from the same trials).
const FAN_LEAD_S: f32 = 0.5;

/// Fans and clutch.
///
/// ```
/// use trimwright_control::believe::Belief;
/// use trimwright_control::fans::Fans;
/// use trimwright_control::{Calibration, SetupAnswers};
/// let calibration = Calibration::from_answers(&SetupAnswers::default())?;
/// let (mut fans, mut belief) = (Fans::default(), Belief::default());
/// let mut running_at = |ect_k| {
///     belief.ect_k = ect_k;
///     (0..100).for_each(|_| fans.step(&calibration, &belief, false, 600.0, 0.01));
///     fans.running()
/// };
/// // The first starts at 364 K, the second at 369 K; each stops 5 K lower.
/// assert_eq!([360.0, 366.0, 371.0, 362.0, 358.0].map(&mut running_at), [0, 1, 2, 1, 0]);
/// # Ok::<(), trimwright_control::AnswerError>(())
/// ```
#[derive(Clone, Copy, Debug, Default, PartialEq)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub struct Fans {
    /// First fan.
    pub fan1: bool,
    /// Second fan.
    pub fan2: bool,
    /// The compressor is wanted: idle air opens.
    pub ac_wanted: bool,
    /// The clutch is engaged.
    pub ac_clutch: bool,
    /// Fans wanted: idle air opens.
    pub fans_wanted: u8,
    ac_wanted_s: f32,
    fan_wanted_s: [f32; 2],
}

/// For how long something has been wanted, s, up to 10 s.
fn lasts(wanted_s: &mut f32, wanted: bool, dt_s: f32) -> f32 {
    *wanted_s = if wanted { (*wanted_s + dt_s).min(10.0) } else { 0.0 };
    *wanted_s
}

impl Fans {
    /// One slot of `dt_s`.
    ///
    /// ```
    /// use trimwright_control::believe::Belief;
    /// use trimwright_control::fans::Fans;
    /// use trimwright_control::{Calibration, SetupAnswers};
    /// let calibration = Calibration::from_answers(&SetupAnswers::default())?;
    /// let (mut fans, mut belief) = (Fans::default(), Belief::default());
    /// belief.ect_k = 350.0;
    /// let mut after = |slots| {
    ///     (0..slots).for_each(|_| fans.step(&calibration, &belief, true, 60.0, 0.01));
    ///     (fans.ac_wanted, fans.ac_clutch)
    /// };
    /// // The idle air opens at once, the compressor comes a second later.
    /// assert_eq!([after(50), after(60)], [(true, false), (true, true)]);
    /// # Ok::<(), trimwright_control::AnswerError>(())
    /// ```
    pub fn step(&mut self, setup: &Setup, belief: &Belief, ac_request: bool, running_s: f32, dt_s: f32) {
        let answers = setup.answers();
        let hot = |on_k: f32, was: bool| belief.ect_k > if was { on_k - BAND_K } else { on_k };
        self.ac_wanted =
            ac_request && running_s > 5.0 && belief.ect_k < TOO_HOT_FOR_AC_K && belief.tp < TOO_OPEN_FOR_AC;
        self.ac_clutch = lasts(&mut self.ac_wanted_s, self.ac_wanted, dt_s) > AC_LEAD_S;
        let allowed = answers.controls_fans && running_s > 2.0;
        let blind = belief.doubts.ect;
        let wanted = [
            allowed && (blind || self.ac_wanted || hot(answers.fan1_on_k, self.fans_wanted > 0)),
            allowed && (blind || hot(answers.fan2_on_k, self.fans_wanted > 1)),
        ];
        self.fans_wanted = wanted.map(u8::from).iter().sum();
        let [first_s, second_s] = &mut self.fan_wanted_s;
        self.fan1 = lasts(first_s, wanted[0], dt_s) > FAN_LEAD_S;
        self.fan2 = lasts(second_s, wanted[1], dt_s) > FAN_LEAD_S;
    }

    /// Number of fans running.
    ///
    /// ```
    /// use trimwright_control::believe::Belief;
    /// use trimwright_control::fans::Fans;
    /// use trimwright_control::{Calibration, SetupAnswers};
    /// let calibration = Calibration::from_answers(&SetupAnswers::default())?;
    /// let (mut fans, mut belief) = (Fans::default(), Belief::default());
    /// // The coolant's wire is broken: better too cool than boiling.
    /// belief.doubts.ect = true;
    /// (0..100).for_each(|_| fans.step(&calibration, &belief, false, 600.0, 0.01));
    /// assert_eq!(fans.running(), 2);
    /// # Ok::<(), trimwright_control::AnswerError>(())
    /// ```
    pub const fn running(&self) -> u8 {
        self.fan1 as u8 + self.fan2 as u8
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::answers::SetupAnswers;
    use crate::calibration::Calibration;

    fn step(fans: &mut Fans, ect_k: f32, tp: f32, ac: bool) {
        let calibration = Calibration::from_answers(&SetupAnswers::default()).unwrap();
        for _ in 0..120 {
            fans.step(&calibration, &Belief { ect_k, tp, ..Belief::default() }, ac, 100.0, 0.01);
        }
    }

    #[test]
    fn fans_start_one_after_the_other_and_stop_with_hysteresis() {
        let mut fans = Fans::default();
        let states = [360.0, 365.0, 370.0, 366.0, 363.0, 358.0].map(|ect_k| {
            step(&mut fans, ect_k, 0.1, false);
            fans.running()
        });
        assert_eq!(states, [0, 1, 2, 2, 1, 0]);
    }

    #[test]
    fn the_compressor_brings_a_fan_and_yields_to_full_throttle_and_heat() {
        let mut fans = Fans::default();
        step(&mut fans, 350.0, 0.1, true);
        assert!(fans.ac_clutch && fans.fan1);
        step(&mut fans, 350.0, 0.9, true);
        assert!(!fans.ac_clutch);
        step(&mut fans, 390.0, 0.1, true);
        assert!(!fans.ac_clutch && fans.running() == 2);
    }

    #[test]
    fn idle_air_knows_of_fan_and_compressor_before_they_come() {
        let mut fans = Fans::default();
        let calibration = Calibration::from_answers(&SetupAnswers::default()).unwrap();
        let belief = Belief { ect_k: 350.0, ..Belief::default() };
        fans.step(&calibration, &belief, true, 100.0, 0.01);
        assert!(fans.ac_wanted && fans.fans_wanted == 1 && !fans.ac_clutch && fans.running() == 0);
        (0..60).for_each(|_| fans.step(&calibration, &belief, true, 100.0, 0.01));
        assert!(fans.running() == 1 && !fans.ac_clutch);
    }

    #[test]
    fn without_a_coolant_reading_both_fans_run() {
        let mut fans = Fans::default();
        let calibration = Calibration::from_answers(&SetupAnswers::default()).unwrap();
        let mut belief = Belief { ect_k: 300.0, ..Belief::default() };
        belief.doubts.ect = true;
        for _ in 0..60 {
            fans.step(&calibration, &belief, false, 100.0, 0.01);
        }
        assert_eq!(fans.running(), 2);
    }
}
