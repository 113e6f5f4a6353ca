//! Required corrections by air flow.

use super::mean::Mean;

/// Upper ends of the classes of air flow over displacement, kg/(s m^3): about idle, twice, four times as much, and above.
const CLASSES: [f64; 3] = [1.6, 3.2, 6.5];
/// Fewest samples for the mean of a class: two seconds.
const FEWEST: u64 = 100;

/// A required correction and its air flow.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct FlowCorrection {
    /// Required correction, ln.
    pub required_ln: f64,
    /// Air flow over displacement, kg/(s m^3).
    pub per_m3: f64,
}

/// Mean required corrections by class of air flow.
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
    /// Adds a correction.
    pub fn add(&mut self, place: &FlowCorrection) {
        let class = CLASSES.iter().position(|end| place.per_m3 < *end).unwrap_or(CLASSES.len());
        self.classes[class].add(place.required_ln);
    }

    fn class(&self, class: usize) -> Option<f64> {
        (self.classes[class].count() >= FEWEST).then(|| self.classes[class].value())
    }

    /// Mean correction at about idle, ln.
    pub fn low_ln(&self) -> Option<f64> {
        self.class(0)
    }

    /// Mean correction at four times the flow of idle, ln.
    pub fn middle_ln(&self) -> Option<f64> {
        self.class(2)
    }

    /// Mean correction at higher flows, ln.
    pub fn high_ln(&self) -> Option<f64> {
        self.class(3)
    }
}
