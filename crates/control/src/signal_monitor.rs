//! Signal monitor: range, time without change, noise.

use trimwright_numerics::Real;

use crate::thermistor::REFERENCE_V;

/// Limits of noise and of a constant signal.
#[derive(Clone, Copy)]
pub(crate) struct SignalLimits {
    /// Mean reversal between samples of 10 ms above which a signal is noisy, V.
    pub(crate) noisy_v: f32,
    /// Share of a new sample in that mean.
    pub(crate) noise_share: f32,
    /// Change between samples up to which a signal counts as constant, V.
    pub(crate) still_v: f32,
}

/// Limits of a recorded voltage, V, so that a value that is not a number cannot stay in a mean.
const RECORDED_V: (f32, f32) = (-1.0, 6.0);

/// Monitor of one signal over the last samples.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub(crate) struct SignalMonitor {
    last_v: f32,
    quiet_s: f32,
    change_v: f32,
    reversal_v: f32,
    noisy: bool,
}

impl SignalMonitor {
    /// 10 ms task.
    pub(crate) fn step(&mut self, limits: &SignalLimits, volts: f32, dt_s: f32) {
        let change_v = (volts - self.last_v).held(-REFERENCE_V, REFERENCE_V);
        let before_v = core::mem::replace(&mut self.change_v, change_v);
        self.quiet_s = if change_v.abs() > limits.still_v { 0.0 } else { self.quiet_s + dt_s };
        let reversed_v = if change_v * before_v < 0.0 { change_v.abs().at_most(before_v.abs()) } else { 0.0 };
        self.reversal_v += limits.noise_share * (reversed_v - self.reversal_v);
        self.noisy = self.reversal_v > limits.noisy_v;
        self.last_v = volts.held(RECORDED_V.0, RECORDED_V.1);
    }

    /// Time without any change, s. The noise of a converter keeps it short on a live signal.
    pub(crate) const fn quiet_s(&self) -> f32 {
        self.quiet_s
    }

    /// Volts of the last sample.
    pub(crate) const fn last_v(&self) -> f32 {
        self.last_v
    }

    /// Whether it jumps between samples as no sensor does.
    pub(crate) const fn is_noisy(&self) -> bool {
        self.noisy
    }
}

/// Within the range.
pub(crate) fn within(volts: f32, (low, high): (f32, f32)) -> bool {
    volts >= low && volts <= high
}

/// Below the range, or not a number.
pub(crate) fn below(volts: f32, (low, _): (f32, f32)) -> bool {
    volts < low || volts.is_nan()
}

#[cfg(test)]
mod tests {
    use super::*;

    const LIMITS: SignalLimits = SignalLimits { noisy_v: 0.045, noise_share: 0.04, still_v: 1e-5 };

    #[test]
    fn noise_is_distinguished_from_a_fast_sensor() {
        let (mut noisy, mut fast) = (SignalMonitor::default(), SignalMonitor::default());
        for step in 0..100 {
            noisy.step(&LIMITS, if step % 2 == 0 { 1.0 } else { 1.5 }, 0.01);
            // Full range up and down again three times a second.
            fast.step(&LIMITS, 0.5 + 4.0 * (step as f32 % 34.0 / 17.0 - 1.0).abs(), 0.01);
        }
        assert!(noisy.is_noisy() && !fast.is_noisy());
    }

    #[test]
    fn a_constant_signal_is_timed() {
        let mut monitor = SignalMonitor::default();
        (0..100).for_each(|_| monitor.step(&LIMITS, 2.0, 0.01));
        assert!((monitor.quiet_s() - 0.99).abs() < 0.02);
        monitor.step(&LIMITS, 2.001, 0.01);
        assert_eq!(monitor.quiet_s(), 0.0);
    }

    /// By hand: of each reversal of half a volt a 25th of the difference is taken.
    #[test]
    fn reversals_are_averaged_and_noise_is_above_its_limit() {
        let noisy_after = |reversals: usize, noisy_v| {
            let (limits, mut monitor) = (SignalLimits { noisy_v, ..LIMITS }, SignalMonitor::default());
            let volts = [1.0, 0.5].into_iter().cycle();
            volts.take(reversals + 1).for_each(|volts| monitor.step(&limits, volts, 0.01));
            (monitor.is_noisy(), monitor.reversal_v)
        };
        assert_eq!(noisy_after(0, 0.01), (false, 0.0));
        assert_eq!(noisy_after(1, 0.02).1, 0.04 * 0.5);
        assert!(!noisy_after(1, 0.04 * 0.5).0 && noisy_after(1, 0.0199).0);
        assert!((noisy_after(2, 0.1).1 - 0.0392).abs() < 1e-6);
    }

    #[test]
    fn a_change_as_small_as_a_step_of_the_converter_is_none() {
        let quiet_s = |still_v| {
            let (limits, mut monitor) = (SignalLimits { still_v, ..LIMITS }, SignalMonitor::default());
            [2.0, 2.5].into_iter().for_each(|volts| monitor.step(&limits, volts, 0.01));
            monitor.quiet_s()
        };
        assert_eq!((quiet_s(0.5), quiet_s(0.49)), (0.01, 0.0));
    }

    #[test]
    fn the_ends_of_a_range_are_within_it_and_what_is_no_number_is_below() {
        assert!(within(0.25, (0.25, 4.75)) && within(4.75, (0.25, 4.75)) && !within(f32::NAN, (0.25, 4.75)));
        assert!(!below(0.25, (0.25, 4.75)) && below(0.249, (0.25, 4.75)) && below(f32::NAN, (0.25, 4.75)));
    }

    #[test]
    fn a_constant_signal_is_timed_at_any_voltage_of_its_range() {
        for volts in [0.0, 0.5, 4.5, 5.0] {
            let mut monitor = SignalMonitor::default();
            (0..5).for_each(|_| monitor.step(&LIMITS, volts, 0.25));
            assert!(monitor.quiet_s() >= 1.0 && monitor.last_v() == volts, "{volts} V");
        }
    }
}
