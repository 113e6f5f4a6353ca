//! Stability limits of trim and learning: stages of the controller in a loop with a pure delay.
//!
//! The mixture has a constant error. A correction is measured `delay` samples later, multiplied by `loop_gain` (1 when sensor and engine are
//! as assumed). The stage removes from each reading the correction that it assumes to be included: with the true delay, the delay cancels
//! out of the loop; without a delay model, the stage is a plain integrator, whose stability limit is known exactly.

use trimwright_control::LearnedMap;
use trimwright_control::Learner;
use trimwright_control::Parameters;
use trimwright_control::learning::Feedback;
use trimwright_control::learning::Integral;
use trimwright_control::learning::LaggedShares;
use trimwright_control::learning::Lesson;
use trimwright_control::parameters::FeedbackParameters;
use trimwright_control::parameters::LearnerParameters;
use trimwright_numerics::{Ring, Weights};

/// Time between two readings, s.
///
/// ```
/// use trimwright_study::stability::{SAMPLE_S, exact_limit};
/// let limit_at = |delay_s: f64| exact_limit((delay_s / SAMPLE_S).round() as usize);
/// assert!((limit_at(0.2) / limit_at(0.4) - 2.0).abs() < 0.1, "half the gain at twice the delay");
/// ```
pub const SAMPLE_S: f64 = 0.02;
/// Longest delay, samples.
pub const MAX_DELAY: usize = 255;
/// Mixture error, ln: small enough that an unstable response is detected before the authority limits are reached.
const INITIAL_ERROR_LN: f32 = 0.01;
/// Error that counts as zero, relative to the initial one. Single precision leaves about 1e-6.
const SETTLED_SHARE: f32 = 1e-4;
/// Overshoot that counts, relative to the initial error.
const OVERSHOOT: f32 = 0.25;

/// A stage of the controller that corrects the mixture.
///
/// ```
/// use trimwright_study::stability::{LoopModel, Response, Stage, response};
/// /// Corrects the full error of every reading, within an authority of 0.2.
/// struct FullStep(f32);
/// impl Stage for FullStep {
///     fn applied_ln(&self) -> f32 {
///         self.0
///     }
///     fn update(&mut self, required_ln: f32) {
///         self.0 = required_ln.clamp(-0.2, 0.2);
///     }
/// }
/// let around = |delay| LoopModel { delay, assumed_delay: 0, loop_gain: 1.0 };
/// assert_eq!(response(&mut FullStep(0.0), around(1)), Response::Settles);
/// assert_eq!(response(&mut FullStep(0.0), around(5)), Response::Unstable, "unstable with delay");
/// ```
pub trait Stage {
    /// The correction that the stage applies now, ln.
    fn applied_ln(&self) -> f32;
    /// Updates the stage with the total correction that a reading requires, ln.
    fn update(&mut self, required_ln: f32);
}

/// Short-term trim.
///
/// ```
/// use trimwright_study::stability::{Stage, Trim};
/// let mut trim = Trim::new(0);
/// for _ in 0..500 {
///     trim.update(0.01);
/// }
/// assert!((trim.applied_ln() - 0.01).abs() < 1e-3, "settled after 10 s");
/// # Ok::<(), Box<dyn std::error::Error>>(())
/// ```
#[derive(Clone, Debug)]
pub struct Trim {
    delay_s: f32,
    feedback: Feedback,
}

impl Trim {
    /// The trim with this assumed delay, samples.
    pub fn new(assumed_delay: usize) -> Self {
        Self { delay_s: assumed_delay as f32 * SAMPLE_S as f32, feedback: Feedback::default() }
    }
}

impl Stage for Trim {
    fn applied_ln(&self) -> f32 {
        self.feedback.trim_ln()
    }

    fn update(&mut self, required_ln: f32) {
        self.feedback.step(&FeedbackParameters::DEFAULT, self.delay_s, required_ln, 0.0, SAMPLE_S as f32);
    }
}

/// One cell of the learned map with the learner [`Integral`].
///
/// ```
/// use trimwright_study::stability::{LoopModel, StabilityCell, Response, response};
/// let aware = LoopModel { delay: 40, assumed_delay: 40, loop_gain: 1.0 };
/// let unaware = LoopModel { assumed_delay: 0, ..aware };
/// assert_eq!(response(&mut StabilityCell::new(0.3), aware), Response::Settles);
/// assert_eq!(response(&mut StabilityCell::new(0.3), unaware), Response::Unstable, "readings are attributed to the present");
/// ```
#[derive(Clone, Debug)]
pub struct StabilityCell {
    learner: Integral,
    shares: LaggedShares,
    map: LearnedMap,
}

impl StabilityCell {
    /// A cell with this gain for each innovation.
    pub fn new(gain: f32) -> Self {
        let alone = Weights { cells: [0, 1, 2, 3], shares: [1.0, 0.0, 0.0, 0.0] };
        Self {
            learner: Integral { gain },
            shares: LaggedShares::settled(&alone),
            map: Parameters::DEFAULT.blank_map(),
        }
    }
}

impl Stage for StabilityCell {
    fn applied_ln(&self) -> f32 {
        self.map.at_shares(&self.shares)
    }

    fn update(&mut self, required_ln: f32) {
        let lesson = Lesson { shares: &self.shares, required_ln, variance_ln2: 0.02, film: false };
        self.learner.learn(&LearnerParameters::DEFAULT, &mut self.map, &lesson);
    }
}

/// Response of a loop to the initial error, from good to bad.
///
/// ```
/// use trimwright_study::stability::{LoopModel, StabilityCell, Response, exact_limit, response};
/// let around = LoopModel { delay: 10, assumed_delay: 0, loop_gain: 1.0 };
/// let at = |share: f64| response(&mut StabilityCell::new((share * exact_limit(10)) as f32), around);
/// assert_eq!([0.2, 0.8, 1.1].map(at), [Response::Settles, Response::Overshoots, Response::Unstable]);
/// ```
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Response {
    /// Decays with an overshoot below 25 %.
    Settles,
    /// Decays with an overshoot of 25 % or more.
    Overshoots,
    /// Does not decay.
    Unstable,
}

/// The loop around a stage.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct LoopModel {
    /// Delay until a correction is measured, samples; 1 for the next reading.
    pub delay: usize,
    /// Delay that the stage assumes, samples; 0 for no delay model.
    pub assumed_delay: usize,
    /// Measured correction divided by the applied one.
    pub loop_gain: f32,
}

/// Simulates the loop and classifies its response.
///
/// ```
/// use trimwright_study::stability::{LoopModel, StabilityCell, Response, response};
/// let around = LoopModel { delay: 1, assumed_delay: 0, loop_gain: 1.0 };
/// assert_eq!(response(&mut StabilityCell::new(0.5), around), Response::Settles);
/// assert_eq!(response(&mut StabilityCell::new(2.1), around), Response::Unstable);
/// ```
pub fn response(stage: &mut impl Stage, around: LoopModel) -> Response {
    let mut applied = Ring::<f32, { MAX_DELAY + 1 }>::filled(0.0);
    let back = |applied: &Ring<f32, { MAX_DELAY + 1 }>, samples: usize| {
        applied.back(samples.saturating_sub(1)).copied().unwrap_or_default()
    };
    // Long enough to detect a growth of 1 % per delay time.
    let quarter = 60 * (around.delay + 20);
    let mut largest = [0.0_f32; 4];
    let mut overshoot = 0.0_f32;
    for sample in 0..4 * quarter {
        applied.push(stage.applied_ln());
        let error = INITIAL_ERROR_LN - back(&applied, around.delay);
        let present = INITIAL_ERROR_LN - stage.applied_ln();
        let assumed_delay =
            if around.assumed_delay == 0 { stage.applied_ln() } else { back(&applied, around.assumed_delay) };
        stage.update(assumed_delay + around.loop_gain * error);
        if !present.is_finite() {
            return Response::Unstable;
        }
        largest[sample / quarter] = largest[sample / quarter].max(present.abs());
        overshoot = overshoot.max(-present);
    }
    let [_, second, _, last] = largest;
    if last > SETTLED_SHARE * INITIAL_ERROR_LN && last > 0.9 * second {
        Response::Unstable
    } else if overshoot > OVERSHOOT * INITIAL_ERROR_LN {
        Response::Overshoots
    } else {
        Response::Settles
    }
}

/// Stability limit of the gain per sample of an integrator with a delay of `delay` samples:
/// `2 sin(pi / (2 (2 d - 1)))`. From the characteristic equation `z^d - z^(d-1) + K = 0` with `|z| = 1`.
///
/// ```
/// use trimwright_study::stability::exact_limit;
/// assert!((exact_limit(1) - 2.0).abs() < 1e-12 && (exact_limit(2) - 1.0).abs() < 1e-12);
/// ```
pub fn exact_limit(delay: usize) -> f64 {
    2.0 * libm::sin(core::f64::consts::FRAC_PI_2 / (2.0 * delay.max(1) as f64 - 1.0))
}

/// The largest gain per sample below `most` without an unstable response, to 0.1 %.
///
/// ```
/// use trimwright_study::stability::{Response, measured_limit};
/// let limit = measured_limit(3.0, |gain| if gain > 1.0 { Response::Unstable } else { Response::Settles });
/// assert!((limit - 1.0).abs() < 1e-3);
/// ```
pub fn measured_limit(most: f64, response_at: impl Fn(f64) -> Response) -> f64 {
    let (mut stable, mut unstable) = (0.0, most);
    while unstable - stable > 1e-3 * unstable {
        let middle = 0.5 * (stable + unstable);
        if response_at(middle) == Response::Unstable { unstable = middle } else { stable = middle }
    }
    0.5 * (stable + unstable)
}

/// Gain per sample of the trim without delay model: share of the error that it corrects at one reading.
///
/// ```
/// let gain = trimwright_study::stability::trim_gain();
/// assert!(gain > 0.0 && gain < 0.1, "{gain}");
/// # Ok::<(), Box<dyn std::error::Error>>(())
/// ```
pub fn trim_gain() -> f64 {
    let mut trim = Trim::new(0);
    trim.update(INITIAL_ERROR_LN);
    f64::from(trim.applied_ln()) / f64::from(INITIAL_ERROR_LN)
}

/// Stability limits of the gain per sample without delay model: exact, trim and learner.
///
/// ```
/// use trimwright_study::stability::{StabilityLimit, limits};
/// let StabilityLimit { exact, trim, learner, .. } = limits(&[3])[0];
/// assert!((trim / exact - 1.0).abs() < 0.01 && (learner / exact - 1.0).abs() < 0.01);
/// # Ok::<(), Box<dyn std::error::Error>>(())
/// ```
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct StabilityLimit {
    /// Delay, samples.
    pub delay: usize,
    /// Exact limit, [`exact_limit`].
    pub exact: f64,
    /// Measured limit of the short-term trim.
    pub trim: f64,
    /// Measured limit of the learner.
    pub learner: f64,
}

/// Measures the limits at these delays.
pub fn limits(delays: &[usize]) -> Vec<StabilityLimit> {
    let (trim, part) = (Trim::new(0), trim_gain());
    let one = |&delay: &usize| {
        let around = |loop_gain| LoopModel { delay, assumed_delay: 0, loop_gain };
        StabilityLimit {
            delay,
            exact: exact_limit(delay),
            trim: measured_limit(3.0, |gain| response(&mut trim.clone(), around((gain / part) as f32))),
            learner: measured_limit(3.0, |gain| response(&mut StabilityCell::new(gain as f32), around(1.0))),
        }
    };
    delays.iter().map(one).collect()
}

/// Responses over delay and one other quantity.
///
/// ```
/// use trimwright_study::stability::{Response, charts};
/// let chart = charts().learner_unaware;
/// let unstable = |row: &[Response]| row.iter().filter(|response| **response == Response::Unstable).count();
/// let rows: Vec<usize> = chart.responses.chunks(chart.delays.len()).map(unstable).collect();
/// assert_eq!(rows.len(), chart.values.len());
/// assert!(rows.is_sorted(), "more delays are unstable at higher gain: {rows:?}");
/// # Ok::<(), Box<dyn std::error::Error>>(())
/// ```
#[derive(Clone, Debug, PartialEq)]
pub struct StabilityChart {
    /// Delays, samples; the inner index.
    pub delays: Vec<usize>,
    /// The other quantity, ascending.
    pub values: Vec<f64>,
    /// Responses, row by row in the order of `values`.
    pub responses: Vec<Response>,
}

impl StabilityChart {
    fn of(delays: &[usize], values: &[f64], response: impl Fn(usize, f64) -> Response) -> Self {
        let responses = values.iter().flat_map(|&value| delays.iter().map(move |&delay| (delay, value)));
        let responses = responses.map(|(delay, value)| response(delay, value)).collect();
        Self { delays: delays.to_vec(), values: values.to_vec(), responses }
    }
}

/// Delays of the charts, samples: 0.1 to 1.6 s.
const DELAYS: [usize; 16] = [5, 10, 15, 20, 25, 30, 35, 40, 45, 50, 55, 60, 65, 70, 75, 80];
/// Gains per sample of the charts without delay model.
const GAINS: [f64; 16] =
    [0.005, 0.007, 0.01, 0.014, 0.02, 0.028, 0.04, 0.056, 0.08, 0.11, 0.16, 0.22, 0.32, 0.45, 0.64, 0.9];
/// Loop gains of the chart of the trim with delay model.
const LOOP_GAINS: [f64; 14] = [0.25, 0.5, 0.75, 1.0, 1.25, 1.5, 1.75, 2.0, 2.5, 3.0, 4.0, 5.0, 6.0, 8.0];
/// Assumed divided by true delay.
const DELAY_RATIOS: [f64; 13] = [0.0, 0.2, 0.4, 0.6, 0.8, 1.0, 1.2, 1.4, 1.6, 1.8, 2.0, 2.5, 3.0];

/// The charts of the study.
///
/// ```
/// use trimwright_study::stability::{Response, charts};
/// let charts = charts();
/// assert!(charts.learner_unaware.responses.contains(&Response::Unstable));
/// assert!(charts.learner_aware.responses.iter().all(|response| *response == Response::Settles));
/// # Ok::<(), Box<dyn std::error::Error>>(())
/// ```
#[derive(Clone, Debug, PartialEq)]
pub struct Charts {
    /// Learning gain over delay, readings attributed to the present correction.
    pub learner_unaware: StabilityChart,
    /// Learning gain over delay, readings attributed to the correction at injection.
    pub learner_aware: StabilityChart,
    /// Feedback gain over delay, trim without delay model.
    pub trim_unaware: StabilityChart,
    /// Loop gain over delay, trim with delay model.
    pub trim_aware: StabilityChart,
    /// Assumed / true delay over delay, loop gain 1.5, trim with delay model.
    pub trim_mistaken: StabilityChart,
}

/// Computes the charts.
pub fn charts() -> Charts {
    let part = trim_gain();
    let trims = (0..=MAX_DELAY).map(Trim::new).collect::<Vec<_>>();
    let learner = |assumed: fn(usize) -> usize| {
        StabilityChart::of(&DELAYS, &GAINS, |delay, gain| {
            response(
                &mut StabilityCell::new(gain as f32),
                LoopModel { delay, assumed_delay: assumed(delay), loop_gain: 1.0 },
            )
        })
    };
    let trim = |values: &[f64], around: &dyn Fn(usize, f64) -> LoopModel| {
        StabilityChart::of(&DELAYS, values, |delay, value| {
            let around = around(delay, value);
            response(&mut trims[around.assumed_delay].clone(), around)
        })
    };
    Charts {
        learner_unaware: learner(|_| 0),
        learner_aware: learner(|delay| delay),
        trim_unaware: trim(&GAINS, &|delay, gain| LoopModel {
            delay,
            assumed_delay: 0,
            loop_gain: (gain / part) as f32,
        }),
        trim_aware: trim(&LOOP_GAINS, &|delay, gain| LoopModel {
            delay,
            assumed_delay: delay,
            loop_gain: gain as f32,
        }),
        trim_mistaken: trim(&DELAY_RATIOS, &|delay, share| {
            let assumed_delay = ((delay as f64 * share).round() as usize).min(MAX_DELAY);
            LoopModel { delay, assumed_delay, loop_gain: 1.5 }
        }),
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Corrects the full error without a limit.
    struct FullStep(f32);

    impl Stage for FullStep {
        fn applied_ln(&self) -> f32 {
            self.0
        }

        fn update(&mut self, required_ln: f32) {
            self.0 = required_ln;
        }
    }

    #[test]
    fn a_non_finite_response_is_unstable() {
        let around = LoopModel { delay: 5, assumed_delay: 0, loop_gain: 3.0 };
        assert_eq!(response(&mut FullStep(0.0), around), Response::Unstable);
    }

    /// The formula against roots computed by an independent program: shared/reference/control_margins.csv, rows "discrete I".
    #[test]
    fn val_the_exact_limit_agrees_with_the_table() {
        let path = concat!(env!("CARGO_MANIFEST_DIR"), "/shared/reference/control_margins.csv");
        let mut reader = csv::Reader::from_path(path).expect("the table");
        let mut rows = 0;
        for record in reader.records().map(|record| record.expect("a row")) {
            if !record[0].starts_with("discrete I") {
                continue;
            }
            let delay = record[1].trim_start_matches("d=").parse().expect("a delay");
            let limit: f64 = record[2].parse().expect("a limit");
            assert!((exact_limit(delay) - limit).abs() < 1e-8, "{delay}");
            rows += 1;
        }
        assert_eq!(rows, 10);
    }

    #[test]
    fn val_trim_and_learner_without_delay_model_have_the_exact_limit() {
        for limit in limits(&[1, 2, 3, 5, 10, 40]) {
            for measured in [limit.trim, limit.learner] {
                assert!((measured / limit.exact - 1.0).abs() < 0.01, "{limit:?}");
            }
        }
    }

    /// With the true delay assumed the loop is `z - (1 - K)` for a loop gain of 1: stable for every gain below 1, at any delay.
    #[test]
    fn the_true_delay_is_stable_for_every_delay() {
        for delay in [1, 7, 30, 80, 200] {
            let around = LoopModel { delay, assumed_delay: delay, loop_gain: 1.0 };
            assert_eq!(response(&mut StabilityCell::new(0.9), around), Response::Settles, "{delay}");
            assert_eq!(response(&mut Trim::new(delay), around), Response::Settles, "{delay}");
        }
    }

    /// By the small-gain theorem the trim is stable for loop gains between 0 and 2 at any delay.
    #[test]
    fn the_trim_is_stable_up_to_a_loop_gain_of_two() {
        for delay in [5, 20, 80] {
            for loop_gain in [0.25, 1.0, 1.5, 1.95] {
                let around = LoopModel { delay, assumed_delay: delay, loop_gain };
                let found = response(&mut Trim::new(delay), around);
                assert_ne!(found, Response::Unstable, "{delay} {loop_gain}");
            }
        }
    }
}
