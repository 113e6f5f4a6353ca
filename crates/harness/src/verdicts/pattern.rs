//! The pattern of the corrections: how much was right at which air flow.

use super::mean::Mean;

/// Classes of air flow over displacement, upper ends, kg/(s m3): about idle, twice, four times as much, and above.
const CLASSES: [f64; 3] = [1.6, 3.2, 6.5];
/// Fewest samples for a class to say anything: two seconds.
const FEWEST: u64 = 100;

/// A correction and where it was right.
///
/// ```
/// use trimwright_harness::verdicts::{Pattern, FlowCorrection};
/// // 8 g/s of air through 5.2 L of displacement: about idle.
/// let idle = FlowCorrection { required_ln: 0.12, per_m3: 8e-3 / 5.2e-3 };
/// let mut pattern = Pattern::default();
/// (0..100).for_each(|_| pattern.add(&idle));
/// assert!(pattern.low_ln().is_some() && pattern.middle_ln().is_none());
/// ```
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct FlowCorrection {
    /// The correction, ln.
    pub required_ln: f64,
    /// Air flow over displacement, kg/(s m3).
    pub per_m3: f64,
}

/// Corrections by class of flow.
///
/// ```
/// use trimwright_harness::verdicts::{Pattern, FlowCorrection};
/// let mut pattern = Pattern::default();
/// (0..200).for_each(|_| pattern.add(&FlowCorrection { required_ln: 0.1, per_m3: 1.0 }));
/// assert!((pattern.low_ln().unwrap() - 0.1).abs() < 1e-12);
/// assert_eq!(pattern.high_ln(), None);
/// ```
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Pattern {
    classes: [Mean; CLASSES.len() + 1],
}

impl Pattern {
    /// Takes a correction.
    ///
    /// ```
    /// use trimwright_harness::verdicts::{Pattern, FlowCorrection};
    /// let mut pattern = Pattern::default();
    /// (0..99).for_each(|_| pattern.add(&FlowCorrection { required_ln: 0.1, per_m3: 1.0 }));
    /// assert_eq!(pattern.low_ln(), None, "too few to say anything");
    /// pattern.add(&FlowCorrection { required_ln: 0.1, per_m3: 1.0 });
    /// assert!(pattern.low_ln().is_some());
    /// ```
    pub fn add(&mut self, place: &FlowCorrection) {
        let class = CLASSES.iter().position(|end| place.per_m3 < *end).unwrap_or(CLASSES.len());
        self.classes[class].add(place.required_ln);
    }

    fn class(&self, class: usize) -> Option<f64> {
        (self.classes[class].count() >= FEWEST).then(|| self.classes[class].value())
    }

    /// Mean correction at about idle, ln.
    ///
    /// ```
    /// use trimwright_harness::verdicts::{Pattern, FlowCorrection};
    /// let mut pattern = Pattern::default();
    /// (0..100).for_each(|_| pattern.add(&FlowCorrection { required_ln: 0.15, per_m3: 1.2 }));
    /// assert!(pattern.low_ln().is_some_and(|ln| (ln - 0.15).abs() < 1e-9), "idle wants 16 % more fuel");
    /// ```
    pub fn low_ln(&self) -> Option<f64> {
        self.class(0)
    }

    /// Mean correction at four times the flow of idle, ln.
    ///
    /// ```
    /// use trimwright_harness::verdicts::{Pattern, FlowCorrection};
    /// let mut pattern = Pattern::default();
    /// (0..100).for_each(|_| pattern.add(&FlowCorrection { required_ln: 0.06, per_m3: 5.0 }));
    /// assert!(pattern.middle_ln().is_some_and(|ln| (ln - 0.06).abs() < 1e-9) && pattern.low_ln().is_none());
    /// ```
    pub fn middle_ln(&self) -> Option<f64> {
        self.class(2)
    }

    /// Mean correction above that, ln.
    ///
    /// ```
    /// use trimwright_harness::verdicts::{Pattern, FlowCorrection};
    /// let mut pattern = Pattern::default();
    /// (0..100).for_each(|_| pattern.add(&FlowCorrection { required_ln: 0.25, per_m3: 12.0 }));
    /// assert!(pattern.high_ln().is_some_and(|ln| ln > 0.2), "more than sound engines need there");
    /// ```
    pub fn high_ln(&self) -> Option<f64> {
        self.class(3)
    }
}
