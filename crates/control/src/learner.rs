//! The learned map and the strategies that take lessons: long-term trim.
//!
//! Each cell holds `theta = ln(right fuel / base fuel)`. A lesson says: under these shares `phi` of the cells (as the
//! sensor sees them, after its lag) the right correction was `y`. The innovation is `y - sum phi_i theta_i`.

use trimwright_numerics::{Grid, Real, Weights};

use crate::attribution::Seen;
use crate::base_map::{CELLS, MAP_POINTS, RPM_POINTS};
use crate::common::{Common, FLOW_AUTHORITY_LN};
use crate::film::FILM;
use crate::options::Strategy;

/// Farthest a cell may go from what all cells have in common, ln: 35 % (engineering judgement: beyond it an answer is wrong or a part
/// broken).
///
/// ```
/// use trimwright_control::LearnedMap;
/// use trimwright_control::learner::{AUTHORITY_LN, Outcome};
/// // Twice the fuel is more than a cell may ask for.
/// let mut map = LearnedMap::default();
/// assert_eq!(map.move_cell(40, 2.0_f32.ln()), Outcome::Bounded);
/// assert_eq!(map.ln.flat()[40], AUTHORITY_LN);
/// ```
pub const AUTHORITY_LN: f32 = 0.3;
/// Farthest a cell may go from the base map together with what all have in common, ln.
///
/// ```
/// use trimwright_control::LearnedMap;
/// use trimwright_control::common::FLOW_AUTHORITY_LN;
/// use trimwright_control::learner::WHOLE_AUTHORITY_LN;
/// // A pump that gives too little everywhere and a part broken besides: 73 % more fuel at most.
/// let mut map = LearnedMap::default();
/// map.common.flow_ln = FLOW_AUTHORITY_LN;
/// map.move_cell(40, 2.0);
/// assert_eq!(map.ln.flat()[40], WHOLE_AUTHORITY_LN);
/// assert!((WHOLE_AUTHORITY_LN.exp() - 1.73).abs() < 0.01);
/// ```
pub const WHOLE_AUTHORITY_LN: f32 = AUTHORITY_LN + FLOW_AUTHORITY_LN;
/// Standard deviation of the base map before any lesson, ln (engineering judgement).
///
/// ```
/// use trimwright_control::LearnedMap;
/// use trimwright_control::learner::PRIOR_SIGMA_LN;
/// // The base map is believed to be right within about 12 %.
/// assert!((LearnedMap::default().sigma_ln(0) - PRIOR_SIGMA_LN).abs() < 1e-6);
/// assert!((PRIOR_SIGMA_LN.exp() - 1.127).abs() < 1e-3);
/// ```
pub const PRIOR_SIGMA_LN: f32 = 0.12;
/// Growth of a touched cell's variance by lesson, ln^2: lets a map follow an engine that ages.
const DRIFT_LN2: f32 = 1e-8;

/// Farthest a learned property of the film may go from the believed one, ln (engineering judgement).
///
/// ```
/// use trimwright_control::learner::FILM_AUTHORITY_LN;
/// use trimwright_control::{LearnedMap, base_map::CELLS};
/// // The film's properties stand after the cells; its share goes down to 0.55 of the believed one.
/// let mut map = LearnedMap::default();
/// map.move_cell(CELLS, -5.0);
/// assert_eq!(map.film_ln, [-FILM_AUTHORITY_LN, 0.0]);
/// assert!((map.film_ln[0].exp() - 0.55).abs() < 0.01);
/// ```
pub const FILM_AUTHORITY_LN: f32 = 0.6;
/// Standard deviation of the believed film's properties before any lesson, ln (engineering judgement).
///
/// ```
/// use trimwright_control::LearnedMap;
/// use trimwright_control::learner::{FILM_PRIOR_SIGMA_LN, PRIOR_SIGMA_LN};
/// // Of the film less is known beforehand than of the air.
/// assert_eq!(LearnedMap::default().film_variance[0], FILM_PRIOR_SIGMA_LN * FILM_PRIOR_SIGMA_LN);
/// assert!(FILM_PRIOR_SIGMA_LN > PRIOR_SIGMA_LN);
/// ```
pub const FILM_PRIOR_SIGMA_LN: f32 = 0.25;

/// Error of the map's own model, ln: between its breakpoints the engine is not quite bilinear, and the gas at the sensor is not quite
/// that of the whole engine. However many readings say the same, a cell that had a share `phi` in them is not known finer than
/// this over `phi` (engineering judgement, from drives).
const MODEL_SIGMA_LN: f32 = 0.007;

/// What was learned: a correction and its variance for each cell, rows MAP, columns RPM; and beside the cells what transients told
/// of the wall film. A reading in a transient is partly the film's doing: with the film estimated beside the cells it neither
/// has to be thrown away nor spoils the map.
///
/// ```
/// use trimwright_control::attribution::Seen;
/// use trimwright_control::learner::{LearnedMap, Learner, Lesson, Strategy};
/// use trimwright_numerics::Weights;
/// let mut map = LearnedMap::default();
/// let cruising = Weights { cells: [20, 21, 34, 35], shares: [0.4, 0.3, 0.2, 0.1] };
/// let seen = Seen::at_rest(&cruising);
/// // Half a minute in which 8 % more fuel would have been right.
/// for _ in 0..1500 {
///     let lesson = Lesson { seen: &seen, right_ln: 0.08, variance_ln2: 0.04, film: false };
///     Strategy::Kalman.learn(&mut map, &lesson);
/// }
/// assert!((map.at(&cruising) - 0.08).abs() < 0.005 && map.ln.flat()[90] == 0.0);
/// ```
#[derive(Clone, Debug, PartialEq)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub struct LearnedMap {
    /// ln of right fuel over base fuel, injectors opening as late as is now believed.
    pub ln: Grid<f32, RPM_POINTS, MAP_POINTS>,
    /// Variance of `ln`: the map's own estimate of its error, squared.
    pub variance: Grid<f32, RPM_POINTS, MAP_POINTS>,
    /// ln of the film's share and of its time constant over the believed ones.
    pub film_ln: [f32; FILM],
    /// Variance of `film_ln`.
    pub film_variance: [f32; FILM],
    /// What all cells have in common.
    pub common: Common,
}

impl Default for LearnedMap {
    fn default() -> Self {
        Self {
            ln: Grid::filled(0.0),
            variance: Grid::filled(PRIOR_SIGMA_LN * PRIOR_SIGMA_LN),
            film_ln: [0.0; FILM],
            film_variance: [FILM_PRIOR_SIGMA_LN * FILM_PRIOR_SIGMA_LN; FILM],
            common: Common::default(),
        }
    }
}

impl LearnedMap {
    /// The correction at an operating point, ln.
    ///
    /// ```
    /// use trimwright_control::LearnedMap;
    /// use trimwright_numerics::Weights;
    /// let mut map = LearnedMap::default();
    /// map.move_cell(20, 0.10);
    /// // Half way from a cell that learned 0.10 to one that learned nothing.
    /// let between = Weights { cells: [20, 21, 34, 35], shares: [0.5, 0.5, 0.0, 0.0] };
    /// assert!((map.at(&between) - 0.05).abs() < 1e-6);
    /// ```
    pub fn at(&self, weights: &Weights<f32>) -> f32 {
        self.ln.at(weights)
    }

    /// The correction that the sensor sees, ln.
    ///
    /// ```
    /// use trimwright_control::LearnedMap;
    /// use trimwright_control::attribution::Seen;
    /// use trimwright_numerics::Weights;
    /// let mut map = LearnedMap::default();
    /// map.move_cell(20, 0.10);
    /// // The engine has just gone from cell 30 to cell 20, and the sensor is half way there.
    /// let [before, now] = [30, 20].map(|cell| Weights { cells: [cell; 4], shares: [1.0, 0.0, 0.0, 0.0] });
    /// let mut seen = Seen::at_rest(&before);
    /// seen.add(&now, 0.5);
    /// assert!((map.at(&now) - 0.10).abs() < 1e-6 && (map.seen(&seen) - 0.05).abs() < 1e-6);
    /// ```
    pub fn seen(&self, seen: &Seen) -> f32 {
        seen.iter().map(|(cell, share)| share * self.value_ln(cell)).sum()
    }

    /// Variance of [`LearnedMap::seen`], ln^2.
    ///
    /// ```
    /// use trimwright_control::LearnedMap;
    /// use trimwright_control::attribution::Seen;
    /// use trimwright_numerics::Weights;
    /// let map = LearnedMap::default();
    /// let seen = |shares| Seen::at_rest(&Weights { cells: [20, 21, 34, 35], shares });
    /// let sigma_ln = |shares| map.variance_seen(&seen(shares)).sqrt();
    /// // Errors of four cells average out in the middle of a field: half of what one cell alone has.
    /// let (alone, middle) = (sigma_ln([1.0, 0.0, 0.0, 0.0]), sigma_ln([0.25; 4]));
    /// assert!((alone - 0.12).abs() < 1e-4 && (middle - 0.06).abs() < 1e-4);
    /// ```
    pub fn variance_seen(&self, seen: &Seen) -> f32 {
        seen.iter().map(|(cell, share)| share * share * self.variance_of(cell)).sum()
    }

    /// Variance of the film's part in the fuel with these shares, ln^2.
    pub(crate) fn film_variance_of(&self, film: &[f32; FILM]) -> f32 {
        film.iter().zip(&self.film_variance).map(|(share, variance)| share * share * variance).sum()
    }

    /// What was learned in a cell, or beyond the cells of the film; 0 beyond that.
    fn value_ln(&self, cell: usize) -> f32 {
        self.ln
            .flat()
            .get(cell)
            .or_else(|| self.film_ln.get(cell.wrapping_sub(CELLS)))
            .copied()
            .unwrap_or(0.0)
    }

    /// Variance of the same.
    fn variance_of(&self, cell: usize) -> f32 {
        let variance = self.variance.flat().get(cell);
        variance.or_else(|| self.film_variance.get(cell.wrapping_sub(CELLS))).copied().unwrap_or(0.0)
    }

    /// Takes a lesson: each cell that learns from it moves by `gain` times the innovation, and is known as well as that gain leaves it.
    /// `gain` is asked with the cell's number, its share and the gain that a Kalman filter would choose.
    ///
    /// The variance after any gain `K_i`, best or not, is that of the Joseph form (e.g. Simon, Optimal State Estimation, 2006, from memory)
    /// without what cells have to do with each other, and never more than before any lesson: `P_i + K_i (K_i S - 2 phi_i P_i)` with
    /// `S = sum phi_j^2 P_j + R`.
    ///
    /// ```
    /// use trimwright_control::attribution::Seen;
    /// use trimwright_control::learner::{LearnedMap, Lesson};
    /// use trimwright_numerics::Weights;
    /// let seen = Seen::at_rest(&Weights { cells: [20, 21, 34, 35], shares: [1.0, 0.0, 0.0, 0.0] });
    /// let lesson = Lesson { seen: &seen, right_ln: 0.08, variance_ln2: 0.0144, film: false };
    /// let taken = |part: f32| {
    ///     let mut map = LearnedMap::default();
    ///     map.take(&lesson, |_, _, best| part * best);
    ///     (map.ln.flat()[20], map.sigma_ln(20))
    /// };
    /// // A lesson as uncertain as the cell itself moves it half of the way and halves its variance.
    /// let (best_ln, best_sigma_ln) = taken(1.0);
    /// assert!((best_ln - 0.04).abs() < 1e-6 && (best_sigma_ln - 0.12 / 2.0_f32.sqrt()).abs() < 1e-4);
    /// assert!(taken(0.5).1 > best_sigma_ln && taken(1.5).1 > best_sigma_ln, "no other gain leaves less doubt");
    /// ```
    pub fn take(&mut self, lesson: &Lesson<'_>, gain: impl Fn(usize, f32, f32) -> f32) -> Outcome {
        let innovation = lesson.right_ln - self.seen(lesson.seen);
        let spread = (self.variance_seen(lesson.seen) + lesson.variance_ln2).max(1e-9);
        let mut outcome = Outcome::Taken;
        for (cell, share) in lesson.taught() {
            let gain = gain(cell, share, share * self.variance_of(cell) / spread);
            match self.move_cell(cell, gain * innovation) {
                Outcome::Taken => self.know(cell, share, gain, spread),
                // A cell that was stopped is not known better than before.
                Outcome::Bounded => outcome = Outcome::Bounded,
            }
        }
        outcome
    }

    /// How well a cell is known after a lesson that was taken with this gain.
    fn know(&mut self, cell: usize, share: f32, gain: f32, spread: f32) {
        let (variance, prior_sigma) = match self.variance.flat_mut().get_mut(cell) {
            Some(variance) => (variance, PRIOR_SIGMA_LN),
            None => match self.film_variance.get_mut(cell.wrapping_sub(CELLS)) {
                Some(variance) => (variance, FILM_PRIOR_SIGMA_LN),
                None => return,
            },
        };
        let left = *variance + gain * (gain * spread - 2.0 * share * *variance) + DRIFT_LN2;
        let finest = MODEL_SIGMA_LN / share;
        *variance = left.max((finest * finest).min(*variance)).held(0.0, prior_sigma * prior_sigma);
    }

    /// Moves a cell, or beyond the cells a property of the film, as far as its authority goes.
    ///
    /// ```
    /// use trimwright_control::LearnedMap;
    /// use trimwright_control::learner::Outcome;
    /// let mut map = LearnedMap::default();
    /// assert_eq!(map.move_cell(40, -0.2), Outcome::Taken);
    /// assert_eq!(map.move_cell(40, -0.2), Outcome::Bounded);
    /// map.move_cell(41, f32::NAN);
    /// assert_eq!(map.ln.flat()[40..42], [-0.3, 0.0]);
    /// ```
    pub fn move_cell(&mut self, cell: usize, by_ln: f32) -> Outcome {
        let (ln, low, high) = match self.ln.flat_mut().get_mut(cell) {
            Some(ln) => (ln, self.common.flow_ln - AUTHORITY_LN, self.common.flow_ln + AUTHORITY_LN),
            None => match self.film_ln.get_mut(cell.wrapping_sub(CELLS)) {
                Some(ln) => (ln, -FILM_AUTHORITY_LN, FILM_AUTHORITY_LN),
                None => return Outcome::Taken,
            },
        };
        if !by_ln.is_finite() {
            return Outcome::Taken;
        }
        let wanted = *ln + by_ln;
        *ln = wanted.held(low, high);
        if *ln == wanted { Outcome::Taken } else { Outcome::Bounded }
    }

    /// Standard deviation of one cell, ln; that of the prior for a cell outside the map.
    ///
    /// ```
    /// use trimwright_control::LearnedMap;
    /// let mut map = LearnedMap::default();
    /// map.variance.flat_mut()[40] = 0.02 * 0.02;
    /// // Well known, never visited, no cell at all.
    /// assert_eq!([40, 41, 9999].map(|cell| (100.0 * map.sigma_ln(cell)).round()), [2.0, 12.0, 12.0]);
    /// ```
    pub fn sigma_ln(&self, cell: usize) -> f32 {
        self.variance.flat().get(cell).map_or(PRIOR_SIGMA_LN, |variance| Real::sqrt(variance.max(0.0)))
    }
}

/// One accepted reading, with what it describes.
///
/// ```
/// use trimwright_control::attribution::Seen;
/// use trimwright_control::learner::{Kalman, LearnedMap, Learner, Lesson};
/// use trimwright_numerics::Weights;
/// let seen = Seen::at_rest(&Weights { cells: [20, 21, 34, 35], shares: [1.0, 0.0, 0.0, 0.0] });
/// let learned = |variance_ln2| {
///     let mut map = LearnedMap::default();
///     // 4 % of correction were in, and lambda 1.05 was read where 1.0 was wanted.
///     let right_ln = 0.04 + 1.05_f32.ln();
///     Kalman.learn(&mut map, &Lesson { seen: &seen, right_ln, variance_ln2, film: false });
///     map.ln.flat()[20]
/// };
/// assert!(learned(0.04) > 0.02 && learned(0.4) < 0.005, "a doubtful reading counts less");
/// ```
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Lesson<'a> {
    /// The cells it speaks of.
    pub seen: &'a Seen,
    /// The correction that would have been right, ln.
    pub right_ln: f32,
    /// Variance of `right_ln` as if lessons were independent, ln^2.
    pub variance_ln2: f32,
    /// Whether it may teach something of the film too; what is known of the film counts in any case.
    pub film: bool,
}

impl Lesson<'_> {
    /// The pairs of cell number and share that learn from it.
    ///
    /// ```
    /// use trimwright_control::attribution::Seen;
    /// use trimwright_control::learner::Lesson;
    /// use trimwright_numerics::Weights;
    /// let seen = Seen::at_rest(&Weights { cells: [20, 21, 34, 35], shares: [0.75, 0.25, 0.0, 0.0] });
    /// let lesson = Lesson { seen: &seen, right_ln: 0.05, variance_ln2: 0.04, film: true };
    /// assert!(lesson.taught().eq([(20, 0.75), (21, 0.25)]), "cells without a share learn nothing");
    /// ```
    pub fn taught(&self) -> impl Iterator<Item = (usize, f32)> + '_ {
        self.seen.iter().filter(|(cell, _)| self.film || *cell < CELLS)
    }
}

/// What became of a lesson.
///
/// ```
/// use trimwright_control::attribution::Seen;
/// use trimwright_control::learner::{LearnedMap, Learner, Lesson, Outcome, Strategy};
/// use trimwright_numerics::Weights;
/// let seen = Seen::at_rest(&Weights { cells: [20, 21, 34, 35], shares: [1.0, 0.0, 0.0, 0.0] });
/// // 60 % more fuel: no engine is that far from its base map, something is broken.
/// let lesson = Lesson { seen: &seen, right_ln: 1.6_f32.ln(), variance_ln2: 0.04, film: false };
/// let mut map = LearnedMap::default();
/// assert_eq!(Strategy::Kalman.learn(&mut map, &lesson), Outcome::Taken);
/// let last = (0..100).map(|_| Strategy::Kalman.learn(&mut map, &lesson)).last();
/// assert_eq!(last, Some(Outcome::Bounded));
/// ```
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub enum Outcome {
    /// Taken in full.
    Taken,
    /// Taken, but a cell stopped at the end of its authority.
    Bounded,
}

/// A way of taking lessons: which gain each cell gets. Whatever it is goes through [`LearnedMap::take`], which holds each cell within its
/// authority and keeps the confidence.
///
/// ```
/// use trimwright_control::attribution::Seen;
/// use trimwright_control::learner::{Kalman, LearnedMap, Learner, Lesson, Outcome};
/// use trimwright_numerics::Weights;
/// /// Goes half as far as the filter would.
/// struct Wary;
/// impl Learner for Wary {
///     fn learn(&self, map: &mut LearnedMap, lesson: &Lesson<'_>) -> Outcome {
///         map.take(lesson, |_, _, best| 0.5 * best)
///     }
/// }
/// let seen = Seen::at_rest(&Weights { cells: [20, 21, 34, 35], shares: [0.4, 0.3, 0.2, 0.1] });
/// let lesson = Lesson { seen: &seen, right_ln: 0.08, variance_ln2: 0.02, film: false };
/// let [mut wary, mut filter] = [LearnedMap::default(), LearnedMap::default()];
/// assert_eq!([Wary.learn(&mut wary, &lesson), Kalman.learn(&mut filter, &lesson)], [Outcome::Taken; 2]);
/// assert!((wary.seen(&seen) / filter.seen(&seen) - 0.5).abs() < 1e-6);
/// assert!(wary.sigma_ln(20) > filter.sigma_ln(20), "and knows that it is less sure");
/// ```
pub trait Learner {
    /// Takes one lesson.
    ///
    /// ```
    /// use trimwright_control::attribution::Seen;
    /// use trimwright_control::learner::{LearnedMap, Learner, Lesson, Strategy};
    /// use trimwright_numerics::Weights;
    /// let seen = Seen::at_rest(&Weights { cells: [20, 21, 34, 35], shares: [0.25; 4] });
    /// let lean = Lesson { seen: &seen, right_ln: 0.08, variance_ln2: 0.04, film: false };
    /// for strategy in [Strategy::Integral, Strategy::NormalisedGradient, Strategy::Kalman] {
    ///     let mut map = LearnedMap::default();
    ///     strategy.learn(&mut map, &lean);
    ///     let learned_ln = map.seen(&seen);
    ///     assert!(learned_ln > 0.0 && learned_ln < 0.08, "{strategy:?} goes part of the way");
    /// }
    /// ```
    fn learn(&self, map: &mut LearnedMap, lesson: &Lesson<'_>) -> Outcome;
}

/// Each cell moves by a fixed part of the innovation times its share.
///
/// ```
/// use trimwright_control::attribution::Seen;
/// use trimwright_control::learner::{Integral, LearnedMap, Learner, Lesson};
/// use trimwright_numerics::Weights;
/// let seen = Seen::at_rest(&Weights { cells: [20, 21, 34, 35], shares: [0.75, 0.25, 0.0, 0.0] });
/// let mut map = LearnedMap::default();
/// let lesson = Lesson { seen: &seen, right_ln: 0.08, variance_ln2: 0.04, film: false };
/// Integral { gain: 0.1 }.learn(&mut map, &lesson);
/// assert!((map.ln.flat()[20] - 0.1 * 0.75 * 0.08).abs() < 1e-6);
/// ```
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Integral {
    /// Part taken by a cell that has the whole share, 0 to 1.
    pub gain: f32,
}

/// The step is divided by the sum of squared shares, so that the same part is taken in the middle of a field as on a
/// breakpoint (normalised least mean squares).
///
/// ```
/// use trimwright_control::attribution::Seen;
/// use trimwright_control::learner::{LearnedMap, Learner, Lesson, NormalisedGradient};
/// use trimwright_numerics::Weights;
/// // On a breakpoint or in the middle of a field, a tenth of what is missing is gone.
/// for shares in [[1.0, 0.0, 0.0, 0.0], [0.25; 4]] {
///     let seen = Seen::at_rest(&Weights { cells: [20, 21, 34, 35], shares });
///     let mut map = LearnedMap::default();
///     let lesson = Lesson { seen: &seen, right_ln: 0.08, variance_ln2: 0.04, film: false };
///     NormalisedGradient { gain: 0.1 }.learn(&mut map, &lesson);
///     assert!((map.seen(&seen) - 0.008).abs() < 1e-6);
/// }
/// ```
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct NormalisedGradient {
    /// Part of the innovation that one lesson removes, 0 to 1.
    pub gain: f32,
}

/// Kalman filter with a diagonal covariance: `K_i = phi_i P_i / (sum phi_j^2 P_j + R)`, which leaves `P_i - K_i phi_i P_i`.
///
/// ```
/// use trimwright_control::attribution::Seen;
/// use trimwright_control::learner::{Kalman, LearnedMap, Learner, Lesson};
/// use trimwright_numerics::Weights;
/// let seen = Seen::at_rest(&Weights { cells: [20, 21, 34, 35], shares: [1.0, 0.0, 0.0, 0.0] });
/// let mut map = LearnedMap::default();
/// let mut step_ln = || {
///     let before_ln = map.ln.flat()[20];
///     Kalman.learn(&mut map, &Lesson { seen: &seen, right_ln: 0.08, variance_ln2: 0.04, film: false });
///     map.ln.flat()[20] - before_ln
/// };
/// let (first, tenth) = (step_ln(), (0..9).map(|_| step_ln()).last());
/// assert!(tenth.is_some_and(|tenth| tenth < 0.1 * first), "quick while little is known, then ever calmer");
/// ```
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Kalman;

impl Learner for Integral {
    fn learn(&self, map: &mut LearnedMap, lesson: &Lesson<'_>) -> Outcome {
        map.take(lesson, |_, share, _| self.gain * share)
    }
}

impl Learner for NormalisedGradient {
    fn learn(&self, map: &mut LearnedMap, lesson: &Lesson<'_>) -> Outcome {
        let norm2: f32 = lesson.taught().map(|(_, share)| share * share).sum();
        map.take(lesson, |_, share, _| self.gain * share / norm2.max(0.05))
    }
}

impl Learner for Kalman {
    fn learn(&self, map: &mut LearnedMap, lesson: &Lesson<'_>) -> Outcome {
        map.take(lesson, |_, _, best| best)
    }
}

impl Learner for Strategy {
    fn learn(&self, map: &mut LearnedMap, lesson: &Lesson<'_>) -> Outcome {
        match self {
            Self::Integral => Integral { gain: 0.01 }.learn(map, lesson),
            Self::NormalisedGradient => NormalisedGradient { gain: 0.02 }.learn(map, lesson),
            Self::Kalman => Kalman.learn(map, lesson),
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    const STRATEGIES: [Strategy; 3] = [Strategy::Integral, Strategy::NormalisedGradient, Strategy::Kalman];

    fn seen() -> Seen {
        Seen::at_rest(&Weights { cells: [20, 21, 34, 35], shares: [0.4, 0.3, 0.2, 0.1] })
    }

    #[test]
    fn every_strategy_comes_to_what_the_lessons_say() {
        for strategy in STRATEGIES {
            let mut map = LearnedMap::default();
            for _ in 0..5000 {
                strategy.learn(
                    &mut map,
                    &Lesson { seen: &seen(), right_ln: 0.08, variance_ln2: 0.02, film: true },
                );
            }
            assert!((map.seen(&seen()) - 0.08).abs() < 1e-3, "{strategy:?}: {}", map.seen(&seen()));
        }
    }

    #[test]
    fn cells_that_were_not_seen_stay_at_the_prior() {
        for strategy in STRATEGIES {
            let mut map = LearnedMap::default();
            strategy
                .learn(&mut map, &Lesson { seen: &seen(), right_ln: 0.08, variance_ln2: 0.02, film: true });
            let untouched = map.ln.flat().iter().filter(|ln| **ln == 0.0).count();
            assert_eq!(untouched, crate::base_map::CELLS - 4, "{strategy:?}");
            assert_eq!(map.sigma_ln(0), PRIOR_SIGMA_LN);
        }
    }

    #[test]
    fn authority_bounds_every_cell() {
        for strategy in STRATEGIES {
            let mut map = LearnedMap::default();
            let mut bounded = 0;
            for _ in 0..20_000 {
                let outcome = strategy.learn(
                    &mut map,
                    &Lesson { seen: &seen(), right_ln: 5.0, variance_ln2: 0.02, film: true },
                );
                bounded += i32::from(outcome == Outcome::Bounded);
            }
            assert!(bounded > 0 && map.ln.flat().iter().all(|ln| ln.abs() <= AUTHORITY_LN), "{strategy:?}");
        }
    }

    /// Textbook scalar case: after n readings of variance R on a prior P the variance is 1 / (1/P + n/R).
    #[test]
    fn val_one_cell_alone_follows_the_textbook_variance() {
        let alone = Seen::at_rest(&Weights { cells: [5, 6, 19, 20], shares: [1.0, 0.0, 0.0, 0.0] });
        let mut map = LearnedMap::default();
        for _ in 0..50 {
            Kalman.learn(&mut map, &Lesson { seen: &alone, right_ln: 0.05, variance_ln2: 0.02, film: true });
        }
        let expected = 1.0 / (1.0 / (PRIOR_SIGMA_LN * PRIOR_SIGMA_LN) + 50.0 / 0.02);
        assert!((map.variance.flat()[5] / expected - 1.0).abs() < 0.01);
    }

    #[test]
    fn a_lesson_that_is_no_number_changes_no_correction() {
        for strategy in STRATEGIES {
            let mut map = LearnedMap::default();
            strategy.learn(
                &mut map,
                &Lesson { seen: &seen(), right_ln: f32::NAN, variance_ln2: 0.02, film: true },
            );
            assert_eq!(map.ln, LearnedMap::default().ln);
        }
    }
}
