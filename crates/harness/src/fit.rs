//! Offline fit of the map by weighted least squares over the whole log: readings are bilinear mixtures of cells, with wall film, common
//! flow and opening delay as further unknowns. The practical limit of what can be learned.

use trimwright_control::Parameters;
use trimwright_numerics::Weights;

/// Unknowns of the wall film: share and time constant.
pub const FILM: usize = 2;
/// Unknowns besides the cells: film, common flow, opening delay.
const EXTRA_UNKNOWNS: usize = FILM + 2;
/// The opening delay is fitted in milliseconds, so that all unknowns have similar magnitude.
const MS: f64 = 1e-3;
/// Least share of a pulse that must remain after the delay for a sample to be used.
const MIN_PULSE_SHARE: f64 = 0.3;
/// Shortest flow time of a usable sample, s; shorter ones show only delay and needle lift.
const MIN_FLOW_S: f64 = 3e-4;
/// Largest sensitivity to the film in a usable sample; the linearization fails beyond.
const MAX_FILM: f64 = 0.4;

/// One sample of the log.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Sample {
    /// Cells behind the reading and their shares.
    pub weights: Weights<f32>,
    /// Sensitivity to the film's share and time constant, relative change by ln.
    pub film: [f64; FILM],
    /// Relative loss of fuel per second of additional opening delay: one over the flow time, 1/s.
    pub delay_per_s: f64,
    /// Correction that should have been applied, ln.
    pub required_ln: f64,
    /// Weight: 1 / variance up to a common factor.
    pub weight: f64,
}

impl Sample {
    /// The sample for injectors that open `delay_s` later: the same open time flows less. `None` when the sample is unusable: little of the
    /// pulse remains, or the film gave or took much of the fuel.
    #[must_use]
    pub fn with_opening_delay(mut self, delay_s: f64) -> Option<Self> {
        let left = 1.0 - delay_s * self.delay_per_s;
        self.required_ln += libm::log(left);
        self.delay_per_s /= left;
        // The less of the pulse remains, the more an error of the pulse counts.
        self.weight *= (left * left).min(1.0);
        let flowed = left > MIN_PULSE_SHARE && self.delay_per_s < MIN_FLOW_S.recip();
        (flowed && self.film.iter().all(|part| part.abs() < MAX_FILM)).then_some(self)
    }
}

/// Result of the fit.
#[derive(Clone, Debug, PartialEq)]
pub struct Fitted {
    /// Corrections of the cells, ln; a cell that was never visited has the common flow.
    pub cells: Vec<f64>,
    /// Film share and time constant over the estimated ones, ln.
    pub film_ln: [f64; FILM],
    /// Opening delay in addition to that of the samples, s.
    pub extra_delay_s: f64,
}

/// Normal equations of `required = sum(share * cell) + sum(film * property) + flow + delay`, one row per sample, with the Gaussian priors
/// of the controller.
///
/// ```
/// use trimwright_control::Parameters;
/// use trimwright_harness::fit::{Fit, Sample};
/// use trimwright_numerics::Weights;
/// let mut fit = Fit::new(4);
/// let weights = Weights { cells: [0, 1, 2, 3], shares: [0.5, 0.5, 0.0, 0.0] };
/// for _ in 0..10_000 {
///     fit.add(&Sample { weights, film: [0.0; 2], delay_per_s: 0.0, required_ln: 0.10, weight: 1e3 });
/// }
/// let cells = fit.solve(&Parameters::DEFAULT).unwrap().cells;
/// assert!((0.5 * (cells[0] + cells[1]) - 0.10).abs() < 1e-4);
/// assert!(cells[3] > 0.0 && cells[3] < 0.10, "what the others have in common, as far as it is that");
/// ```
#[derive(Clone, Debug)]
pub struct Fit {
    /// Matrix, row by row.
    normal: Vec<f64>,
    right_side: Vec<f64>,
}

impl Fit {
    /// An empty fit of `cells` cells.
    pub fn new(cells: usize) -> Self {
        let unknowns = cells + EXTRA_UNKNOWNS;
        Self { normal: vec![0.0; unknowns * unknowns], right_side: vec![0.0; unknowns] }
    }

    /// Adds one sample.
    pub fn add(&mut self, sample: &Sample) {
        let unknowns = self.right_side.len();
        let cells = unknowns - EXTRA_UNKNOWNS;
        let [x, tau] = sample.film;
        let extra = [x, tau, 1.0, MS * sample.delay_per_s];
        let mapped = sample.weights.iter().map(|(cell, share)| (cell, f64::from(share)));
        let extra = extra.iter().enumerate().map(|(place, share)| (cells + place, *share));
        let mut row = [(0, 0.0); 4 + EXTRA_UNKNOWNS];
        for (place, entry) in row.iter_mut().zip(mapped.chain(extra)) {
            *place = entry;
        }
        for (unknown, share) in row {
            let scaled = sample.weight * share;
            self.right_side[unknown] += scaled * sample.required_ln;
            for (other, other_share) in row {
                self.normal[unknown * unknowns + other] += scaled * other_share;
            }
        }
    }

    /// Solves the fit. `None` when a sample was not finite.
    pub fn solve(&self, parameters: &Parameters) -> Option<Fitted> {
        let Parameters { learner, common_correction: common, .. } = parameters;
        let cells = self.right_side.len() - EXTRA_UNKNOWNS;
        let film = f64::from(learner.film_prior_sigma_ln);
        let extra =
            [film, film, f64::from(common.flow_prior_sigma_ln), f64::from(common.delay_prior_sigma_s) / MS];
        let sigmas = std::iter::repeat_n(f64::from(learner.prior_sigma_ln), cells).chain(extra);
        let mut damped = self.normal.clone();
        for (diagonal, sigma) in damped.iter_mut().step_by(self.right_side.len() + 1).zip(sigmas) {
            *diagonal += 1.0 / (sigma * sigma);
        }
        let solution = solved(damped, self.right_side.clone())?;
        let (own, extra) = solution.split_at(cells);
        let &[x, tau, flow_ln, later_ms] = extra else { return None };
        let finite = solution.iter().all(|value| value.is_finite());
        finite.then(|| Fitted {
            cells: own.iter().map(|own_ln| own_ln + flow_ln).collect(),
            film_ln: [x, tau],
            extra_delay_s: MS * later_ms,
        })
    }
}

/// Solves `matrix x = right_side` for a symmetric positive definite matrix, of which the lower half is read, row by row. `None` for any
/// other matrix, or one that is not finite. Source: Cholesky's factors `L L^T`; Golub and Van Loan, Matrix Computations, section 4.2.
fn solved(mut matrix: Vec<f64>, mut right_side: Vec<f64>) -> Option<Vec<f64>> {
    let size = right_side.len();
    let at = |row: usize, column: usize| row * size + column;
    for row in 0..size {
        // The factor overwrites the matrix, and the forward substitution the right side.
        for column in 0..row {
            let known: f64 = (0..column).map(|k| matrix[at(row, k)] * matrix[at(column, k)]).sum();
            matrix[at(row, column)] = (matrix[at(row, column)] - known) / matrix[at(column, column)];
        }
        let known: f64 = (0..row).map(|k| matrix[at(row, k)] * matrix[at(row, k)]).sum();
        let square = matrix[at(row, row)] - known;
        matrix[at(row, row)] = (square > 0.0).then(|| libm::sqrt(square))?;
        let known: f64 = (0..row).map(|k| matrix[at(row, k)] * right_side[k]).sum();
        right_side[row] = (right_side[row] - known) / matrix[at(row, row)];
    }
    for row in (0..size).rev() {
        let known: f64 = (row + 1..size).map(|k| matrix[at(k, row)] * right_side[k]).sum();
        right_side[row] = (right_side[row] - known) / matrix[at(row, row)];
    }
    Some(right_side)
}

#[cfg(test)]
mod tests {
    use super::*;
    use nalgebra::{DMatrix, DVector};
    use proptest::prelude::*;
    use trimwright_numerics::Axis;

    proptest! {
        /// Against nalgebra; `B B^T + I` is positive definite for any `B`.
        #[test]
        fn ident_the_same_solution_as_another_library_has(
            (any, right_side) in (1..12_usize).prop_flat_map(|size| {
                let of = |length| proptest::collection::vec(-3.0..3.0_f64, length);
                (of(size * size), of(size))
            })
        ) {
            let size = right_side.len();
            let any = DMatrix::from_row_slice(size, size, &any);
            let matrix = &any * any.transpose() + DMatrix::identity(size, size);
            let theirs = matrix.clone().cholesky().expect("definite").solve(&DVector::from_column_slice(&right_side));
            let ours = solved(matrix.as_slice().to_vec(), right_side).expect("definite");
            let most = theirs.amax();
            prop_assert!(ours.iter().zip(&theirs).all(|(one, other)| (one - other).abs() < 1e-9 * most.max(1.0)));
        }
    }

    #[test]
    fn what_is_not_positive_definite_has_no_solution() {
        for matrix in [[1.0, 2.0, 2.0, 1.0], [0.0; 4], [-1.0, 0.0, 0.0, 1.0], [f64::NAN, 0.0, 0.0, 1.0]] {
            assert_eq!(solved(matrix.to_vec(), vec![1.0, 1.0]), None, "{matrix:?}");
        }
        assert_eq!(solved(vec![4.0, 2.0, 2.0, 2.0], vec![8.0, 6.0]), Some(vec![1.0, 2.0]));
    }

    #[test]
    fn a_known_map_is_found_again_from_its_own_readings() {
        let (x, y) = (Axis::new([0.0_f32, 1.0, 2.0]).unwrap(), Axis::new([0.0_f32, 1.0, 3.0]).unwrap());
        let truth: Vec<f64> = (0..9).map(|cell| 0.02 * f64::from(cell) - 0.05).collect();
        let mut fit = Fit::new(9);
        for step in 0..2000 {
            let (u, v) = ((step * 7 % 201) as f32 / 100.0, (step * 13 % 301) as f32 / 100.0);
            let weights = Weights::new(x.place(u), y.place(v), 3);
            let film = [f64::from(step % 17) / 17.0 - 0.5, f64::from(step % 11) / 11.0 - 0.5];
            let mapped: f64 = weights.iter().map(|(cell, share)| truth[cell] * f64::from(share)).sum();
            let delay_per_s = 500.0 + 100.0 * f64::from(step % 13);
            let required_ln = mapped + 0.2 * film[0] - 0.1 * film[1] + 3e-5 * delay_per_s;
            fit.add(&Sample { weights, film, delay_per_s, required_ln, weight: 1e6 });
        }
        let found = fit.solve(&Parameters::DEFAULT).unwrap();
        assert!((found.extra_delay_s - 3e-5).abs() < 1e-8, "{}", found.extra_delay_s);
        for (found, right) in found.cells.iter().chain(&found.film_ln).zip(truth.iter().chain(&[0.2, -0.1])) {
            assert!((found - right).abs() < 1e-5, "{found} for {right}");
        }
    }

    #[test]
    fn pulses_of_about_the_delay_or_with_much_film_are_no_samples() {
        let weights = Weights { cells: [0, 1, 2, 3], shares: [0.25; 4] };
        let sample = Sample { weights, film: [0.0; FILM], delay_per_s: 1e3, required_ln: 0.1, weight: 1.0 };
        let later = sample.with_opening_delay(1e-4).unwrap();
        assert!((later.required_ln - 0.1 - 0.9_f64.ln()).abs() < 1e-12);
        assert_eq!(sample.with_opening_delay(2e-3), None);
        for gone in [1e9, f64::INFINITY] {
            let gone = Sample { delay_per_s: gone, ..sample };
            assert_eq!(
                [0.0, -1e-4].map(|delay_s| gone.with_opening_delay(delay_s)),
                [None; 2],
                "all of it is delay"
            );
        }
        assert_eq!(Sample { film: [0.1, -0.9], ..sample }.with_opening_delay(1e-4), None);
    }

    #[test]
    fn a_sample_that_is_not_finite_gives_no_fit() {
        let mut fit = Fit::new(4);
        let weights = Weights { cells: [0, 1, 2, 3], shares: [0.25; 4] };
        fit.add(&Sample { weights, film: [0.0; FILM], delay_per_s: 0.0, required_ln: f64::NAN, weight: 1.0 });
        assert_eq!(fit.solve(&Parameters::DEFAULT), None);
    }
}
