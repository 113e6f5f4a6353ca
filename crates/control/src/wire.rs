//! How a wire behaves: its range, whether it has gone quiet, whether it is noisy.

use trimwright_numerics::Real;

use crate::thermistor::REFERENCE_V;

/// What makes a wire noisy or still.
#[derive(Clone, Copy)]
pub(crate) struct WireLimits {
    /// Mean of what is taken back from slot to slot above which a wire counts as noisy, V.
    pub(crate) noisy_v: f32,
    /// Share of a new slot in that mean.
    pub(crate) noise_share: f32,
    /// Change from slot to slot up to which a wire is still, V.
    pub(crate) still_v: f32,
}

/// Beyond these volts a wire is taken as being there, V: what is no number must not stay in a mean.
const WIRE_V: (f32, f32) = (-1.0, 6.0);

/// What a wire did over the last slots.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub(crate) struct Wire {
    last_v: f32,
    quiet_s: f32,
    change_v: f32,
    taken_back_v: f32,
    noisy: bool,
}

impl Wire {
    /// One slot.
    pub(crate) fn step(&mut self, limits: &WireLimits, volts: f32, dt_s: f32) {
        let change_v = (volts - self.last_v).held(-REFERENCE_V, REFERENCE_V);
        let before_v = core::mem::replace(&mut self.change_v, change_v);
        self.quiet_s = if change_v.abs() > limits.still_v { 0.0 } else { self.quiet_s + dt_s };
        let back_v = if change_v * before_v < 0.0 { change_v.abs().at_most(before_v.abs()) } else { 0.0 };
        self.taken_back_v += limits.noise_share * (back_v - self.taken_back_v);
        self.noisy = self.taken_back_v > limits.noisy_v;
        self.last_v = volts.held(WIRE_V.0, WIRE_V.1);
    }

    /// Time without any change, s. A converter of some millivolts of noise is never still for long on a live wire.
    pub(crate) const fn quiet_s(&self) -> f32 {
        self.quiet_s
    }

    /// Volts of the slot before.
    pub(crate) const fn last_v(&self) -> f32 {
        self.last_v
    }

    /// Jumps from slot to slot as no sensor does.
    pub(crate) const fn is_noisy(&self) -> bool {
        self.noisy
    }
}

pub(crate) fn within(volts: f32, (low, high): (f32, f32)) -> bool {
    volts >= low && volts <= high
}

/// Below the range, or no number at all.
pub(crate) fn below(volts: f32, (low, _): (f32, f32)) -> bool {
    volts < low || volts.is_nan()
}

#[cfg(test)]
mod tests {
    use super::*;

    const LIMITS: WireLimits = WireLimits { noisy_v: 0.045, noise_share: 0.04, still_v: 1e-5 };

    #[test]
    fn noise_is_told_from_a_fast_sensor() {
        let (mut noisy, mut fast) = (Wire::default(), Wire::default());
        for slot in 0..100 {
            noisy.step(&LIMITS, if slot % 2 == 0 { 1.0 } else { 1.5 }, 0.01);
            // Full range up and down again three times a second.
            fast.step(&LIMITS, 0.5 + 4.0 * (slot as f32 % 34.0 / 17.0 - 1.0).abs(), 0.01);
        }
        assert!(noisy.is_noisy() && !fast.is_noisy());
    }

    #[test]
    fn a_quiet_wire_is_timed() {
        let mut wire = Wire::default();
        (0..100).for_each(|_| wire.step(&LIMITS, 2.0, 0.01));
        assert!((wire.quiet_s() - 0.99).abs() < 0.02);
        wire.step(&LIMITS, 2.001, 0.01);
        assert_eq!(wire.quiet_s(), 0.0);
    }
}
