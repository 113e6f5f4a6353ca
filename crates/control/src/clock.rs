//! Time of a frame, and which tasks are due: 10 ms, 20 ms, 100 ms.
//!
//! To keep the longest step short, the 20 ms task runs in a frame after the 10 ms task, preferably one without trigger pulses.

use trimwright_signals::Frame;

/// Seconds in a microsecond.
pub(crate) const S_PER_US: f32 = 1e-6;
/// Upper limit of timers whose exact value no longer matters, s.
pub(crate) const LONG_S: f32 = 10.0;
/// Longest time step of one frame, microseconds; longer gaps count as this.
const LONGEST_US: u64 = 50_000;
/// Period of the 10 ms task, microseconds.
const SLOT_US: u32 = 10_000;
/// Period of feedback and learning, s: two 10 ms tasks.
pub(crate) const FEEDBACK_PERIOD_S: f32 = 0.02;

/// Time step of a frame and the tasks that are due in it.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub struct DueTasks {
    /// Time of the frame, microseconds.
    pub time_us: u64,
    /// Time since the previous frame, s, 0 to 0.05; 0 when time ran backwards.
    pub dt_s: f32,
    /// Time since the last 10 ms task, s, when it is due, else 0.
    pub task_10ms_s: f32,
    /// Time since the last 20 ms task, s, when it is due, else 0; delayed by trigger pulses until the next 10 ms task at most.
    pub task_20ms_s: f32,
    /// Time since the last 100 ms task, s, when it is due, else 0.
    pub task_100ms_s: f32,
}

/// Schedules the tasks from the time stamps of the frames.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub struct Clock {
    last_us: Option<u64>,
    since_10ms_us: u32,
    tasks_run: u8,
    is_20ms_due: bool,
    since_20ms_us: u32,
    task_100ms_s: f32,
}

impl Clock {
    /// Takes the time stamp of a frame and returns the tasks that are due.
    pub fn step(&mut self, frame: &Frame) -> DueTasks {
        let elapsed_us = self.last_us.map_or(0, |last| frame.time_us.saturating_sub(last));
        self.last_us = Some(frame.time_us);
        let elapsed_us = elapsed_us.min(LONGEST_US) as u32;
        let mut due =
            DueTasks { time_us: frame.time_us, dt_s: elapsed_us as f32 * S_PER_US, ..DueTasks::default() };
        self.since_10ms_us += elapsed_us;
        self.since_20ms_us += elapsed_us;
        let is_10ms_due = self.since_10ms_us >= SLOT_US;
        if self.is_20ms_due && (is_10ms_due || frame.pulses_us.is_empty()) {
            self.is_20ms_due = false;
            due.task_20ms_s = core::mem::take(&mut self.since_20ms_us) as f32 * S_PER_US;
        }
        if !is_10ms_due {
            return due;
        }
        due.task_10ms_s = self.since_10ms_us as f32 * S_PER_US;
        self.since_10ms_us = 0;
        self.tasks_run = if self.tasks_run < 9 { self.tasks_run + 1 } else { 0 };
        self.task_100ms_s += due.task_10ms_s;
        self.is_20ms_due |= self.tasks_run % 2 == 1;
        if self.tasks_run == 0 {
            due.task_100ms_s = core::mem::take(&mut self.task_100ms_s);
        }
        due
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn at(time_us: u64) -> Frame {
        Frame { time_us, ..Frame::default() }
    }

    #[test]
    fn tasks_run_at_their_period_and_their_times_add_up() {
        let mut clock = Clock::default();
        let mut sums = [0.0_f32; 4];
        let mut counts = [0; 3];
        for ms in 0..=2000 {
            let due = clock.step(&at(ms * 1000));
            for (sum, part) in
                sums.iter_mut().zip([due.dt_s, due.task_10ms_s, due.task_20ms_s, due.task_100ms_s])
            {
                *sum += part;
            }
            for (count, part) in counts.iter_mut().zip([due.task_10ms_s, due.task_20ms_s, due.task_100ms_s]) {
                *count += i32::from(part > 0.0);
            }
        }
        assert!(sums.iter().all(|sum| (sum - 2.0).abs() < 0.03), "{sums:?}");
        assert_eq!(counts, [200, 100, 20]);
    }

    /// A V8 at 6000 rpm fires every 2.5 ms.
    #[test]
    fn the_20_ms_task_avoids_firings_and_the_10_ms_task() {
        let mut clock = Clock::default();
        let mut runs = 0;
        for ms in 0..2000 {
            let mut frame = at(ms * 1000);
            if ms * 2 % 5 < 2 {
                assert_eq!(frame.pulses_us.push(ms * 1000), Ok(()));
            }
            let due = clock.step(&frame);
            if due.task_20ms_s > 0.0 {
                assert!(frame.pulses_us.is_empty() && due.task_10ms_s == 0.0, "at {ms} ms");
                runs += 1;
            }
        }
        assert_eq!(runs, 100);
    }

    #[test]
    fn firings_in_every_frame_delay_the_20_ms_task_to_the_next_10_ms_task_at_most() {
        let mut clock = Clock::default();
        let (mut runs, mut sum_s) = (0, 0.0);
        for ms in 0..=2000 {
            let mut frame = at(ms * 1000);
            assert_eq!(frame.pulses_us.push(ms * 1000), Ok(()));
            let due = clock.step(&frame);
            runs += i32::from(due.task_20ms_s > 0.0);
            sum_s += due.task_20ms_s;
        }
        assert!(runs == 100 && (sum_s - 2.0_f32).abs() < 1e-3, "{runs} in {sum_s} s");
    }

    #[test]
    fn frames_of_10_ms_run_the_20_ms_task_too() {
        let mut clock = Clock::default();
        let runs = (0..=200).filter(|frame| clock.step(&at(frame * 10_000)).task_20ms_s > 0.0).count();
        assert!((99..=100).contains(&runs), "{runs}");
    }

    #[test]
    fn time_that_runs_backwards_or_jumps_is_limited() {
        let mut clock = Clock::default();
        clock.step(&at(5_000_000));
        assert_eq!(clock.step(&at(1000)).dt_s, 0.0);
        assert_eq!(clock.step(&at(2000)).dt_s, 0.001);
        assert_eq!(clock.step(&at(u64::MAX)).dt_s, LONGEST_US as f32 * S_PER_US);
    }

    #[test]
    fn the_time_of_the_frame_is_passed_on() {
        assert_eq!(Clock::default().step(&at(1_234_567)).time_us, 1_234_567);
    }
}
