//! Time: how much of it a frame brings, and which of the slower slots are due.
//!
//! No step should have to do everything. The look back at what was injected comes in a frame of its own after the quick slot, one
//! without pulses where there is one: firing, quick slot and look back share the work of three steps.

use trimwright_signals::Frame;

/// Seconds in a microsecond.
pub(crate) const S_PER_US: f32 = 1e-6;
/// Time from which it no longer matters how long something has lasted, s.
pub(crate) const LONG_S: f32 = 10.0;
/// Longest time one frame may stand for, microseconds; a longer gap counts as this much.
const LONGEST_US: u64 = 50_000;
/// Length of the quick slot, microseconds.
const SLOT_US: u32 = 10_000;
/// Pace of looking back, s: two quick slots.
pub(crate) const LOOK_BACK_S: f32 = 0.02;

/// What is due in this step.
///
/// ```
/// use trimwright_control::clock::Clock;
/// use trimwright_signals::Frame;
/// let mut clock = Clock::default();
/// let mut at = |ms: u64| clock.step(&Frame { time_us: ms * 1000, ..Frame::default() });
/// (0..=99).for_each(|ms| _ = at(ms));
/// // 100 ms after power-up both slots are due.
/// let beat = at(100);
/// assert!((beat.dt_s - 0.001).abs() < 1e-6 && (beat.quick_s - 0.01).abs() < 1e-6);
/// assert!((beat.slow_s - 0.1).abs() < 1e-6);
/// ```
#[derive(Clone, Copy, Debug, Default, PartialEq)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub struct Beat {
    /// Time of the frame, microseconds.
    pub time_us: u64,
    /// Time since the frame before, s, 0 to 0.05. When time ran back it is 0.
    pub dt_s: f32,
    /// Time since the 10 ms slot before, s, when that slot is due, else 0.
    pub quick_s: f32,
    /// Time since the look back before, s, when one is due, else 0: every 20 ms, give or take the frames it is put off by.
    pub look_back_s: f32,
    /// Time since the 100 ms slot before, s, when that slot is due, else 0.
    pub slow_s: f32,
}

/// Keeps time from frame to frame.
///
/// ```
/// use trimwright_control::clock::Clock;
/// use trimwright_signals::Frame;
/// let mut clock = Clock::default();
/// let due = (0..=1000).map(|ms| clock.step(&Frame { time_us: ms * 1000, ..Frame::default() }));
/// let [mut quick, mut looks_back] = [0; 2];
/// for beat in due {
///     quick += u32::from(beat.quick_s > 0.0);
///     looks_back += u32::from(beat.look_back_s > 0.0);
/// }
/// assert_eq!((quick, looks_back), (100, 50), "in a second");
/// ```
#[derive(Clone, Copy, Debug, Default, PartialEq)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub struct Clock {
    last_us: Option<u64>,
    waited_us: u32,
    slots: u8,
    look_back_due: bool,
    look_back_us: u32,
    slow_s: f32,
}

impl Clock {
    /// Takes the time of a frame.
    ///
    /// ```
    /// use trimwright_control::clock::Clock;
    /// use trimwright_signals::Frame;
    /// let mut clock = Clock::default();
    /// let mut dt_s = |time_us| clock.step(&Frame { time_us, ..Frame::default() }).dt_s;
    /// assert_eq!([dt_s(5_000), dt_s(3_000)], [0.0; 2], "time that runs back does not count");
    /// assert!((dt_s(4_000) - 0.001).abs() < 1e-6);
    /// assert!((dt_s(9_000_000) - 0.05).abs() < 1e-6, "frames were lost: no more than 50 ms at once");
    /// ```
    pub fn step(&mut self, frame: &Frame) -> Beat {
        let gone_us = self.last_us.map_or(0, |last| frame.time_us.saturating_sub(last));
        self.last_us = Some(frame.time_us);
        let gone_us = gone_us.min(LONGEST_US) as u32;
        let mut beat = Beat { time_us: frame.time_us, dt_s: gone_us as f32 * S_PER_US, ..Beat::default() };
        self.waited_us += gone_us;
        self.look_back_us += gone_us;
        let quick = self.waited_us >= SLOT_US;
        if self.look_back_due && (quick || frame.pulses_us.is_empty()) {
            self.look_back_due = false;
            beat.look_back_s = core::mem::take(&mut self.look_back_us) as f32 * S_PER_US;
        }
        if !quick {
            return beat;
        }
        beat.quick_s = self.waited_us as f32 * S_PER_US;
        self.waited_us = 0;
        self.slots = if self.slots < 9 { self.slots + 1 } else { 0 };
        self.slow_s += beat.quick_s;
        self.look_back_due |= self.slots % 2 == 1;
        if self.slots == 0 {
            beat.slow_s = core::mem::take(&mut self.slow_s);
        }
        beat
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn at(time_us: u64) -> Frame {
        Frame { time_us, ..Frame::default() }
    }

    #[test]
    fn slots_come_at_their_pace_and_add_up_to_the_time_gone() {
        let mut clock = Clock::default();
        let mut sums = [0.0_f32; 4];
        let mut counts = [0; 3];
        for ms in 0..=2000 {
            let beat = clock.step(&at(ms * 1000));
            for (sum, part) in sums.iter_mut().zip([beat.dt_s, beat.quick_s, beat.look_back_s, beat.slow_s]) {
                *sum += part;
            }
            for (count, part) in counts.iter_mut().zip([beat.quick_s, beat.look_back_s, beat.slow_s]) {
                *count += i32::from(part > 0.0);
            }
        }
        assert!(sums.iter().all(|sum| (sum - 2.0).abs() < 0.03), "{sums:?}");
        assert_eq!(counts, [200, 100, 20]);
    }

    /// A V8 at 6000 rpm fires every 2.5 ms.
    #[test]
    fn the_look_back_keeps_out_of_the_way_of_firings_and_of_the_quick_slot() {
        let mut clock = Clock::default();
        let mut looks = 0;
        for ms in 0..2000 {
            let mut frame = at(ms * 1000);
            if ms * 2 % 5 < 2 {
                assert_eq!(frame.pulses_us.push(ms * 1000), Ok(()));
            }
            let beat = clock.step(&frame);
            if beat.look_back_s > 0.0 {
                assert!(frame.pulses_us.is_empty() && beat.quick_s == 0.0, "at {ms} ms");
                looks += 1;
            }
        }
        assert_eq!(looks, 100);
    }

    #[test]
    fn firings_in_every_frame_put_the_look_back_off_to_the_next_quick_slot_and_no_further() {
        let mut clock = Clock::default();
        let (mut looks, mut sum_s) = (0, 0.0);
        for ms in 0..=2000 {
            let mut frame = at(ms * 1000);
            assert_eq!(frame.pulses_us.push(ms * 1000), Ok(()));
            let beat = clock.step(&frame);
            looks += i32::from(beat.look_back_s > 0.0);
            sum_s += beat.look_back_s;
        }
        assert!(looks == 100 && (sum_s - 2.0_f32).abs() < 1e-3, "{looks} in {sum_s} s");
    }

    #[test]
    fn frames_as_long_as_a_slot_look_back_all_the_same() {
        let mut clock = Clock::default();
        let looks = (0..=200).filter(|frame| clock.step(&at(frame * 10_000)).look_back_s > 0.0).count();
        assert!((99..=100).contains(&looks), "{looks}");
    }

    #[test]
    fn time_that_runs_back_or_jumps_is_survived() {
        let mut clock = Clock::default();
        clock.step(&at(5_000_000));
        assert_eq!(clock.step(&at(1000)).dt_s, 0.0);
        assert_eq!(clock.step(&at(2000)).dt_s, 0.001);
        assert_eq!(clock.step(&at(u64::MAX)).dt_s, LONGEST_US as f32 * S_PER_US);
    }
}
