//! Where trim and learning begin to swing: the controller's own stages against a pure delay.
//!
//! The engine's mixture is off by a constant. What a stage applies is seen `delay` looks later, `loop_gain` times as large as it is
//! (1 for a sensor and an engine that are what they are believed to be). The stage subtracts from each reading what it believes
//! to have been applied then: with the right delay believed, the delay cancels out of the loop; believing none makes
//! the stage a plain integrator, whose limit is known exactly.

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

/// Time between two readings.
///
/// ```
/// use trimwright_study::stability::{LOOK_S, exact_limit};
/// let limit_at = |delay_s: f64| exact_limit((delay_s / LOOK_S).round() as usize);
/// assert!((limit_at(0.2) / limit_at(0.4) - 2.0).abs() < 0.1, "twice the delay bears half the gain");
/// ```
pub const LOOK_S: f64 = 0.02;
/// Longest delay that can be tried, looks.
///
/// ```
/// use trimwright_study::stability::{Around, StabilityCell, LONGEST, LOOK_S, Motion, motion};
/// assert!((LONGEST as f64 * LOOK_S - 5.1).abs() < 1e-9, "some five seconds");
/// let around = Around { delay: LONGEST, believed: LONGEST, loop_gain: 1.0 };
/// assert_eq!(motion(&mut StabilityCell::new(0.5), around), Motion::Settles);
/// ```
pub const LONGEST: usize = 255;
/// By how much the mixture is off, ln: small enough that no authority is reached before it is clear whether the error grows.
const OFF_LN: f32 = 0.01;
/// Error that counts as none, over the first one. Single precision leaves about a millionth.
const GONE: f32 = 1e-4;
/// Overshoot that counts, over the first error.
const OVERSHOOT: f32 = 0.25;

/// A stage of the controller that corrects the mixture.
///
/// ```
/// use trimwright_study::stability::{Around, Motion, Stage, motion};
/// /// Believes every reading at once, within an authority of 0.2.
/// struct Rash(f32);
/// impl Stage for Rash {
///     fn applied_ln(&self) -> f32 {
///         self.0
///     }
///     fn take(&mut self, right_ln: f32) {
///         self.0 = right_ln.clamp(-0.2, 0.2);
///     }
/// }
/// let around = |delay| Around { delay, believed: 0, loop_gain: 1.0 };
/// assert_eq!(motion(&mut Rash(0.0), around(1)), Motion::Settles);
/// assert_eq!(motion(&mut Rash(0.0), around(5)), Motion::Swings, "late readings");
/// ```
pub trait Stage {
    /// The correction that it applies now, ln.
    ///
    /// ```
    /// use trimwright_study::stability::{StabilityCell, Stage};
    /// let cell = StabilityCell::new(0.5);
    /// assert_eq!(cell.applied_ln(), 0.0, "nothing is corrected before anything was heard");
    /// ```
    fn applied_ln(&self) -> f32;
    /// Hears what would have been right in total.
    ///
    /// ```
    /// use trimwright_study::stability::{StabilityCell, Stage};
    /// let mut cell = StabilityCell::new(0.5);
    /// cell.take(0.02);
    /// cell.take(0.02);
    /// assert!((cell.applied_ln() - 0.015).abs() < 1e-6, "half of what is lacking each time");
    /// ```
    fn take(&mut self, right_ln: f32);
}

/// Short-term trim.
///
/// ```
/// use trimwright_study::stability::{Stage, Trim};
/// let mut trim = Trim::new(0);
/// for _ in 0..500 {
///     trim.take(0.01);
/// }
/// assert!((trim.applied_ln() - 0.01).abs() < 1e-3, "after ten seconds it has come to what is right");
/// # Ok::<(), Box<dyn std::error::Error>>(())
/// ```
#[derive(Clone, Debug)]
pub struct Trim {
    delay_s: f32,
    feedback: Feedback,
}

impl Trim {
    /// The trim with this delay believed.
    ///
    /// ```
    /// use trimwright_study::stability::{Around, Motion, Trim, motion};
    /// let around = |believed| Around { delay: 60, believed, loop_gain: 4.0 };
    /// assert_eq!(motion(&mut Trim::new(0), around(0)), Motion::Swings, "1.2 s of delay not reckoned with");
    /// # Ok::<(), Box<dyn std::error::Error>>(())
    /// ```
    pub fn new(believed: usize) -> Self {
        Self { delay_s: believed as f32 * LOOK_S as f32, feedback: Feedback::default() }
    }
}

impl Stage for Trim {
    fn applied_ln(&self) -> f32 {
        self.feedback.trim_ln()
    }

    fn take(&mut self, right_ln: f32) {
        self.feedback.step(&FeedbackParameters::DEFAULT, self.delay_s, right_ln, 0.0, LOOK_S as f32);
    }
}

/// The map where one cell has the whole share, learning by [`Integral`].
///
/// ```
/// use trimwright_study::stability::{Around, StabilityCell, Motion, motion};
/// let sound = Around { delay: 40, believed: 40, loop_gain: 1.0 };
/// let unaware = Around { believed: 0, ..sound };
/// assert_eq!(motion(&mut StabilityCell::new(0.3), sound), Motion::Settles);
/// assert_eq!(motion(&mut StabilityCell::new(0.3), unaware), Motion::Swings, "the present gets the past's credit");
/// ```
#[derive(Clone, Debug)]
pub struct StabilityCell {
    learner: Integral,
    shares: LaggedShares,
    map: LearnedMap,
}

impl StabilityCell {
    /// A cell that takes this part of each innovation.
    ///
    /// ```
    /// use trimwright_study::stability::{StabilityCell, Stage};
    /// let (mut slow, mut quick) = (StabilityCell::new(0.1), StabilityCell::new(0.8));
    /// slow.take(0.01);
    /// quick.take(0.01);
    /// assert!((quick.applied_ln() / slow.applied_ln() - 8.0).abs() < 1e-3);
    /// ```
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

    fn take(&mut self, right_ln: f32) {
        let lesson = Lesson { shares: &self.shares, required_ln: right_ln, variance_ln2: 0.02, film: false };
        self.learner.learn(&LearnerParameters::DEFAULT, &mut self.map, &lesson);
    }
}

/// How an error goes away, if it does. The order is from good to bad.
///
/// ```
/// use trimwright_study::stability::{Around, StabilityCell, Motion, exact_limit, motion};
/// let around = Around { delay: 10, believed: 0, loop_gain: 1.0 };
/// let at = |share: f64| motion(&mut StabilityCell::new((share * exact_limit(10)) as f32), around);
/// assert_eq!([0.2, 0.8, 1.1].map(at), [Motion::Settles, Motion::Overshoots, Motion::Swings]);
/// ```
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Motion {
    /// It dies away with an overshoot of less than a quarter.
    Settles,
    /// It dies away, but overshoots by a quarter or more.
    Overshoots,
    /// It does not die away.
    Swings,
}

/// What surrounds a stage.
///
/// ```
/// use trimwright_study::stability::{Around, Motion, Trim, motion};
/// let around = Around { delay: 20, believed: 20, loop_gain: 1.0 };
/// assert_eq!(motion(&mut Trim::new(20), around), Motion::Settles);
/// let strong = Around { loop_gain: 8.0, ..around };
/// assert_eq!(motion(&mut Trim::new(20), strong), Motion::Swings, "a sensor that reads eightfold");
/// # Ok::<(), Box<dyn std::error::Error>>(())
/// ```
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Around {
    /// Looks until a correction is read: 1 when the next reading shows it.
    pub delay: usize,
    /// Looks that the stage believes it takes; 0 for none.
    pub believed: usize,
    /// What is read of a correction over what it is.
    pub loop_gain: f32,
}

/// Lets a stage correct an error and says how it went.
///
/// ```
/// use trimwright_study::stability::{Around, StabilityCell, Motion, motion};
/// let around = Around { delay: 1, believed: 0, loop_gain: 1.0 };
/// assert_eq!(motion(&mut StabilityCell::new(0.5), around), Motion::Settles);
/// assert_eq!(motion(&mut StabilityCell::new(2.1), around), Motion::Swings);
/// ```
pub fn motion(stage: &mut impl Stage, around: Around) -> Motion {
    let mut applied = Ring::<f32, { LONGEST + 1 }>::filled(0.0);
    let back = |applied: &Ring<f32, { LONGEST + 1 }>, looks: usize| {
        applied.back(looks.saturating_sub(1)).copied().unwrap_or_default()
    };
    // Long enough for a growth of a part in a hundred each turn of the loop to be plain.
    let quarter = 60 * (around.delay + 20);
    let mut largest = [0.0_f32; 4];
    let mut overshoot = 0.0_f32;
    for look in 0..4 * quarter {
        applied.push(stage.applied_ln());
        let error = OFF_LN - back(&applied, around.delay);
        let present = OFF_LN - stage.applied_ln();
        let believed =
            if around.believed == 0 { stage.applied_ln() } else { back(&applied, around.believed) };
        stage.take(believed + around.loop_gain * error);
        if !present.is_finite() {
            return Motion::Swings;
        }
        largest[look / quarter] = largest[look / quarter].max(present.abs());
        overshoot = overshoot.max(-present);
    }
    let [_, second, _, last] = largest;
    if last > GONE * OFF_LN && last > 0.9 * second {
        Motion::Swings
    } else if overshoot > OVERSHOOT * OFF_LN {
        Motion::Overshoots
    } else {
        Motion::Settles
    }
}

/// Largest gain for each look at which an integrator is stable whose output is read `delay` looks later:
/// `2 sin(pi / (2 (2 d - 1)))`. From the characteristic equation `z^d - z^(d-1) + K = 0` with `|z| = 1`.
///
/// ```
/// use trimwright_study::stability::exact_limit;
/// assert!((exact_limit(1) - 2.0).abs() < 1e-12 && (exact_limit(2) - 1.0).abs() < 1e-12);
/// ```
pub fn exact_limit(delay: usize) -> f64 {
    2.0 * libm::sin(core::f64::consts::FRAC_PI_2 / (2.0 * delay.max(1) as f64 - 1.0))
}

/// The largest gain for each look below `most` at which the motion is not [`Motion::Swings`], to one part in a thousand.
///
/// ```
/// use trimwright_study::stability::{Motion, measured_limit};
/// let limit = measured_limit(3.0, |gain| if gain > 1.0 { Motion::Swings } else { Motion::Settles });
/// assert!((limit - 1.0).abs() < 1e-3);
/// ```
pub fn measured_limit(most: f64, motion_at: impl Fn(f64) -> Motion) -> f64 {
    let (mut calm, mut wild) = (0.0, most);
    while wild - calm > 1e-3 * wild {
        let middle = 0.5 * (calm + wild);
        if motion_at(middle) == Motion::Swings { wild = middle } else { calm = middle }
    }
    0.5 * (calm + wild)
}

/// The part of what is lacking that the trim adds at one look when it believes no delay.
///
/// ```
/// let part = trimwright_study::stability::trim_part();
/// assert!(part > 0.0 && part < 0.1, "a little at each look: {part}");
/// # Ok::<(), Box<dyn std::error::Error>>(())
/// ```
pub fn trim_part() -> f64 {
    let mut trim = Trim::new(0);
    trim.take(OFF_LN);
    f64::from(trim.applied_ln()) / f64::from(OFF_LN)
}

/// Limits of the gain for each look of trim and learner that believe no delay, beside the exact one.
///
/// ```
/// use trimwright_study::stability::{StabilityLimit, limits};
/// let StabilityLimit { exact, trim, learner, .. } = limits(&[3])[0];
/// assert!((trim / exact - 1.0).abs() < 0.01 && (learner / exact - 1.0).abs() < 0.01);
/// # Ok::<(), Box<dyn std::error::Error>>(())
/// ```
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct StabilityLimit {
    /// Delay, looks.
    pub delay: usize,
    /// By [`exact_limit`].
    pub exact: f64,
    /// Of the short-term trim.
    pub trim: f64,
    /// Of the learner.
    pub learner: f64,
}

/// Measures the limits at these delays.
///
/// ```
/// let limits = trimwright_study::stability::limits(&[1, 5]);
/// assert_eq!(limits.iter().map(|limit| limit.delay).collect::<Vec<_>>(), [1, 5]);
/// assert!(limits[1].learner < 0.2 * limits[0].learner, "four looks later, a fifth of the gain at most");
/// # Ok::<(), Box<dyn std::error::Error>>(())
/// ```
pub fn limits(delays: &[usize]) -> Vec<StabilityLimit> {
    let (trim, part) = (Trim::new(0), trim_part());
    let one = |&delay: &usize| {
        let around = |loop_gain| Around { delay, believed: 0, loop_gain };
        StabilityLimit {
            delay,
            exact: exact_limit(delay),
            trim: measured_limit(3.0, |gain| motion(&mut trim.clone(), around((gain / part) as f32))),
            learner: measured_limit(3.0, |gain| motion(&mut StabilityCell::new(gain as f32), around(1.0))),
        }
    };
    delays.iter().map(one).collect()
}

/// A map of motions over delay and one other quantity.
///
/// ```
/// use trimwright_study::stability::{Motion, charts};
/// let chart = charts().learner_unaware;
/// let swinging = |row: &[Motion]| row.iter().filter(|motion| **motion == Motion::Swings).count();
/// let rows: Vec<usize> = chart.motions.chunks(chart.delays.len()).map(swinging).collect();
/// assert_eq!(rows.len(), chart.values.len());
/// assert!(rows.is_sorted(), "the quicker it learns, the more delays make it swing: {rows:?}");
/// # Ok::<(), Box<dyn std::error::Error>>(())
/// ```
#[derive(Clone, Debug, PartialEq)]
pub struct StabilityChart {
    /// Delays across, looks.
    pub delays: Vec<usize>,
    /// The other quantity, from below.
    pub values: Vec<f64>,
    /// Row by row from below.
    pub motions: Vec<Motion>,
}

impl StabilityChart {
    fn of(delays: &[usize], values: &[f64], motion: impl Fn(usize, f64) -> Motion) -> Self {
        let motions = values.iter().flat_map(|&value| delays.iter().map(move |&delay| (delay, value)));
        let motions = motions.map(|(delay, value)| motion(delay, value)).collect();
        Self { delays: delays.to_vec(), values: values.to_vec(), motions }
    }
}

/// Delays of the maps, looks: 0.1 to 1.6 s.
const DELAYS: [usize; 16] = [5, 10, 15, 20, 25, 30, 35, 40, 45, 50, 55, 60, 65, 70, 75, 80];
/// Gains for each look of the maps of what believes no delay.
const GAINS: [f64; 16] =
    [0.005, 0.007, 0.01, 0.014, 0.02, 0.028, 0.04, 0.056, 0.08, 0.11, 0.16, 0.22, 0.32, 0.45, 0.64, 0.9];
/// Loop gains of the map of the trim as it is.
const LOOP_GAINS: [f64; 14] = [0.25, 0.5, 0.75, 1.0, 1.25, 1.5, 1.75, 2.0, 2.5, 3.0, 4.0, 5.0, 6.0, 8.0];
/// Believed over real delay.
const BELIEVED: [f64; 13] = [0.0, 0.2, 0.4, 0.6, 0.8, 1.0, 1.2, 1.4, 1.6, 1.8, 2.0, 2.5, 3.0];

/// The maps of the study.
///
/// ```
/// use trimwright_study::stability::{Motion, charts};
/// let charts = charts();
/// assert!(charts.learner_unaware.motions.contains(&Motion::Swings));
/// assert!(charts.learner_aware.motions.iter().all(|motion| *motion == Motion::Settles));
/// # Ok::<(), Box<dyn std::error::Error>>(())
/// ```
#[derive(Clone, Debug, PartialEq)]
pub struct Charts {
    /// Learn rate against delay when each reading is credited to the correction of the present.
    pub learner_unaware: StabilityChart,
    /// Learn rate against delay when it is credited to the correction that made it.
    pub learner_aware: StabilityChart,
    /// Feedback gain against delay for a trim that believes no delay.
    pub trim_unaware: StabilityChart,
    /// Loop gain against delay for the trim as it is.
    pub trim_aware: StabilityChart,
    /// Believed over real delay against delay, loop gain 1.5, for the trim as it is.
    pub trim_mistaken: StabilityChart,
}

/// Works the maps out.
///
/// ```
/// use trimwright_study::stability::{Motion, charts};
/// let chart = charts().trim_aware;
/// let row = chart.values.iter().position(|loop_gain| *loop_gain == 1.0).ok_or("no such row")?;
/// let across = chart.motions.chunks(chart.delays.len()).nth(row).ok_or("too few rows")?;
/// assert!(across.iter().all(|motion| *motion == Motion::Settles), "all as believed: no delay matters");
/// # Ok::<(), Box<dyn std::error::Error>>(())
/// ```
pub fn charts() -> Charts {
    let part = trim_part();
    let believing = Trim::new;
    let trims = (0..=LONGEST).map(believing).collect::<Vec<_>>();
    let learner = |believes: fn(usize) -> usize| {
        StabilityChart::of(&DELAYS, &GAINS, |delay, gain| {
            motion(
                &mut StabilityCell::new(gain as f32),
                Around { delay, believed: believes(delay), loop_gain: 1.0 },
            )
        })
    };
    let trim = |values: &[f64], around: &dyn Fn(usize, f64) -> Around| {
        StabilityChart::of(&DELAYS, values, |delay, value| {
            let around = around(delay, value);
            motion(&mut trims[around.believed].clone(), around)
        })
    };
    Charts {
        learner_unaware: learner(|_| 0),
        learner_aware: learner(|delay| delay),
        trim_unaware: trim(&GAINS, &|delay, gain| Around {
            delay,
            believed: 0,
            loop_gain: (gain / part) as f32,
        }),
        trim_aware: trim(&LOOP_GAINS, &|delay, gain| Around {
            delay,
            believed: delay,
            loop_gain: gain as f32,
        }),
        trim_mistaken: trim(&BELIEVED, &|delay, share| {
            let believed = ((delay as f64 * share).round() as usize).min(LONGEST);
            Around { delay, believed, loop_gain: 1.5 }
        }),
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Takes everything at once and knows no limit.
    struct Rash(f32);

    impl Stage for Rash {
        fn applied_ln(&self) -> f32 {
            self.0
        }

        fn take(&mut self, right_ln: f32) {
            self.0 = right_ln;
        }
    }

    #[test]
    fn a_stage_that_grows_beyond_all_numbers_swings() {
        let around = Around { delay: 5, believed: 0, loop_gain: 3.0 };
        assert_eq!(motion(&mut Rash(0.0), around), Motion::Swings);
    }

    /// The formula against roots computed by an independent program: shared/reference/control_margins.csv, rows "discrete I".
    #[test]
    fn val_the_exact_limit_is_that_of_the_table() {
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
    fn val_trim_and_learner_without_delay_swing_at_the_exact_limit() {
        for limit in limits(&[1, 2, 3, 5, 10, 40]) {
            for measured in [limit.trim, limit.learner] {
                assert!((measured / limit.exact - 1.0).abs() < 0.01, "{limit:?}");
            }
        }
    }

    /// With the right delay believed the loop is `z - (1 - K)` for a loop gain of 1: calm for every gain below 1, at any delay.
    #[test]
    fn the_right_delay_makes_every_delay_calm() {
        for delay in [1, 7, 30, 80, 200] {
            let around = Around { delay, believed: delay, loop_gain: 1.0 };
            assert_eq!(motion(&mut StabilityCell::new(0.9), around), Motion::Settles, "{delay}");
            assert_eq!(motion(&mut Trim::new(delay), around), Motion::Settles, "{delay}");
        }
    }

    /// By the small-gain theorem the trim is calm while the loop gain stays between 0 and 2, whatever the delay.
    #[test]
    fn the_trim_bears_a_gain_of_up_to_two() {
        for delay in [5, 20, 80] {
            for loop_gain in [0.25, 1.0, 1.5, 1.95] {
                let around = Around { delay, believed: delay, loop_gain };
                let found = motion(&mut Trim::new(delay), around);
                assert_ne!(found, Motion::Swings, "{delay} {loop_gain}");
            }
        }
    }
}
