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

trimwright_numerics::parameters! {
    /// How the short-term trim follows the reading.
    #[cfg_attr(feature = "defmt", derive(defmt::Format))]
    pub struct FeedbackParameters<f32> "feedback" {
        /// Farthest the trim may go, natural logarithm of the fuel ratio: 25 % more, 20 % less.
        number authority_ln { 0.223, 0.0..=0.405 "ln", "engineering judgement" }
        /// Shortest time constant of the loop.
        number shortest_s { 0.3, 0.05..=5.0 "s", "engineering judgement" }
        /// Time constant of the loop over the delay. The trim is for what lasts; chasing a transient that is over when its reading arrives only adds to it.
        number delays { 2.0, 1.0..=10.0 "1", "engineering judgement, from drives; Skogestad, J. Process Control 13 (2003) 291 has 1 for the tight rule" }
        /// The trim is kept this long while nothing can be known, then fades.
        number keep_s { 10.0, 0.0..=600.0 "s", "engineering judgement" }
        /// Time constant of fading.
        number fade_s { 15.0, 0.1..=600.0 "s", "engineering judgement" }
    }
}

/// The trim and how long it has been frozen.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub struct Feedback {
    trim_ln: f32,
    frozen_s: f32,
}

impl Feedback {
    /// Short-term trim, ln of fuel.
    pub const fn trim_ln(&self) -> f32 {
        self.trim_ln
    }

    /// Takes a usable reading: `right_ln` is the total correction that would have been right `delay_s` ago, `learned_ln` what the map
    /// gives there now. Gives the trim, ln of fuel.
    ///
    /// ```
    /// use trimwright_control::feedback::{Feedback, FeedbackParameters};
    /// let mut feedback = Feedback::default();
    /// // Lambda 1.05 where 1 was wanted, without any correction: 5 % more fuel would have been right.
    /// (0..300).for_each(|_| _ = feedback.step(&FeedbackParameters::DEFAULT, 0.4, 1.05_f32.ln(), 0.0, 0.02));
    /// assert!((feedback.trim_ln() - 1.05_f32.ln()).abs() < 1e-3);
    /// ```
    pub fn step(
        &mut self,
        parameters: &FeedbackParameters,
        delay_s: f32,
        right_ln: f32,
        learned_ln: f32,
        dt_s: f32,
    ) -> f32 {
        if !right_ln.is_finite() {
            return self.wait(parameters, dt_s);
        }
        self.frozen_s = 0.0;
        let time_constant_s = parameters.delays * delay_s.at_least(parameters.shortest_s);
        let follow = dt_s / (time_constant_s + dt_s);
        self.trim_ln += follow * (right_ln - learned_ln - self.trim_ln);
        self.trim_ln = parameters.bounded(self.trim_ln);
        self.trim_ln
    }

    /// Nothing is known just now. Gives the trim, ln of fuel.
    pub fn wait(&mut self, parameters: &FeedbackParameters, dt_s: f32) -> f32 {
        self.frozen_s = (self.frozen_s + dt_s).at_most(2.0 * parameters.keep_s + 1.0);
        if self.frozen_s > parameters.keep_s {
            self.trim_ln -= dt_s / (parameters.fade_s + dt_s) * self.trim_ln;
        }
        self.trim_ln
    }

    /// The map took over a part of the trim.
    pub fn hand_over(&mut self, parameters: &FeedbackParameters, learned_more_ln: f32) {
        self.trim_ln = parameters.bounded(self.trim_ln - learned_more_ln);
    }
}

impl FeedbackParameters {
    fn bounded(&self, trim_ln: f32) -> f32 {
        trim_ln.held(-self.authority_ln, self.authority_ln)
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use trimwright_numerics::Ring;

    const FEEDBACK: FeedbackParameters = FeedbackParameters::DEFAULT;

    /// Drives the trim against a pure delay (in looks of 20 ms) with a disturbance of 10 %, believing another delay and seeing
    /// another gain. Returns the residual error at each look.
    fn residuals(looks: usize, believed: usize, gain: f32) -> [f32; 1000] {
        let mut feedback = Feedback::default();
        let mut applied = Ring::<f32, 128>::filled(0.0);
        core::array::from_fn(|_| {
            applied.push(feedback.trim_ln);
            let error = 0.10 - applied.back(looks).unwrap();
            let right_ln = applied.back(believed).unwrap() + gain * error;
            0.10 - feedback.step(&FEEDBACK, believed as f32 * 0.02, right_ln, 0.0, 0.02)
        })
    }

    #[test]
    fn with_the_delay_right_the_error_decays_as_one_lag_whatever_the_delay() {
        for looks in [5, 15, 30, 60] {
            let run = residuals(looks, looks, 1.0);
            let time_constant_s = FEEDBACK.delays * (looks as f32 * 0.02).max(FEEDBACK.shortest_s);
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
        let mut feedback = Feedback::default();
        for _ in 0..2000 {
            feedback.step(&FEEDBACK, 0.3, 0.9, 0.0, 0.02);
        }
        assert_eq!(feedback.trim_ln, FEEDBACK.authority_ln);
        for _ in 0..30 {
            feedback.step(&FEEDBACK, 0.3, 0.0, 0.0, 0.02);
        }
        assert!(feedback.trim_ln < 0.5 * FEEDBACK.authority_ln);
        feedback.hand_over(&FEEDBACK, 2.0);
        assert_eq!(feedback.trim_ln, -FEEDBACK.authority_ln);
    }

    #[test]
    fn a_long_silence_fades_the_trim() {
        let mut feedback = Feedback { trim_ln: 0.1, frozen_s: 0.0 };
        (0..400).for_each(|_| _ = feedback.wait(&FEEDBACK, 0.02));
        assert_eq!(feedback.trim_ln, 0.1);
        (0..5000).for_each(|_| _ = feedback.wait(&FEEDBACK, 0.02));
        assert!(feedback.trim_ln < 0.001);
    }

    #[test]
    fn a_reading_that_is_no_number_changes_nothing() {
        let mut feedback = Feedback { trim_ln: 0.1, frozen_s: 0.0 };
        assert_eq!(feedback.step(&FEEDBACK, 0.3, f32::NAN, 0.0, 0.02), 0.1);
    }
}
