//! Weighted least squares for a map whose readings are bilinear mixtures of its cells, with the wall film beside them: the best
//! that anyone could do afterwards with the whole log.

use nalgebra::{DMatrix, DVector};
use trimwright_numerics::Weights;

/// What is fitted beside the cells: share and time constant of the film.
pub const FILM: usize = 2;

/// One sample of the log.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Sample {
    /// The mixture of cells that made the reading.
    pub weights: Weights<f32>,
    /// How much it depended on the film, relative change by ln.
    pub film: [f64; FILM],
    /// The correction that should have been applied, ln.
    pub right_ln: f64,
    /// Weight, 1 / variance up to a common factor.
    pub weight: f64,
}

impl Sample {
    /// The same sample for injectors that open `late_s` later than the calibration has it, when one flowed for `flow_s` were they as
    /// the calibration has them: in the same open time they flow the less. `None` when it tells nothing: the pulse was
    /// hardly there, so that the delay is all that it shows, or the film gave much of the fuel, or took it.
    #[must_use]
    pub fn opening_late(mut self, flow_s: f64, late_s: f64) -> Option<Self> {
        let left = 1.0 - late_s / flow_s;
        self.right_ln += libm::log(left);
        // An error of the pulse weighs the more the less is left of it.
        self.weight *= (left * left).min(1.0);
        let tells = (LEAST_LEFT..LEAST_LEFT.recip()).contains(&left)
            && self.film.iter().all(|part| part.abs() < MOST_FILM);
        tells.then_some(self)
    }
}

/// Share of a pulse that must be left of it for a sample to tell anything, and the other way round.
const LEAST_LEFT: f64 = 0.3;
/// Largest part that the film may have had in a sample: beyond, how the sample depends on it is not a straight line.
const MOST_FILM: f64 = 0.4;

/// Normal equations of `right = sum(share * cell) + sum(film * property)`, one row a sample, with a Gaussian prior of mean zero.
///
/// ```
/// use trimwright_harness::fit::{Fit, Sample};
/// use trimwright_numerics::Weights;
/// let mut fit = Fit::new(4);
/// let weights = Weights { cells: [0, 1, 2, 3], shares: [0.5, 0.5, 0.0, 0.0] };
/// for _ in 0..10_000 { fit.add(&Sample { weights, film: [0.0; 2], right_ln: 0.10, weight: 1.0 }); }
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
    /// An empty fit of `cells` cells and the film.
    pub fn new(cells: usize) -> Self {
        let unknowns = cells + FILM;
        Self { normal: DMatrix::zeros(unknowns, unknowns), right_side: DVector::zeros(unknowns) }
    }

    /// One sample of the log.
    pub fn add(&mut self, sample: &Sample) {
        let cells = self.right_side.len() - FILM;
        let mapped = sample.weights.iter().map(|(cell, share)| (cell, f64::from(share)));
        let film = sample.film.iter().enumerate().map(|(property, share)| (cells + property, *share));
        let mut row = [(0, 0.0); 4 + FILM];
        for (place, entry) in row.iter_mut().zip(mapped.chain(film)) {
            *place = entry;
        }
        for (unknown, share) in row {
            let scaled = sample.weight * share;
            self.right_side[unknown] += scaled * sample.right_ln;
            for (other, other_share) in row {
                self.normal[(unknown, other)] += scaled * other_share;
            }
        }
    }

    /// The cells, and behind them the film, that fit best, where each is expected within `prior_sigma` of zero. `None` when a sample
    /// was not finite.
    pub fn solve(&self, prior_sigma: f64) -> Option<Vec<f64>> {
        let unknowns = self.right_side.len();
        let damped = &self.normal + DMatrix::identity(unknowns, unknowns) / (prior_sigma * prior_sigma);
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
            let film = [f64::from(step % 17) / 17.0 - 0.5, f64::from(step % 11) / 11.0 - 0.5];
            let mapped: f64 = weights.iter().map(|(cell, share)| truth[cell] * f64::from(share)).sum();
            let right_ln = mapped + 0.2 * film[0] - 0.1 * film[1];
            fit.add(&Sample { weights, film, right_ln, weight: 1e6 });
        }
        for (found, right) in fit.solve(0.1).unwrap().iter().zip(truth.iter().chain(&[0.2, -0.1])) {
            assert!((found - right).abs() < 1e-5, "{found} for {right}");
        }
    }

    #[test]
    fn a_pulse_of_about_the_delay_tells_nothing_nor_one_that_the_film_made_up_for() {
        let weights = Weights { cells: [0, 1, 2, 3], shares: [0.25; 4] };
        let sample = Sample { weights, film: [0.0; FILM], right_ln: 0.1, weight: 1.0 };
        let later = sample.opening_late(1e-3, 1e-4).unwrap();
        assert!((later.right_ln - 0.1 - 0.9_f64.ln()).abs() < 1e-12);
        assert_eq!(sample.opening_late(1e-3, 2e-3), None);
        assert_eq!(sample.opening_late(1e-6, -1e-4), None, "nearly all of it is the delay");
        assert_eq!(Sample { film: [0.1, -0.9], ..sample }.opening_late(1e-3, 1e-4), None);
    }

    #[test]
    fn a_sample_that_is_not_finite_gives_no_fit() {
        let mut fit = Fit::new(4);
        let weights = Weights { cells: [0, 1, 2, 3], shares: [0.25; 4] };
        fit.add(&Sample { weights, film: [0.0; FILM], right_ln: f64::NAN, weight: 1.0 });
        assert_eq!(fit.solve(0.1), None);
    }
}
