//! Crank speed from trigger pulses.
//!
//! A four-stroke engine of `n` cylinders fires `n` times in two turns, so the speed between two firings `t` apart is `4 pi / (n t)`. The
//! mean over one whole cycle removes the difference between cylinders. With several pulses a firing each interval is scaled to a firing,
//! and every so many pulses count as one firing.

use core::f32::consts::PI;

use trimwright_numerics::Ring;
use trimwright_signals::Frame;

use crate::clock::{DueTasks, S_PER_US};
use crate::setup::Setup;

trimwright_numerics::parameters! {
    /// Crank speed from trigger pulses, and which pulses are interference.
    #[cfg_attr(feature = "defmt", derive(defmt::Format))]
    pub struct CrankParameters<f32> "crank" {
        /// Speed above which a pulse is rejected as interference.
        number max_speed_rad_per_s { 1150.0, 300.0..=3000.0 "rad/s", "engineering judgement: 11 000 rpm, above any engine this is for" }
        /// Speed below which the crank counts as standing.
        number min_speed_rad_per_s { 2.5, 1.0..=15.0 "rad/s", "engineering judgement: about 24 rpm; a starter turns a frozen engine at 30 to 60" }
        /// Speed above which the speed can neither double nor halve within one firing.
        number steady_speed_rad_per_s { 40.0, 10.0..=150.0 "rad/s", "engineering judgement: limited by the crank's inertia" }
        /// Valid intervals needed before a pulse is checked against them.
        whole steady_intervals { u8 = 4, 3..=16 "1", "engineering judgement" }
        /// Last speed over cycle mean below which the engine is decelerating.
        number steady_speed_ratio { 0.8, 0.5..=0.98 "1", "engineering judgement: cylinders that differ stay above" }
        /// Interval over the last one below which the pulse is rejected as interference.
        number short_interval_ratio { 0.6, 0.3..=0.8 "1", "engineering judgement" }
        /// Interval over the last one above which a pulse was lost.
        number long_interval_ratio { 1.7, 1.3..=1.95 "1", "engineering judgement" }
        /// Early pulses in a row that are accepted, because then the last interval was wrong.
        whole accepted_after_pulses { u8 = 5, 2..=20 "1", "engineering judgement" }
        /// Leaky counter: added for each lost or rejected pulse; each good pulse subtracts 1.
        whole fault_increment { u8 = 24, 1..=100 "1", "engineering judgement: it accumulates above one bad pulse in 25" }
        /// Leaky counter above which the code of bad pulses sets.
        whole fault_threshold { u8 = 40, 1..=200 "1", "engineering judgement: a single glitch does not" }
        /// Upper limit of the leaky counter.
        whole fault_limit { u8 = 96, 2..=255 "1", "engineering judgement" }
    }
}

/// Most intervals in the mean speed: a cycle of eight cylinders with four pulses a firing.
const MAX_INTERVALS: usize = 32;

/// Crank speed and firings of a step.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub struct CrankMotion {
    /// Mean speed over the last engine cycle, rad/s; 0 at standstill.
    pub speed_rad_per_s: f32,
    /// Last interval between firings, s; 0 when unknown.
    pub interval_s: f32,
    /// Time from the last firing to the last pulse, s, and the pulses in it.
    pub since_firing_s: f32,
    /// Number of firings in this step.
    pub firings: u8,
    /// A pulse was lost or rejected recently.
    pub suspect: bool,
    /// Many pulses were lost or rejected recently.
    pub faulty: bool,
    /// The pulses ended within one firing at a speed from which no engine stops at once; true until they return.
    pub signal_lost: bool,
}

impl CrankMotion {
    /// Crank turns in `dt_s` seconds at the present speed.
    pub fn turns(&self, dt_s: f32) -> f32 {
        self.speed_rad_per_s * dt_s / (2.0 * PI)
    }
}

/// Stage that measures crank speed.
#[derive(Clone, Debug, PartialEq)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub struct CrankDecoder {
    motion: CrankMotion,
    /// Last intervals between accepted pulses, scaled to a firing, s.
    intervals_s: Ring<f32, MAX_INTERVALS>,
    /// Number of valid intervals in the ring.
    valid_intervals: u8,
    last_pulse_us: Option<u64>,
    since_pulse_s: f32,
    /// Time since the last firing up to the last pulse, s, and pulses in it.
    since_firing_s: f32,
    since_firing: u8,
    /// Speed between the last two pulses, rad/s.
    last_rad_per_s: f32,
    /// Leaky counter of lost and rejected pulses.
    fault_count: u8,
    /// Time of the last pulse, accepted or not, and the number of early pulses in a row.
    previous_us: u64,
    early_pulses: u8,
    rejected_pulses: u32,
    lost_pulses: u32,
}

impl Default for CrankDecoder {
    fn default() -> Self {
        Self {
            motion: CrankMotion::default(),
            intervals_s: Ring::filled(0.0),
            valid_intervals: 0,
            last_pulse_us: None,
            since_pulse_s: 0.0,
            since_firing_s: 0.0,
            since_firing: 0,
            last_rad_per_s: 0.0,
            fault_count: 0,
            previous_us: 0,
            early_pulses: 0,
            rejected_pulses: 0,
            lost_pulses: 0,
        }
    }
}

/// Constants for judging a pulse.
struct TriggerPattern<'a> {
    parameters: &'a CrankParameters,
    firing_angle_rad: f32,
    pulses_per_firing: u8,
    cylinders: u8,
}

impl CrankDecoder {
    /// Crank speed and firings of the last step.
    pub const fn motion(&self) -> &CrankMotion {
        &self.motion
    }

    /// Pulses rejected as interference since power-up.
    pub const fn rejected_pulses(&self) -> u32 {
        self.rejected_pulses
    }

    /// Pulses that were probably lost since power-up.
    pub const fn lost_pulses(&self) -> u32 {
        self.lost_pulses
    }

    /// Takes the trigger pulses of a frame.
    ///
    /// ```
    /// use trimwright_control::sensing::DueTasks;
    /// use trimwright_control::sensing::CrankDecoder;
    /// use trimwright_control::parameters::CrankParameters;
    /// use trimwright_control::{Calibration, SetupAnswers};
    /// use trimwright_signals::Frame;
    /// let calibration = Calibration::from_answers(&SetupAnswers::default())?;
    /// let mut crank = CrankDecoder::default();
    /// let mut pulse_at = |ms: u64| {
    ///     let mut frame = Frame { time_us: ms * 1000, ..Frame::default() };
    ///     frame.pulses_us.push(frame.time_us).expect("there is room for eight");
    ///     let due = DueTasks { dt_s: 0.01, ..DueTasks::default() };
    ///     crank.step(&CrankParameters::DEFAULT, calibration.setup(), 1, &frame, &due);
    ///     (crank.motion().firings, crank.rejected_pulses())
    /// };
    /// (0..20).for_each(|pulse| _ = pulse_at(10 * pulse));
    /// // A millisecond after a firing: interference, no firing.
    /// assert_eq!((pulse_at(191), pulse_at(200)), ((0, 1), (1, 1)));
    /// # Ok::<(), trimwright_control::AnswerError>(())
    /// ```
    #[inline]
    pub fn step(
        &mut self,
        parameters: &CrankParameters,
        setup: &Setup,
        pulses_per_firing: u8,
        frame: &Frame,
        due: &DueTasks,
    ) {
        (self.motion.firings, self.motion.since_firing_s) = (0, 0.0);
        self.since_pulse_s += due.dt_s;
        let firing_angle_rad = setup.firing_angle_rad();
        let cylinders = setup.answers().cylinders;
        let trigger = TriggerPattern { parameters, firing_angle_rad, pulses_per_firing, cylinders };
        for &pulse_us in &frame.pulses_us {
            self.process_pulse(pulse_us, &trigger);
        }
        let standing_s = firing_angle_rad / parameters.min_speed_rad_per_s;
        if self.since_pulse_s * f32::from(pulses_per_firing) > standing_s {
            // An engine that is switched off may stop, and one that stalls slows down first.
            let at_speed = self.motion.speed_rad_per_s > parameters.steady_speed_rad_per_s
                && self.last_rad_per_s > parameters.steady_speed_ratio * self.motion.speed_rad_per_s;
            let signal_lost = frame.switches.ignition && (self.motion.signal_lost || at_speed);
            self.reset();
            self.motion.signal_lost = signal_lost;
        }
        self.motion.suspect = self.fault_count > 0;
        self.motion.faulty = self.fault_count > parameters.fault_threshold;
    }

    /// Accepts a pulse, or rejects it as interference; counts a firing when it completes one.
    #[inline(never)]
    fn process_pulse(&mut self, pulse_us: u64, trigger: &TriggerPattern<'_>) {
        let parameters = trigger.parameters;
        self.motion.signal_lost = false;
        let Some(last_us) = self.last_pulse_us else {
            self.last_pulse_us = Some(pulse_us);
            self.since_pulse_s = 0.0;
            self.motion.firings = 1;
            return;
        };
        let Some(elapsed_us) = pulse_us.checked_sub(last_us) else {
            self.reject(parameters);
            self.reset();
            return;
        };
        let since_pulse_s = elapsed_us as f32 * S_PER_US;
        let pulses = f32::from(trigger.pulses_per_firing);
        let interval_s = since_pulse_s * pulses;
        if interval_s < trigger.firing_angle_rad / parameters.max_speed_rad_per_s {
            self.reject(parameters);
            return;
        }
        let last_s = self.motion.interval_s;
        let steady = self.valid_intervals >= parameters.steady_intervals
            && last_s > 0.0
            && self.motion.speed_rad_per_s > parameters.steady_speed_rad_per_s;
        let since_previous_s =
            pulse_us.saturating_sub(core::mem::replace(&mut self.previous_us, pulse_us)) as f32 * S_PER_US;
        let early = steady && since_previous_s * pulses < parameters.short_interval_ratio * last_s;
        self.early_pulses = if early { self.early_pulses.saturating_add(1) } else { 0 };
        if self.early_pulses >= parameters.accepted_after_pulses {
            self.valid_intervals = 0;
        } else if steady && interval_s < parameters.short_interval_ratio * last_s {
            self.reject(parameters);
            return;
        }
        self.last_pulse_us = Some(pulse_us);
        self.since_pulse_s = 0.0;
        self.since_firing_s += since_pulse_s;
        self.since_firing = self.since_firing.saturating_add(1);
        if self.since_firing >= trigger.pulses_per_firing {
            self.motion.firings = self.motion.firings.saturating_add(1);
            self.motion.since_firing_s += core::mem::take(&mut self.since_firing_s);
            self.since_firing = 0;
        }
        if interval_s > trigger.firing_angle_rad / parameters.min_speed_rad_per_s {
            return;
        }
        // A gap of about two intervals at speed is a lost pulse; it is no measure of the speed.
        if steady && interval_s > parameters.long_interval_ratio * last_s {
            self.lost_pulses = self.lost_pulses.saturating_add(1);
            self.count_fault(parameters);
            self.valid_intervals = 2;
            return;
        }
        self.fault_count = self.fault_count.saturating_sub(1);
        self.intervals_s.push(interval_s);
        self.valid_intervals = self.valid_intervals.saturating_add(1).min(MAX_INTERVALS as u8);
        self.motion.interval_s = interval_s;
        self.last_rad_per_s = trigger.firing_angle_rad / interval_s;
        let cycle = usize::from(trigger.cylinders) * usize::from(trigger.pulses_per_firing);
        let counted = usize::from(self.valid_intervals).min(cycle).max(1);
        let sum_s: f32 = self.intervals_s.iter().take(counted).sum();
        self.motion.speed_rad_per_s = counted as f32 * trigger.firing_angle_rad / sum_s;
    }

    fn reject(&mut self, parameters: &CrankParameters) {
        self.rejected_pulses = self.rejected_pulses.saturating_add(1);
        self.count_fault(parameters);
    }

    fn count_fault(&mut self, parameters: &CrankParameters) {
        self.fault_count =
            self.fault_count.saturating_add(parameters.fault_increment).min(parameters.fault_limit);
    }

    fn reset(&mut self) {
        let (rejected_pulses, lost_pulses, fault_count) =
            (self.rejected_pulses, self.lost_pulses, self.fault_count);
        *self = Self { rejected_pulses, lost_pulses, fault_count, ..Self::default() };
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::answers::SetupAnswers;
    use crate::calibration::Calibration;

    const CRANK: CrankParameters = CrankParameters { min_speed_rad_per_s: 4.2, ..CrankParameters::DEFAULT };

    /// Pulses, so many a firing, each in a frame of its own; how often the engine fired.
    fn turn_by(
        crank: &mut CrankDecoder,
        parameters: &CrankParameters,
        pulses_per_firing: u8,
        times_us: impl Iterator<Item = u64>,
    ) -> u32 {
        let calibration = Calibration::from_answers(&SetupAnswers::default()).unwrap();
        let mut firings = 0;
        for time_us in times_us {
            let mut frame = Frame { time_us, ..Frame::default() };
            frame.pulses_us.push(time_us).unwrap();
            let due = DueTasks { time_us, dt_s: 0.001, ..DueTasks::default() };
            crank.step(parameters, calibration.setup(), pulses_per_firing, &frame, &due);
            firings += u32::from(crank.motion.firings);
        }
        firings
    }

    fn turn(crank: &mut CrankDecoder, times_us: impl Iterator<Item = u64>) {
        turn_by(crank, &CRANK, 1, times_us);
    }

    /// Half a second without pulses.
    fn fall_silent(crank: &mut CrankDecoder, ignition: bool) {
        let calibration = Calibration::from_answers(&SetupAnswers::default()).unwrap();
        let mut frame = Frame::default();
        frame.switches.ignition = ignition;
        for _ in 0..500 {
            let due = DueTasks { dt_s: 0.001, ..DueTasks::default() };
            crank.step(&CRANK, calibration.setup(), 1, &frame, &due);
        }
    }

    #[test]
    fn eight_cylinders_at_a_hundred_hertz_turn_at_1500_rpm() {
        let mut crank = CrankDecoder::default();
        turn(&mut crank, (0..40).map(|pulse| pulse * 10_000));
        assert!((crank.motion.speed_rad_per_s - 157.08).abs() < 0.01, "{}", crank.motion.speed_rad_per_s);
    }

    #[test]
    fn uneven_cylinders_average_out_over_a_cycle() {
        let mut crank = CrankDecoder::default();
        let mut time_us = 0;
        turn(
            &mut crank,
            (0..40).map(|pulse| {
                time_us += if pulse % 8 == 3 { 11_400 } else { 9_800 };
                time_us
            }),
        );
        assert!((crank.motion.speed_rad_per_s - 157.08).abs() < 0.05, "{}", crank.motion.speed_rad_per_s);
    }

    #[test]
    fn a_burst_of_pulses_is_rejected_and_counted() {
        let mut crank = CrankDecoder::default();
        turn(&mut crank, (0..40).map(|pulse| pulse * 10_000));
        turn(&mut crank, (0..20).map(|pulse| 390_000 + pulse * 3));
        assert!((crank.motion.speed_rad_per_s - 157.08).abs() < 0.01);
        assert_eq!(crank.rejected_pulses, 20);
    }

    #[test]
    fn a_lost_pulse_does_not_halve_the_speed() {
        let mut crank = CrankDecoder::default();
        turn(&mut crank, (0..40).filter(|pulse| *pulse != 37).map(|pulse| pulse * 10_000));
        assert!((crank.motion.speed_rad_per_s - 157.08).abs() < 0.01, "{}", crank.motion.speed_rad_per_s);
        assert_eq!(crank.lost_pulses, 1);
    }

    #[test]
    fn a_pulse_between_two_firings_does_not_double_the_speed() {
        for late_us in [500, 2500, 5000, 7500, 9500] {
            let mut crank = CrankDecoder::default();
            turn(&mut crank, (0..20).map(|pulse| pulse * 10_000));
            turn(&mut crank, [190_000 + late_us].into_iter().chain((20..21).map(|pulse| pulse * 10_000)));
            assert!(
                (crank.motion.speed_rad_per_s / 157.08 - 1.0).abs() < 0.08,
                "{late_us}: {}",
                crank.motion.speed_rad_per_s
            );
            turn(&mut crank, (21..40).map(|pulse| pulse * 10_000));
            assert!(
                (crank.motion.speed_rad_per_s - 157.08).abs() < 0.01 && crank.rejected_pulses == 1,
                "{late_us}"
            );
            assert!(!crank.motion.faulty);
        }
    }

    #[test]
    fn a_doubled_speed_is_accepted_after_some_firings() {
        let mut crank = CrankDecoder::default();
        turn(&mut crank, (0..20).map(|pulse| pulse * 10_000));
        turn(&mut crank, (0..30).map(|pulse| 190_000 + pulse * 4000));
        assert!((crank.motion.speed_rad_per_s - 392.7).abs() < 0.1, "{}", crank.motion.speed_rad_per_s);
    }

    #[test]
    fn one_false_pulse_in_six_sets_the_fault_and_one_in_fifty_does_not() {
        let troubled = |every: u64| {
            let mut crank = CrankDecoder::default();
            let pulses = (1..400).flat_map(|pulse: u64| {
                let extra = pulse.is_multiple_of(every).then_some(pulse * 10_000 + 3000);
                [Some(pulse * 10_000), extra].into_iter().flatten()
            });
            turn(&mut crank, pulses);
            crank.motion.faulty
        };
        assert!(troubled(6) && !troubled(50));
    }

    #[test]
    fn pulses_lost_at_speed_are_distinguished_from_a_stopping_engine() {
        let silent = |intervals_us: &[u64], ignition: bool| {
            let mut crank = CrankDecoder::default();
            let mut time_us = 0;
            turn(&mut crank, intervals_us.iter().map(|interval_us| (time_us, time_us += interval_us).0));
            fall_silent(&mut crank, ignition);
            assert_eq!(crank.motion.speed_rad_per_s, 0.0);
            crank.motion.signal_lost
        };
        assert!(silent(&[10_000; 40], true) && !silent(&[10_000; 40], false));
        let stopping: [u64; 40] = core::array::from_fn(|pulse| 20_000 + 4000 * pulse as u64);
        assert!(!silent(&stopping, true));
        // Stalls within a second.
        let dying: [u64; 28] = core::array::from_fn(|pulse| match pulse {
            0..20 => 11_000,
            _ => (11_000.0 * 1.25_f64.powi(pulse as i32 - 20)) as u64,
        });
        assert!(!silent(&dying, true));
    }

    #[test]
    fn without_pulses_the_crank_stands() {
        let mut crank = CrankDecoder::default();
        turn(&mut crank, (0..40).map(|pulse| pulse * 10_000));
        fall_silent(&mut crank, false);
        assert_eq!(crank.motion.speed_rad_per_s, 0.0);
    }

    /// Two and four pulses a firing, the first of each standing for it: the same speed, firings and intervals as one makes.
    #[test]
    fn ident_more_pulses_a_firing_make_the_same_speed_and_firings() {
        for pulses in [1, 2, 4_u8] {
            let mut crank = CrankDecoder::default();
            let step_us = 12_000 / u64::from(pulses);
            let firings =
                turn_by(&mut crank, &CRANK, pulses, (0..40 * u64::from(pulses)).map(|pulse| pulse * step_us));
            let motion = crank.motion;
            assert!((motion.speed_rad_per_s - 130.9).abs() < 0.01, "{pulses}: {motion:?}");
            assert!((motion.interval_s - 0.012).abs() < 1e-6 && firings == 40, "{pulses}: {firings}");
            assert_eq!((crank.lost_pulses, crank.rejected_pulses), (0, 0));
        }
    }

    #[test]
    fn with_two_pulses_a_firing_the_time_between_firings_is_that_of_both() {
        let mut crank = CrankDecoder::default();
        turn_by(&mut crank, &CRANK, 2, (0..21).map(|pulse| pulse * 5000));
        assert!((crank.motion.since_firing_s - 0.01).abs() < 1e-6 && crank.motion.firings == 1);
        turn_by(&mut crank, &CRANK, 2, [105_000].into_iter());
        assert_eq!((crank.motion.since_firing_s, crank.motion.firings), (0.0, 0));
        // Cylinders that differ average out over a cycle of sixteen pulses.
        let mut time_us = 105_000;
        let uneven = (0..64).map(|pulse| {
            time_us += if pulse % 16 == 3 { 5700 } else { 4900 };
            time_us
        });
        turn_by(&mut crank, &CRANK, 2, uneven);
        let speed = crank.motion.speed_rad_per_s;
        assert!((speed - 16.0 * core::f32::consts::FRAC_PI_4 / 0.0792).abs() < 0.05, "{speed}");
    }

    #[test]
    fn ident_a_hundredth_second_at_100_pi_rad_per_s_is_half_a_turn() {
        let motion = CrankMotion { speed_rad_per_s: 100.0 * PI, ..CrankMotion::default() };
        assert!((motion.turns(0.01) - 0.5).abs() < 1e-6);
    }

    #[test]
    fn pulses_lost_and_rejected_are_still_counted_after_the_crank_stood() {
        let mut crank = CrankDecoder::default();
        turn(&mut crank, (0..40).filter(|pulse| *pulse != 30).map(|pulse| pulse * 10_000));
        turn(&mut crank, (0..3).map(|pulse| 390_003 + pulse * 3));
        let before = crank.fault_count;
        assert!(before > 0);
        fall_silent(&mut crank, false);
        assert_eq!((crank.lost_pulses(), crank.rejected_pulses(), crank.fault_count), (1, 3, before));
        assert_eq!(
            *crank.motion(),
            CrankMotion { suspect: true, faulty: crank.motion.faulty, ..CrankMotion::default() }
        );
    }

    /// How long after the last of pulses 40 ms apart the crank counts as standing.
    fn stands_after_ms(pulses_per_firing: u8) -> usize {
        let calibration = Calibration::from_answers(&SetupAnswers::default()).unwrap();
        let mut crank = CrankDecoder::default();
        turn_by(
            &mut crank,
            &CRANK,
            pulses_per_firing,
            (0..80).map(|pulse| pulse * 40_000 / u64::from(pulses_per_firing)),
        );
        let due = DueTasks { dt_s: 0.001, ..DueTasks::default() };
        (0..1000)
            .take_while(|_| {
                crank.step(&CRANK, calibration.setup(), pulses_per_firing, &Frame::default(), &due);
                crank.motion.speed_rad_per_s > 0.0
            })
            .count()
    }

    /// A quarter turn a firing at 4.2 rad/s takes 0.374 s; with two pulses a firing half of that passes between them.
    #[test]
    fn without_a_pulse_for_as_long_as_at_the_lowest_speed_the_crank_stands() {
        let firing_ms = (PI / 2.0 / CRANK.min_speed_rad_per_s * 1000.0) as usize;
        assert!(stands_after_ms(1).abs_diff(firing_ms) <= 1, "{}", stands_after_ms(1));
        assert!(stands_after_ms(2).abs_diff(firing_ms / 2) <= 1, "{}", stands_after_ms(2));
    }

    #[test]
    fn a_pulse_after_a_longer_time_than_at_the_lowest_speed_measures_no_speed() {
        let speed = |interval_us| {
            let mut crank = CrankDecoder::default();
            turn(&mut crank, [0, interval_us].into_iter());
            crank.motion.speed_rad_per_s
        };
        assert!((speed(370_000) - 4.245).abs() < 0.01, "{}", speed(370_000));
        assert_eq!(speed(380_000), 0.0);
    }

    /// At 30 rad/s a cylinder may turn the crank twice as fast as the one before; at speed only a false pulse does.
    #[test]
    fn below_the_steady_speed_a_short_interval_is_no_false_pulse() {
        let rejected = |interval_us: u64| {
            let mut crank = CrankDecoder::default();
            turn(&mut crank, (0..20).map(|pulse| pulse * interval_us));
            turn(&mut crank, [19 * interval_us + interval_us / 2].into_iter());
            crank.rejected_pulses
        };
        assert_eq!((rejected(52_000), rejected(26_000)), (0, 1));
    }

    #[test]
    fn after_too_few_intervals_a_short_one_is_no_false_pulse() {
        let rejected = |pulses: u64| {
            let mut crank = CrankDecoder::default();
            turn(&mut crank, (0..pulses).map(|pulse| pulse * 10_000));
            turn(&mut crank, [(pulses - 1) * 10_000 + 5000].into_iter());
            crank.rejected_pulses
        };
        let steady_after = u64::from(CRANK.steady_intervals) + 1;
        assert_eq!((rejected(steady_after - 1), rejected(steady_after)), (0, 1));
    }

    #[test]
    fn a_first_pulse_after_the_signal_was_lost_ends_the_loss() {
        let mut crank = CrankDecoder::default();
        turn(&mut crank, (0..40).map(|pulse| pulse * 10_000));
        fall_silent(&mut crank, true);
        assert!(crank.motion.signal_lost);
        fall_silent(&mut crank, true);
        assert!(crank.motion.signal_lost, "it stays lost while the ignition is on");
        turn(&mut crank, [2_000_000].into_iter());
        assert!(!crank.motion.signal_lost && crank.motion.firings == 1);
    }

    #[test]
    fn a_doubtful_pulse_is_remembered_for_as_many_good_ones_as_it_counts() {
        let mut crank = CrankDecoder::default();
        turn(&mut crank, (0..20).map(|pulse| pulse * 10_000));
        assert!(!crank.motion.suspect);
        turn(&mut crank, [190_003].into_iter());
        let fault = u64::from(CRANK.fault_increment);
        turn(&mut crank, (20..20 + fault - 1).map(|pulse| pulse * 10_000));
        assert!(crank.motion.suspect && crank.fault_count == 1);
        turn(&mut crank, [(20 + fault - 1) * 10_000].into_iter());
        assert!(!crank.motion.suspect);
    }

    #[test]
    fn above_the_threshold_the_pulses_are_faulty() {
        let calibration = Calibration::from_answers(&SetupAnswers::default()).unwrap();
        let faulty = |fault_count| {
            let mut crank = CrankDecoder { fault_count, ..CrankDecoder::default() };
            crank.step(&CRANK, calibration.setup(), 1, &Frame::default(), &DueTasks::default());
            crank.motion.faulty
        };
        assert!(!faulty(CRANK.fault_threshold) && faulty(CRANK.fault_threshold + 1));
    }

    #[test]
    fn every_lost_pulse_is_counted() {
        let mut crank = CrankDecoder::default();
        turn(&mut crank, (0..40).filter(|pulse| ![20, 30].contains(pulse)).map(|pulse| pulse * 10_000));
        assert_eq!(crank.lost_pulses(), 2);
    }

    /// Rejected and lost pulses and the speed after pulses of 8192 us and a last one after this time.
    fn after_last(parameters: &CrankParameters, last_us: u64) -> (u32, u32, f32) {
        let mut crank = CrankDecoder::default();
        let times_us = (0..20).map(|pulse| pulse * 8192).chain([19 * 8192 + last_us]);
        turn_by(&mut crank, parameters, 1, times_us);
        (crank.rejected_pulses(), crank.lost_pulses(), crank.motion.speed_rad_per_s)
    }

    /// Powers of two, so that the limits are met exactly.
    #[test]
    fn intervals_at_their_limits_are_accepted() {
        let parameters = CrankParameters { short_interval_ratio: 0.5, long_interval_ratio: 1.5, ..CRANK };
        let counts = |last_us| (after_last(&parameters, last_us).0, after_last(&parameters, last_us).1);
        assert_eq!((counts(4096), counts(4095)), ((0, 0), (1, 0)));
        assert_eq!((counts(12_288), counts(12_300)), ((0, 0), (0, 1)));
    }

    #[test]
    fn at_the_steady_speed_a_short_interval_is_still_accepted() {
        let speed = after_last(&CRANK, 8192).2;
        let rejected =
            |steady_speed_rad_per_s| after_last(&CrankParameters { steady_speed_rad_per_s, ..CRANK }, 4096).0;
        assert_eq!((rejected(speed), rejected(0.99 * speed)), (0, 1));
    }

    #[test]
    fn an_interval_of_the_highest_speed_is_accepted_and_a_shorter_one_is_not() {
        // A highest speed whose interval is met exactly.
        let interval_s = |us: u64| us as f32 * S_PER_US;
        let exact_us =
            (4100..8000).find(|us| PI / 2.0 / (PI / 2.0 / interval_s(*us)) == interval_s(*us)).unwrap();
        let max_speed_rad_per_s = PI / 2.0 / interval_s(exact_us);
        let parameters = CrankParameters { max_speed_rad_per_s, short_interval_ratio: 0.3, ..CRANK };
        assert_eq!((after_last(&parameters, exact_us).0, after_last(&parameters, exact_us - 5).0), (0, 1));
    }
}
