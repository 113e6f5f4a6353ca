//! [`Real`]: the floating-point trait for all math of the crates that run on the target.
//!
//! `f64` always uses [`libm`]. `f32` uses [`libm`] too, unless the feature `fast-math` is on: then the transcendental
//! functions come from `micromath`, for microcontrollers without a floating-point unit. Its largest error on the ranges used
//! here, checked by the tests of this module: relative 0.25 % for `exp`, 0.4 % for `powf` (exponents up to 1.5) and 2e-6 for
//! `sqrt`; absolute 0.0025 for `ln` and 0.0012 for `sin` and `cos`.

use core::fmt::Debug;
use core::ops::{Add, AddAssign, Div, Mul, Neg, Sub, SubAssign};

/// A floating-point number with the functions that plant and controller need, bit-reproducible on every machine.
///
/// ```
/// use trimwright_numerics::Real;
/// assert_eq!(Real::sqrt(9.0_f64), 3.0);
/// assert!((Real::exp(Real::ln(2.5_f32)) - 2.5).abs() < 0.05);
/// ```
pub trait Real:
    Copy
    + Debug
    + PartialOrd
    + Add<Output = Self>
    + Sub<Output = Self>
    + Mul<Output = Self>
    + Div<Output = Self>
    + Neg<Output = Self>
    + AddAssign
    + SubAssign
{
    /// Zero.
    const ZERO: Self;
    /// One.
    const ONE: Self;
    /// The nearest value to a whole number.
    fn from_whole(number: u64) -> Self;
    /// Neither NaN nor infinite.
    fn is_finite(self) -> bool;
    /// e to the power of `self`.
    fn exp(self) -> Self;
    /// Natural logarithm.
    fn ln(self) -> Self;
    /// Square root.
    fn sqrt(self) -> Self;
    /// `self` to the power of `exponent`.
    fn powf(self, exponent: Self) -> Self;
    /// Sine of an angle in radians.
    fn sin(self) -> Self;
    /// Cosine of an angle in radians.
    fn cos(self) -> Self;
    /// `self` clamped to `low` to `high`. NaN gives `low`, so that no output computed from it can be NaN.
    ///
    /// ```
    /// use trimwright_numerics::Real;
    /// assert_eq!([Real::held(7.0_f32, 0.0, 1.0), Real::held(f32::NAN, 0.0, 1.0)], [1.0, 0.0]);
    /// ```
    fn held(self, low: Self, high: Self) -> Self {
        // Two comparisons, each one instruction on a processor with minimum and maximum.
        self.at_least(low).at_most(high)
    }
    /// The greater of both; `low` for NaN. Compiles inline, unlike `f32::max` on the target.
    fn at_least(self, low: Self) -> Self {
        if self > low { self } else { low }
    }
    /// The smaller of both; `high` for NaN.
    fn at_most(self, high: Self) -> Self {
        if self < high { self } else { high }
    }
}

impl Real for f64 {
    const ZERO: Self = 0.0;
    const ONE: Self = 1.0;
    #[inline]
    fn from_whole(number: u64) -> Self {
        number as Self
    }
    #[inline]
    fn is_finite(self) -> bool {
        f64::is_finite(self)
    }
    #[inline]
    fn exp(self) -> Self {
        libm::exp(self)
    }
    #[inline]
    fn ln(self) -> Self {
        libm::log(self)
    }
    #[inline]
    fn sqrt(self) -> Self {
        libm::sqrt(self)
    }
    #[inline]
    fn powf(self, exponent: Self) -> Self {
        libm::pow(self, exponent)
    }
    #[inline]
    fn sin(self) -> Self {
        libm::sin(self)
    }
    #[inline]
    fn cos(self) -> Self {
        libm::cos(self)
    }
}

#[cfg(not(feature = "fast-math"))]
use libm::{cosf, expf, logf, powf, sinf, sqrtf};

#[cfg(feature = "fast-math")]
mod approximate {
    use micromath::F32Ext;
    pub(super) fn expf(x: f32) -> f32 {
        F32Ext::exp(x)
    }
    /// `micromath`'s logarithm alone has errors up to 0.12; one Halley step on its exponential corrects them.
    pub(super) fn logf(x: f32) -> f32 {
        let y = F32Ext::ln(x);
        let e = F32Ext::exp(y);
        y + 2.0 * (x - e) / (x + e)
    }
    /// `micromath`'s square root alone has errors up to 6 %; two Newton steps correct them.
    pub(super) fn sqrtf(x: f32) -> f32 {
        let mut y = F32Ext::sqrt(x);
        for _ in 0..2 {
            if y > 0.0 {
                y = 0.5 * (y + x / y);
            }
        }
        y
    }
    /// Power of a positive number; 0 for zero, which has no logarithm.
    pub(super) fn powf(x: f32, exponent: f32) -> f32 {
        if x > 0.0 { F32Ext::exp(exponent * logf(x)) } else { 0.0 }
    }
    pub(super) fn sinf(x: f32) -> f32 {
        F32Ext::sin(x)
    }
    pub(super) fn cosf(x: f32) -> f32 {
        F32Ext::cos(x)
    }
}
#[cfg(feature = "fast-math")]
use approximate::{cosf, expf, logf, powf, sinf, sqrtf};

impl Real for f32 {
    const ZERO: Self = 0.0;
    const ONE: Self = 1.0;
    #[inline]
    fn from_whole(number: u64) -> Self {
        number as Self
    }
    #[inline]
    fn is_finite(self) -> bool {
        f32::is_finite(self)
    }
    #[inline]
    fn exp(self) -> Self {
        expf(self)
    }
    #[inline]
    fn ln(self) -> Self {
        logf(self)
    }
    #[inline]
    fn sqrt(self) -> Self {
        sqrtf(self)
    }
    #[inline]
    fn powf(self, exponent: Self) -> Self {
        powf(self, exponent)
    }
    #[inline]
    fn sin(self) -> Self {
        sinf(self)
    }
    #[inline]
    fn cos(self) -> Self {
        cosf(self)
    }
}

#[cfg(test)]
mod tests {
    use super::Real;

    /// Largest error of the `f32` backend against the `f64` one over a sweep, relative or absolute.
    fn worst(low: f64, high: f64, relative: bool, single: fn(f32) -> f32, double: fn(f64) -> f64) -> f64 {
        let mut worst = 0.0_f64;
        for step in 0..=20_000 {
            // Both get the same rounded argument, so that only the function's own error is measured.
            let x = (low + (high - low) * f64::from(step) / 20_000.0) as f32;
            let exact = double(f64::from(x));
            let error = (f64::from(single(x)) - exact).abs() / if relative { exact.abs() } else { 1.0 };
            assert!(error.is_finite());
            worst = worst.max(error);
        }
        worst
    }

    #[cfg(not(feature = "fast-math"))]
    const LIMITS: [f64; 6] = [2e-7, 4e-7, 2e-7, 2e-7, 2e-7, 2e-7];
    #[cfg(feature = "fast-math")]
    const LIMITS: [f64; 6] = [0.0025, 0.0025, 2e-6, 0.004, 0.0012, 0.0012];

    #[test]
    fn the_single_precision_backend_stays_within_its_documented_error() {
        let measured = [
            worst(-3.0, 3.0, true, Real::exp, Real::exp),
            worst(0.05, 20.0, false, Real::ln, Real::ln),
            worst(1e-3, 1e3, true, Real::sqrt, Real::sqrt),
            worst(0.1, 10.0, true, |x| Real::powf(x, 1.5), |x| Real::powf(x, 1.5)),
            worst(-6.0, 6.0, false, Real::sin, Real::sin),
            worst(-6.0, 6.0, false, Real::cos, Real::cos),
        ];
        for (error, limit) in measured.into_iter().zip(LIMITS) {
            assert!(error <= limit, "{measured:?} over {LIMITS:?}");
        }
    }

    #[test]
    fn powers_of_zero_and_one_hold_in_every_backend() {
        assert_eq!(Real::powf(0.0_f32, 1.4), 0.0);
        assert!((Real::powf(1.0_f32, 1.4) - 1.0).abs() < 0.004);
    }

    #[test]
    fn clamping_turns_nan_into_the_lower_limit() {
        assert_eq!(f32::NAN.held(1.0, 2.0), 1.0);
        assert_eq!(5.0_f64.held(1.0, 2.0), 2.0);
        assert_eq!(f64::NEG_INFINITY.held(1.0, 2.0), 1.0);
        assert_eq!(1.5_f32.held(1.0, 2.0), 1.5);
    }
}
