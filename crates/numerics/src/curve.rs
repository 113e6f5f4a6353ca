//! Lookup table over one axis, linear between breakpoints.

use crate::{Axis, AxisError, Real};

/// Lookup table of one input, linear between breakpoints, with its end values outside the axis.
///
/// ```
/// use trimwright_numerics::Curve;
/// let opening_delay_s = Curve::new([8.0_f32, 12.0, 14.0], [2.5e-3, 1.3e-3, 1.0e-3]).unwrap();
/// assert!((opening_delay_s.at(10.0) - 1.9e-3).abs() < 1e-9);
/// ```
#[derive(Clone, Copy, Debug, PartialEq)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub struct Curve<T, const N: usize> {
    axis: Axis<T, N>,
    values: [T; N],
}

impl<T: Real, const N: usize> Curve<T, N> {
    /// A curve through (`points[i]`, `values[i]`).
    ///
    /// # Errors
    /// [`AxisError`] when the points are not a valid axis.
    pub fn new(points: [T; N], values: [T; N]) -> Result<Self, AxisError> {
        Ok(Self { axis: Axis::new(points)?, values })
    }

    /// The value at `x`; the end values outside the axis.
    #[inline]
    pub fn at(&self, x: T) -> T {
        let place = self.axis.place(x);
        let (low, high) = (self.values[place.index], self.values[place.index + 1]);
        low + place.fraction * (high - low)
    }

    /// The axis.
    pub const fn axis(&self) -> &Axis<T, N> {
        &self.axis
    }

    /// The values at the breakpoints.
    pub const fn values(&self) -> &[T; N] {
        &self.values
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_curve_passes_through_its_points_and_is_constant_beyond_its_ends() {
        let curve = Curve::new([0.0_f64, 1.0, 3.0], [5.0, 7.0, -1.0]).unwrap();
        assert_eq!([0.0, 1.0, 3.0].map(|x| curve.at(x)), [5.0, 7.0, -1.0]);
        assert_eq!([-1.0, 99.0].map(|x| curve.at(x)), [5.0, -1.0]);
        assert_eq!(curve.at(2.0), 3.0);
    }
}
