//! Simulation speed: how much simulated time is due for the wall time that has passed.

use crate::bench::STEP_S;

/// Selectable simulation speeds, simulated time per wall time.
pub const SPEED_FACTORS: [u32; 6] = [1, 2, 5, 10, 20, 50];
/// Time constant of the measured speed, s.
const MEASURED_S: f64 = 0.5;
/// Largest backlog that is simulated later, s of wall time; after a longer interruption the rest is dropped.
const MAX_BACKLOG_S: f64 = 0.2;

/// A change of the simulation speed.
///
/// ```
/// use trimwright_live::{PaceChange, Pace, SPEED_FACTORS};
/// let mut pace = Pace::new(1);
/// for _ in SPEED_FACTORS {
///     pace.change(PaceChange::Faster);
/// }
/// assert_eq!(pace.factor(), 50, "the fastest");
/// pace.change(PaceChange::Slower);
/// assert_eq!(pace.factor(), 20);
/// ```
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum PaceChange {
    /// The next faster of [`SPEED_FACTORS`].
    Faster,
    /// The next slower.
    Slower,
    /// Pauses or continues.
    Pause,
}

/// Requested and reached simulation speed.
///
/// ```
/// use trimwright_live::Pace;
/// let mut pace = Pace::new(5);
/// pace.add_wall_time(0.1);
/// let mut steps = 0;
/// while pace.take_step() {
///     steps += 1;
/// }
/// assert_eq!(steps, 25, "0.5 s of simulated time in steps of 20 ms");
/// ```
#[derive(Clone, Debug, PartialEq)]
pub struct Pace {
    step: usize,
    paused: bool,
    due_s: f64,
    wall_s: f64,
    simulated_s: f64,
    measured: f64,
}

impl Pace {
    /// The lowest of [`SPEED_FACTORS`] that is at least `factor`, or the highest.
    pub fn new(factor: u32) -> Self {
        let step = SPEED_FACTORS.iter().position(|each| *each >= factor).unwrap_or(SPEED_FACTORS.len() - 1);
        Self {
            step,
            paused: false,
            due_s: 0.0,
            wall_s: 0.0,
            simulated_s: 0.0,
            measured: f64::from(SPEED_FACTORS[step]),
        }
    }

    /// Requested speed, simulated time per wall time.
    pub fn factor(&self) -> u32 {
        SPEED_FACTORS.get(self.step).copied().unwrap_or(1)
    }

    /// Reached speed, low-pass filtered; the requested one before the first measurement.
    pub fn measured(&self) -> f64 {
        self.measured
    }

    /// Whether the simulation is paused.
    pub fn is_paused(&self) -> bool {
        self.paused
    }

    /// Changes the requested speed or pauses.
    pub fn change(&mut self, change: PaceChange) {
        match change {
            PaceChange::Faster => self.step = (self.step + 1).min(SPEED_FACTORS.len() - 1),
            PaceChange::Slower => self.step = self.step.saturating_sub(1),
            PaceChange::Pause => self.paused = !self.paused,
        }
    }

    /// Adds wall time that has passed, s.
    ///
    /// ```
    /// use trimwright_live::Pace;
    /// let mut pace = Pace::new(1);
    /// pace.add_wall_time(3600.0);
    /// let steps = std::iter::repeat_with(|| pace.take_step()).take_while(|due| *due).count();
    /// assert_eq!(steps, 10, "after an hour the backlog is limited to 0.2 s");
    /// ```
    pub fn add_wall_time(&mut self, wall_s: f64) {
        self.wall_s = wall_s;
        if !self.paused {
            let times = f64::from(self.factor());
            self.due_s = (self.due_s + wall_s * times).min(MAX_BACKLOG_S * times);
        }
    }

    /// Whether a step of 20 ms is due; if so it is subtracted from the backlog.
    ///
    /// ```
    /// use trimwright_live::Pace;
    /// let mut pace = Pace::new(1);
    /// pace.add_wall_time(0.05);
    /// assert_eq!([pace.take_step(), pace.take_step(), pace.take_step()], [true, true, false], "two steps of 20 ms");
    /// pace.add_wall_time(0.01);
    /// assert!(pace.take_step(), "the remainder counts");
    /// ```
    pub fn take_step(&mut self) -> bool {
        // Tolerance for rounding.
        let due = self.due_s >= STEP_S - 1e-9;
        if due {
            self.due_s -= STEP_S;
            self.simulated_s += STEP_S;
        }
        due
    }

    /// Ends a frame: updates the measured speed from the steps that were simulated.
    ///
    /// ```
    /// use trimwright_live::Pace;
    /// let mut pace = Pace::new(50);
    /// for _ in 0..100 {
    ///     pace.add_wall_time(0.05);
    ///     // A slow machine: two steps of 20 ms in 50 ms.
    ///     assert!(pace.take_step() && pace.take_step());
    ///     pace.end_frame();
    /// }
    /// assert!((pace.measured() - 0.8).abs() < 0.01, "slower than real time");
    /// ```
    pub fn end_frame(&mut self) {
        if self.wall_s > 0.0 {
            let share = (self.wall_s / MEASURED_S).min(1.0);
            self.measured += share * (self.simulated_s / self.wall_s - self.measured);
        }
        self.simulated_s = 0.0;
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn speed_changes_within_its_limits_and_pauses() {
        let mut pace = Pace::new(3);
        assert_eq!(pace.factor(), 5);
        for _ in 0..9 {
            pace.change(PaceChange::Faster);
        }
        assert_eq!(pace.factor(), 50);
        for _ in 0..9 {
            pace.change(PaceChange::Slower);
        }
        assert_eq!(pace.factor(), 1);
        pace.change(PaceChange::Pause);
        pace.add_wall_time(1.0);
        assert!(pace.is_paused() && !pace.take_step());
    }

    #[test]
    fn a_backlog_is_limited_and_the_reached_speed_is_measured() {
        let mut pace = Pace::new(1);
        pace.add_wall_time(60.0);
        assert_eq!(std::iter::repeat_with(|| pace.take_step()).take_while(|due| *due).count(), 10);
        let mut slow = Pace::new(50);
        for _ in 0..200 {
            slow.add_wall_time(0.05);
            // The machine manages ten times real time.
            for _ in 0..25 {
                assert!(slow.take_step());
            }
            slow.end_frame();
        }
        assert!((slow.measured() - 10.0).abs() < 0.1, "{}", slow.measured());
    }
}
