//! Steady-state detection: range of manifold pressure and speed over the last 0.7 s.

use std::collections::VecDeque;

/// Length of the window, s.
pub const WINDOW_S: f64 = 0.7;
/// Largest range of the manifold pressure in the window, Pa.
pub const MAP_BAND_PA: f64 = 2e3;
/// Largest range of the crank speed in the window, rpm.
pub const SPEED_BAND_RPM: f64 = 100.0;
/// Sampling period, s. Firing ripple is faster and averaged by the manifold.
pub const PERIOD_S: f64 = 0.01;

const SAMPLES: usize = 70;

/// Steady-state detector, sampled every [`PERIOD_S`].
#[derive(Debug)]
pub struct Steady {
    fed: usize,
    map_pa: Extremes,
    speed_rpm: Extremes,
}

impl Steady {
    /// A detector without samples: not steady until the window is full.
    pub fn new() -> Self {
        Self { fed: 0, map_pa: Extremes::new(), speed_rpm: Extremes::new() }
    }

    /// Adds one sample.
    pub fn feed(&mut self, map_pa: f64, speed_rpm: f64) {
        self.map_pa.push(self.fed, map_pa);
        self.speed_rpm.push(self.fed, speed_rpm);
        self.fed += 1;
    }

    /// True when both ranges stayed within their limits over the whole window.
    ///
    /// ```
    /// use trimwright_harness::steady::Steady;
    /// let mut steady = Steady::new();
    /// (0..100).for_each(|_| steady.feed(45e3, 1800.0));
    /// steady.feed(70e3, 1800.0);
    /// assert!(!steady.is_steady(), "the throttle was opened");
    /// (0..70).for_each(|_| steady.feed(70e3, 1800.0));
    /// assert!(steady.is_steady(), "0.7 s later that is past");
    /// ```
    pub fn is_steady(&self) -> bool {
        self.fed >= SAMPLES && self.map_pa.span() <= MAP_BAND_PA && self.speed_rpm.span() <= SPEED_BAND_RPM
    }
}

impl Default for Steady {
    fn default() -> Self {
        Self::new()
    }
}

/// Largest and smallest of the last [`SAMPLES`] values in constant time on average: each queue keeps only values that can still become the
/// extreme.
#[derive(Debug)]
struct Extremes {
    falling: VecDeque<(usize, f64)>,
    rising: VecDeque<(usize, f64)>,
}

impl Extremes {
    fn new() -> Self {
        Self { falling: VecDeque::with_capacity(SAMPLES + 1), rising: VecDeque::with_capacity(SAMPLES + 1) }
    }

    fn push(&mut self, at: usize, value: f64) {
        keep(&mut self.falling, at, value, |last| last <= value);
        keep(&mut self.rising, at, value, |last| last >= value);
    }

    fn span(&self) -> f64 {
        match (self.falling.front(), self.rising.front()) {
            (Some((_, high)), Some((_, low))) => high - low,
            _ => f64::NAN,
        }
    }
}

fn keep(queue: &mut VecDeque<(usize, f64)>, at: usize, value: f64, beaten: impl Fn(f64) -> bool) {
    while queue.back().is_some_and(|&(_, last)| beaten(last)) {
        queue.pop_back();
    }
    queue.push_back((at, value));
    while queue.front().is_some_and(|&(first, _)| first + SAMPLES <= at) {
        queue.pop_front();
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    proptest! {
        #[test]
        fn the_span_is_that_of_the_last_window(values in proptest::collection::vec(0.0..10.0_f64, 1..300)) {
            let mut extremes = Extremes::new();
            for (at, &value) in values.iter().enumerate() {
                extremes.push(at, value);
                let window = &values[(at + 1).saturating_sub(SAMPLES)..=at];
                let high = window.iter().copied().fold(f64::MIN, f64::max);
                let low = window.iter().copied().fold(f64::MAX, f64::min);
                prop_assert_eq!(extremes.span(), high - low);
            }
        }
    }

    #[test]
    fn a_slow_drift_is_steady_and_a_fast_one_is_not() {
        for (per_sample_pa, expected) in [(20.0, true), (40.0, false)] {
            let mut steady = Steady::new();
            for sample in 0..200 {
                steady.feed(40e3 + per_sample_pa * f64::from(sample), 800.0);
            }
            assert_eq!(steady.is_steady(), expected);
        }
    }
}
