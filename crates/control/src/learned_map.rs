//! The learned map, long-term trim: each cell holds `theta = ln(required fuel / base fuel)`.
//!
//! A lesson says: with these shares `phi` of the cells (after the sensor's lag) the required correction was `y`. The innovation is `y - sum
//! phi_i theta_i`. The gain of each cell comes from a [`Learner`](crate::Learner).

use trimwright_numerics::{Grid, Real, Weights};

use crate::attribution::LaggedShares;
use crate::base_map::{CELLS, MAP_POINTS, RPM_POINTS};
use crate::film::FILM;

trimwright_numerics::parameters! {
    /// Limits of the learned map and the weight of a lesson.
    #[cfg_attr(feature = "defmt", derive(defmt::Format))]
    pub struct LearnerParameters<f32> "learner" {
        /// Limit of a cell's correction from the common fuel scale; beyond it an answer is wrong or a part broken.
        number authority_ln { 0.3, 0.0..=0.35 "ln", "engineering judgement: 35 %; the range is that of the persistence image" }
        /// Standard deviation of the base map before any lesson.
        number prior_sigma_ln { 0.12, 0.01..=0.13 "ln", "engineering judgement; the range is that of the persistence image" }
        /// Limit of a learned correction of the wall film's properties.
        number film_authority_ln { 0.6, 0.0..=0.65 "ln", "engineering judgement; the range is that of the persistence image" }
        /// Standard deviation of the film's properties before any lesson: large against [`LearnerParameters::sample_variance_ln2`], because what a
        /// transient shows of the film is over long before the errors with memory change.
        number film_prior_sigma_ln { 0.6, 0.01..=0.6 "ln", "engineering judgement, from drives of sampled engines; the range is that of the persistence image" }
        /// Lower limit of a cell's standard deviation, for the error of bilinear interpolation.
        number model_sigma_ln { 0.007, 0.0..=0.05 "ln", "engineering judgement, from drives: between breakpoints no engine is quite bilinear" }
        /// Growth of a cell's variance per lesson, which lets the map follow an ageing engine.
        number drift_ln2 { 1e-8, 0.0..=1e-5 "ln2", "engineering judgement" }
        /// Effective measurement variance of one 20 ms lambda sample: the mean of a minute or more is worth no more than its length over this. The
        /// errors have memory: means over 60 s that scatter by 1.2 % make 0.43 of it, means over 240 s by 0.8 % make 0.77.
        number sample_variance_ln2 { 1.0, 1e-4..=10.0 "ln2", "engineering judgement, from drives of sampled engines with errors that have memory" }
        /// Standard deviation of the map under a reading above which the film is not learned, because map errors would pass for film errors.
        number film_sigma_ln { 0.06, 0.0..=0.2 "ln", "engineering judgement, from drives of sampled engines" }
        /// Film sensitivity of a reading below which the film is not learned, because noise of the pressure reaches it too.
        number min_film_share { 0.03, 0.0..=0.5 "1", "engineering judgement: noise is in fuel and film share alike (errors in variables)" }
        /// Part of the innovation that a cell with the whole share takes, with the strategy integral.
        number integral_gain { 0.005, 0.0..=1.0 "1", "engineering judgement, from drives of sampled engines" }
        /// Part of the innovation that one lesson removes, with the strategy normalised gradient.
        number gradient_gain { 0.0025, 0.0..=1.0 "1", "engineering judgement, from drives of sampled engines" }
        /// Lower limit of the sum of squared shares in the normalised gradient.
        number min_norm { 0.05, 0.001..=1.0 "1", "engineering judgement" }
    }
}

/// Lower limit of the variance of an innovation, ln^2.
const MIN_INNOVATION_LN2: f32 = 1e-9;

/// What was learned: a correction and its variance for each cell, rows MAP, columns RPM, and the wall film's properties from transients.
/// Estimating the film beside the cells keeps transients from biasing the map.
///
/// ```
/// use trimwright_control::learning::LaggedShares;
/// use trimwright_control::parameters::LearnerParameters;
/// use trimwright_control::learning::Lesson;
/// use trimwright_control::Learner;
/// use trimwright_control::{Parameters, Strategy};
/// use trimwright_numerics::Weights;
/// let mut map = Parameters::DEFAULT.blank_map();
/// let cruising = Weights { cells: [20, 21, 34, 35], shares: [0.4, 0.3, 0.2, 0.1] };
/// let shares = LaggedShares::settled(&cruising);
/// // Half a minute in which 8 % more fuel would have been right.
/// for _ in 0..1500 {
///     let lesson = Lesson { shares: &shares, required_ln: 0.08, variance_ln2: 0.04, film: false };
///     Strategy::Kalman.learn(&LearnerParameters::DEFAULT, &mut map, &lesson);
/// }
/// assert!((map.at(&cruising) - 0.08).abs() < 0.005 && map.ln.flat()[90] == 0.0);
/// ```
#[derive(Clone, Debug, PartialEq)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub struct LearnedMap {
    /// ln of required fuel over base fuel, with the learned opening delay applied.
    pub ln: Grid<f32, RPM_POINTS, MAP_POINTS>,
    /// Variance of `ln`: the map's own estimate of its squared error.
    pub variance: Grid<f32, RPM_POINTS, MAP_POINTS>,
    /// Learned corrections of the film's share and time constant, ln.
    pub film_ln: [f32; FILM],
    /// Variance of `film_ln`.
    pub film_variance: [f32; FILM],
    /// Corrections that all cells share.
    pub common: CommonCorrection,
}

/// Corrections that all cells share.
#[derive(Clone, Copy, Debug, PartialEq)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub struct CommonCorrection {
    /// Common fuel scale, ln of required over calculated fuel.
    pub flow_ln: f32,
    /// Correction of the opening delay, s.
    pub delay_s: f32,
    /// Standard deviation of `flow_ln`, ln.
    pub flow_sigma_ln: f32,
    /// Standard deviation of `delay_s`, s.
    pub delay_sigma_s: f32,
}

impl LearnedMap {
    /// A map that has learned nothing; [`Parameters::blank_map`](crate::Parameters::blank_map) supplies both arguments. Not inlined: it is
    /// long and made at two places.
    #[inline(never)]
    pub fn new(parameters: &LearnerParameters, common: CommonCorrection) -> Self {
        let (prior, film_prior) = (parameters.prior_sigma_ln, parameters.film_prior_sigma_ln);
        let mut variance = Grid::filled(0.0);
        variance.flat_mut().fill(prior * prior);
        Self {
            ln: Grid::filled(0.0),
            variance,
            film_ln: [0.0; FILM],
            film_variance: [film_prior * film_prior; FILM],
            common,
        }
    }

    /// Correction at an operating point, ln.
    pub fn at(&self, weights: &Weights<f32>) -> f32 {
        self.ln.at(weights)
    }

    /// Correction in a lagged reading, ln.
    pub fn at_shares(&self, shares: &LaggedShares) -> f32 {
        shares.iter().map(|(cell, share)| share * self.value_ln(cell)).sum()
    }

    /// Variance of [`LearnedMap::at_shares`], ln^2: errors of four cells average out between breakpoints.
    pub fn variance_at_shares(&self, shares: &LaggedShares) -> f32 {
        shares.iter().map(|(cell, share)| share * share * self.variance_of(cell)).sum()
    }

    /// Variance of the film's effect on the fuel with these sensitivities, ln^2.
    pub(crate) fn film_variance_of(&self, film: &[f32; FILM]) -> f32 {
        film.iter().zip(&self.film_variance).map(|(share, variance)| share * share * variance).sum()
    }

    /// Learned value of a cell, or beyond the cells of a film property; 0 beyond these.
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

    /// Applies a lesson: each cell that learns from it moves by `gain` times the innovation, and its variance is updated for that gain.
    /// `gain` is called with the cell's number, its share and the Kalman gain.
    ///
    /// The variance after any gain `K_i`, optimal or not, is that of the Joseph form (e.g. Simon, Optimal State Estimation, 2006, from
    /// memory) without covariances between cells, and never above the prior: `P_i + K_i (K_i S - 2 phi_i P_i)` with `S = sum phi_j^2 P_j +
    /// R`.
    pub fn update(
        &mut self,
        parameters: &LearnerParameters,
        lesson: &Lesson<'_>,
        gain: impl Fn(usize, f32, f32) -> f32,
    ) -> Outcome {
        let innovation = lesson.required_ln - self.at_shares(lesson.shares);
        let spread =
            (self.variance_at_shares(lesson.shares) + lesson.variance_ln2).at_least(MIN_INNOVATION_LN2);
        let mut outcome = Outcome::Accepted;
        for (cell, share) in lesson.updated_cells() {
            let gain = gain(cell, share, share * self.variance_of(cell) / spread);
            match self.move_cell(parameters, cell, gain * innovation) {
                Outcome::Accepted => self.update_variance(parameters, cell, share, gain, spread),
                // A cell that stopped at its limit keeps its variance.
                Outcome::Limited => outcome = Outcome::Limited,
            }
        }
        outcome
    }

    /// Variance of a cell after a lesson with this gain.
    fn update_variance(
        &mut self,
        parameters: &LearnerParameters,
        cell: usize,
        share: f32,
        gain: f32,
        spread: f32,
    ) {
        let (variance, prior_sigma) = match self.variance.flat_mut().get_mut(cell) {
            Some(variance) => (variance, parameters.prior_sigma_ln),
            None => match self.film_variance.get_mut(cell.wrapping_sub(CELLS)) {
                Some(variance) => (variance, parameters.film_prior_sigma_ln),
                None => return,
            },
        };
        let left = *variance + gain * (gain * spread - 2.0 * share * *variance) + parameters.drift_ln2;
        let finest = parameters.model_sigma_ln / share;
        *variance = left.at_least((finest * finest).at_most(*variance)).held(0.0, prior_sigma * prior_sigma);
    }

    /// Moves a cell, or beyond the cells a film property, within its authority.
    pub fn move_cell(&mut self, parameters: &LearnerParameters, cell: usize, by_ln: f32) -> Outcome {
        let (ln, low, high) = match self.ln.flat_mut().get_mut(cell) {
            Some(ln) => {
                let (flow_ln, authority_ln) = (self.common.flow_ln, parameters.authority_ln);
                (ln, flow_ln - authority_ln, flow_ln + authority_ln)
            }
            None => match self.film_ln.get_mut(cell.wrapping_sub(CELLS)) {
                Some(ln) => (ln, -parameters.film_authority_ln, parameters.film_authority_ln),
                None => return Outcome::Accepted,
            },
        };
        if !by_ln.is_finite() {
            return Outcome::Accepted;
        }
        let wanted = *ln + by_ln;
        *ln = wanted.held(low, high);
        if *ln == wanted { Outcome::Accepted } else { Outcome::Limited }
    }

    /// Standard deviation of one cell, ln; infinite for a cell outside the map.
    pub fn sigma_ln(&self, cell: usize) -> f32 {
        self.variance.flat().get(cell).map_or(f32::INFINITY, |variance| Real::sqrt(variance.at_least(0.0)))
    }
}

/// One accepted lambda sample with what it describes.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Lesson<'a> {
    /// Shares of the cells in the reading.
    pub shares: &'a LaggedShares,
    /// Total correction that was required, ln of fuel.
    pub required_ln: f32,
    /// Measurement variance of `required_ln`, ln^2.
    pub variance_ln2: f32,
    /// Whether the film's properties learn from it too; their present values count in any case.
    pub film: bool,
}

impl Lesson<'_> {
    /// Pairs of cell number and share that learn from it.
    pub fn updated_cells(&self) -> impl Iterator<Item = (usize, f32)> + '_ {
        self.shares.iter().filter(|(cell, _)| self.film || *cell < CELLS)
    }
}

/// Result of a lesson.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
#[non_exhaustive]
pub enum Outcome {
    /// Applied in full.
    Accepted,
    /// Applied, but a cell stopped at its authority.
    Limited,
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::answers::SetupAnswers;
    use crate::attribution::{Attribution, Injection};
    use crate::calibration::Calibration;
    use crate::parameters::Parameters;

    /// A lesson as uncertain as the cell moves it half of the way and halves its variance; any other gain leaves a larger variance.
    #[test]
    fn ident_the_kalman_gain_leaves_the_smallest_variance() {
        let shares =
            LaggedShares::settled(&Weights { cells: [20, 21, 34, 35], shares: [1.0, 0.0, 0.0, 0.0] });
        let lesson = Lesson { shares: &shares, required_ln: 0.08, variance_ln2: 0.0144, film: false };
        let learned = |part: f32| {
            let mut map = Parameters::DEFAULT.blank_map();
            map.update(&LearnerParameters::DEFAULT, &lesson, |_, _, best| part * best);
            (map.ln.flat()[20], map.sigma_ln(20))
        };
        let (ln, sigma_ln) = learned(1.0);
        assert!((ln - 0.04).abs() < 1e-6 && (sigma_ln - 0.12 / Real::sqrt(2.0_f32)).abs() < 1e-4);
        assert!(learned(0.5).1 > sigma_ln && learned(1.5).1 > sigma_ln);
    }

    #[test]
    fn ident_the_variance_of_the_films_part_is_the_sum_of_squares() {
        let map = LearnedMap { film_variance: [0.04, 0.01], ..Parameters::DEFAULT.blank_map() };
        assert!((map.film_variance_of(&[0.5, -0.2]) - (0.01 + 0.0004)).abs() < 1e-7);
    }

    #[test]
    fn ident_the_value_at_an_operating_point_is_the_sum_of_its_cells_by_share() {
        let mut map = Parameters::DEFAULT.blank_map();
        (map.ln.flat_mut()[20], map.ln.flat_mut()[35]) = (0.2, -0.1);
        let weights = Weights { cells: [20, 21, 34, 35], shares: [0.25, 0.25, 0.25, 0.25] };
        assert!((map.at(&weights) - 0.025).abs() < 1e-6);
    }

    /// By hand: 0.01 + 0.2 (0.2 * 0.04 - 2 * 0.5 * 0.01) and a drift of 0.001; not below the square of 0.007 / 0.5, nor above the prior.
    #[test]
    fn a_lesson_changes_the_variance_within_the_limits_of_model_and_prior() {
        let parameters = LearnerParameters { drift_ln2: 1e-3, ..LearnerParameters::DEFAULT };
        let after = |parameters: &LearnerParameters, variance: f32, gain, spread| {
            [20, CELLS].map(|cell| {
                let mut map = Parameters::DEFAULT.blank_map();
                (map.variance.flat_mut()[20], map.film_variance[0]) = (variance, variance);
                map.update_variance(parameters, cell, 0.5, gain, spread);
                if cell == 20 { map.variance.flat()[20] } else { map.film_variance[0] }
            })
        };
        assert!(after(&parameters, 0.01, 0.2, 0.04).iter().all(|variance| (variance - 0.0106).abs() < 1e-7));
        let still = LearnerParameters { drift_ln2: 0.0, ..parameters };
        let finest = (still.model_sigma_ln / 0.5) * (still.model_sigma_ln / 0.5);
        assert!(
            after(&still, 0.01, 2.0, 0.0025).iter().all(|variance| (variance / finest - 1.0).abs() < 1e-5)
        );
        let known = after(&still, 1e-5, 0.0, 0.04);
        assert_eq!(known, [1e-5; 2], "a cell known better keeps what it has");
        let adrift = LearnerParameters { drift_ln2: 1.0, ..still };
        let priors = [still.prior_sigma_ln, still.film_prior_sigma_ln].map(|sigma| sigma * sigma);
        assert_eq!(after(&adrift, 0.01, 0.2, 0.04), priors);
    }

    #[test]
    fn cells_and_film_stop_at_their_authority_either_way() {
        let parameters = &LearnerParameters::DEFAULT;
        for sign in [1.0, -1.0] {
            let mut map = Parameters::DEFAULT.blank_map();
            map.common.flow_ln = 0.05;
            assert_eq!(
                [20, CELLS, CELLS + 1].map(|cell| map.move_cell(parameters, cell, 5.0 * sign)),
                [Outcome::Limited; 3]
            );
            assert_eq!(map.ln.flat()[20], 0.05 + sign * parameters.authority_ln);
            assert_eq!(map.film_ln, [sign * parameters.film_authority_ln; FILM]);
        }
        let mut map = Parameters::DEFAULT.blank_map();
        assert_eq!(map.move_cell(parameters, CELLS + FILM, 0.1), Outcome::Accepted);
        assert_eq!(map.move_cell(parameters, 20, 0.1), Outcome::Accepted);
        assert_eq!((map.ln.flat()[20], map.film_ln), (0.1, [0.0; FILM]));
    }

    #[test]
    fn a_lesson_without_the_film_leaves_it_as_it_is() {
        let mut attribution = Attribution::default();
        let calibration = Calibration::from_answers(&SetupAnswers::default()).unwrap();
        let weights = Weights { cells: [20, 21, 34, 35], shares: [0.25; 4] };
        let now = Injection { weights, film: [0.3, 0.2], turns: 1.0, exhaust_kg: 1e-2, ..Injection::NONE };
        let Parameters { attribution: parameters, exhaust, learner, .. } = calibration.parameters();
        (0..100).for_each(|_| _ = attribution.step(parameters, exhaust, calibration.setup(), now));
        let learned = |film| {
            let mut map = calibration.parameters().blank_map();
            let shares = &attribution.latest().shares;
            map.update(
                learner,
                &Lesson { shares, required_ln: 0.08, variance_ln2: 0.02, film },
                |_, _, best| best,
            );
            (map.ln.flat()[20] != 0.0, map.film_ln.map(|ln| ln != 0.0))
        };
        assert_eq!((learned(false), learned(true)), ((true, [false; 2]), (true, [true; 2])));
    }
}
