//! Short-term trim from the lambda reading, aware of the delay.
//!
//! The reading says which total correction would have been right for the injection it describes:
//! `y = applied then + ln(lambda read / lambda wanted then)`. What the learned map gives for those cells is subtracted; the rest is
//! what the trim should be. The trim follows it with one time constant `T`. Because the correction applied *then* is in `y`, the
//! delay cancels out of the loop (internal model control, the predictor of Smith): with the delay right, the response is
//! that of a lag of `T` whatever the delay. `T = 2 max(delay, 0.3 s)`: the tight rule of Skogestad (J. Process Control 13
//! (2003) 291) takes the closed-loop time constant equal to the delay; twice that is his smoother tuning, with more room for a wrong
//! delay and gain.

use trimwright_numerics::Real;

use crate::attribution::Past;
use crate::calibration::Calibration;

/// Farthest the trim may go, ln: 25 %.
///
/// ```
/// use trimwright_control::feedback::TRIM_AUTHORITY_LN;
/// let most = TRIM_AUTHORITY_LN.exp();
/// assert!((most - 1.25).abs() < 1e-3 && (1.0 / most - 0.8).abs() < 1e-3, "a quarter more, a fifth less");
/// ```
pub const TRIM_AUTHORITY_LN: f32 = 0.223;
/// Shortest time constant of the loop, s.
const SHORTEST_S: f32 = 0.3;
/// Time constant of the loop over the delay: what the tight rule takes for one. The trim is for what lasts; chasing a transient
/// that is over when its reading arrives only adds to it (engineering judgement, from drives).
const PATIENCE: f32 = 2.0;
/// The trim is kept this long while nothing can be known, then fades, s.
const KEEP_S: f32 = 10.0;
/// Time constant of fading, s.
const FADE_S: f32 = 15.0;

/// The trim and how long it has been frozen.
///
/// ```
/// use trimwright_control::attribution::Attribution;
/// use trimwright_control::feedback::Feedback;
/// use trimwright_control::{Calibration, SetupAnswers};
/// let calibration = Calibration::from_answers(&SetupAnswers::default())?;
/// let (mut feedback, mut past) = (Feedback::default(), Attribution::default().past);
/// past.delay_s = 0.4;
/// // Lambda 1.05 where 1 was wanted, without any correction: 5 % more fuel would have been right.
/// (0..300).for_each(|_| feedback.step(&calibration, &past, 1.05_f32.ln(), 0.0, 0.02));
/// assert!((feedback.trim_ln - 1.05_f32.ln()).abs() < 1e-3);
/// # Ok::<(), trimwright_control::AnswerError>(())
/// ```
#[derive(Clone, Copy, Debug, Default, PartialEq)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub struct Feedback {
    /// Short-term trim, ln of fuel.
    pub trim_ln: f32,
    /// Time since the last usable reading, s.
    pub frozen_s: f32,
}

impl Feedback {
    /// Takes a usable reading: `right_ln` is the total correction that would have been right, `learned_ln` what the map gives there now.
    ///
    /// ```
    /// use trimwright_control::attribution::Attribution;
    /// use trimwright_control::feedback::Feedback;
    /// use trimwright_control::{Calibration, SetupAnswers};
    /// let calibration = Calibration::from_answers(&SetupAnswers::default())?;
    /// let trim_ln = |delay_s| {
    ///     let (mut feedback, mut past) = (Feedback::default(), Attribution::default().past);
    ///     past.delay_s = delay_s;
    ///     // The map has 3 % of the 10 % that are missing; after one second:
    ///     (0..50).for_each(|_| feedback.step(&calibration, &past, 0.10, 0.03, 0.02));
    ///     feedback.trim_ln
    /// };
    /// // The longer the gas takes to the sensor, the more patient the trim.
    /// assert!(trim_ln(0.8) < 0.04 && (0.05..0.07).contains(&trim_ln(0.2)));
    /// # Ok::<(), trimwright_control::AnswerError>(())
    /// ```
    pub fn step(
        &mut self,
        calibration: &Calibration,
        past: &Past,
        right_ln: f32,
        learned_ln: f32,
        dt_s: f32,
    ) {
        if !calibration.options().feedback || !right_ln.is_finite() {
            self.wait(dt_s);
            return;
        }
        self.frozen_s = 0.0;
        let time_constant_s = PATIENCE * past.delay_s.max(SHORTEST_S);
        let follow = dt_s / (time_constant_s + dt_s);
        self.trim_ln += follow * (right_ln - learned_ln - self.trim_ln);
        self.trim_ln = self.trim_ln.held(-TRIM_AUTHORITY_LN, TRIM_AUTHORITY_LN);
    }

    /// Nothing is known just now.
    ///
    /// ```
    /// use trimwright_control::feedback::Feedback;
    /// let mut feedback = Feedback { trim_ln: 0.1, ..Feedback::default() };
    /// let mut after = |seconds| {
    ///     (0..50 * seconds).for_each(|_| feedback.wait(0.02));
    ///     feedback.trim_ln
    /// };
    /// // A long descent without fuel: the trim is kept at first, then it is forgotten.
    /// assert!(after(9) == 0.1 && after(60) < 0.01);
    /// ```
    pub fn wait(&mut self, dt_s: f32) {
        self.frozen_s = (self.frozen_s + dt_s).min(1e4);
        if self.frozen_s > KEEP_S {
            self.trim_ln -= dt_s / (FADE_S + dt_s) * self.trim_ln;
        }
    }

    /// The map took over a part of the trim.
    ///
    /// ```
    /// use trimwright_control::feedback::Feedback;
    /// let mut feedback = Feedback { trim_ln: 0.05, ..Feedback::default() };
    /// // A lesson has raised the map by 1 %: together they give what they gave.
    /// feedback.hand_over(0.01);
    /// assert!((feedback.trim_ln - 0.04).abs() < 1e-6);
    /// ```
    pub fn hand_over(&mut self, learned_more_ln: f32) {
        let rest = self.trim_ln - learned_more_ln;
        self.trim_ln = rest.held(-TRIM_AUTHORITY_LN, TRIM_AUTHORITY_LN);
    }

    /// Whether the trim has come to an end of its authority.
    ///
    /// ```
    /// use trimwright_control::attribution::Attribution;
    /// use trimwright_control::feedback::Feedback;
    /// use trimwright_control::{Calibration, SetupAnswers};
    /// let calibration = Calibration::from_answers(&SetupAnswers::default())?;
    /// let at_end = |right_ln| {
    ///     let mut feedback = Feedback::default();
    ///     let past = Attribution::default().past;
    ///     (0..500).for_each(|_| feedback.step(&calibration, &past, right_ln, 0.0, 0.02));
    ///     feedback.is_at_end()
    /// };
    /// // A tenth is mended; half as much fuel again is more than the trim may give.
    /// assert!(!at_end(0.1) && at_end(0.4));
    /// # Ok::<(), trimwright_control::AnswerError>(())
    /// ```
    pub fn is_at_end(&self) -> bool {
        self.trim_ln.abs() >= TRIM_AUTHORITY_LN
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::attribution::Attribution;
    use crate::calibration::Options;
    use crate::setup::SetupAnswers;
    use trimwright_numerics::Ring;

    /// Drives the trim against a pure delay (in looks of 20 ms) with a disturbance of 10 %, believing another delay and seeing
    /// another gain. Returns the residual error at each look.
    fn residuals(looks: usize, believed: usize, gain: f32) -> [f32; 1000] {
        let calibration = Calibration::from_answers(&SetupAnswers::default()).unwrap();
        let mut feedback = Feedback::default();
        let mut applied = Ring::<f32, 128>::filled(0.0);
        let past = Past { delay_s: believed as f32 * 0.02, ..Attribution::default().past };
        core::array::from_fn(|_| {
            applied.push(feedback.trim_ln);
            let error = 0.10 - applied.back(looks).unwrap();
            feedback.step(&calibration, &past, applied.back(believed).unwrap() + gain * error, 0.0, 0.02);
            0.10 - feedback.trim_ln
        })
    }

    #[test]
    fn with_the_delay_right_the_error_decays_as_one_lag_whatever_the_delay() {
        for looks in [5, 15, 30, 60] {
            let run = residuals(looks, looks, 1.0);
            let time_constant_s = PATIENCE * (looks as f32 * 0.02).max(SHORTEST_S);
            let after_one = run[(time_constant_s / 0.02) as usize] / 0.10;
            assert!((0.30..0.45).contains(&after_one), "{looks} looks: {after_one}");
            assert!(run.iter().all(|error| *error > -1e-4), "{looks} looks: no overshoot");
        }
    }

    #[test]
    fn a_wrong_delay_or_gain_still_settles() {
        for looks in [5, 15, 30, 60] {
            for (believed, gain) in
                [(looks / 2, 1.0), (looks * 3 / 2, 1.0), (looks, 1.5), (looks, 0.67), (looks * 2 / 3, 1.5)]
            {
                let run = residuals(looks, believed, gain);
                assert!(
                    run[900..].iter().all(|error| error.abs() < 0.002),
                    "{looks} {believed} {gain}: {}",
                    run[999]
                );
            }
        }
    }

    #[test]
    fn authority_holds_and_lets_go_without_windup() {
        let calibration = Calibration::from_answers(&SetupAnswers::default()).unwrap();
        let mut feedback = Feedback::default();
        let past = Past { delay_s: 0.3, ..Attribution::default().past };
        for _ in 0..2000 {
            feedback.step(&calibration, &past, 0.9, 0.0, 0.02);
        }
        assert!(feedback.is_at_end());
        for _ in 0..30 {
            feedback.step(&calibration, &past, 0.0, 0.0, 0.02);
        }
        assert!(feedback.trim_ln < 0.5 * TRIM_AUTHORITY_LN);
    }

    #[test]
    fn a_long_silence_fades_the_trim() {
        let mut feedback = Feedback { trim_ln: 0.1, frozen_s: 0.0 };
        (0..400).for_each(|_| feedback.wait(0.02));
        assert_eq!(feedback.trim_ln, 0.1);
        (0..5000).for_each(|_| feedback.wait(0.02));
        assert!(feedback.trim_ln < 0.001);
    }

    #[test]
    fn switched_off_it_does_nothing() {
        let options = Options { feedback: false, ..Options::default() };
        let calibration = Calibration::from_answers(&SetupAnswers::default()).unwrap().with_options(options);
        let mut feedback = Feedback::default();
        feedback.step(&calibration, &Attribution::default().past, 0.1, 0.0, 0.02);
        assert_eq!(feedback.trim_ln, 0.0);
    }
}
