//! Crank speed from the distributor's pulses, one a firing.
//!
//! A four-stroke engine of `n` cylinders fires `n` times in two turns, so that the speed between two pulses `t` apart is
//! `4 pi / (n t)`. The mean goes over one whole cycle (`n` pulses), which takes out the difference between cylinders.

use core::f32::consts::PI;

use trimwright_numerics::Ring;
use trimwright_signals::Frame;

use crate::calibration::Calibration;
use crate::clock::Beat;

/// Speed above which a pulse is taken for interference, rad/s (11 000 rpm, above any engine this is for).
const FASTEST_RAD_PER_S: f32 = 1150.0;
/// Speed below which the crank counts as standing, rad/s (about 40 rpm).
const SLOWEST_RAD_PER_S: f32 = 4.2;

/// Crank speed and what it was worked out from.
#[derive(Clone, Debug, PartialEq)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub struct Crank {
    /// Intervals between accepted pulses, s, the last eight.
    pub(crate) intervals_s: Ring<f32, 8>,
    /// How many of them are there.
    pub(crate) known: u8,
    pub(crate) last_pulse_us: Option<u64>,
    pub(crate) since_pulse_s: f32,
    /// Mean speed over the last engine cycle, rad/s; 0 when the crank stands.
    pub speed_rad_per_s: f32,
    /// Speed between the last two pulses, rad/s.
    pub quick_rad_per_s: f32,
    /// The last interval between firings, s; 0 when unknown.
    pub interval_s: f32,
    /// Time from the last firing of an earlier step to the last firing of this one, s; 0 without a firing.
    pub gone_s: f32,
    /// Firings in this step.
    pub firings: u8,
    /// Pulses refused as interference since power-up.
    pub refused_pulses: u32,
    /// Rises by four with every pulse lost or refused, falls by one with every good one.
    pub(crate) trouble: u8,
    /// Pulses that seem to have been lost since power-up.
    pub lost_pulses: u32,
}

impl Default for Crank {
    fn default() -> Self {
        Self {
            intervals_s: Ring::filled(0.0),
            known: 0,
            last_pulse_us: None,
            since_pulse_s: 0.0,
            speed_rad_per_s: 0.0,
            quick_rad_per_s: 0.0,
            interval_s: 0.0,
            gone_s: 0.0,
            firings: 0,
            refused_pulses: 0,
            lost_pulses: 0,
            trouble: 0,
        }
    }
}

impl Crank {
    /// Takes the pulses of a frame.
    pub fn step(&mut self, calibration: &Calibration, frame: &Frame, beat: &Beat) {
        (self.firings, self.gone_s) = (0, 0.0);
        self.since_pulse_s += beat.dt_s;
        let angle_rad = calibration.firing_angle_rad();
        for &pulse_us in &frame.pulses_us {
            self.take(pulse_us, angle_rad, usize::from(calibration.answers().cylinders));
        }
        if self.since_pulse_s > angle_rad / SLOWEST_RAD_PER_S {
            self.stand();
        }
    }

    /// Revolutions in `dt_s` seconds at the present speed.
    pub fn turns(&self, dt_s: f32) -> f32 {
        self.speed_rad_per_s * dt_s / (2.0 * PI)
    }

    /// Whether pulses were lost or refused lately.
    pub const fn is_troubled(&self) -> bool {
        self.trouble > 8
    }

    fn take(&mut self, pulse_us: u64, angle_rad: f32, cylinders: usize) {
        let Some(last_us) = self.last_pulse_us else {
            self.last_pulse_us = Some(pulse_us);
            self.since_pulse_s = 0.0;
            self.firings = 1;
            return;
        };
        let Some(gone_us) = pulse_us.checked_sub(last_us) else {
            self.refuse();
            self.stand();
            return;
        };
        let interval_s = gone_us as f32 * 1e-6;
        if interval_s < angle_rad / FASTEST_RAD_PER_S {
            self.refuse();
            return;
        }
        self.last_pulse_us = Some(pulse_us);
        self.since_pulse_s = 0.0;
        self.firings = self.firings.saturating_add(1);
        self.gone_s += interval_s;
        if interval_s > angle_rad / SLOWEST_RAD_PER_S {
            return;
        }
        // A gap of about two usual intervals in a turning engine is a pulse that got lost: it tells nothing of the speed.
        if self.known >= 4
            && self.interval_s > 0.0
            && interval_s > 1.7 * self.interval_s
            && self.speed_rad_per_s > 40.0
        {
            self.lost_pulses = self.lost_pulses.saturating_add(1);
            self.trouble = self.trouble.saturating_add(4).min(40);
            self.known = 2;
            return;
        }
        self.trouble = self.trouble.saturating_sub(1);
        self.intervals_s.push(interval_s);
        self.known = self.known.saturating_add(1).min(8);
        self.interval_s = interval_s;
        self.quick_rad_per_s = angle_rad / interval_s;
        let counted = usize::from(self.known).min(cylinders).max(1);
        let sum_s: f32 = self.intervals_s.iter().take(counted).sum();
        self.speed_rad_per_s = counted as f32 * angle_rad / sum_s.max(1e-4);
    }

    fn refuse(&mut self) {
        self.refused_pulses = self.refused_pulses.saturating_add(1);
        self.trouble = self.trouble.saturating_add(4).min(40);
    }

    fn stand(&mut self) {
        let (refused_pulses, lost_pulses, trouble) = (self.refused_pulses, self.lost_pulses, self.trouble);
        *self = Self { refused_pulses, lost_pulses, trouble, ..Self::default() };
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::setup::SetupAnswers;

    fn turn(crank: &mut Crank, times_us: impl Iterator<Item = u64>) {
        let calibration = Calibration::from_answers(&SetupAnswers::default()).unwrap();
        for time_us in times_us {
            let mut frame = Frame { time_us, ..Frame::default() };
            frame.pulses_us.push(time_us).unwrap();
            crank.step(&calibration, &frame, &Beat { time_us, dt_s: 0.001, ..Beat::default() });
        }
    }

    #[test]
    fn eight_cylinders_at_a_hundred_hertz_turn_at_1500_rpm() {
        let mut crank = Crank::default();
        turn(&mut crank, (0..40).map(|pulse| pulse * 10_000));
        assert!((crank.speed_rad_per_s - 157.08).abs() < 0.01, "{}", crank.speed_rad_per_s);
    }

    #[test]
    fn uneven_cylinders_average_out_over_a_cycle() {
        let mut crank = Crank::default();
        let mut time_us = 0;
        turn(
            &mut crank,
            (0..40).map(|pulse| {
                time_us += if pulse % 8 == 3 { 11_400 } else { 9_800 };
                time_us
            }),
        );
        assert!((crank.speed_rad_per_s - 157.08).abs() < 0.05, "{}", crank.speed_rad_per_s);
    }

    #[test]
    fn a_storm_of_pulses_is_refused_and_counted() {
        let mut crank = Crank::default();
        turn(&mut crank, (0..40).map(|pulse| pulse * 10_000));
        turn(&mut crank, (0..20).map(|pulse| 390_000 + pulse * 3));
        assert!((crank.speed_rad_per_s - 157.08).abs() < 0.01);
        assert_eq!(crank.refused_pulses, 20);
    }

    #[test]
    fn a_lost_pulse_does_not_halve_the_speed() {
        let mut crank = Crank::default();
        turn(&mut crank, (0..40).filter(|pulse| *pulse != 37).map(|pulse| pulse * 10_000));
        assert!((crank.speed_rad_per_s - 157.08).abs() < 0.01, "{}", crank.speed_rad_per_s);
        assert_eq!(crank.lost_pulses, 1);
    }

    #[test]
    fn without_pulses_the_crank_stands() {
        let mut crank = Crank::default();
        turn(&mut crank, (0..40).map(|pulse| pulse * 10_000));
        let calibration = Calibration::from_answers(&SetupAnswers::default()).unwrap();
        for _ in 0..500 {
            crank.step(&calibration, &Frame::default(), &Beat { dt_s: 0.001, ..Beat::default() });
        }
        assert_eq!(crank.speed_rad_per_s, 0.0);
    }
}
