//! Crank speed from the distributor's pulses, one a firing.
//!
//! A four-stroke engine of `n` cylinders fires `n` times in two turns, so that the speed between two pulses `t` apart is
//! `4 pi / (n t)`. The mean goes over one whole cycle (`n` pulses), which takes out the difference between cylinders.

use core::f32::consts::PI;

use trimwright_numerics::Ring;
use trimwright_signals::Frame;

use crate::clock::Beat;
use crate::setup::Setup;

/// Speed above which a pulse is taken for interference, rad/s (11 000 rpm, above any engine this is for).
const FASTEST_RAD_PER_S: f32 = 1150.0;
/// Speed below which the crank counts as standing, rad/s (about 40 rpm).
const SLOWEST_RAD_PER_S: f32 = 4.2;
/// Speed from which one firing can neither double the speed nor halve it, rad/s: the crank's inertia forbids it.
const STEADY_RAD_PER_S: f32 = 40.0;
/// Last speed over the mean of a cycle below which an engine is slowing down, ratio (engineering judgement: cylinders that differ stay
/// above).
const HOLDS_SPEED: f32 = 0.8;
/// Share of the last interval below which the next pulse is interference, and above which one was lost.
const SHORT: f32 = 0.6;
const LONG: f32 = 1.7;
/// So many early pulses in a row are believed: then it is the last interval that was wrong.
const BELIEVED: u8 = 5;
/// What a pulse lost or refused adds to the trouble, of which each good one takes 1 away: it mounts up from one in 25.
const TROUBLE: u8 = 24;
/// Trouble from which pulses count as troubled: a single glitch does not, and the most it can be.
const TROUBLED: u8 = 40;
const MOST_TROUBLE: u8 = 96;

/// Crank speed and what it was worked out from.
///
/// ```
/// use trimwright_control::clock::Clock;
/// use trimwright_control::crank::Crank;
/// use trimwright_control::{Calibration, SetupAnswers};
/// use trimwright_signals::Frame;
/// let calibration = Calibration::from_answers(&SetupAnswers::default())?;
/// let (mut clock, mut crank) = (Clock::default(), Crank::default());
/// for pulse in 0..20 {
///     let mut frame = Frame { time_us: pulse * 10_000, ..Frame::default() };
///     frame.pulses_us.push(frame.time_us).expect("there is room for eight");
///     let beat = clock.step(&frame);
///     crank.step(&calibration, &frame, &beat);
/// }
/// // Eight cylinders and a hundred firings a second: 1500 rpm.
/// assert!((crank.speed_rad_per_s - 157.08).abs() < 0.01);
/// # Ok::<(), trimwright_control::AnswerError>(())
/// ```
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
    /// Rises by [`TROUBLE`] with every pulse lost or refused, falls by one with every good one.
    pub(crate) trouble: u8,
    /// The last pulse, refused or not, and how many came one after the other sooner than the engine can turn.
    pub(crate) seen_us: u64,
    pub(crate) early: u8,
    /// The pulses ended from one firing to the next, at a speed from which no engine stops at once; until they come back.
    pub(crate) fell_silent: bool,
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
            seen_us: 0,
            early: 0,
            fell_silent: false,
        }
    }
}

impl Crank {
    /// Takes the pulses of a frame.
    ///
    /// ```
    /// use trimwright_control::clock::Beat;
    /// use trimwright_control::crank::Crank;
    /// use trimwright_control::{Calibration, SetupAnswers};
    /// use trimwright_signals::Frame;
    /// let calibration = Calibration::from_answers(&SetupAnswers::default())?;
    /// let mut crank = Crank::default();
    /// let mut pulse_at = |ms: u64| {
    ///     let mut frame = Frame { time_us: ms * 1000, ..Frame::default() };
    ///     frame.pulses_us.push(frame.time_us).expect("there is room for eight");
    ///     crank.step(&calibration, &frame, &Beat { dt_s: 0.01, ..Beat::default() });
    ///     (crank.firings, crank.speed_rad_per_s.round())
    /// };
    /// (0..20).for_each(|pulse| _ = pulse_at(10 * pulse));
    /// // A millisecond after a firing: interference, no firing.
    /// assert_eq!((pulse_at(191), pulse_at(200)), ((0, 157.0), (1, 157.0)));
    /// assert_eq!(crank.refused_pulses, 1);
    /// # Ok::<(), trimwright_control::AnswerError>(())
    /// ```
    #[inline]
    pub fn step(&mut self, setup: &Setup, frame: &Frame, beat: &Beat) {
        (self.firings, self.gone_s) = (0, 0.0);
        self.since_pulse_s += beat.dt_s;
        let angle_rad = setup.firing_angle_rad();
        for &pulse_us in &frame.pulses_us {
            self.take(pulse_us, angle_rad, usize::from(setup.answers().cylinders));
        }
        if self.since_pulse_s > angle_rad / SLOWEST_RAD_PER_S {
            // An engine that was switched off stops by itself, and one that dies slows down before.
            let at_speed = self.speed_rad_per_s > STEADY_RAD_PER_S
                && self.quick_rad_per_s > HOLDS_SPEED * self.speed_rad_per_s;
            let fell_silent = frame.switches.ignition && (self.fell_silent || at_speed);
            self.stand();
            self.fell_silent = fell_silent;
        }
    }

    /// Revolutions in `dt_s` seconds at the present speed.
    ///
    /// ```
    /// use trimwright_control::crank::Crank;
    /// let mut crank = Crank::default();
    /// crank.speed_rad_per_s = 157.08;
    /// assert!((crank.turns(0.02) - 0.5).abs() < 1e-4, "at 1500 rpm half a turn in 20 ms");
    /// ```
    pub fn turns(&self, dt_s: f32) -> f32 {
        self.speed_rad_per_s * dt_s / (2.0 * PI)
    }

    /// Whether pulses were lost or refused lately.
    ///
    /// ```
    /// use trimwright_control::clock::Beat;
    /// use trimwright_control::crank::Crank;
    /// use trimwright_control::{Calibration, SetupAnswers};
    /// use trimwright_signals::Frame;
    /// let calibration = Calibration::from_answers(&SetupAnswers::default())?;
    /// // Two seconds at 1500 rpm; of so many pulses one gets lost.
    /// let troubled = |of: u64| {
    ///     let mut crank = Crank::default();
    ///     for ms in (0..2000).step_by(10).filter(|ms| ms / 10 % of != of - 1) {
    ///         let mut frame = Frame { time_us: ms * 1000, ..Frame::default() };
    ///         frame.pulses_us.push(frame.time_us).expect("there is room for eight");
    ///         crank.step(&calibration, &frame, &Beat { dt_s: 0.01, ..Beat::default() });
    ///     }
    ///     crank.is_troubled()
    /// };
    /// assert!(troubled(10) && !troubled(100), "a loose plug, and a single glitch");
    /// # Ok::<(), trimwright_control::AnswerError>(())
    /// ```
    pub const fn is_troubled(&self) -> bool {
        self.trouble > TROUBLED
    }

    /// Whether a pulse was lost or refused a moment ago.
    ///
    /// ```
    /// use trimwright_control::clock::Beat;
    /// use trimwright_control::crank::Crank;
    /// use trimwright_control::{Calibration, SetupAnswers};
    /// use trimwright_signals::Frame;
    /// let calibration = Calibration::from_answers(&SetupAnswers::default())?;
    /// let mut crank = Crank::default();
    /// let mut doubted_after = |mut pulses: std::ops::Range<u64>| {
    ///     pulses.any(|pulse| {
    ///         let mut frame = Frame { time_us: pulse * 10_000, ..Frame::default() };
    ///         frame.pulses_us.push(frame.time_us).expect("there is room for eight");
    ///         crank.step(&calibration, &frame, &Beat { dt_s: 0.01, ..Beat::default() });
    ///         crank.is_doubted()
    ///     })
    /// };
    /// assert!(!doubted_after(0..20));
    /// assert!(doubted_after(21..22), "the pulse before it did not come");
    /// # Ok::<(), trimwright_control::AnswerError>(())
    /// ```
    pub const fn is_doubted(&self) -> bool {
        self.trouble > 0
    }

    #[inline(never)]
    fn take(&mut self, pulse_us: u64, angle_rad: f32, cylinders: usize) {
        self.fell_silent = false;
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
        let steady = self.known >= 4 && self.interval_s > 0.0 && self.speed_rad_per_s > STEADY_RAD_PER_S;
        let soon_s = pulse_us.saturating_sub(core::mem::replace(&mut self.seen_us, pulse_us)) as f32 * 1e-6;
        let soon = steady && soon_s < SHORT * self.interval_s;
        self.early = if soon { self.early.saturating_add(1) } else { 0 };
        if self.early >= BELIEVED {
            self.known = 0;
        } else if steady && interval_s < SHORT * self.interval_s {
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
        if steady && interval_s > LONG * self.interval_s {
            self.lost_pulses = self.lost_pulses.saturating_add(1);
            self.trouble = self.trouble.saturating_add(TROUBLE).min(MOST_TROUBLE);
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
        self.trouble = self.trouble.saturating_add(TROUBLE).min(MOST_TROUBLE);
    }

    fn stand(&mut self) {
        let (refused_pulses, lost_pulses, trouble) = (self.refused_pulses, self.lost_pulses, self.trouble);
        *self = Self { refused_pulses, lost_pulses, trouble, ..Self::default() };
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::answers::SetupAnswers;
    use crate::calibration::Calibration;

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
    fn a_pulse_between_two_firings_does_not_double_the_speed() {
        for late_us in [500, 2500, 5000, 7500, 9500] {
            let mut crank = Crank::default();
            turn(&mut crank, (0..20).map(|pulse| pulse * 10_000));
            turn(&mut crank, [190_000 + late_us].into_iter().chain((20..21).map(|pulse| pulse * 10_000)));
            assert!(
                (crank.speed_rad_per_s / 157.08 - 1.0).abs() < 0.08,
                "{late_us}: {}",
                crank.speed_rad_per_s
            );
            turn(&mut crank, (21..40).map(|pulse| pulse * 10_000));
            assert!((crank.speed_rad_per_s - 157.08).abs() < 0.01 && crank.refused_pulses == 1, "{late_us}");
            assert!(!crank.is_troubled());
        }
    }

    #[test]
    fn an_engine_that_really_doubled_its_speed_is_believed_after_some_firings() {
        let mut crank = Crank::default();
        turn(&mut crank, (0..20).map(|pulse| pulse * 10_000));
        turn(&mut crank, (0..30).map(|pulse| 190_000 + pulse * 4000));
        assert!((crank.speed_rad_per_s - 392.7).abs() < 0.1, "{}", crank.speed_rad_per_s);
    }

    #[test]
    fn one_false_pulse_in_six_is_trouble_and_one_in_fifty_is_not() {
        let troubled = |every: u64| {
            let mut crank = Crank::default();
            let pulses = (1..400).flat_map(|pulse: u64| {
                let extra = pulse.is_multiple_of(every).then_some(pulse * 10_000 + 3000);
                [Some(pulse * 10_000), extra].into_iter().flatten()
            });
            turn(&mut crank, pulses);
            crank.is_troubled()
        };
        assert!(troubled(6) && !troubled(50));
    }

    #[test]
    fn pulses_that_end_at_speed_are_told_from_an_engine_that_stops() {
        let silent = |intervals_us: &[u64], ignition: bool| {
            let mut crank = Crank::default();
            let mut time_us = 0;
            turn(&mut crank, intervals_us.iter().map(|interval_us| (time_us, time_us += interval_us).0));
            let calibration = Calibration::from_answers(&SetupAnswers::default()).unwrap();
            let mut frame = Frame::default();
            frame.switches.ignition = ignition;
            for _ in 0..500 {
                crank.step(&calibration, &frame, &Beat { dt_s: 0.001, ..Beat::default() });
            }
            assert_eq!(crank.speed_rad_per_s, 0.0);
            crank.fell_silent
        };
        assert!(silent(&[10_000; 40], true) && !silent(&[10_000; 40], false));
        let stopping: [u64; 40] = core::array::from_fn(|pulse| 20_000 + 4000 * pulse as u64);
        assert!(!silent(&stopping, true));
        // Dies within a second of a flooded start.
        let dying: [u64; 28] = core::array::from_fn(|pulse| match pulse {
            0..20 => 11_000,
            _ => (11_000.0 * 1.25_f64.powi(pulse as i32 - 20)) as u64,
        });
        assert!(!silent(&dying, true));
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
