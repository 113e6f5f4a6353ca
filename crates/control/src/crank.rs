//! Crank speed from trigger pulses: one a firing from a distributor, or a few.
//!
//! A four-stroke engine of `n` cylinders fires `n` times in two turns, so that the speed between two firings `t` apart is
//! `4 pi / (n t)`. The mean goes over one whole cycle, which takes out the difference between cylinders. With more than one pulse a
//! firing each interval counts as the firing's that it is a part of, and every so many pulses the engine fires.

use core::f32::consts::PI;

use trimwright_numerics::Ring;
use trimwright_signals::Frame;

use crate::clock::{Beat, S_PER_US};
use crate::setup::Setup;

trimwright_numerics::parameters! {
    /// How crank speed comes from trigger pulses, and which pulses are interference.
    #[cfg_attr(feature = "defmt", derive(defmt::Format))]
    pub struct CrankParameters<f32> "crank" {
        /// Speed above which a pulse is taken for interference.
        number fastest_rad_per_s { 1150.0, 300.0..=3000.0 "rad/s", "engineering judgement: 11 000 rpm, above any engine this is for" }
        /// Speed below which the crank counts as standing.
        number slowest_rad_per_s { 4.2, 1.0..=15.0 "rad/s", "engineering judgement: about 40 rpm" }
        /// Speed from which one firing can neither double the speed nor halve it.
        number steady_rad_per_s { 40.0, 10.0..=150.0 "rad/s", "engineering judgement: the crank's inertia forbids it" }
        /// Intervals that have to be known before a pulse is judged by them.
        whole steady_intervals { u8 = 4, 3..=16 "1", "engineering judgement" }
        /// Last speed over the mean of a cycle below which an engine is slowing down.
        number holds_speed { 0.8, 0.5..=0.98 "1", "engineering judgement: cylinders that differ stay above" }
        /// Share of the last interval below which the next pulse is interference.
        number short { 0.6, 0.3..=0.8 "1", "engineering judgement" }
        /// Share of the last interval above which a pulse was lost.
        number long { 1.7, 1.3..=1.95 "1", "engineering judgement" }
        /// Early pulses in a row that are believed after all: then it is the last interval that was wrong.
        whole believed_pulses { u8 = 5, 2..=20 "1", "engineering judgement" }
        /// Trouble that a pulse lost or refused adds to a count, from which each good pulse takes 1 away.
        whole trouble { u8 = 24, 1..=100 "1", "engineering judgement: it mounts up from one in 25" }
        /// Count of trouble with pulses above which a code sets.
        whole troubled { u8 = 40, 1..=200 "1", "engineering judgement: a single glitch does not" }
        /// Highest count of trouble with pulses.
        whole most_trouble { u8 = 96, 2..=255 "1", "engineering judgement" }
    }
}

/// Most intervals that the mean speed goes over: a cycle of eight cylinders with four pulses a firing.
const MOST_INTERVALS: usize = 32;

/// How the crank turns.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub struct Turning {
    /// Mean speed over the last engine cycle, rad/s; 0 when the crank stands.
    pub speed_rad_per_s: f32,
    /// The last interval between firings, s; 0 when unknown.
    pub interval_s: f32,
    /// Time from the last firing of an earlier step to the last firing of this one, s; 0 without a firing.
    pub gone_s: f32,
    /// Firings in this step.
    pub firings: u8,
    /// A pulse was lost or refused a moment ago.
    pub doubted: bool,
    /// Many pulses were lost or refused lately.
    pub troubled: bool,
    /// The pulses ended from one firing to the next, at a speed from which no engine stops at once; until they come back.
    pub fell_silent: bool,
}

impl Turning {
    /// Revolutions in `dt_s` seconds at the present speed.
    pub fn turns(&self, dt_s: f32) -> f32 {
        self.speed_rad_per_s * dt_s / (2.0 * PI)
    }
}

/// Crank speed and what it is worked out from.
///
/// ```
/// use trimwright_control::clock::Clock;
/// use trimwright_control::crank::{Crank, CrankParameters};
/// use trimwright_control::{Calibration, SetupAnswers};
/// use trimwright_signals::Frame;
/// let calibration = Calibration::from_answers(&SetupAnswers::default())?;
/// let (mut clock, mut crank) = (Clock::default(), Crank::default());
/// for pulse in 0..20 {
///     let mut frame = Frame { time_us: pulse * 10_000, ..Frame::default() };
///     frame.pulses_us.push(frame.time_us).expect("there is room for eight");
///     let beat = clock.step(&frame);
///     crank.step(&CrankParameters::DEFAULT, calibration.setup(), 1, &frame, &beat);
/// }
/// // Eight cylinders and a hundred firings a second: 1500 rpm.
/// assert!((crank.turning().speed_rad_per_s - 157.08).abs() < 0.01);
/// # Ok::<(), trimwright_control::AnswerError>(())
/// ```
#[derive(Clone, Debug, PartialEq)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub struct Crank {
    turning: Turning,
    /// The last intervals between accepted pulses as firings would have them, s.
    intervals_s: Ring<f32, MOST_INTERVALS>,
    /// How many of them are there.
    known: u8,
    last_pulse_us: Option<u64>,
    since_pulse_s: f32,
    /// Time since the last firing up to the last pulse, s, and pulses in it.
    since_firing_s: f32,
    since_firing: u8,
    /// Speed between the last two pulses, rad/s.
    quick_rad_per_s: f32,
    /// Rises with every pulse lost or refused, falls by one with every good one.
    trouble: u8,
    /// The last pulse, refused or not, and how many came one after the other sooner than the engine can turn.
    seen_us: u64,
    early: u8,
    refused_pulses: u32,
    lost_pulses: u32,
}

impl Default for Crank {
    fn default() -> Self {
        Self {
            turning: Turning::default(),
            intervals_s: Ring::filled(0.0),
            known: 0,
            last_pulse_us: None,
            since_pulse_s: 0.0,
            since_firing_s: 0.0,
            since_firing: 0,
            quick_rad_per_s: 0.0,
            trouble: 0,
            seen_us: 0,
            early: 0,
            refused_pulses: 0,
            lost_pulses: 0,
        }
    }
}

/// What a pulse is judged by.
struct Trigger<'a> {
    parameters: &'a CrankParameters,
    firing_angle_rad: f32,
    pulses_per_firing: u8,
    cylinders: u8,
}

impl Crank {
    /// How the crank turns.
    pub const fn turning(&self) -> &Turning {
        &self.turning
    }

    /// Pulses refused as interference since power-up.
    pub const fn refused_pulses(&self) -> u32 {
        self.refused_pulses
    }

    /// Pulses that seem to have been lost since power-up.
    pub const fn lost_pulses(&self) -> u32 {
        self.lost_pulses
    }

    /// Takes the pulses of a frame.
    ///
    /// ```
    /// use trimwright_control::clock::Beat;
    /// use trimwright_control::crank::{Crank, CrankParameters};
    /// use trimwright_control::{Calibration, SetupAnswers};
    /// use trimwright_signals::Frame;
    /// let calibration = Calibration::from_answers(&SetupAnswers::default())?;
    /// let mut crank = Crank::default();
    /// let mut pulse_at = |ms: u64| {
    ///     let mut frame = Frame { time_us: ms * 1000, ..Frame::default() };
    ///     frame.pulses_us.push(frame.time_us).expect("there is room for eight");
    ///     let beat = Beat { dt_s: 0.01, ..Beat::default() };
    ///     crank.step(&CrankParameters::DEFAULT, calibration.setup(), 1, &frame, &beat);
    ///     (crank.turning().firings, crank.refused_pulses())
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
        beat: &Beat,
    ) {
        (self.turning.firings, self.turning.gone_s) = (0, 0.0);
        self.since_pulse_s += beat.dt_s;
        let firing_angle_rad = setup.firing_angle_rad();
        let cylinders = setup.answers().cylinders;
        let trigger = Trigger { parameters, firing_angle_rad, pulses_per_firing, cylinders };
        for &pulse_us in &frame.pulses_us {
            self.take(pulse_us, &trigger);
        }
        let standing_s = firing_angle_rad / parameters.slowest_rad_per_s;
        if self.since_pulse_s * f32::from(pulses_per_firing) > standing_s {
            // An engine that was switched off stops by itself, and one that dies slows down before.
            let at_speed = self.turning.speed_rad_per_s > parameters.steady_rad_per_s
                && self.quick_rad_per_s > parameters.holds_speed * self.turning.speed_rad_per_s;
            let fell_silent = frame.switches.ignition && (self.turning.fell_silent || at_speed);
            self.stand();
            self.turning.fell_silent = fell_silent;
        }
        self.turning.doubted = self.trouble > 0;
        self.turning.troubled = self.trouble > parameters.troubled;
    }

    #[inline(never)]
    fn take(&mut self, pulse_us: u64, trigger: &Trigger<'_>) {
        let parameters = trigger.parameters;
        self.turning.fell_silent = false;
        let Some(last_us) = self.last_pulse_us else {
            self.last_pulse_us = Some(pulse_us);
            self.since_pulse_s = 0.0;
            self.turning.firings = 1;
            return;
        };
        let Some(gone_us) = pulse_us.checked_sub(last_us) else {
            self.refuse(parameters);
            self.stand();
            return;
        };
        let gone_s = gone_us as f32 * S_PER_US;
        let pulses = f32::from(trigger.pulses_per_firing);
        let interval_s = gone_s * pulses;
        if interval_s < trigger.firing_angle_rad / parameters.fastest_rad_per_s {
            self.refuse(parameters);
            return;
        }
        let last_s = self.turning.interval_s;
        let steady = self.known >= parameters.steady_intervals
            && last_s > 0.0
            && self.turning.speed_rad_per_s > parameters.steady_rad_per_s;
        let soon_s =
            pulse_us.saturating_sub(core::mem::replace(&mut self.seen_us, pulse_us)) as f32 * S_PER_US;
        let soon = steady && soon_s * pulses < parameters.short * last_s;
        self.early = if soon { self.early.saturating_add(1) } else { 0 };
        if self.early >= parameters.believed_pulses {
            self.known = 0;
        } else if steady && interval_s < parameters.short * last_s {
            self.refuse(parameters);
            return;
        }
        self.last_pulse_us = Some(pulse_us);
        self.since_pulse_s = 0.0;
        self.since_firing_s += gone_s;
        self.since_firing = self.since_firing.saturating_add(1);
        if self.since_firing >= trigger.pulses_per_firing {
            self.turning.firings = self.turning.firings.saturating_add(1);
            self.turning.gone_s += core::mem::take(&mut self.since_firing_s);
            self.since_firing = 0;
        }
        if interval_s > trigger.firing_angle_rad / parameters.slowest_rad_per_s {
            return;
        }
        // A gap of about two usual intervals in a turning engine is a pulse that got lost: it tells nothing of the speed.
        if steady && interval_s > parameters.long * last_s {
            self.lost_pulses = self.lost_pulses.saturating_add(1);
            self.add_trouble(parameters);
            self.known = 2;
            return;
        }
        self.trouble = self.trouble.saturating_sub(1);
        self.intervals_s.push(interval_s);
        self.known = self.known.saturating_add(1).min(MOST_INTERVALS as u8);
        self.turning.interval_s = interval_s;
        self.quick_rad_per_s = trigger.firing_angle_rad / interval_s;
        let cycle = usize::from(trigger.cylinders) * usize::from(trigger.pulses_per_firing);
        let counted = usize::from(self.known).min(cycle).max(1);
        let sum_s: f32 = self.intervals_s.iter().take(counted).sum();
        self.turning.speed_rad_per_s = counted as f32 * trigger.firing_angle_rad / sum_s;
    }

    fn refuse(&mut self, parameters: &CrankParameters) {
        self.refused_pulses = self.refused_pulses.saturating_add(1);
        self.add_trouble(parameters);
    }

    fn add_trouble(&mut self, parameters: &CrankParameters) {
        self.trouble = self.trouble.saturating_add(parameters.trouble).min(parameters.most_trouble);
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

    const CRANK: CrankParameters = CrankParameters::DEFAULT;

    /// Pulses, so many a firing, each in a frame of its own; how often the engine fired.
    fn turn_by(crank: &mut Crank, pulses_per_firing: u8, times_us: impl Iterator<Item = u64>) -> u32 {
        let calibration = Calibration::from_answers(&SetupAnswers::default()).unwrap();
        let mut firings = 0;
        for time_us in times_us {
            let mut frame = Frame { time_us, ..Frame::default() };
            frame.pulses_us.push(time_us).unwrap();
            let beat = Beat { time_us, dt_s: 0.001, ..Beat::default() };
            crank.step(&CRANK, calibration.setup(), pulses_per_firing, &frame, &beat);
            firings += u32::from(crank.turning.firings);
        }
        firings
    }

    fn turn(crank: &mut Crank, times_us: impl Iterator<Item = u64>) {
        turn_by(crank, 1, times_us);
    }

    /// Half a second without pulses.
    fn fall_silent(crank: &mut Crank, ignition: bool) {
        let calibration = Calibration::from_answers(&SetupAnswers::default()).unwrap();
        let mut frame = Frame::default();
        frame.switches.ignition = ignition;
        for _ in 0..500 {
            let beat = Beat { dt_s: 0.001, ..Beat::default() };
            crank.step(&CRANK, calibration.setup(), 1, &frame, &beat);
        }
    }

    #[test]
    fn eight_cylinders_at_a_hundred_hertz_turn_at_1500_rpm() {
        let mut crank = Crank::default();
        turn(&mut crank, (0..40).map(|pulse| pulse * 10_000));
        assert!((crank.turning.speed_rad_per_s - 157.08).abs() < 0.01, "{}", crank.turning.speed_rad_per_s);
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
        assert!((crank.turning.speed_rad_per_s - 157.08).abs() < 0.05, "{}", crank.turning.speed_rad_per_s);
    }

    #[test]
    fn a_storm_of_pulses_is_refused_and_counted() {
        let mut crank = Crank::default();
        turn(&mut crank, (0..40).map(|pulse| pulse * 10_000));
        turn(&mut crank, (0..20).map(|pulse| 390_000 + pulse * 3));
        assert!((crank.turning.speed_rad_per_s - 157.08).abs() < 0.01);
        assert_eq!(crank.refused_pulses, 20);
    }

    #[test]
    fn a_lost_pulse_does_not_halve_the_speed() {
        let mut crank = Crank::default();
        turn(&mut crank, (0..40).filter(|pulse| *pulse != 37).map(|pulse| pulse * 10_000));
        assert!((crank.turning.speed_rad_per_s - 157.08).abs() < 0.01, "{}", crank.turning.speed_rad_per_s);
        assert_eq!(crank.lost_pulses, 1);
    }

    #[test]
    fn a_pulse_between_two_firings_does_not_double_the_speed() {
        for late_us in [500, 2500, 5000, 7500, 9500] {
            let mut crank = Crank::default();
            turn(&mut crank, (0..20).map(|pulse| pulse * 10_000));
            turn(&mut crank, [190_000 + late_us].into_iter().chain((20..21).map(|pulse| pulse * 10_000)));
            assert!(
                (crank.turning.speed_rad_per_s / 157.08 - 1.0).abs() < 0.08,
                "{late_us}: {}",
                crank.turning.speed_rad_per_s
            );
            turn(&mut crank, (21..40).map(|pulse| pulse * 10_000));
            assert!(
                (crank.turning.speed_rad_per_s - 157.08).abs() < 0.01 && crank.refused_pulses == 1,
                "{late_us}"
            );
            assert!(!crank.turning.troubled);
        }
    }

    #[test]
    fn an_engine_that_really_doubled_its_speed_is_believed_after_some_firings() {
        let mut crank = Crank::default();
        turn(&mut crank, (0..20).map(|pulse| pulse * 10_000));
        turn(&mut crank, (0..30).map(|pulse| 190_000 + pulse * 4000));
        assert!((crank.turning.speed_rad_per_s - 392.7).abs() < 0.1, "{}", crank.turning.speed_rad_per_s);
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
            crank.turning.troubled
        };
        assert!(troubled(6) && !troubled(50));
    }

    #[test]
    fn pulses_that_end_at_speed_are_told_from_an_engine_that_stops() {
        let silent = |intervals_us: &[u64], ignition: bool| {
            let mut crank = Crank::default();
            let mut time_us = 0;
            turn(&mut crank, intervals_us.iter().map(|interval_us| (time_us, time_us += interval_us).0));
            fall_silent(&mut crank, ignition);
            assert_eq!(crank.turning.speed_rad_per_s, 0.0);
            crank.turning.fell_silent
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
        fall_silent(&mut crank, false);
        assert_eq!(crank.turning.speed_rad_per_s, 0.0);
    }

    /// Two and four pulses a firing, the first of each standing for it: the same speed, firings and intervals as one makes.
    #[test]
    fn ident_more_pulses_a_firing_make_the_same_speed_and_firings() {
        for pulses in [1, 2, 4_u8] {
            let mut crank = Crank::default();
            let step_us = 12_000 / u64::from(pulses);
            let firings =
                turn_by(&mut crank, pulses, (0..40 * u64::from(pulses)).map(|pulse| pulse * step_us));
            let turning = crank.turning;
            assert!((turning.speed_rad_per_s - 130.9).abs() < 0.01, "{pulses}: {turning:?}");
            assert!((turning.interval_s - 0.012).abs() < 1e-6 && firings == 40, "{pulses}: {firings}");
            assert_eq!((crank.lost_pulses, crank.refused_pulses), (0, 0));
        }
    }

    #[test]
    fn with_two_pulses_a_firing_the_time_between_firings_is_that_of_both() {
        let mut crank = Crank::default();
        turn_by(&mut crank, 2, (0..21).map(|pulse| pulse * 5000));
        assert!((crank.turning.gone_s - 0.01).abs() < 1e-6 && crank.turning.firings == 1);
        turn_by(&mut crank, 2, [105_000].into_iter());
        assert_eq!((crank.turning.gone_s, crank.turning.firings), (0.0, 0));
        // Cylinders that differ average out over a cycle of sixteen pulses.
        let mut time_us = 105_000;
        let uneven = (0..64).map(|pulse| {
            time_us += if pulse % 16 == 3 { 5700 } else { 4900 };
            time_us
        });
        turn_by(&mut crank, 2, uneven);
        let speed = crank.turning.speed_rad_per_s;
        assert!((speed - 16.0 * core::f32::consts::FRAC_PI_4 / 0.0792).abs() < 0.05, "{speed}");
    }
}
