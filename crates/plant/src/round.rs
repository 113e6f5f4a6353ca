//! Nearest whole numbers by one addition, where a cast would check for every number there is.

/// From here on a double has no places after the point, and its lowest bits count up by one: 2^52.
const WHOLE: f64 = 4_503_599_627_370_496.0;
/// The bits that count.
const COUNTING: u64 = (1 << 52) - 1;

/// The whole number nearest to `x`, for `x` from 0 to below 2^51; of two that are equally near the even one.
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
        fn it_is_what_rounding_gives(x in 0.0..2e15_f64) {
            prop_assert_eq!(nearest(x), x.round_ties_even());
            prop_assert_eq!(nearest_u64(x), x.round_ties_even() as u64);
        }
    }
}
