//! Trigger pulses at the firings and evenly between them, with jitter and losses.

use crate::noise::Noise;
use heapless::Vec;
use trimwright_numerics::Real;
use trimwright_signals::MAX_PULSES;

trimwright_numerics::parameters! {
    /// Trigger wheel in the distributor.
    pub struct Trigger<f64> "trigger" {
        /// Jitter: standard deviation of a pulse's crank angle, by play in gear and bearings.
        number jitter_deg { 0.3, 0.0..=5.0 "deg", "engineering judgement" }
    }
}

impl Trigger {
    /// Adds the time stamp of a pulse at `time_s`, clamped to the step `step_s`. A pulse that is not after the last one is dropped.
    pub(crate) fn stamp(
        &self,
        pulses_us: &mut Vec<u64, MAX_PULSES>,
        noise: &mut Noise,
        lost_share: f64,
        time_s: f64,
        degrees_per_s: f64,
        step_s: (f64, f64),
    ) {
        let jitter_s = self.jitter_deg * noise.normal() / degrees_per_s.held(1.0, 1e6);
        let lost = lost_share > 0.0 && noise.uniform() < lost_share;
        let stamp_us = ((time_s + jitter_s).held(step_s.0, step_s.1) * 1e6) as i64 as u64;
        let ordered = pulses_us.last().is_none_or(|&last| last < stamp_us);
        if !lost && ordered && !pulses_us.is_full() {
            // The check above leaves room.
            let _ = pulses_us.push(stamp_us);
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn stamps_stay_in_their_step_in_order_and_scatter_as_stated() {
        let trigger = Trigger { jitter_deg: 0.5 };
        let mut noise = Noise::new(9);
        let mut squares = 0.0;
        for _ in 0..10_000 {
            let mut pulses_us = Vec::new();
            trigger.stamp(&mut pulses_us, &mut noise, 0.0, 0.5005, 6000.0, (0.5, 0.501));
            let late_us = pulses_us[0] as f64 - 500_500.0 + 0.5;
            assert!(late_us.abs() <= 500.5);
            squares += late_us * late_us;
        }
        // Half a degree at 6000 degrees a second: 83.3 us.
        let spread_us = Real::sqrt(squares / 10_000.0);
        assert!((spread_us / 83.3 - 1.0).abs() < 0.03, "{spread_us}");
    }

    #[test]
    fn a_frame_holds_no_more_pulses_than_its_capacity() {
        let trigger = Trigger { jitter_deg: 0.0 };
        let mut noise = Noise::new(9);
        let mut pulses_us = Vec::new();
        for pulse in 0..20 {
            trigger.stamp(&mut pulses_us, &mut noise, 0.0, 1e-4 * f64::from(pulse), 6000.0, (0.0, 0.01));
        }
        assert_eq!(pulses_us.len(), MAX_PULSES);
        assert!(pulses_us.is_sorted());
    }

    #[test]
    fn pulses_are_lost_with_the_stated_probability() {
        let trigger = Trigger { jitter_deg: 0.2 };
        let mut noise = Noise::new(9);
        let mut stamped = |lost_share: f64| {
            let mut count = 0;
            for _ in 0..20_000 {
                let mut pulses_us = Vec::new();
                trigger.stamp(&mut pulses_us, &mut noise, lost_share, 0.5005, 6000.0, (0.5, 0.501));
                count += pulses_us.len();
            }
            count
        };
        assert_eq!((stamped(0.0), stamped(1.0)), (20_000, 0));
        // Four standard deviations of the binomial: 4 sqrt(20 000 * 0.05 * 0.95) = 123.
        assert!(stamped(0.05).abs_diff(19_000) < 124);
    }
}
