//! Distributor: one pulse a firing, with jitter and losses.

use crate::check::{OutOfRange, within};
use crate::noise::Noise;
use heapless::Vec;
use trimwright_numerics::Real;
use trimwright_signals::MAX_PULSES;

/// The trigger wheel in the distributor.
#[derive(Clone, Debug, PartialEq)]
pub struct Trigger {
    /// Standard deviation of a pulse's place, degrees of crank, 0 to 5: play in gear and bearings.
    pub jitter_deg: f64,
}

impl Trigger {
    pub(crate) fn check(&self) -> Result<(), OutOfRange> {
        within("trigger.jitter_deg", self.jitter_deg, 0.0, 5.0)
    }

    /// Stamps a firing at `time_s`. A stamp never lies before the last or after the end of the step.
    pub(crate) fn stamp(
        &self,
        pulses_us: &mut Vec<u64, MAX_PULSES>,
        noise: &mut Noise,
        lost_share: f64,
        time_s: f64,
        degrees_per_s: f64,
        step_s: (f64, f64),
    ) {
        let jitter_s = self.jitter_deg * noise.bell() / degrees_per_s.held(1.0, 1e6);
        let lost = lost_share > 0.0 && noise.uniform() < lost_share;
        let stamp_us = ((time_s + jitter_s).held(step_s.0, step_s.1) * 1e6) as u64;
        let ordered = pulses_us.last().is_none_or(|&last| last < stamp_us);
        if !lost && ordered && !pulses_us.is_full() {
            // The check above leaves room.
            let _ = pulses_us.push(stamp_us);
        }
    }
}
