//! Learning strategies: the gain of each cell of the [`LearnedMap`].

use trimwright_numerics::Real;

use crate::learned_map::{LearnedMap, LearnerParameters, Lesson, Outcome};
use crate::options::Strategy;

/// A learning strategy: it chooses the gain of each cell. [`LearnedMap::update`] applies it, limits each cell to its authority and updates
/// the variances.
///
/// ```
/// use trimwright_control::Parameters;
/// use trimwright_control::learning::LaggedShares;
/// use trimwright_control::LearnedMap;
/// use trimwright_control::parameters::LearnerParameters;
/// use trimwright_control::learning::{Lesson, Outcome};
/// use trimwright_control::learning::Kalman;
/// use trimwright_control::Learner;
/// use trimwright_numerics::Weights;
/// /// Half the Kalman gain.
/// struct Half;
/// impl Learner for Half {
///     fn learn(&self, parameters: &LearnerParameters, map: &mut LearnedMap, lesson: &Lesson<'_>) -> Outcome {
///         map.update(parameters, lesson, |_, _, best| 0.5 * best)
///     }
/// }
/// let shares = LaggedShares::settled(&Weights { cells: [20, 21, 34, 35], shares: [0.4, 0.3, 0.2, 0.1] });
/// let lesson = Lesson { shares: &shares, required_ln: 0.08, variance_ln2: 0.02, film: false };
/// let [mut half, mut filter] = [(); 2].map(|()| Parameters::DEFAULT.blank_map());
/// Half.learn(&LearnerParameters::DEFAULT, &mut half, &lesson);
/// Kalman.learn(&LearnerParameters::DEFAULT, &mut filter, &lesson);
/// assert!((half.at_shares(&shares) / filter.at_shares(&shares) - 0.5).abs() < 1e-6);
/// assert!(half.sigma_ln(20) > filter.sigma_ln(20), "and its variance is larger");
/// ```
pub trait Learner {
    /// Applies one lesson.
    fn learn(&self, parameters: &LearnerParameters, map: &mut LearnedMap, lesson: &Lesson<'_>) -> Outcome;
}

/// Integral law: each cell moves by a fixed part of the innovation times its share.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Integral {
    /// Part taken by a cell that has the whole share, 0 to 1.
    pub gain: f32,
}

/// Normalised least mean squares: the step is divided by the sum of squared shares, so that a lesson removes the same part of the
/// innovation between breakpoints as on one.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct NormalisedGradient {
    /// Part of the innovation that one lesson removes, 0 to 1.
    pub gain: f32,
}

/// Kalman filter with a diagonal covariance: `K_i = phi_i P_i / (sum phi_j^2 P_j + R)`, which leaves `P_i - K_i phi_i P_i`.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Kalman;

impl Learner for Integral {
    fn learn(&self, parameters: &LearnerParameters, map: &mut LearnedMap, lesson: &Lesson<'_>) -> Outcome {
        map.update(parameters, lesson, |_, share, _| self.gain * share)
    }
}

impl Learner for NormalisedGradient {
    fn learn(&self, parameters: &LearnerParameters, map: &mut LearnedMap, lesson: &Lesson<'_>) -> Outcome {
        let norm2 = norm2(parameters, lesson);
        map.update(parameters, lesson, |_, share, _| self.gain * share / norm2)
    }
}

/// Sum of the squared shares.
fn norm2(parameters: &LearnerParameters, lesson: &Lesson<'_>) -> f32 {
    let norm2: f32 = lesson.updated_cells().map(|(_, share)| share * share).sum();
    norm2.at_least(parameters.min_norm)
}

impl Learner for Kalman {
    fn learn(&self, parameters: &LearnerParameters, map: &mut LearnedMap, lesson: &Lesson<'_>) -> Outcome {
        map.update(parameters, lesson, |_, _, best| best)
    }
}

impl Learner for Strategy {
    fn learn(&self, parameters: &LearnerParameters, map: &mut LearnedMap, lesson: &Lesson<'_>) -> Outcome {
        // One closure for all strategies, so that the update is in flash once.
        let by_share = match self {
            Self::Integral => Some((parameters.integral_gain, 1.0)),
            Self::NormalisedGradient => Some((parameters.gradient_gain, norm2(parameters, lesson))),
            Self::Kalman => None,
        };
        map.update(parameters, lesson, |_, share, best| {
            by_share.map_or(best, |(gain, norm2)| gain * share / norm2)
        })
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::attribution::LaggedShares;
    use crate::base_map::CELLS;
    use crate::parameters::Parameters;
    use trimwright_numerics::Weights;

    const LEARNER: LearnerParameters = LearnerParameters::DEFAULT;

    const STRATEGIES: [Strategy; 3] = [Strategy::Integral, Strategy::NormalisedGradient, Strategy::Kalman];

    fn shares() -> LaggedShares {
        LaggedShares::settled(&Weights { cells: [20, 21, 34, 35], shares: [0.4, 0.3, 0.2, 0.1] })
    }

    #[test]
    fn every_strategy_converges_to_the_required_correction() {
        for strategy in STRATEGIES {
            let mut map = Parameters::DEFAULT.blank_map();
            for _ in 0..5000 {
                strategy.learn(
                    &LEARNER,
                    &mut map,
                    &Lesson { shares: &shares(), required_ln: 0.08, variance_ln2: 0.02, film: true },
                );
            }
            assert!(
                (map.at_shares(&shares()) - 0.08).abs() < 1e-3,
                "{strategy:?}: {}",
                map.at_shares(&shares())
            );
        }
    }

    #[test]
    fn cells_without_a_share_stay_at_the_prior() {
        for strategy in STRATEGIES {
            let mut map = Parameters::DEFAULT.blank_map();
            strategy.learn(
                &LEARNER,
                &mut map,
                &Lesson { shares: &shares(), required_ln: 0.08, variance_ln2: 0.02, film: true },
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
                    &Lesson { shares: &shares(), required_ln: 5.0, variance_ln2: 0.02, film: true },
                );
                bounded += i32::from(outcome == Outcome::Limited);
            }
            assert!(
                bounded > 0 && map.ln.flat().iter().all(|ln| ln.abs() <= LEARNER.authority_ln),
                "{strategy:?}"
            );
        }
    }

    /// Textbook scalar case: after n readings of variance R on a prior P the variance is 1 / (1/P + n/R).
    #[test]
    fn ident_one_cell_alone_follows_the_textbook_variance() {
        let alone = LaggedShares::settled(&Weights { cells: [5, 6, 19, 20], shares: [1.0, 0.0, 0.0, 0.0] });
        let mut map = Parameters::DEFAULT.blank_map();
        for _ in 0..50 {
            Kalman.learn(
                &LEARNER,
                &mut map,
                &Lesson { shares: &alone, required_ln: 0.05, variance_ln2: 0.02, film: true },
            );
        }
        let expected = 1.0 / (1.0 / (LEARNER.prior_sigma_ln * LEARNER.prior_sigma_ln) + 50.0 / 0.02);
        assert!((map.variance.flat()[5] / expected - 1.0).abs() < 0.01);
    }

    #[test]
    fn a_lesson_that_is_not_a_number_changes_no_correction() {
        for strategy in STRATEGIES {
            let mut map = Parameters::DEFAULT.blank_map();
            strategy.learn(
                &LEARNER,
                &mut map,
                &Lesson { shares: &shares(), required_ln: f32::NAN, variance_ln2: 0.02, film: true },
            );
            assert_eq!(map.ln, Parameters::DEFAULT.blank_map().ln);
        }
    }

    #[test]
    fn another_authority_bounds_the_map() {
        let narrow = LearnerParameters { authority_ln: 0.05, film_authority_ln: 0.1, ..LEARNER };
        let mut map = Parameters::DEFAULT.blank_map();
        map.common.flow_ln = 0.1;
        assert_eq!([40, CELLS].map(|cell| map.move_cell(&narrow, cell, 1.0)), [Outcome::Limited; 2]);
        assert_eq!((map.ln.flat()[40], map.film_ln[0]), (0.1 + 0.05, 0.1));
    }

    #[test]
    fn the_prior_sets_the_variance_of_a_blank_map_and_the_first_gain() {
        let first_ln = |prior_sigma_ln| {
            let mut parameters = Parameters::DEFAULT;
            parameters.learner.prior_sigma_ln = prior_sigma_ln;
            let mut map = parameters.blank_map();
            assert_eq!(map.sigma_ln(20), prior_sigma_ln);
            let lesson = Lesson { shares: &shares(), required_ln: 0.08, variance_ln2: 0.02, film: false };
            Kalman.learn(&parameters.learner, &mut map, &lesson);
            map.ln.flat()[20]
        };
        assert!(first_ln(0.04) < 0.3 * first_ln(0.12), "a smaller prior means a smaller gain");
    }

    /// First step of a blank map towards 0.08, in the cells of shares 0.4 and 0.1.
    fn first_ln(learner: &impl Learner, shares: &LaggedShares) -> [f32; 2] {
        let mut map = Parameters::DEFAULT.blank_map();
        learner.learn(
            &LEARNER,
            &mut map,
            &Lesson { shares, required_ln: 0.08, variance_ln2: 0.02, film: false },
        );
        [map.ln.flat()[20], map.ln.flat()[35]]
    }

    fn is_near(is: [f32; 2], expected: [f32; 2]) -> bool {
        is.into_iter().zip(expected).all(|(is, expected)| (is / expected - 1.0).abs() < 1e-4)
    }

    /// By hand: gain times share times 0.08, for the gradient over the sum of squared shares, 0.3.
    #[test]
    fn fixed_gains_move_each_cell_by_its_share() {
        let integral = [0.005 * 0.4 * 0.08, 0.005 * 0.1 * 0.08];
        assert!(is_near(first_ln(&Integral { gain: 0.005 }, &shares()), integral));
        assert!(is_near(first_ln(&Strategy::Integral, &shares()), integral));
        let gradient = [0.0025 * 0.4 * 0.08 / 0.3, 0.0025 * 0.1 * 0.08 / 0.3];
        assert!(is_near(first_ln(&NormalisedGradient { gain: 0.0025 }, &shares()), gradient));
        assert!(is_near(first_ln(&Strategy::NormalisedGradient, &shares()), gradient));
        assert_eq!(first_ln(&Strategy::Kalman, &shares()), first_ln(&Kalman, &shares()));
    }

    #[test]
    fn shares_that_are_small_altogether_are_divided_by_the_least_norm() {
        let few = LaggedShares::settled(&Weights { cells: [20, 21, 34, 35], shares: [0.1, 0.0, 0.0, 0.1] });
        let expected = 0.0025 * 0.1 * 0.08 / LEARNER.min_norm;
        assert!(is_near(first_ln(&Strategy::NormalisedGradient, &few), [expected; 2]));
    }
}
