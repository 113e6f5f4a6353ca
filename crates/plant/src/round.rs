//! Rounding to the nearest integer by one addition, which is faster than a saturating cast.

/// 2^52: from here on a double has no fraction, and its lowest bits count integers.
const WHOLE: f64 = 4_503_599_627_370_496.0;
/// Bits of the integer.
const COUNTING: u64 = (1 << 52) - 1;

/// The integer nearest to `x`, for `x` from 0 to below 2^51; ties go to the even one.
#[inline]
pub(crate) fn nearest(x: f64) -> f64 {
    (x + WHOLE) - WHOLE
}

/// The same as an integer.
#[inline]
pub(crate) fn nearest_u64(x: f64) -> u64 {
    (x + WHOLE).to_bits() & COUNTING
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    #[test]
    fn a_tie_goes_to_the_even_one() {
        assert_eq!([0.0, 0.5, 1.5, 2.5, 4095.4].map(nearest), [0.0, 0.0, 2.0, 2.0, 4095.0]);
    }

    proptest! {
        #[test]
        fn ident_it_equals_round_ties_even(x in 0.0..2e15_f64) {
            prop_assert_eq!(nearest(x), x.round_ties_even());
            prop_assert_eq!(nearest_u64(x), x.round_ties_even() as u64);
        }
    }
}
