//! Axis of a table: strictly rising breakpoints, and the position of a value between them.

use crate::Real;

/// Breakpoints of a table, strictly rising and finite by construction.
///
/// ```
/// use trimwright_numerics::Axis;
/// let rpm = Axis::new([800.0_f32, 1600.0, 3200.0]).unwrap();
/// let place = rpm.place(2000.0);
/// assert_eq!((place.index, place.fraction), (1, 0.25));
/// ```
#[derive(Clone, Copy, Debug, PartialEq)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub struct Axis<T, const N: usize> {
    points: [T; N],
}

/// Why breakpoints are not a valid axis.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
#[non_exhaustive]
pub enum AxisError {
    /// Fewer than two breakpoints.
    TooShort,
    /// The breakpoint at this index is not finite, or not above the one before it.
    NotRising(usize),
}

impl core::fmt::Display for AxisError {
    fn fmt(&self, f: &mut core::fmt::Formatter<'_>) -> core::fmt::Result {
        match self {
            Self::TooShort => f.write_str("an axis needs at least two breakpoints"),
            Self::NotRising(index) => write!(f, "breakpoint {index} is not above the one before it"),
        }
    }
}

impl core::error::Error for AxisError {}

/// Position of a value on an axis: between breakpoints `index` and `index + 1`, at `fraction` (0 to 1) of the interval.
#[derive(Clone, Copy, Debug, PartialEq)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub struct Place<T> {
    /// Index of the breakpoint below, at most the last but one.
    pub index: usize,
    /// Fraction of the interval to the next breakpoint, 0 to 1.
    pub fraction: T,
}

impl<T: Real, const N: usize> Axis<T, N> {
    /// An axis over `points`.
    ///
    /// # Errors
    /// [`AxisError`] for fewer than two points, or one that is not finite or not above the one before it.
    pub fn new(points: [T; N]) -> Result<Self, AxisError> {
        if N < 2 {
            return Err(AxisError::TooShort);
        }
        for (index, &point) in points.iter().enumerate() {
            if !point.is_finite() || (index > 0 && point <= points[index - 1]) {
                return Err(AxisError::NotRising(index));
            }
        }
        Ok(Self { points })
    }

    /// The breakpoints.
    pub const fn points(&self) -> &[T; N] {
        &self.points
    }

    /// The position of `value`, clamped to the ends of the axis; NaN gives the first breakpoint.
    ///
    /// ```
    /// let kpa = trimwright_numerics::Axis::new([20.0_f64, 60.0, 100.0]).unwrap();
    /// let ends = [-5.0, 500.0, f64::NAN].map(|value| kpa.place(value));
    /// assert_eq!(ends.map(|place| (place.index, place.fraction)), [(0, 0.0), (1, 1.0), (0, 0.0)]);
    /// ```
    #[inline]
    pub fn place(&self, value: T) -> Place<T> {
        let mut index = 0;
        while index + 2 < N && value >= self.points[index + 1] {
            index += 1;
        }
        let (low, high) = (self.points[index], self.points[index + 1]);
        let fraction = ((value - low) / (high - low)).held(T::ZERO, T::ONE);
        Place { index, fraction }
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    #[test]
    fn breakpoints_that_do_not_rise_are_rejected() {
        assert_eq!(Axis::new([1.0_f32]), Err(AxisError::TooShort));
        assert_eq!(Axis::new([1.0_f32, 1.0]), Err(AxisError::NotRising(1)));
        assert_eq!(Axis::new([f64::NAN, 1.0]), Err(AxisError::NotRising(0)));
        assert_eq!(Axis::new([0.0, f64::NAN]), Err(AxisError::NotRising(1)));
    }

    #[test]
    fn outside_values_and_nan_are_clamped_to_an_end() {
        let axis = Axis::new([0.0_f64, 1.0, 3.0]).unwrap();
        assert_eq!(axis.place(-5.0), Place { index: 0, fraction: 0.0 });
        assert_eq!(axis.place(9.0), Place { index: 1, fraction: 1.0 });
        assert_eq!(axis.place(f64::NAN), Place { index: 0, fraction: 0.0 });
    }

    proptest! {
        #[test]
        fn a_place_gives_back_its_value(value in -1.0..4.0_f64) {
            let points = [-1.0, 0.5, 0.75, 2.0, 4.0];
            let place = Axis::new(points).unwrap().place(value);
            let back = points[place.index] + place.fraction * (points[place.index + 1] - points[place.index]);
            prop_assert!((back - value).abs() < 1e-12);
        }
    }
}
