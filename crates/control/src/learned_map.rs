//! The learned map, long-term trim: each cell holds `theta = ln(right fuel / base fuel)`.
//!
//! A lesson says: under these shares `phi` of the cells (as the sensor sees them, after its lag) the right correction was `y`. The
//! innovation is `y - sum phi_i theta_i`. What gain each cell takes it with is the business of [`learner`](crate::learner).

use trimwright_numerics::{Grid, Real, Weights};

use crate::attribution::Seen;
use crate::base_map::{CELLS, MAP_POINTS, RPM_POINTS};
use crate::film::FILM;

trimwright_numerics::parameters! {
    /// What the learned map may do and how far lessons are trusted.
    #[cfg_attr(feature = "defmt", derive(defmt::Format))]
    pub struct LearnerParameters<f32> "learner" {
        /// Farthest a cell may go from what all cells have in common: beyond it an answer is wrong or a part broken.
        number authority_ln { 0.3, 0.0..=0.35 "ln", "engineering judgement: 35 %; the range is what the kept image holds" }
        /// Standard deviation of the base map before any lesson.
        number prior_sigma_ln { 0.12, 0.01..=0.13 "ln", "engineering judgement; the range is what the kept image holds" }
        /// Farthest a learned property of the wall film may go from the believed one.
        number film_authority_ln { 0.6, 0.0..=0.65 "ln", "engineering judgement; the range is what the kept image holds" }
        /// Standard deviation of the film's properties before any lesson.
        number film_prior_sigma_ln { 0.25, 0.01..=0.6 "ln", "engineering judgement; the range is what the kept image holds" }
        /// Error of the map's own model, finer than which a cell is never known however many readings say the same.
        number model_sigma_ln { 0.007, 0.0..=0.05 "ln", "engineering judgement, from drives: between breakpoints no engine is quite bilinear" }
        /// Growth of a touched cell's variance by lesson, which lets the map follow an engine that ages.
        number drift_ln2 { 1e-8, 0.0..=1e-5 "ln2", "engineering judgement" }
        /// Variance of one look's right correction as if looks were independent: larger is slower and calmer.
        number look_variance_ln2 { 0.04, 1e-4..=10.0 "ln2", "engineering judgement: off by 2 % for reasons that last a second, fifty looks each way" }
        /// Standard deviation of the map under a reading above which it teaches nothing of the film, for an error of the map would pass for the film's.
        number film_sigma_ln { 0.03, 0.0..=0.2 "ln", "engineering judgement" }
        /// Share of the film in a reading below which it teaches nothing of the film, for it is only what noise of the pressure stirs up.
        number film_moved { 0.03, 0.0..=0.5 "1", "engineering judgement: noise is in fuel and film share alike (errors in variables)" }
        /// Part of the innovation that a cell with the whole share takes, where the strategy is integral.
        number integral_gain { 0.01, 0.0..=1.0 "1", "engineering judgement" }
        /// Part of the innovation that one lesson removes, where the strategy is normalised gradient.
        number gradient_gain { 0.02, 0.0..=1.0 "1", "engineering judgement" }
        /// Least sum of squared shares that the normalised gradient divides by.
        number least_norm { 0.05, 0.001..=1.0 "1", "engineering judgement" }
    }
}

/// Least variance of an innovation, ln^2.
const LEAST_SPREAD_LN2: f32 = 1e-9;

/// What was learned: a correction and its variance for each cell, rows MAP, columns RPM; and beside the cells what transients told
/// of the wall film. A reading in a transient is partly the film's doing: with the film estimated beside the cells it neither
/// has to be thrown away nor spoils the map.
///
/// ```
/// use trimwright_control::attribution::Seen;
/// use trimwright_control::learned_map::{LearnerParameters, Lesson};
/// use trimwright_control::learner::Learner;
/// use trimwright_control::{Parameters, Strategy};
/// use trimwright_numerics::Weights;
/// let mut map = Parameters::DEFAULT.blank_map();
/// let cruising = Weights { cells: [20, 21, 34, 35], shares: [0.4, 0.3, 0.2, 0.1] };
/// let seen = Seen::at_rest(&cruising);
/// // Half a minute in which 8 % more fuel would have been right.
/// for _ in 0..1500 {
///     let lesson = Lesson { seen: &seen, right_ln: 0.08, variance_ln2: 0.04, film: false };
///     Strategy::Kalman.learn(&LearnerParameters::DEFAULT, &mut map, &lesson);
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

/// What is known of the causes that all cells have in common; [`common`](crate::common) draws them from the cells.
#[derive(Clone, Copy, Debug, PartialEq)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub struct Common {
    /// ln of right fuel over believed fuel that all cells share.
    pub flow_ln: f32,
    /// Opening delay over the believed one, s.
    pub delay_s: f32,
    /// Standard deviation of `flow_ln`, ln.
    pub flow_sigma_ln: f32,
    /// Standard deviation of `delay_s`, s.
    pub delay_sigma_s: f32,
}

impl LearnedMap {
    /// A map that has learned nothing: [`Parameters::blank_map`](crate::Parameters::blank_map) has both parts at hand.
    ///
    /// Kept out of line: it is made at two places and long.
    #[inline(never)]
    pub fn new(parameters: &LearnerParameters, common: Common) -> Self {
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

    /// The correction at an operating point, ln.
    pub fn at(&self, weights: &Weights<f32>) -> f32 {
        self.ln.at(weights)
    }

    /// The correction that the sensor sees, ln.
    pub fn seen(&self, seen: &Seen) -> f32 {
        seen.iter().map(|(cell, share)| share * self.value_ln(cell)).sum()
    }

    /// Variance of [`LearnedMap::seen`], ln^2: errors of four cells average out in the middle of a field.
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
    /// use trimwright_control::Parameters;
    /// use trimwright_control::attribution::Seen;
    /// use trimwright_control::learned_map::{LearnerParameters, Lesson};
    /// use trimwright_numerics::Weights;
    /// let seen = Seen::at_rest(&Weights { cells: [20, 21, 34, 35], shares: [1.0, 0.0, 0.0, 0.0] });
    /// let lesson = Lesson { seen: &seen, right_ln: 0.08, variance_ln2: 0.0144, film: false };
    /// let taken = |part: f32| {
    ///     let mut map = Parameters::DEFAULT.blank_map();
    ///     map.take(&LearnerParameters::DEFAULT, &lesson, |_, _, best| part * best);
    ///     (map.ln.flat()[20], map.sigma_ln(20))
    /// };
    /// // A lesson as uncertain as the cell itself moves it half of the way and halves its variance.
    /// let (best_ln, best_sigma_ln) = taken(1.0);
    /// assert!((best_ln - 0.04).abs() < 1e-6 && (best_sigma_ln - 0.12 / 2.0_f32.sqrt()).abs() < 1e-4);
    /// assert!(taken(0.5).1 > best_sigma_ln && taken(1.5).1 > best_sigma_ln, "no other gain leaves less doubt");
    /// ```
    pub fn take(
        &mut self,
        parameters: &LearnerParameters,
        lesson: &Lesson<'_>,
        gain: impl Fn(usize, f32, f32) -> f32,
    ) -> Outcome {
        let innovation = lesson.right_ln - self.seen(lesson.seen);
        let spread = (self.variance_seen(lesson.seen) + lesson.variance_ln2).at_least(LEAST_SPREAD_LN2);
        let mut outcome = Outcome::Taken;
        for (cell, share) in lesson.taught() {
            let gain = gain(cell, share, share * self.variance_of(cell) / spread);
            match self.move_cell(parameters, cell, gain * innovation) {
                Outcome::Taken => self.know(parameters, cell, share, gain, spread),
                // A cell that was stopped is not known better than before.
                Outcome::Bounded => outcome = Outcome::Bounded,
            }
        }
        outcome
    }

    /// How well a cell is known after a lesson that was taken with this gain.
    fn know(&mut self, parameters: &LearnerParameters, cell: usize, share: f32, gain: f32, spread: f32) {
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

    /// Moves a cell, or beyond the cells a property of the film, as far as its authority goes.
    ///
    /// ```
    /// use trimwright_control::Parameters;
    /// use trimwright_control::learned_map::{LearnerParameters, Outcome};
    /// let (learner, mut map) = (LearnerParameters::DEFAULT, Parameters::DEFAULT.blank_map());
    /// assert_eq!(map.move_cell(&learner, 40, -0.2), Outcome::Taken);
    /// assert_eq!(map.move_cell(&learner, 40, -0.2), Outcome::Bounded);
    /// assert_eq!(map.ln.flat()[40], -0.3);
    /// ```
    pub fn move_cell(&mut self, parameters: &LearnerParameters, cell: usize, by_ln: f32) -> Outcome {
        let (ln, low, high) = match self.ln.flat_mut().get_mut(cell) {
            Some(ln) => {
                let (flow_ln, authority_ln) = (self.common.flow_ln, parameters.authority_ln);
                (ln, flow_ln - authority_ln, flow_ln + authority_ln)
            }
            None => match self.film_ln.get_mut(cell.wrapping_sub(CELLS)) {
                Some(ln) => (ln, -parameters.film_authority_ln, parameters.film_authority_ln),
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

    /// Standard deviation of one cell, ln; infinite for a cell outside the map.
    pub fn sigma_ln(&self, cell: usize) -> f32 {
        self.variance.flat().get(cell).map_or(f32::INFINITY, |variance| Real::sqrt(variance.at_least(0.0)))
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
