//! What the crank says of the mixture: how the idle speed answers a little more and a little less fuel.
//!
//! Rich mixtures lack oxygen, so that more fuel releases little more heat; at lambda 1 and above it does (heat released over fuel: atom
//! balance of combustion, as in Heywood, Internal Combustion Engine Fundamentals, ch. 3). The answer, relative change of speed over
//! relative change of fuel, rises with lambda, and so tells which mixture burns, beside what the oxygen sensor reads. Air that enters
//! before the sensor, or a sensor that is off, parts the two.

use trimwright_numerics::Real;

use crate::self_check::DITHER_LN;
use trimwright_numerics::parameters::along;

/// Which mixture burns, ln lambda, against the answer of the crank: means over simulated engines drawn by lot, whose sensors were
/// off by known amounts (engineering judgement for real ones). Single engines scatter by [`OWN_LN`].
const BURNED_LN: [(f32, f32); 9] = [
    (-0.165, -0.150),
    (-0.122, -0.110),
    (-0.087, -0.086),
    (-0.030, -0.055),
    (0.050, -0.035),
    (0.079, -0.026),
    (0.178, 0.000),
    (0.268, 0.030),
    (0.315, 0.060),
];
/// Standard deviation of a sound engine from that, ln (drives of many, what comes of counting taken off).
const OWN_LN: f32 = 0.006;
/// Standard deviations, and least difference, ln, between the mixture read and the one that burns from which they disagree: looked at
/// again and again, two standard deviations would come up by chance.
const SURE: f32 = 2.7;
const LEAST_LN: f32 = 0.027;
/// The same where the engine is leaner than it reads: heat released rises less there, and the crank underrates by how much.
const SURE_LEAN: f32 = 2.0;
const LEAST_LEAN_LN: f32 = 0.022;
/// A half wave says at most so much: more is the idle settling (engineering judgement).
const MOST_PULL: f32 = 0.5;
/// Half waves that have to be felt before anything is said.
const FEWEST: f32 = 14.0;
/// Half waves remembered: a leak that was mended is forgotten after some times as many.
const REMEMBERED: f32 = 250.0;
/// The answer is known when its standard deviation is below this.
const KNOWN: f32 = 0.02;

/// How the crank answers a dither of the fuel at idle: relative change of speed over relative change of fuel, half wave by half wave.
///
/// ```
/// use trimwright_control::self_check::{Look, SelfCheck};
/// use trimwright_control::{Calibration, Options, SetupAnswers};
/// let options = Options { self_check: true, ..Options::default() };
/// let calibration = Calibration::from_answers(&SetupAnswers::default())?.with_options(options);
/// let mut check = SelfCheck::default();
/// let mut look = Look { calm: true, idling: true, wanted_ln: 0.0, error_ln: 0.0, right_ln: 0.0, delay_s: 0.4,
///     air_kg_per_s: 5e-3, speed_rad_per_s: 75.0, dt_s: 0.02 };
/// // Four minutes at idle: 2.5 % more fuel would give 0.5 % more speed, had it time to.
/// for _ in 0..12_000 {
///     look.speed_rad_per_s += 0.05 * (75.0 * (1.0 + 0.2 * check.dither_ln()) - look.speed_rad_per_s);
///     check.step(&calibration, &look);
/// }
/// let (answer, _, half_waves) = check.pull.estimate();
/// assert!((0.1..0.2).contains(&answer) && half_waves >= 20.0);
/// # Ok::<(), trimwright_control::AnswerError>(())
/// ```
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
    pub(crate) fn begin(&mut self) {
        (self.half, self.sum, self.looks, self.before) = (0, 0.0, 0.0, [0.0; 2]);
        (self.read_sum, self.reads) = (0.0, 0.0);
    }

    /// One look, so many half waves into a check.
    pub(crate) fn step(&mut self, halves: f32, speed_rad_per_s: f32, read_ln: f32) {
        let half = halves as u32;
        if half != self.half {
            self.close();
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
    fn close(&mut self) {
        let now = self.sum / self.looks.max(1.0);
        let [middle, first] = self.before;
        if now > 0.0 && middle > 0.0 && first > 0.0 {
            let swing = (middle - 0.5 * (first + now)) / middle;
            // The even halves have more fuel; the middle one is the one before this.
            let pull = if self.half % 2 == 1 { swing } else { -swing } / (2.0 * DITHER_LN);
            let pull = pull.held(-MOST_PULL, MOST_PULL);
            self.count = (self.count + 1.0).min(REMEMBERED);
            let (share, off) = (1.0 / self.count, pull - self.mean);
            self.mean += share * off;
            self.variance += share * ((1.0 - share) * off * off - self.variance);
            self.read_ln += share * (self.read_sum / self.reads.max(1.0) - self.read_ln);
        }
        self.before = [now, middle];
        (self.sum, self.looks, self.read_sum, self.reads) = (0.0, 0.0, 0.0, 0.0);
    }

    /// Mean, its standard deviation and how many half waves it was taken from.
    ///
    /// ```
    /// # use trimwright_control::self_check::{Look, SelfCheck};
    /// # use trimwright_control::{Calibration, Options, SetupAnswers};
    /// # let options = Options { self_check: true, ..Options::default() };
    /// # let calibration = Calibration::from_answers(&SetupAnswers::default())?.with_options(options);
    /// # let mut look = Look { calm: true, idling: true, wanted_ln: 0.0, error_ln: 0.0, right_ln: 0.0, delay_s: 0.4,
    /// #     air_kg_per_s: 5e-3, speed_rad_per_s: 75.0, dt_s: 0.02 };
    /// let mut check = SelfCheck::default();
    /// assert_eq!(check.pull.estimate().2, 0.0, "not asked yet");
    /// // A rich engine idles for four minutes: more fuel slows it down.
    /// for _ in 0..12_000 {
    ///     look.speed_rad_per_s += 0.05 * (75.0 * (1.0 - 0.1 * check.dither_ln()) - look.speed_rad_per_s);
    ///     check.step(&calibration, &look);
    /// }
    /// let (mean, sigma, half_waves) = check.pull.estimate();
    /// assert!((-0.1..-0.05).contains(&mean) && sigma < 0.02 && half_waves >= 20.0);
    /// # Ok::<(), trimwright_control::AnswerError>(())
    /// ```
    pub fn estimate(&self) -> (f32, f32, f32) {
        (self.mean, Real::sqrt(self.variance / (self.count - 1.0).max(1.0)), self.count)
    }

    /// Whether the crank has been asked often enough.
    pub(crate) fn is_known(&self) -> bool {
        let (_, sigma, count) = self.estimate();
        count >= FEWEST && sigma < KNOWN
    }

    /// The mixture read over the one that burns, ln, and its standard deviation; none before enough was felt. Above 0 the engine is
    /// richer than it reads.
    ///
    /// ```
    /// # use trimwright_control::self_check::{Look, SelfCheck};
    /// # use trimwright_control::{Calibration, Options, SetupAnswers};
    /// # let options = Options { self_check: true, ..Options::default() };
    /// # let calibration = Calibration::from_answers(&SetupAnswers::default())?.with_options(options);
    /// # let mut look = Look { calm: true, idling: true, wanted_ln: 0.0, error_ln: 0.0, right_ln: 0.0, delay_s: 0.4,
    /// #     air_kg_per_s: 5e-3, speed_rad_per_s: 75.0, dt_s: 0.02 };
    /// let mut check = SelfCheck::default();
    /// assert_eq!(check.pull.off_ln(), None);
    /// // It reads lambda 1, and its crank answers as one at lambda 1 does: nothing is off.
    /// for _ in 0..12_000 {
    ///     look.speed_rad_per_s += 0.05 * (75.0 * (1.0 + 0.27 * check.dither_ln()) - look.speed_rad_per_s);
    ///     check.step(&calibration, &look);
    /// }
    /// assert!(check.pull.off_ln().is_some_and(|(off_ln, sigma_ln)| off_ln.abs() < 0.01 && sigma_ln < 0.01));
    /// # Ok::<(), trimwright_control::AnswerError>(())
    /// ```
    pub fn off_ln(&self) -> Option<(f32, f32)> {
        let (mean, sigma, count) = self.estimate();
        let burned_ln = |pull| along(&BURNED_LN, pull);
        let scatter_ln = 0.5 * (burned_ln(mean + sigma) - burned_ln(mean - sigma));
        let both_ln = Real::sqrt(scatter_ln * scatter_ln + OWN_LN * OWN_LN);
        (count >= FEWEST).then(|| (self.read_ln - burned_ln(mean), both_ln))
    }

    /// By how much the engine is surely richer than it reads, ln.
    ///
    /// ```
    /// # use trimwright_control::self_check::{Look, SelfCheck};
    /// # use trimwright_control::{Calibration, Options, SetupAnswers};
    /// # let options = Options { self_check: true, ..Options::default() };
    /// # let calibration = Calibration::from_answers(&SetupAnswers::default())?.with_options(options);
    /// # let mut look = Look { calm: true, idling: true, wanted_ln: 0.0, error_ln: 0.0, right_ln: 0.0, delay_s: 0.4,
    /// #     air_kg_per_s: 5e-3, speed_rad_per_s: 75.0, dt_s: 0.02 };
    /// let mut check = SelfCheck::default();
    /// // It reads lambda 1, but more fuel does not help: air gets in before the sensor.
    /// for _ in 0..12_000 {
    ///     look.speed_rad_per_s += 0.05 * (75.0 * (1.0 - 0.1 * check.dither_ln()) - look.speed_rad_per_s);
    ///     check.step(&calibration, &look);
    /// }
    /// assert!(check.pull.falsely_lean_ln().is_some_and(|ln| (0.05..0.12).contains(&ln)));
    /// assert_eq!(check.pull.falsely_rich_ln(), None);
    /// # Ok::<(), trimwright_control::AnswerError>(())
    /// ```
    pub fn falsely_lean_ln(&self) -> Option<f32> {
        self.off_ln().and_then(|(off_ln, sigma_ln)| beyond(off_ln, SURE * sigma_ln, LEAST_LN))
    }

    /// By how much the engine is surely leaner than it reads, ln.
    ///
    /// ```
    /// # use trimwright_control::self_check::{Look, SelfCheck};
    /// # use trimwright_control::{Calibration, Options, SetupAnswers};
    /// # let options = Options { self_check: true, ..Options::default() };
    /// # let calibration = Calibration::from_answers(&SetupAnswers::default())?.with_options(options);
    /// # let mut look = Look { calm: true, idling: true, wanted_ln: 0.0, error_ln: 0.0, right_ln: 0.0, delay_s: 0.4,
    /// #     air_kg_per_s: 5e-3, speed_rad_per_s: 75.0, dt_s: 0.02 };
    /// let mut check = SelfCheck::default();
    /// // It reads lambda 1, but more fuel helps as only a lean engine's does: the sensor reads rich.
    /// for _ in 0..12_000 {
    ///     look.speed_rad_per_s += 0.05 * (75.0 * (1.0 + 0.5 * check.dither_ln()) - look.speed_rad_per_s);
    ///     check.step(&calibration, &look);
    /// }
    /// assert!(check.pull.falsely_rich_ln().is_some_and(|ln| (0.02..0.07).contains(&ln)));
    /// # Ok::<(), trimwright_control::AnswerError>(())
    /// ```
    pub fn falsely_rich_ln(&self) -> Option<f32> {
        self.off_ln().and_then(|(off_ln, sigma_ln)| beyond(-off_ln, SURE_LEAN * sigma_ln, LEAST_LEAN_LN))
    }
}

/// The difference, when it is beyond chance and beyond what counts.
fn beyond(off_ln: f32, chance_ln: f32, least_ln: f32) -> Option<f32> {
    (off_ln > chance_ln.max(least_ln)).then_some(off_ln)
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Felt so often: a crank with this answer and a reading.
    fn felt(half_waves: u32, answer: f32, read_ln: f32) -> Pull {
        let mut pull = Pull::default();
        pull.begin();
        for half in 0..half_waves {
            let (way, unrest) =
                (if half % 2 == 0 { 1.0 } else { -1.0 }, if half % 5 < 2 { 0.03 } else { -0.02 });
            let speed = 75.0 * (1.0 + (answer + unrest) * way * DITHER_LN);
            [0.2, 0.7, 0.9].iter().for_each(|within| pull.step(half as f32 + within, speed, read_ln));
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
            (0..100).for_each(|half| pull.step(half as f32 + 0.7, 75.0, 0.0));
        }
        assert!(pull.estimate().0.abs() < 0.01);
    }

    #[test]
    fn an_engine_that_is_asked_to_be_rich_and_reads_so_is_not_suspected() {
        for (answer, read_ln) in [(0.18, 0.0), (-0.05, -0.064), (0.26, 0.03)] {
            let pull = felt(80, answer, read_ln);
            assert_eq!((pull.falsely_lean_ln(), pull.falsely_rich_ln()), (None, None), "{:?}", pull.off_ln());
        }
    }

    #[test]
    fn reading_and_crank_that_disagree_are_told_by_how_much() {
        let rich = felt(80, -0.02, 0.0).falsely_lean_ln().unwrap();
        assert!((0.04..0.07).contains(&rich), "{rich}");
        assert!(felt(80, 0.3, 0.0).falsely_rich_ln().is_some_and(|ln| (0.03..0.07).contains(&ln)));
        assert_eq!(felt(15, -0.02, 0.0).falsely_lean_ln(), None, "not often enough");
    }
}
