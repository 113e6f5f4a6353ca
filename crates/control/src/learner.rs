//! The learned map and the strategies that take lessons: long-term trim.
//!
//! Each cell holds `theta = ln(right fuel / base fuel)`. A lesson says: under these shares `phi` of the cells (as the
//! sensor sees them, after its lag) the right correction was `y`. The innovation is `y - sum phi_i theta_i`.

use trimwright_numerics::{Grid, Real, Weights};

use crate::attribution::Seen;
use crate::calibration::{CELLS, MAP_POINTS, RPM_POINTS};
use crate::common::{Common, FLOW_AUTHORITY_LN};
use crate::film::FILM;

/// Farthest a cell may go from what all cells have in common, ln: 35 % (engineering judgement: beyond it an answer is wrong or a part
/// broken).
pub const AUTHORITY_LN: f32 = 0.3;
/// Farthest a cell may go from the base map together with what all have in common, ln.
pub const WHOLE_AUTHORITY_LN: f32 = AUTHORITY_LN + FLOW_AUTHORITY_LN;
/// Standard deviation of the base map before any lesson, ln (engineering judgement).
pub const PRIOR_SIGMA_LN: f32 = 0.12;
/// Growth of a touched cell's variance by lesson, ln^2: lets a map follow an engine that ages.
const DRIFT_LN2: f32 = 1e-8;

/// Farthest a learned property of the film may go from the believed one, ln (engineering judgement).
pub const FILM_AUTHORITY_LN: f32 = 0.6;
/// Standard deviation of the believed film's properties before any lesson, ln (engineering judgement).
pub const FILM_PRIOR_SIGMA_LN: f32 = 0.25;

/// Error of the map's own model, ln: between its breakpoints the engine is not quite bilinear, and the gas at the sensor is not quite
/// that of the whole engine. However many readings say the same, a cell that had a share `phi` in them is not known finer than
/// this over `phi` (engineering judgement, from drives).
const MODEL_SIGMA_LN: f32 = 0.007;

/// What was learned: a correction and its variance for each cell, rows MAP, columns RPM; and beside the cells what transients told
/// of the wall film. A reading in a transient is partly the film's doing: with the film estimated beside the cells it neither
/// has to be thrown away nor spoils the map.
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
    pub fn at(&self, weights: &Weights<f32>) -> f32 {
        self.ln.at(weights)
    }

    /// The correction that the sensor sees, ln.
    pub fn seen(&self, seen: &Seen) -> f32 {
        seen.iter().map(|(cell, share)| share * self.value_ln(cell)).sum()
    }

    /// Variance of [`LearnedMap::seen`], ln^2.
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
    /// The variance after any gain `K_i`, best or not, is that of the Joseph form (e.g. Simon, Optimal State Estimation, 2006, eq. 3.19, from
    /// memory) without what cells have to do with each other: `P_i + K_i (K_i S - 2 phi_i P_i)` with `S = sum phi_j^2 P_j + R`.
    pub fn take(&mut self, lesson: &Lesson<'_>, gain: impl Fn(usize, f32, f32) -> f32) -> Outcome {
        let innovation = lesson.right_ln - self.seen(lesson.seen);
        let spread = (self.variance_seen(lesson.seen) + lesson.variance_ln2).max(1e-9);
        let mut outcome = Outcome::Taken;
        for (cell, share) in lesson.taught() {
            let gain = gain(cell, share, share * self.variance_of(cell) / spread);
            self.know(cell, share, gain, spread);
            if self.move_cell(cell, gain * innovation) == Outcome::Bounded {
                outcome = Outcome::Bounded;
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
    fn move_cell(&mut self, cell: usize, by_ln: f32) -> Outcome {
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
    pub fn sigma_ln(&self, cell: usize) -> f32 {
        self.variance.flat().get(cell).map_or(PRIOR_SIGMA_LN, |variance| Real::sqrt(variance.max(0.0)))
    }
}

/// One accepted reading, with what it describes.
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
    pub fn taught(&self) -> impl Iterator<Item = (usize, f32)> + '_ {
        self.seen.iter().filter(|(cell, _)| self.film || *cell < CELLS)
    }
}

/// What became of a lesson.
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
pub trait Learner {
    /// Takes one lesson.
    fn learn(&self, map: &mut LearnedMap, lesson: &Lesson<'_>) -> Outcome;
}

/// Each cell moves by a fixed part of the innovation times its share.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Integral {
    /// Part taken by a cell that has the whole share, 0 to 1.
    pub gain: f32,
}

/// The step is divided by the sum of squared shares, so that the same part is taken in the middle of a field as on a
/// breakpoint (normalised least mean squares).
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct NormalisedGradient {
    /// Part of the innovation that one lesson removes, 0 to 1.
    pub gain: f32,
}

/// Kalman filter with a diagonal covariance: `K_i = phi_i P_i / (sum phi_j^2 P_j + R)`, which leaves `P_i - K_i phi_i P_i`.
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

/// Which strategy learns.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
#[cfg_attr(feature = "serde", derive(serde::Serialize, serde::Deserialize))]
pub enum Strategy {
    /// [`Integral`] with a gain of 0.01.
    Integral,
    /// [`NormalisedGradient`] with a gain of 0.02.
    NormalisedGradient,
    /// [`Kalman`].
    #[default]
    Kalman,
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
            assert_eq!(untouched, crate::calibration::CELLS - 4, "{strategy:?}");
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
