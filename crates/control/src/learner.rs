//! The strategies that take lessons: which gain each cell of the [`learned map`](crate::learned_map) gets.

use trimwright_numerics::Real;

use crate::learned_map::{LearnedMap, LearnerParameters, Lesson, Outcome};
use crate::options::Strategy;

/// A way of taking lessons: which gain each cell gets. Whatever it is goes through [`LearnedMap::take`], which holds each cell within its
/// authority and keeps the confidence.
///
/// ```
/// use trimwright_control::Parameters;
/// use trimwright_control::attribution::Seen;
/// use trimwright_control::learned_map::{LearnedMap, LearnerParameters, Lesson, Outcome};
/// use trimwright_control::learner::{Kalman, Learner};
/// use trimwright_numerics::Weights;
/// /// Goes half as far as the filter would.
/// struct Wary;
/// impl Learner for Wary {
///     fn learn(&self, parameters: &LearnerParameters, map: &mut LearnedMap, lesson: &Lesson<'_>) -> Outcome {
///         map.take(parameters, lesson, |_, _, best| 0.5 * best)
///     }
/// }
/// let seen = Seen::at_rest(&Weights { cells: [20, 21, 34, 35], shares: [0.4, 0.3, 0.2, 0.1] });
/// let lesson = Lesson { seen: &seen, right_ln: 0.08, variance_ln2: 0.02, film: false };
/// let [mut wary, mut filter] = [(); 2].map(|()| Parameters::DEFAULT.blank_map());
/// Wary.learn(&LearnerParameters::DEFAULT, &mut wary, &lesson);
/// Kalman.learn(&LearnerParameters::DEFAULT, &mut filter, &lesson);
/// assert!((wary.seen(&seen) / filter.seen(&seen) - 0.5).abs() < 1e-6);
/// assert!(wary.sigma_ln(20) > filter.sigma_ln(20), "and knows that it is less sure");
/// ```
pub trait Learner {
    /// Takes one lesson.
    fn learn(&self, parameters: &LearnerParameters, map: &mut LearnedMap, lesson: &Lesson<'_>) -> Outcome;
}

/// Each cell moves by a fixed part of the innovation times its share.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Integral {
    /// Part taken by a cell that has the whole share, 0 to 1.
    pub gain: f32,
}

/// The step is divided by the sum of squared shares, so that the same part is taken in the middle of a field as on a
/// breakpoint (normalised least mean squares).
///
/// ```
/// use trimwright_control::Parameters;
/// use trimwright_control::attribution::Seen;
/// use trimwright_control::learned_map::{LearnerParameters, Lesson};
/// use trimwright_control::learner::{Learner, NormalisedGradient};
/// use trimwright_numerics::Weights;
/// // On a breakpoint or in the middle of a field, a tenth of what is missing is gone.
/// for shares in [[1.0, 0.0, 0.0, 0.0], [0.25; 4]] {
///     let seen = Seen::at_rest(&Weights { cells: [20, 21, 34, 35], shares });
///     let mut map = Parameters::DEFAULT.blank_map();
///     let lesson = Lesson { seen: &seen, right_ln: 0.08, variance_ln2: 0.04, film: false };
///     NormalisedGradient { gain: 0.1 }.learn(&LearnerParameters::DEFAULT, &mut map, &lesson);
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
/// use trimwright_control::Parameters;
/// use trimwright_control::attribution::Seen;
/// use trimwright_control::learned_map::{LearnerParameters, Lesson};
/// use trimwright_control::learner::{Kalman, Learner};
/// use trimwright_numerics::Weights;
/// let seen = Seen::at_rest(&Weights { cells: [20, 21, 34, 35], shares: [1.0, 0.0, 0.0, 0.0] });
/// let lesson = Lesson { seen: &seen, right_ln: 0.08, variance_ln2: 0.04, film: false };
/// let mut map = Parameters::DEFAULT.blank_map();
/// let mut step_ln = || {
///     let before_ln = map.ln.flat()[20];
///     Kalman.learn(&LearnerParameters::DEFAULT, &mut map, &lesson);
///     map.ln.flat()[20] - before_ln
/// };
/// let (first, tenth) = (step_ln(), (0..9).map(|_| step_ln()).last());
/// assert!(tenth.is_some_and(|tenth| tenth < 0.1 * first), "quick while little is known, then ever calmer");
/// ```
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Kalman;

impl Learner for Integral {
    fn learn(&self, parameters: &LearnerParameters, map: &mut LearnedMap, lesson: &Lesson<'_>) -> Outcome {
        map.take(parameters, lesson, |_, share, _| self.gain * share)
    }
}

impl Learner for NormalisedGradient {
    fn learn(&self, parameters: &LearnerParameters, map: &mut LearnedMap, lesson: &Lesson<'_>) -> Outcome {
        let norm2 = norm2(parameters, lesson);
        map.take(parameters, lesson, |_, share, _| self.gain * share / norm2)
    }
}

/// Sum of the squared shares.
fn norm2(parameters: &LearnerParameters, lesson: &Lesson<'_>) -> f32 {
    let norm2: f32 = lesson.taught().map(|(_, share)| share * share).sum();
    norm2.at_least(parameters.least_norm)
}

impl Learner for Kalman {
    fn learn(&self, parameters: &LearnerParameters, map: &mut LearnedMap, lesson: &Lesson<'_>) -> Outcome {
        map.take(parameters, lesson, |_, _, best| best)
    }
}

impl Learner for Strategy {
    fn learn(&self, parameters: &LearnerParameters, map: &mut LearnedMap, lesson: &Lesson<'_>) -> Outcome {
        // One closure for all of them, so that a lesson is taken at one place in flash.
        let by_share = match self {
            Self::Integral => Some((parameters.integral_gain, 1.0)),
            Self::NormalisedGradient => Some((parameters.gradient_gain, norm2(parameters, lesson))),
            Self::Kalman => None,
        };
        map.take(parameters, lesson, |_, share, best| {
            by_share.map_or(best, |(gain, norm2)| gain * share / norm2)
        })
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::attribution::Seen;
    use crate::base_map::CELLS;
    use crate::parameters::Parameters;
    use trimwright_numerics::Weights;

    const LEARNER: LearnerParameters = LearnerParameters::DEFAULT;

    const STRATEGIES: [Strategy; 3] = [Strategy::Integral, Strategy::NormalisedGradient, Strategy::Kalman];

    fn seen() -> Seen {
        Seen::at_rest(&Weights { cells: [20, 21, 34, 35], shares: [0.4, 0.3, 0.2, 0.1] })
    }

    #[test]
    fn every_strategy_comes_to_what_the_lessons_say() {
        for strategy in STRATEGIES {
            let mut map = Parameters::DEFAULT.blank_map();
            for _ in 0..5000 {
                strategy.learn(
                    &LEARNER,
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
            let mut map = Parameters::DEFAULT.blank_map();
            strategy.learn(
                &LEARNER,
                &mut map,
                &Lesson { seen: &seen(), right_ln: 0.08, variance_ln2: 0.02, film: true },
            );
            let untouched = map.ln.flat().iter().filter(|ln| **ln == 0.0).count();
            assert_eq!(untouched, CELLS - 4, "{strategy:?}");
            assert_eq!(map.sigma_ln(0), LEARNER.prior_sigma_ln);
        }
    }

    #[test]
    fn authority_bounds_every_cell() {
        for strategy in STRATEGIES {
            let mut map = Parameters::DEFAULT.blank_map();
            let mut bounded = 0;
            for _ in 0..20_000 {
                let outcome = strategy.learn(
                    &LEARNER,
                    &mut map,
                    &Lesson { seen: &seen(), right_ln: 5.0, variance_ln2: 0.02, film: true },
                );
                bounded += i32::from(outcome == Outcome::Bounded);
            }
            assert!(
                bounded > 0 && map.ln.flat().iter().all(|ln| ln.abs() <= LEARNER.authority_ln),
                "{strategy:?}"
            );
        }
    }

    /// Textbook scalar case: after n readings of variance R on a prior P the variance is 1 / (1/P + n/R).
    #[test]
    fn val_one_cell_alone_follows_the_textbook_variance() {
        let alone = Seen::at_rest(&Weights { cells: [5, 6, 19, 20], shares: [1.0, 0.0, 0.0, 0.0] });
        let mut map = Parameters::DEFAULT.blank_map();
        for _ in 0..50 {
            Kalman.learn(
                &LEARNER,
                &mut map,
                &Lesson { seen: &alone, right_ln: 0.05, variance_ln2: 0.02, film: true },
            );
        }
        let expected = 1.0 / (1.0 / (LEARNER.prior_sigma_ln * LEARNER.prior_sigma_ln) + 50.0 / 0.02);
        assert!((map.variance.flat()[5] / expected - 1.0).abs() < 0.01);
    }

    #[test]
    fn a_lesson_that_is_no_number_changes_no_correction() {
        for strategy in STRATEGIES {
            let mut map = Parameters::DEFAULT.blank_map();
            strategy.learn(
                &LEARNER,
                &mut map,
                &Lesson { seen: &seen(), right_ln: f32::NAN, variance_ln2: 0.02, film: true },
            );
            assert_eq!(map.ln, Parameters::DEFAULT.blank_map().ln);
        }
    }

    #[test]
    fn another_authority_bounds_the_map() {
        let narrow = LearnerParameters { authority_ln: 0.05, film_authority_ln: 0.1, ..LEARNER };
        let mut map = Parameters::DEFAULT.blank_map();
        map.common.flow_ln = 0.1;
        assert_eq!([40, CELLS].map(|cell| map.move_cell(&narrow, cell, 1.0)), [Outcome::Bounded; 2]);
        assert_eq!((map.ln.flat()[40], map.film_ln[0]), (0.1 + 0.05, 0.1));
    }

    #[test]
    fn another_prior_is_what_a_blank_map_starts_from_and_how_much_a_lesson_moves_it() {
        let first_ln = |prior_sigma_ln| {
            let mut parameters = Parameters::DEFAULT;
            parameters.learner.prior_sigma_ln = prior_sigma_ln;
            let mut map = parameters.blank_map();
            assert_eq!(map.sigma_ln(20), prior_sigma_ln);
            let lesson = Lesson { seen: &seen(), right_ln: 0.08, variance_ln2: 0.02, film: false };
            Kalman.learn(&parameters.learner, &mut map, &lesson);
            map.ln.flat()[20]
        };
        assert!(
            first_ln(0.04) < 0.3 * first_ln(0.12),
            "who trusts the base map more learns less of one lesson"
        );
    }
}
