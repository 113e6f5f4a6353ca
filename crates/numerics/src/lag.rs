//! First-order lag (PT1), exact for a constant input over the step.

use crate::Real;

/// First-order lag `tau * dy/dt + y = u`, exact for a constant input over the step: `y += (1 - exp(-dt/tau)) * (u - y)`.
///
/// ```
/// use trimwright_numerics::Lag;
/// let mut lag = Lag::at(0.0_f64);
/// lag.step(1.0, 0.1, 0.1);
/// assert!((lag.value() - (1.0 - (-1.0_f64).exp())).abs() < 1e-12);
/// ```
#[derive(Clone, Copy, Debug, PartialEq)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub struct Lag<T> {
    value: T,
}

impl<T: Real> Lag<T> {
    /// A lag in steady state at `value`.
    pub const fn at(value: T) -> Self {
        Self { value }
    }

    /// The output.
    pub const fn value(&self) -> T {
        self.value
    }

    /// Advances by `dt_s` seconds with time constant `tau_s`, s, and returns the output; without lag when `tau_s` is not positive.
    #[inline]
    pub fn step(&mut self, input: T, dt_s: T, tau_s: T) -> T {
        self.step_by(input, share(dt_s, tau_s))
    }

    /// Advances by a fraction (0 to 1) of the difference to the input, for callers that compute [`share`] once.
    #[inline]
    pub fn step_by(&mut self, input: T, share: T) -> T {
        self.value += share * (input - self.value);
        self.value
    }
}

/// Fraction of the difference to the input that a lag of `tau_s` covers in `dt_s`: `1 - exp(-dt/tau)`, 0 to 1.
///
/// ```
/// use trimwright_numerics::lag::share;
/// // After one time constant 63 % of the way, after three 95 %.
/// assert!((share(0.1_f64, 0.1) - 0.632).abs() < 1e-3 && (share(0.3_f64, 0.1) - 0.950).abs() < 1e-3);
/// assert_eq!(share(0.1_f64, 0.0), 1.0, "no lag");
/// ```
#[inline]
pub fn share<T: Real>(dt_s: T, tau_s: T) -> T {
    if tau_s > T::ZERO { (T::ONE - (-dt_s / tau_s).exp()).held(T::ZERO, T::ONE) } else { T::ONE }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn two_half_steps_equal_one_step() {
        let (mut whole, mut halves) = (Lag::at(3.0_f64), Lag::at(3.0_f64));
        whole.step(-1.0, 0.02, 0.07);
        halves.step(-1.0, 0.01, 0.07);
        halves.step(-1.0, 0.01, 0.07);
        assert!((whole.value() - halves.value()).abs() < 1e-12);
    }

    #[test]
    fn without_a_time_constant_there_is_no_lag() {
        assert_eq!(Lag::at(1.0_f32).step(2.0, 0.001, 0.0), 2.0);
    }
}
