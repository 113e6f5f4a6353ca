//! Mixture estimate from the idle-speed response to fuel dither (torque sensitivity dN/N over dm/m).
//!
//! Rich mixtures lack oxygen, so more fuel releases little more heat; at lambda 1 and leaner it does (heat released over fuel: atom balance
//! of combustion, as in Heywood, Internal Combustion Engine Fundamentals, ch. 3). The response rises with lambda and so shows which mixture
//! burns, independent of the oxygen sensor. Air that enters before the sensor, or a sensor offset, makes the two differ.

use trimwright_numerics::Real;
use trimwright_numerics::parameters::along;

trimwright_numerics::parameters! {
    /// Mixture estimate from the torque response.
    #[cfg_attr(feature = "defmt", derive(defmt::Format))]
    pub struct TorqueResponseParameters<f32> "torque_response" {
        /// Burned mixture, ln lambda, against the torque response: relative change of speed over relative change of fuel.
        curve burned_ln { [10] = [(-0.165, -0.150), (-0.122, -0.110), (-0.087, -0.086), (-0.030, -0.055), (0.050, -0.035), (0.079, -0.026), (0.178, 0.000), (0.268, 0.030), (0.315, 0.060)], -2.0..=2.0 "1" => -0.5..=0.5 "ln", "engineering judgement: means over sampled simulated engines with known sensor errors" }
        /// Burned mixture of a hot cam's idle over that of the curve: with little vacuum and much residual gas the speed answers less to fuel.
        number hot_cam_ln { 0.026, 0.0..=0.1 "ln", "engineering judgement: mean over sampled simulated engines with a hot cam" }
        /// Standard deviation of healthy engines from that curve.
        number engine_sigma_ln { 0.012, 0.0..=0.1 "ln", "engineering judgement, from drives of many simulated engines, less the scatter of the mean" }
        /// Standard deviations of the difference above which the engine is richer than it reads.
        number rich_sigmas { 2.7, 1.0..=10.0 "1", "engineering judgement: two would occur by chance in repeated checks" }
        /// Difference above which the engine is richer than it reads.
        number rich_threshold_ln { 0.033, 0.0..=0.3 "ln", "engineering judgement: above the largest of many fault-free simulated engines" }
        /// Standard deviations of the difference above which the engine is leaner than it reads.
        number lean_sigmas { 2.0, 1.0..=10.0 "1", "engineering judgement" }
        /// Difference above which the engine is leaner than it reads.
        number lean_threshold_ln { 0.022, 0.0..=0.3 "ln", "engineering judgement" }
        /// Limit on the response of one half period; larger values are idle transients.
        number max_response { 0.5, 0.05..=5.0 "1", "engineering judgement" }
        /// Half waves needed for an estimate.
        number min_half_waves { 14.0, 2.0..=1000.0 "1", "engineering judgement" }
        /// Half waves in the moving average; after several times as many a repaired leak is forgotten.
        number memory_half_waves { 250.0, 10.0..=10e3 "1", "engineering judgement" }
        /// Standard deviation of the response below which it counts as known.
        number known_sigma { 0.02, 0.001..=0.5 "1", "engineering judgement" }
    }
}

impl TorqueResponseParameters {
    /// Burned mixture at this response, ln lambda. Not inlined: seldom needed, three times at once.
    #[inline(never)]
    fn burned_ln(&self, response: f32) -> f32 {
        along(&self.burned_ln, response)
    }
}

/// Response of the idle speed to a dither of the fuel, averaged over half waves.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub struct TorqueResponse {
    /// The half wave now summed, sum and number of speeds in its settled part.
    half: u32,
    sum: f32,
    samples: f32,
    /// Mean speeds of the two half waves before, newest first; 0 when there was none.
    before: [f32; 2],
    /// Sum and number of readings of the half wave now summed, ln lambda.
    measured_sum: f32,
    measured_count: f32,
    /// Mean reading over the averaged half waves, ln lambda.
    measured_ln: f32,
    count: f32,
    mean: f32,
    variance: f32,
}

impl TorqueResponse {
    /// A check begins: earlier half waves are no neighbours any more.
    pub fn begin(&mut self) {
        (self.half, self.sum, self.samples, self.before) = (0, 0.0, 0.0, [0.0; 2]);
        (self.measured_sum, self.measured_count) = (0.0, 0.0);
    }

    /// 20 ms task of a check, `halves` half waves of `dither_ln` after its start.
    ///
    /// ```
    /// use trimwright_control::diagnosis::TorqueResponse;
    /// use trimwright_control::parameters::TorqueResponseParameters;
    /// let (parameters, mut torque_response) = (TorqueResponseParameters::DEFAULT, TorqueResponse::default());
    /// torque_response.begin();
    /// // It reads lambda 1, but 2.5 % more fuel slow its idle by 0.25 %: air gets in before the sensor.
    /// for half in 0..80 {
    ///     let (sign, noise) = (if half % 2 == 0 { 1.0 } else { -1.0 }, if half % 5 < 2 { 0.03 } else { -0.02 });
    ///     let speed_rad_per_s = 75.0 * (1.0 + (noise - 0.1) * sign * 0.025);
    ///     torque_response.step(&parameters, 0.025, half as f32 + 0.7, speed_rad_per_s, 0.0);
    /// }
    /// assert!(torque_response.falsely_lean_ln(&parameters).is_some_and(|ln| (0.08..0.11).contains(&ln)));
    /// ```
    pub fn step(
        &mut self,
        parameters: &TorqueResponseParameters,
        dither_ln: f32,
        halves: f32,
        speed_rad_per_s: f32,
        measured_ln: f32,
    ) {
        let half = halves as u32;
        if half != self.half {
            self.end_half_wave(parameters, dither_ln);
            self.half = half;
        }
        self.measured_sum += measured_ln;
        self.measured_count += 1.0;
        if halves - half as f32 >= 0.5 {
            self.sum += speed_rad_per_s;
            self.samples += 1.0;
        }
    }

    /// Ends a half wave. The response is that of the half wave before, against the mean of its neighbours, which removes drift.
    fn end_half_wave(&mut self, parameters: &TorqueResponseParameters, dither_ln: f32) {
        let now = self.sum / self.samples.at_least(1.0);
        let [middle, first] = self.before;
        if now > 0.0 && middle > 0.0 && first > 0.0 {
            let change = (middle - 0.5 * (first + now)) / middle;
            // The even halves have more fuel; the middle one is the one before this.
            let response = if self.half % 2 == 1 { change } else { -change } / (2.0 * dither_ln);
            let response = response.held(-parameters.max_response, parameters.max_response);
            self.count = (self.count + 1.0).at_most(parameters.memory_half_waves);
            let (share, off) = (1.0 / self.count, response - self.mean);
            self.mean += share * off;
            self.variance += share * ((1.0 - share) * off * off - self.variance);
            self.measured_ln +=
                share * (self.measured_sum / self.measured_count.at_least(1.0) - self.measured_ln);
        }
        self.before = [now, middle];
        (self.sum, self.samples, self.measured_sum, self.measured_count) = (0.0, 0.0, 0.0, 0.0);
    }

    /// Mean response, its standard deviation and the number of half waves.
    pub fn estimate(&self) -> (f32, f32, f32) {
        (self.mean, Real::sqrt(self.variance / (self.count - 1.0).at_least(1.0)), self.count)
    }

    /// Whether the response is known well enough.
    pub fn is_known(&self, parameters: &TorqueResponseParameters) -> bool {
        let (_, sigma, count) = self.estimate();
        count >= parameters.min_half_waves && sigma < parameters.known_sigma
    }

    /// Measured over burned lambda, ln, and its standard deviation; `None` before enough half waves. Positive when the engine is richer
    /// than it reads.
    pub fn lambda_bias_ln(&self, parameters: &TorqueResponseParameters) -> Option<(f32, f32)> {
        let (mean, sigma, count) = self.estimate();
        let scatter_ln = 0.5 * (parameters.burned_ln(mean + sigma) - parameters.burned_ln(mean - sigma));
        let both_ln =
            Real::sqrt(scatter_ln * scatter_ln + parameters.engine_sigma_ln * parameters.engine_sigma_ln);
        (count >= parameters.min_half_waves).then(|| (self.measured_ln - parameters.burned_ln(mean), both_ln))
    }

    /// By how much the engine is significantly richer than it reads, ln.
    pub fn falsely_lean_ln(&self, parameters: &TorqueResponseParameters) -> Option<f32> {
        let (lambda_bias_ln, sigma_ln) = self.lambda_bias_ln(parameters)?;
        significant(lambda_bias_ln, parameters.rich_sigmas * sigma_ln, parameters.rich_threshold_ln)
    }

    /// By how much the engine is significantly leaner than it reads, ln.
    pub fn falsely_rich_ln(&self, parameters: &TorqueResponseParameters) -> Option<f32> {
        let (lambda_bias_ln, sigma_ln) = self.lambda_bias_ln(parameters)?;
        significant(-lambda_bias_ln, parameters.lean_sigmas * sigma_ln, parameters.lean_threshold_ln)
    }
}

/// The difference when it exceeds noise and threshold.
fn significant(lambda_bias_ln: f32, noise_ln: f32, least_ln: f32) -> Option<f32> {
    (lambda_bias_ln > noise_ln.at_least(least_ln)).then_some(lambda_bias_ln)
}

#[cfg(test)]
mod tests {
    use super::*;

    const RESPONSE: TorqueResponseParameters = TorqueResponseParameters::DEFAULT;
    const DITHER_LN: f32 = 0.025;

    /// After so many half waves of an engine with this response and reading.
    fn after(half_waves: u32, response: f32, measured_ln: f32) -> TorqueResponse {
        let mut torque_response = TorqueResponse::default();
        torque_response.begin();
        for half in 0..half_waves {
            let (sign, noise) =
                (if half % 2 == 0 { 1.0 } else { -1.0 }, if half % 5 < 2 { 0.03 } else { -0.02 });
            let speed = 75.0 * (1.0 + (response + noise) * sign * DITHER_LN);
            [0.2, 0.7, 0.9].iter().for_each(|within| {
                torque_response.step(&RESPONSE, DITHER_LN, half as f32 + within, speed, measured_ln)
            });
        }
        torque_response
    }

    #[test]
    fn the_response_is_measured_and_forgotten() {
        let mut torque_response = after(100, 0.2, 0.0);
        let (mean, sigma, count) = torque_response.estimate();
        assert!((mean - 0.2).abs() < 0.01 && sigma < 0.01 && count == 97.0, "{mean} {sigma} {count}");
        for _ in 0..20 {
            torque_response.begin();
            (0..100)
                .for_each(|half| torque_response.step(&RESPONSE, DITHER_LN, half as f32 + 0.7, 75.0, 0.0));
        }
        assert!(torque_response.estimate().0.abs() < 0.01);
    }

    #[test]
    fn an_engine_as_rich_as_it_reads_has_no_bias() {
        for (response, measured_ln) in [(0.18, 0.0), (-0.05, -0.064), (0.26, 0.03)] {
            let torque_response = after(80, response, measured_ln);
            assert_eq!(
                (torque_response.falsely_lean_ln(&RESPONSE), torque_response.falsely_rich_ln(&RESPONSE)),
                (None, None),
                "{:?}",
                torque_response.lambda_bias_ln(&RESPONSE)
            );
        }
    }

    #[test]
    fn the_bias_of_a_reading_is_quantified() {
        let rich = after(80, -0.02, 0.0).falsely_lean_ln(&RESPONSE).unwrap();
        assert!((0.04..0.07).contains(&rich), "{rich}");
        assert!(after(80, 0.3, 0.0).falsely_rich_ln(&RESPONSE).is_some_and(|ln| (0.03..0.07).contains(&ln)));
        assert_eq!(after(15, -0.02, 0.0).falsely_lean_ln(&RESPONSE), None, "too few half waves");
    }

    /// A half wave in which the idle speed answered the dither so.
    fn add(torque_response: &mut TorqueResponse, half: u32, response: f32, measured_ln: f32) {
        let sign = if half % 2 == 1 { 1.0 } else { -1.0 };
        let beside = 75.0 * (1.0 - sign * response * 2.0 * DITHER_LN);
        (torque_response.half, torque_response.before) = (half, [75.0, beside]);
        (torque_response.sum, torque_response.samples) = (2.0 * beside, 2.0);
        (torque_response.measured_sum, torque_response.measured_count) = (4.0 * measured_ln, 4.0);
        torque_response.end_half_wave(&RESPONSE, DITHER_LN);
    }

    /// 0.1, 0.3 and 0.5: mean 0.3, variance 0.08 / 3, of which the mean has half.
    #[test]
    fn ident_mean_and_scatter_are_those_of_the_half_waves() {
        let mut torque_response = TorqueResponse::default();
        add(&mut torque_response, 1, 0.1, 0.01);
        add(&mut torque_response, 2, 0.3, 0.03);
        assert!((torque_response.variance - 0.01).abs() < 1e-5);
        add(&mut torque_response, 3, 0.5, -0.01);
        let (mean, sigma, count) = torque_response.estimate();
        assert!((mean - 0.3).abs() < 1e-4 && count == 3.0, "{mean} {count}");
        assert!((sigma - Real::sqrt(0.04_f32 / 3.0)).abs() < 1e-4, "{sigma}");
        assert!((torque_response.measured_ln - 0.01).abs() < 1e-6);
        add(&mut torque_response, 3, 9.0, 0.0);
        assert!(
            (torque_response.mean - (0.3 + (RESPONSE.max_response - 0.3) / 4.0)).abs() < 1e-4,
            "an answer is bounded"
        );
    }

    #[test]
    fn only_the_second_half_of_a_half_wave_counts_whatever_its_number_of_samples() {
        let mut torque_response = TorqueResponse::default();
        for half in 0..40 {
            let speed = 75.0 * (1.0 + if half % 2 == 0 { 0.2 * DITHER_LN } else { -0.2 * DITHER_LN });
            let mut at =
                |within, speed| torque_response.step(&RESPONSE, DITHER_LN, half as f32 + within, speed, 0.0);
            at(0.25, 300.0);
            (0..=half % 3).for_each(|_| at(0.5, speed));
        }
        let (mean, sigma, count) = torque_response.estimate();
        assert!((mean - 0.2).abs() < 1e-3 && sigma < 1e-3 && count == 37.0, "{mean} {sigma} {count}");
    }

    #[test]
    fn a_half_wave_without_samples_spoils_the_three_it_belongs_to() {
        let mut torque_response = TorqueResponse::default();
        for half in 0..7 {
            let within = if half == 2 { 0.2 } else { 0.7 };
            torque_response.step(&RESPONSE, DITHER_LN, half as f32 + within, 75.0, 0.0);
        }
        assert_eq!(torque_response.estimate().2, 1.0);
    }

    #[test]
    fn a_new_check_begins_without_the_half_waves_of_the_last() {
        let mut torque_response = TorqueResponse::default();
        (0..4).for_each(|half| torque_response.step(&RESPONSE, DITHER_LN, half as f32 + 0.7, 75.0, 0.1));
        let count = torque_response.count;
        torque_response.begin();
        let begun =
            TorqueResponse { count, measured_ln: torque_response.measured_ln, ..TorqueResponse::default() };
        assert_eq!(torque_response, begun);
    }

    #[test]
    fn it_is_known_with_enough_half_waves_and_little_scatter() {
        let of = |count, sigma: f32| TorqueResponse {
            count,
            variance: sigma * sigma * (count - 1.0),
            ..TorqueResponse::default()
        };
        let least = RESPONSE.min_half_waves;
        assert!(of(least, 0.01).is_known(&RESPONSE));
        assert!(!of(least - 1.0, 0.01).is_known(&RESPONSE) && !of(least, 0.03).is_known(&RESPONSE));
        let known_sigma = of(least, 0.01).estimate().1;
        assert!(!of(least, 0.01).is_known(&TorqueResponseParameters { known_sigma, ..RESPONSE }));
    }

    /// By hand: 0.1 is 21 of 99 parts on the way from -0.026 to 0; the slope of 0.026 / 0.099 makes 0.0026 ln of a scatter of 0.01.
    #[test]
    fn the_bias_is_what_was_read_less_what_burned_with_both_uncertainties() {
        let known = TorqueResponse {
            mean: 0.1,
            variance: 19.0 * 1e-4,
            count: 20.0,
            measured_ln: 0.02,
            ..TorqueResponse::default()
        };
        let (bias_ln, sigma_ln) = known.lambda_bias_ln(&RESPONSE).unwrap();
        assert!((bias_ln - (0.02 + 0.026 - 0.026 * 21.0 / 99.0)).abs() < 1e-6, "{bias_ln}");
        assert!(
            (sigma_ln - Real::sqrt(0.002_626_3_f32 * 0.002_626_3 + 0.012 * 0.012)).abs() < 1e-6,
            "{sigma_ln}"
        );
        assert!(known.falsely_lean_ln(&RESPONSE).is_some() && known.falsely_rich_ln(&RESPONSE).is_none());
        assert_eq!(TorqueResponse { count: 13.0, ..known }.lambda_bias_ln(&RESPONSE), None);
    }

    #[test]
    fn a_bias_is_significant_above_noise_and_threshold() {
        assert_eq!(significant(0.03, 0.02, 0.01), Some(0.03));
        assert_eq!(
            [significant(0.03, 0.03, 0.01), significant(0.03, 0.01, 0.03), significant(-0.03, 0.01, 0.01)],
            [None; 3]
        );
    }
}
