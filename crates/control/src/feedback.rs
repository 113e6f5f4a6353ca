//! Short-term trim from the lambda reading, with compensation of the delay.
//!
//! The reading gives the total correction that the injection it describes required: `y = applied then + ln(lambda measured / lambda wanted
//! then)`. The trim should be `y` minus the learned correction of those cells, and follows it with one time constant `T`. Because `y`
//! contains the correction applied *then*, the delay cancels out of the loop (internal model control, Smith predictor): with the right
//! delay the response is a first-order lag of `T`. `T = 2 max(delay, 0.3 s)`: the tight rule of Skogestad (J. Process Control 13 (2003)
//! 291) sets the closed-loop time constant equal to the delay; twice that is his smoother tuning, with more margin for errors of delay and
//! gain.

use trimwright_numerics::Real;

trimwright_numerics::parameters! {
    /// Short-term trim.
    #[cfg_attr(feature = "defmt", derive(defmt::Format))]
    pub struct FeedbackParameters<f32> "feedback" {
        /// Limit of the trim, natural logarithm of the fuel ratio: 25 % more, 20 % less.
        number authority_ln { 0.223, 0.0..=0.405 "ln", "engineering judgement" }
        /// Lower limit of the delay in the time constant of the loop.
        number min_delay_s { 0.3, 0.05..=5.0 "s", "engineering judgement" }
        /// Time constant of the loop over the delay; slow enough not to chase transients that are over when their reading arrives.
        number time_constant_per_delay { 2.0, 1.0..=10.0 "1", "engineering judgement, from drives; Skogestad, J. Process Control 13 (2003) 291 has 1 for the tight rule" }
        /// Time for which the trim is held without usable readings before it fades.
        number hold_s { 10.0, 0.0..=600.0 "s", "engineering judgement" }
        /// Time constant of the fading.
        number fade_s { 15.0, 0.1..=600.0 "s", "engineering judgement" }
    }
}

/// Stage of the short-term trim.
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

    /// 20 ms task with a usable reading: `required_ln` is the total correction required `delay_s` ago, `learned_ln` the learned one of the
    /// same cells now. Returns the trim, ln of fuel.
    ///
    /// ```
    /// use trimwright_control::learning::Feedback;
    /// use trimwright_control::parameters::FeedbackParameters;
    /// let mut feedback = Feedback::default();
    /// // Lambda 1.05 where 1 was wanted, without any correction: 5 % more fuel would have been right.
    /// (0..300).for_each(|_| _ = feedback.step(&FeedbackParameters::DEFAULT, 0.4, 1.05_f32.ln(), 0.0, 0.02));
    /// assert!((feedback.trim_ln() - 1.05_f32.ln()).abs() < 1e-3);
    /// ```
    pub fn step(
        &mut self,
        parameters: &FeedbackParameters,
        delay_s: f32,
        required_ln: f32,
        learned_ln: f32,
        dt_s: f32,
    ) -> f32 {
        if !required_ln.is_finite() {
            return self.hold(parameters, dt_s);
        }
        self.frozen_s = 0.0;
        let time_constant_s = parameters.time_constant_per_delay * delay_s.at_least(parameters.min_delay_s);
        let follow = dt_s / (time_constant_s + dt_s);
        self.trim_ln += follow * (required_ln - learned_ln - self.trim_ln);
        self.trim_ln = parameters.bounded(self.trim_ln);
        self.trim_ln
    }

    /// 20 ms task without a usable reading: holds the trim, later fades it. Returns the trim, ln of fuel.
    pub fn hold(&mut self, parameters: &FeedbackParameters, dt_s: f32) -> f32 {
        self.frozen_s = (self.frozen_s + dt_s).at_most(2.0 * parameters.hold_s + 1.0);
        if self.frozen_s > parameters.hold_s {
            self.trim_ln -= dt_s / (parameters.fade_s + dt_s) * self.trim_ln;
        }
        self.trim_ln
    }

    /// Reduces the trim by what the learned map has taken over, ln of fuel.
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

    /// Runs the trim against a pure delay (in samples of 20 ms) with a disturbance of 10 %, with another assumed delay and
    /// another gain. Returns the residual error at each sample.
    fn residuals(samples: usize, assumed: usize, gain: f32) -> [f32; 1000] {
        let mut feedback = Feedback::default();
        let mut applied = Ring::<f32, 128>::filled(0.0);
        core::array::from_fn(|_| {
            applied.push(feedback.trim_ln);
            let error = 0.10 - applied.back(samples).unwrap();
            let required_ln = applied.back(assumed).unwrap() + gain * error;
            0.10 - feedback.step(&FEEDBACK, assumed as f32 * 0.02, required_ln, 0.0, 0.02)
        })
    }

    #[test]
    fn with_the_right_delay_the_error_decays_as_a_first_order_lag() {
        for samples in [5, 15, 30, 60] {
            let run = residuals(samples, samples, 1.0);
            let time_constant_s =
                FEEDBACK.time_constant_per_delay * (samples as f32 * 0.02).max(FEEDBACK.min_delay_s);
            let after_one = run[(time_constant_s / 0.02) as usize] / 0.10;
            assert!((0.30..0.45).contains(&after_one), "{samples} samples: {after_one}");
            assert!(run.iter().all(|error| *error > -1e-4), "{samples} samples: no overshoot");
        }
    }

    #[test]
    fn a_wrong_delay_or_gain_still_settles() {
        for samples in [5, 15, 30, 60] {
            for (assumed, gain) in [
                (samples / 2, 1.0),
                (samples * 3 / 2, 1.0),
                (samples, 1.5),
                (samples, 0.67),
                (samples * 2 / 3, 1.5),
            ] {
                let run = residuals(samples, assumed, gain);
                assert!(
                    run[900..].iter().all(|error| error.abs() < 0.002),
                    "{samples} {assumed} {gain}: {}",
                    run[999]
                );
            }
        }
    }

    #[test]
    fn the_limit_has_no_windup() {
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
    fn a_long_time_without_readings_fades_the_trim() {
        let mut feedback = Feedback { trim_ln: 0.1, frozen_s: 0.0 };
        (0..400).for_each(|_| _ = feedback.hold(&FEEDBACK, 0.02));
        assert_eq!(feedback.trim_ln, 0.1);
        (0..5000).for_each(|_| _ = feedback.hold(&FEEDBACK, 0.02));
        assert!(feedback.trim_ln < 0.001);
    }

    #[test]
    fn a_reading_that_is_not_a_number_changes_nothing() {
        let mut feedback = Feedback { trim_ln: 0.1, frozen_s: 0.0 };
        assert_eq!(feedback.step(&FEEDBACK, 0.3, f32::NAN, 0.0, 0.02), 0.1);
    }

    /// By hand: a delay of 0.4 s makes a time constant of 0.8 s; a step of 0.2 s is a fifth of both together.
    #[test]
    fn the_trim_follows_what_is_required_less_what_is_learned() {
        let mut feedback = Feedback { trim_ln: 0.1, frozen_s: 0.0 };
        feedback.step(&FEEDBACK, 0.4, 0.2, 0.05, 0.2);
        assert!((feedback.trim_ln() - 0.11).abs() < 1e-6, "{}", feedback.trim_ln());
    }

    /// By hand: 40 steps of a quarter second are held, the next fades by 0.25 / (15 + 0.25).
    #[test]
    fn the_trim_is_held_for_its_time_and_then_fades_by_a_lag() {
        let mut feedback = Feedback { trim_ln: 0.1, frozen_s: 0.0 };
        (0..40).for_each(|_| _ = feedback.hold(&FEEDBACK, 0.25));
        assert_eq!(feedback.trim_ln(), 0.1);
        feedback.hold(&FEEDBACK, 0.25);
        assert!((feedback.trim_ln() - 0.1 * (1.0 - 0.25 / 15.25)).abs() < 1e-6);
        (0..10_000).for_each(|_| _ = feedback.hold(&FEEDBACK, 0.25));
        assert_eq!(feedback.frozen_s, 2.0 * FEEDBACK.hold_s + 1.0, "the time held is bounded");
        feedback.step(&FEEDBACK, 0.4, 0.0, 0.0, 0.02);
        assert_eq!(feedback.frozen_s, 0.0);
    }
}
