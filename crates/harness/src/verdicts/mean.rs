//! Running mean and standard deviation.

/// Mean and standard deviation of the values added (Welford's recurrence).
///
/// ```
/// use trimwright_harness::verdicts::Mean;
/// let mut mean = Mean::default();
/// [1.0, 2.0, 3.0].into_iter().for_each(|value| mean.add(value));
/// assert_eq!((mean.value(), mean.spread(), mean.count()), (2.0, 1.0, 3));
/// assert!(Mean::default().value().is_nan());
/// ```
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub struct Mean {
    count: u64,
    value: f64,
    squares: f64,
}

impl Mean {
    /// Adds a value; NaN and infinity are ignored.
    pub fn add(&mut self, value: f64) {
        if value.is_finite() {
            self.count += 1;
            let off = value - self.value;
            self.value += off / self.count as f64;
            self.squares += off * (value - self.value);
        }
    }

    /// Number of values.
    pub fn count(&self) -> u64 {
        self.count
    }

    /// Mean; NaN without values.
    pub fn value(&self) -> f64 {
        if self.count == 0 { f64::NAN } else { self.value }
    }

    /// Standard deviation; NaN below two values.
    pub fn spread(&self) -> f64 {
        if self.count < 2 { f64::NAN } else { libm::sqrt(self.squares / (self.count - 1) as f64) }
    }
}
