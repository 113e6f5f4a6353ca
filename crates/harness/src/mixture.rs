//! Statistics of the mixture error.

/// Half width of the histogram, ln.
const REACH_LN: f64 = 0.5;
/// Bins of the histogram: 0.05 % wide, which limits the resolution of a percentile.
const BINS: usize = 2000;

/// Root mean square, mean and histogram of the mixture error `e = ln(lambda_true / lambda_wanted)` over cylinder events.
///
/// ```
/// use trimwright_harness::mixture::Mixture;
/// let mut mixture = Mixture::new();
/// for e in [0.03, -0.03, 0.03, -0.03] { mixture.add(e); }
/// assert!((mixture.rms() - 0.03).abs() < 1e-12);
/// assert!((mixture.p95_abs() - 0.03).abs() < 1e-3);
/// assert!(Mixture::new().rms().is_nan());
/// ```
#[derive(Clone, Debug, PartialEq)]
pub struct Mixture {
    events: u64,
    sum: f64,
    sum_of_squares: f64,
    bins: Vec<u64>,
}

impl Default for Mixture {
    fn default() -> Self {
        Self::new()
    }
}

impl Mixture {
    /// Empty statistics.
    pub fn new() -> Self {
        Self { events: 0, sum: 0.0, sum_of_squares: 0.0, bins: vec![0; BINS] }
    }

    /// Adds the error of one event, ln.
    pub fn add(&mut self, e: f64) {
        self.events += 1;
        self.sum += e;
        self.sum_of_squares += e * e;
        let bin = ((e + REACH_LN) / (2.0 * REACH_LN) * BINS as f64).clamp(0.0, BINS as f64 - 1.0);
        self.bins[bin as usize] += 1;
    }

    /// Number of events.
    pub fn events(&self) -> u64 {
        self.events
    }

    /// Root mean square, ln; NaN without events.
    pub fn rms(&self) -> f64 {
        libm::sqrt(self.sum_of_squares / self.events as f64)
    }

    /// Mean, ln; NaN without events.
    pub fn mean(&self) -> f64 {
        self.sum / self.events as f64
    }

    /// 95th percentile of the absolute error, ln, to a bin's width; NaN without events.
    pub fn p95_abs(&self) -> f64 {
        if self.events == 0 {
            return f64::NAN;
        }
        let wanted = (self.events as f64 * 0.95).ceil() as u64;
        let mut within = 0;
        for reach in 1..=BINS / 2 {
            within += self.bins[BINS / 2 - reach] + self.bins[BINS / 2 + reach - 1];
            if within >= wanted {
                return reach as f64 * 2.0 * REACH_LN / BINS as f64;
            }
        }
        REACH_LN
    }

    /// Events in `bins` equal bins between plus and minus `reach_ln`; the outer bins also count what lies beyond.
    pub fn histogram(&self, reach_ln: f64, bins: usize) -> Vec<u64> {
        let mut coarse = vec![0; bins];
        for (index, &count) in self.bins.iter().enumerate() {
            let centre = ((index as f64 + 0.5) / BINS as f64 - 0.5) * 2.0 * REACH_LN;
            let bin = ((centre + reach_ln) / (2.0 * reach_ln) * bins as f64).clamp(0.0, bins as f64 - 1.0);
            coarse[bin as usize] += count;
        }
        coarse
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    proptest! {
        #[test]
        fn the_percentile_agrees_with_a_sorted_list(errors in proptest::collection::vec(-0.4..0.4_f64, 1..500)) {
            let mut mixture = Mixture::new();
            errors.iter().for_each(|&e| mixture.add(e));
            let mut sorted: Vec<f64> = errors.iter().map(|e| e.abs()).collect();
            sorted.sort_by(f64::total_cmp);
            let exact = sorted[(errors.len() as f64 * 0.95).ceil() as usize - 1];
            prop_assert!((mixture.p95_abs() - exact).abs() <= 2.0 * 2.0 * REACH_LN / BINS as f64);
        }
    }

    #[test]
    fn a_histogram_keeps_every_event() {
        let mut mixture = Mixture::new();
        [-9.0, -0.051, 0.0, 0.049, 0.3].iter().for_each(|&e| mixture.add(e));
        let coarse = mixture.histogram(0.1, 4);
        assert_eq!(coarse, [2, 0, 2, 1]);
    }
}
