//! Rounding of numbers in the page to five significant digits, which keeps it small.

use serde::ser::{SerializeSeq, Serializer};

/// `value` to five significant digits; `None` (a gap in the page) when not finite.
fn five_digits(value: f64) -> Option<f64> {
    value.is_finite().then(|| format!("{value:.4e}").parse().unwrap_or(value))
}

pub(crate) fn rounded<S: Serializer>(value: &f64, serializer: S) -> Result<S::Ok, S::Error> {
    match five_digits(*value) {
        // A whole number is shorter without the ".0".
        Some(value) if value.fract() == 0.0 && value.abs() < 1e15 => serializer.serialize_i64(value as i64),
        Some(value) => serializer.serialize_f64(value),
        None => serializer.serialize_none(),
    }
}

pub(crate) fn rounded_each<S: Serializer>(values: &[f64], serializer: S) -> Result<S::Ok, S::Error> {
    struct Rounded(f64);
    impl serde::Serialize for Rounded {
        fn serialize<S: Serializer>(&self, serializer: S) -> Result<S::Ok, S::Error> {
            rounded(&self.0, serializer)
        }
    }
    let mut sequence = serializer.serialize_seq(Some(values.len()))?;
    for &value in values {
        sequence.serialize_element(&Rounded(value))?;
    }
    sequence.end()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn ident_five_digits_are_kept_and_gaps_are_null() {
        for (value, text) in [
            (0.123_456_789, "0.12346"),
            (-1_234.567_89, "-1234.6"),
            (2_740.0, "2740"),
            (0.0, "0"),
            (1.0e-9, "1e-9"),
            (1.0e300, "1e+300"),
            (f64::NAN, "null"),
            (f64::INFINITY, "null"),
        ] {
            let mut bytes = Vec::new();
            rounded(&value, &mut serde_json::Serializer::new(&mut bytes)).expect("writes to memory");
            assert_eq!(String::from_utf8_lossy(&bytes), text);
        }
    }
}
