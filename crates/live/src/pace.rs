//! How much simulated time goes by for the time on the wall.

use crate::bench::STRETCH_S;

/// How many times as fast as life the bench can run.
///
/// ```
/// assert!(trimwright_live::TIMES.is_sorted(), "from life to as fast as is of any use");
/// ```
pub const TIMES: [u32; 6] = [1, 2, 5, 10, 20, 50];
/// Time after which the measured speed follows a change by two thirds, s.
const MEASURED_S: f64 = 0.5;
/// Most simulated time that is caught up with, s of wall time: after a pause of the machine the rest is let go.
const CAUGHT_UP_S: f64 = 0.2;

/// A change of pace.
///
/// ```
/// use trimwright_live::{Change, Pace, TIMES};
/// let mut pace = Pace::new(1);
/// for _ in TIMES {
///     pace.change(Change::Faster);
/// }
/// assert_eq!(pace.times(), 50, "there is no faster one");
/// pace.change(Change::Slower);
/// assert_eq!(pace.times(), 20);
/// ```
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Change {
    /// The next faster of [`TIMES`].
    Faster,
    /// The next slower.
    Slower,
    /// Hold still, or go on.
    Pause,
}

/// The pace that was asked for and the one that is reached.
///
/// ```
/// use trimwright_live::Pace;
/// let mut pace = Pace::new(5);
/// pace.owe(0.1);
/// let mut paid = 0;
/// while pace.pays() {
///     paid += 1;
/// }
/// assert_eq!(paid, 25, "half a second of simulated time in stretches of 20 ms");
/// ```
#[derive(Clone, Debug, PartialEq)]
pub struct Pace {
    step: usize,
    paused: bool,
    owed_s: f64,
    wall_s: f64,
    paid_s: f64,
    measured: f64,
}

impl Pace {
    /// The slowest pace of [`TIMES`] that is not slower than this, at most the fastest.
    ///
    /// ```
    /// assert_eq!([3, 5, 1000].map(|times| trimwright_live::Pace::new(times).times()), [5, 5, 50]);
    /// ```
    pub fn new(times: u32) -> Self {
        let step = TIMES.iter().position(|each| *each >= times).unwrap_or(TIMES.len() - 1);
        Self { step, paused: false, owed_s: 0.0, wall_s: 0.0, paid_s: 0.0, measured: f64::from(TIMES[step]) }
    }

    /// The pace asked for.
    ///
    /// ```
    /// use trimwright_live::{Change, Pace};
    /// let mut pace = Pace::new(10);
    /// pace.change(Change::Pause);
    /// assert_eq!(pace.times(), 10, "held still, it is not forgotten");
    /// ```
    pub fn times(&self) -> u32 {
        TIMES.get(self.step).copied().unwrap_or(1)
    }

    /// The pace reached of late.
    ///
    /// ```
    /// assert_eq!(trimwright_live::Pace::new(5).measured(), 5.0, "until something was measured, what was asked for");
    /// ```
    pub fn measured(&self) -> f64 {
        self.measured
    }

    /// Whether the bench holds still.
    ///
    /// ```
    /// use trimwright_live::{Change, Pace};
    /// let mut pace = Pace::new(10);
    /// pace.change(Change::Pause);
    /// pace.owe(0.1);
    /// assert!(pace.is_paused() && !pace.pays(), "no time goes by in the engine");
    /// ```
    pub fn is_paused(&self) -> bool {
        self.paused
    }

    /// Another pace.
    ///
    /// ```
    /// use trimwright_live::{Change, Pace};
    /// let mut pace = Pace::new(1);
    /// pace.change(Change::Faster);
    /// pace.change(Change::Pause);
    /// assert_eq!((pace.times(), pace.is_paused()), (2, true));
    /// ```
    pub fn change(&mut self, change: Change) {
        match change {
            Change::Faster => self.step = (self.step + 1).min(TIMES.len() - 1),
            Change::Slower => self.step = self.step.saturating_sub(1),
            Change::Pause => self.paused = !self.paused,
        }
    }

    /// Time has gone by on the wall, s.
    ///
    /// ```
    /// use trimwright_live::Pace;
    /// let mut pace = Pace::new(1);
    /// pace.owe(3600.0);
    /// let paid = std::iter::repeat_with(|| pace.pays()).take_while(|due| *due).count();
    /// assert_eq!(paid, 10, "after an hour's sleep 0.2 s are caught up with, the rest is let go");
    /// ```
    pub fn owe(&mut self, wall_s: f64) {
        self.wall_s = wall_s;
        if !self.paused {
            let times = f64::from(self.times());
            self.owed_s = (self.owed_s + wall_s * times).min(CAUGHT_UP_S * times);
        }
    }

    /// Whether a stretch of simulated time is due; if so it counts as paid.
    ///
    /// ```
    /// use trimwright_live::Pace;
    /// let mut pace = Pace::new(1);
    /// pace.owe(0.05);
    /// assert_eq!([pace.pays(), pace.pays(), pace.pays()], [true, true, false], "two stretches of 20 ms");
    /// pace.owe(0.01);
    /// assert!(pace.pays(), "what was left counts");
    /// ```
    pub fn pays(&mut self) -> bool {
        // Half a rounding error of slack.
        let due = self.owed_s >= STRETCH_S - 1e-9;
        if due {
            self.owed_s -= STRETCH_S;
            self.paid_s += STRETCH_S;
        }
        due
    }

    /// Everything that could be paid has been.
    ///
    /// ```
    /// use trimwright_live::Pace;
    /// let mut pace = Pace::new(50);
    /// for _ in 0..100 {
    ///     pace.owe(0.05);
    ///     // A slow machine: two stretches of 20 ms in 50 ms.
    ///     assert!(pace.pays() && pace.pays());
    ///     pace.close();
    /// }
    /// assert!((pace.measured() - 0.8).abs() < 0.01, "a little slower than life");
    /// ```
    pub fn close(&mut self) {
        if self.wall_s > 0.0 {
            let share = (self.wall_s / MEASURED_S).min(1.0);
            self.measured += share * (self.paid_s / self.wall_s - self.measured);
        }
        self.paid_s = 0.0;
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn it_goes_faster_and_slower_within_its_steps_and_holds_still() {
        let mut pace = Pace::new(3);
        assert_eq!(pace.times(), 5);
        for _ in 0..9 {
            pace.change(Change::Faster);
        }
        assert_eq!(pace.times(), 50);
        for _ in 0..9 {
            pace.change(Change::Slower);
        }
        assert_eq!(pace.times(), 1);
        pace.change(Change::Pause);
        pace.owe(1.0);
        assert!(pace.is_paused() && !pace.pays());
    }

    #[test]
    fn what_cannot_be_caught_up_with_is_let_go_and_the_pace_reached_is_told() {
        let mut pace = Pace::new(1);
        pace.owe(60.0);
        assert_eq!(std::iter::repeat_with(|| pace.pays()).take_while(|due| *due).count(), 10);
        let mut slow = Pace::new(50);
        for _ in 0..200 {
            slow.owe(0.05);
            // The machine manages ten times real time.
            for _ in 0..25 {
                assert!(slow.pays());
            }
            slow.close();
        }
        assert!((slow.measured() - 10.0).abs() < 0.1, "{}", slow.measured());
    }
}
