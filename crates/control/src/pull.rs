//! What the crank says of the mixture: how the idle speed answers a little more and a little less fuel.
//!
//! Rich mixtures lack oxygen, so that more fuel releases little more heat; at lambda 1 and above it does (heat released over fuel: atom
//! balance of combustion, as in Heywood, Internal Combustion Engine Fundamentals, ch. 3). The answer, relative change of speed over
//! relative change of fuel, rises with lambda, and so tells which mixture burns, beside what the oxygen sensor reads. Air that enters
//! before the sensor, or a sensor that is off, parts the two.

use trimwright_numerics::Real;
use trimwright_numerics::parameters::along;

trimwright_numerics::parameters! {
    /// What the crank's answer to a dither says.
    #[cfg_attr(feature = "defmt", derive(defmt::Format))]
    pub struct TorqueResponseParameters<f32> "torque_response" {
        /// Which mixture burns, logarithm of lambda, against the answer of the crank: relative change of speed over relative change of fuel.
        curve burned_ln { [10] = [(-0.165, -0.150), (-0.122, -0.110), (-0.087, -0.086), (-0.030, -0.055), (0.050, -0.035), (0.079, -0.026), (0.178, 0.000), (0.268, 0.030), (0.315, 0.060)], -2.0..=2.0 "1" => -0.5..=0.5 "ln", "engineering judgement: means over simulated engines drawn by lot, whose sensors were off by known amounts" }
        /// Standard deviation of a sound engine from that curve.
        number own_ln { 0.006, 0.0..=0.1 "ln", "engineering judgement, from drives of many simulated engines, what comes of counting taken off" }
        /// Standard deviations between the mixture read and the one that burns, from which the engine is richer than it reads.
        number sure { 2.7, 1.0..=10.0 "1", "engineering judgement: looked at again and again, two would come up by chance" }
        /// Least difference from which the engine is richer than it reads.
        number least_ln { 0.027, 0.0..=0.3 "ln", "engineering judgement" }
        /// Standard deviations from which the engine is leaner than it reads, where the heat released rises less and the crank underrates by how much.
        number sure_lean { 2.0, 1.0..=10.0 "1", "engineering judgement" }
        /// Least difference from which the engine is leaner than it reads.
        number least_lean_ln { 0.022, 0.0..=0.3 "ln", "engineering judgement" }
        /// Largest answer of one half wave that counts, for more is the idle settling.
        number most_answer { 0.5, 0.05..=5.0 "1", "engineering judgement" }
        /// Half waves that have to be felt before anything is said.
        number fewest { 14.0, 2.0..=1000.0 "1", "engineering judgement" }
        /// Half waves remembered, after some times as many of which a leak that was mended is forgotten.
        number remembered { 250.0, 10.0..=10e3 "1", "engineering judgement" }
        /// Standard deviation of the answer below which it is known.
        number known { 0.02, 0.001..=0.5 "1", "engineering judgement" }
    }
}

impl TorqueResponseParameters {
    /// Which mixture burns with this answer, ln lambda. Kept out of line: three are asked for at once, seldom.
    #[inline(never)]
    fn burned_ln(&self, answer: f32) -> f32 {
        along(&self.burned_ln, answer)
    }
}

/// How the crank answers a dither of the fuel at idle: relative change of speed over relative change of fuel, half wave by half wave.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub struct Pull {
    /// The half wave now summed, sum and number of speeds in its settled part.
    half: u32,
    sum: f32,
    looks: f32,
    /// Mean speeds of the two half waves before, newest first; 0 when there was none.
    before: [f32; 2],
    /// Reading, ln lambda, and number of the half wave now summed.
    read_sum: f32,
    reads: f32,
    /// Mean reading over the half waves that count, ln lambda.
    read_ln: f32,
    count: f32,
    mean: f32,
    variance: f32,
}

impl Pull {
    /// A check begins: what was felt before has no neighbours any more.
    pub fn begin(&mut self) {
        (self.half, self.sum, self.looks, self.before) = (0, 0.0, 0.0, [0.0; 2]);
        (self.read_sum, self.reads) = (0.0, 0.0);
    }

    /// One look, so many half waves of `dither_ln` into a check.
    ///
    /// ```
    /// use trimwright_control::pull::{Pull, TorqueResponseParameters};
    /// let (parameters, mut pull) = (TorqueResponseParameters::DEFAULT, Pull::default());
    /// pull.begin();
    /// // It reads lambda 1, but 2.5 % more fuel slow its idle by 0.25 %: air gets in before the sensor.
    /// for half in 0..80 {
    ///     let (way, unrest) = (if half % 2 == 0 { 1.0 } else { -1.0 }, if half % 5 < 2 { 0.03 } else { -0.02 });
    ///     let speed_rad_per_s = 75.0 * (1.0 + (unrest - 0.1) * way * 0.025);
    ///     pull.step(&parameters, 0.025, half as f32 + 0.7, speed_rad_per_s, 0.0);
    /// }
    /// assert!(pull.falsely_lean_ln(&parameters).is_some_and(|ln| (0.08..0.11).contains(&ln)));
    /// ```
    pub fn step(
        &mut self,
        parameters: &TorqueResponseParameters,
        dither_ln: f32,
        halves: f32,
        speed_rad_per_s: f32,
        read_ln: f32,
    ) {
        let half = halves as u32;
        if half != self.half {
            self.close(parameters, dither_ln);
            self.half = half;
        }
        self.read_sum += read_ln;
        self.reads += 1.0;
        if halves - half as f32 >= 0.5 {
            self.sum += speed_rad_per_s;
            self.looks += 1.0;
        }
    }

    /// Ends a half wave. The one before it, against the mean of its neighbours: free of drift.
    fn close(&mut self, parameters: &TorqueResponseParameters, dither_ln: f32) {
        let now = self.sum / self.looks.at_least(1.0);
        let [middle, first] = self.before;
        if now > 0.0 && middle > 0.0 && first > 0.0 {
            let swing = (middle - 0.5 * (first + now)) / middle;
            // The even halves have more fuel; the middle one is the one before this.
            let answer = if self.half % 2 == 1 { swing } else { -swing } / (2.0 * dither_ln);
            let answer = answer.held(-parameters.most_answer, parameters.most_answer);
            self.count = (self.count + 1.0).at_most(parameters.remembered);
            let (share, off) = (1.0 / self.count, answer - self.mean);
            self.mean += share * off;
            self.variance += share * ((1.0 - share) * off * off - self.variance);
            self.read_ln += share * (self.read_sum / self.reads.at_least(1.0) - self.read_ln);
        }
        self.before = [now, middle];
        (self.sum, self.looks, self.read_sum, self.reads) = (0.0, 0.0, 0.0, 0.0);
    }

    /// Mean, its standard deviation and how many half waves it was taken from.
    pub fn estimate(&self) -> (f32, f32, f32) {
        (self.mean, Real::sqrt(self.variance / (self.count - 1.0).at_least(1.0)), self.count)
    }

    /// Whether the crank has been asked often enough.
    pub fn is_known(&self, parameters: &TorqueResponseParameters) -> bool {
        let (_, sigma, count) = self.estimate();
        count >= parameters.fewest && sigma < parameters.known
    }

    /// The mixture read over the one that burns, ln, and its standard deviation; none before enough was felt. Above 0 the engine is
    /// richer than it reads.
    pub fn off_ln(&self, parameters: &TorqueResponseParameters) -> Option<(f32, f32)> {
        let (mean, sigma, count) = self.estimate();
        let scatter_ln = 0.5 * (parameters.burned_ln(mean + sigma) - parameters.burned_ln(mean - sigma));
        let both_ln = Real::sqrt(scatter_ln * scatter_ln + parameters.own_ln * parameters.own_ln);
        (count >= parameters.fewest).then(|| (self.read_ln - parameters.burned_ln(mean), both_ln))
    }

    /// By how much the engine is surely richer than it reads, ln.
    pub fn falsely_lean_ln(&self, parameters: &TorqueResponseParameters) -> Option<f32> {
        let (off_ln, sigma_ln) = self.off_ln(parameters)?;
        beyond(off_ln, parameters.sure * sigma_ln, parameters.least_ln)
    }

    /// By how much the engine is surely leaner than it reads, ln.
    pub fn falsely_rich_ln(&self, parameters: &TorqueResponseParameters) -> Option<f32> {
        let (off_ln, sigma_ln) = self.off_ln(parameters)?;
        beyond(-off_ln, parameters.sure_lean * sigma_ln, parameters.least_lean_ln)
    }
}

/// The difference, when it is beyond chance and beyond what counts.
fn beyond(off_ln: f32, chance_ln: f32, least_ln: f32) -> Option<f32> {
    (off_ln > chance_ln.at_least(least_ln)).then_some(off_ln)
}

#[cfg(test)]
mod tests {
    use super::*;

    const RESPONSE: TorqueResponseParameters = TorqueResponseParameters::DEFAULT;
    const DITHER_LN: f32 = 0.025;

    /// Felt so often: a crank with this answer and a reading.
    fn felt(half_waves: u32, answer: f32, read_ln: f32) -> Pull {
        let mut pull = Pull::default();
        pull.begin();
        for half in 0..half_waves {
            let (way, unrest) =
                (if half % 2 == 0 { 1.0 } else { -1.0 }, if half % 5 < 2 { 0.03 } else { -0.02 });
            let speed = 75.0 * (1.0 + (answer + unrest) * way * DITHER_LN);
            [0.2, 0.7, 0.9]
                .iter()
                .for_each(|within| pull.step(&RESPONSE, DITHER_LN, half as f32 + within, speed, read_ln));
        }
        pull
    }

    #[test]
    fn the_answer_is_found_and_forgotten() {
        let mut pull = felt(100, 0.2, 0.0);
        let (mean, sigma, count) = pull.estimate();
        assert!((mean - 0.2).abs() < 0.01 && sigma < 0.01 && count == 97.0, "{mean} {sigma} {count}");
        for _ in 0..20 {
            pull.begin();
            (0..100).for_each(|half| pull.step(&RESPONSE, DITHER_LN, half as f32 + 0.7, 75.0, 0.0));
        }
        assert!(pull.estimate().0.abs() < 0.01);
    }

    #[test]
    fn an_engine_that_is_asked_to_be_rich_and_reads_so_is_not_suspected() {
        for (answer, read_ln) in [(0.18, 0.0), (-0.05, -0.064), (0.26, 0.03)] {
            let pull = felt(80, answer, read_ln);
            assert_eq!(
                (pull.falsely_lean_ln(&RESPONSE), pull.falsely_rich_ln(&RESPONSE)),
                (None, None),
                "{:?}",
                pull.off_ln(&RESPONSE)
            );
        }
    }

    #[test]
    fn reading_and_crank_that_disagree_are_told_by_how_much() {
        let rich = felt(80, -0.02, 0.0).falsely_lean_ln(&RESPONSE).unwrap();
        assert!((0.04..0.07).contains(&rich), "{rich}");
        assert!(felt(80, 0.3, 0.0).falsely_rich_ln(&RESPONSE).is_some_and(|ln| (0.03..0.07).contains(&ln)));
        assert_eq!(felt(15, -0.02, 0.0).falsely_lean_ln(&RESPONSE), None, "not often enough");
    }
}
