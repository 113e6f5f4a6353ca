//! Weighted least squares for a map whose readings are bilinear mixtures of its cells: the best that anyone could do
//! afterwards with the whole log.

use nalgebra::{DMatrix, DVector};
use trimwright_numerics::Weights;

/// Normal equations of `target = sum(share * cell)`, one row a sample, with a Gaussian prior of mean zero.
///
/// ```
/// use trimwright_harness::fit::Fit;
/// use trimwright_numerics::Weights;
/// let mut fit = Fit::new(4);
/// let between = Weights { cells: [0, 1, 2, 3], shares: [0.5, 0.5, 0.0, 0.0] };
/// for _ in 0..10_000 { fit.add(&between, 0.10, 1.0); }
/// let cells = fit.solve(1.0).unwrap();
/// assert!((0.5 * (cells[0] + cells[1]) - 0.10).abs() < 1e-4);
/// assert_eq!(cells[3], 0.0);
/// ```
#[derive(Clone, Debug)]
pub struct Fit {
    normal: DMatrix<f64>,
    right_side: DVector<f64>,
}

impl Fit {
    /// An empty fit of `cells` cells.
    pub fn new(cells: usize) -> Self {
        Self { normal: DMatrix::zeros(cells, cells), right_side: DVector::zeros(cells) }
    }

    /// One sample: the mixture of cells that made it, what it should have been, and its weight (1 / variance).
    pub fn add(&mut self, weights: &Weights<f32>, target: f64, weight: f64) {
        for (row, row_share) in weights.iter() {
            let scaled = weight * f64::from(row_share);
            self.right_side[row] += scaled * target;
            for (column, column_share) in weights.iter() {
                self.normal[(row, column)] += scaled * f64::from(column_share);
            }
        }
    }

    /// The cells that fit best, where each is expected within `prior_sigma` of zero. `None` when a sample was not finite.
    pub fn solve(&self, prior_sigma: f64) -> Option<Vec<f64>> {
        let cells = self.right_side.len();
        let damped = &self.normal + DMatrix::identity(cells, cells) / (prior_sigma * prior_sigma);
        let solution = damped.cholesky()?.solve(&self.right_side);
        solution.iter().all(|value| value.is_finite()).then(|| solution.iter().copied().collect())
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use trimwright_numerics::Axis;

    #[test]
    fn a_known_map_is_found_again_from_its_own_readings() {
        let (x, y) = (Axis::new([0.0_f32, 1.0, 2.0]).unwrap(), Axis::new([0.0_f32, 1.0, 3.0]).unwrap());
        let truth: Vec<f64> = (0..9).map(|cell| 0.02 * f64::from(cell) - 0.05).collect();
        let mut fit = Fit::new(9);
        for step in 0..2000 {
            let (u, v) = ((step * 7 % 201) as f32 / 100.0, (step * 13 % 301) as f32 / 100.0);
            let weights = Weights::new(x.place(u), y.place(v), 3);
            let target = weights.iter().map(|(cell, share)| truth[cell] * f64::from(share)).sum();
            fit.add(&weights, target, 1e6);
        }
        for (found, right) in fit.solve(0.1).unwrap().iter().zip(&truth) {
            assert!((found - right).abs() < 1e-5, "{found} for {right}");
        }
    }

    #[test]
    fn a_sample_that_is_not_finite_gives_no_fit() {
        let mut fit = Fit::new(4);
        fit.add(&Weights { cells: [0, 1, 2, 3], shares: [0.25; 4] }, f64::NAN, 1.0);
        assert_eq!(fit.solve(0.1), None);
    }
}
