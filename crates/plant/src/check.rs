//! Ranges of the truth's parameters.

/// A parameter of the truth that lies outside its range.
///
/// ```
/// use trimwright_plant::{Plant, Truth};
/// let mut truth = Truth::mild_v8();
/// truth.engine.compression_ratio = 40.0;
/// let error = Plant::new(truth, 1).unwrap_err();
/// assert_eq!(error.field, "engine.compression_ratio");
/// ```
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct OutOfRange {
    /// Path of the field in [`crate::Truth`].
    pub field: &'static str,
    /// The value found.
    pub value: f64,
    /// Smallest value allowed.
    pub low: f64,
    /// Largest value allowed.
    pub high: f64,
}

impl core::fmt::Display for OutOfRange {
    fn fmt(&self, f: &mut core::fmt::Formatter<'_>) -> core::fmt::Result {
        write!(f, "{} is {}, allowed is {} to {}", self.field, self.value, self.low, self.high)
    }
}

impl core::error::Error for OutOfRange {}

/// Refuses a value outside `low..=high`, and NaN.
pub(crate) fn within(field: &'static str, value: f64, low: f64, high: f64) -> Result<(), OutOfRange> {
    if value >= low && value <= high { Ok(()) } else { Err(OutOfRange { field, value, low, high }) }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn nan_is_out_of_every_range() {
        assert!(within("x", f64::NAN, 0.0, 1.0).is_err());
        assert!(within("x", f64::INFINITY, 0.0, 1.0).is_err());
        assert_eq!(within("x", 1.0, 0.0, 1.0), Ok(()));
    }
}
