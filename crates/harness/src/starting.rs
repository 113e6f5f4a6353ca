//! Key and starter: starting, repeated attempts, switching off.

use trimwright_plant::Key;

/// Period of the decisions of driver and operator, s.
pub const PERIOD_S: f64 = 0.02;

/// Ignition on before cranking while the fuel pump builds pressure, s.
const PRIME_S: f64 = 2.0;
/// Longest cranking, and the pause before the next attempt, s.
const CRANK_S: f64 = 6.0;
const REST_S: f64 = 3.0;
/// The engine counts as started after this time above this speed: the key is held through a first misfiring rev-up.
const CAUGHT_RAD_PER_S: f64 = 50.0;
const CAUGHT_FOR_S: f64 = 0.4;
/// Speed below which the engine counts as stalled, rad/s.
pub(crate) const STALLED_RAD_PER_S: f64 = 15.0;
/// Idling before the drive begins, s.
const SETTLE_S: f64 = 6.0;

/// Start detection: speed above a limit for a minimum time.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub(crate) struct StartDetection {
    fast_s: f64,
}

impl StartDetection {
    /// Advances by `dt_s`; true when the engine has started.
    pub(crate) fn step(&mut self, engine_rad_per_s: f64, dt_s: f64) -> bool {
        self.fast_s = if engine_rad_per_s > CAUGHT_RAD_PER_S { self.fast_s + dt_s } else { 0.0 };
        self.fast_s > CAUGHT_FOR_S
    }
}

#[derive(Clone, Copy, Debug, PartialEq)]
enum StartStage {
    SwitchedOff,
    Priming { until_s: f64 },
    Cranking { until_s: f64 },
    Resting { until_s: f64 },
    Settling { until_s: f64 },
    Running,
}

/// Starting procedure, from key on to a running engine, repeated after a stall.
///
/// ```
/// use trimwright_harness::starting::Starting;
/// use trimwright_plant::Key;
/// let mut starting = Starting::new();
/// let key_at = |starting: &mut Starting, time_s| starting.act(time_s, true, 0.0);
/// assert_eq!(key_at(&mut starting, 0.0), Key::On, "the pump fills the rail");
/// assert_eq!(key_at(&mut starting, 2.5), Key::Start);
/// ```
#[derive(Clone, Debug, PartialEq)]
pub struct Starting {
    stage: StartStage,
    stalls: u32,
    crank_s: f64,
    start_detection: StartDetection,
}

impl Starting {
    /// Initial state: key off.
    pub const fn new() -> Self {
        Self {
            stage: StartStage::SwitchedOff,
            stalls: 0,
            crank_s: 0.0,
            start_detection: StartDetection { fast_s: 0.0 },
        }
    }

    /// Number of stalls, without those by the key.
    pub const fn stalls(&self) -> u32 {
        self.stalls
    }

    /// Total cranking time, s.
    pub const fn crank_s(&self) -> f64 {
        self.crank_s
    }

    /// True when the engine runs and has settled.
    pub fn is_running(&self) -> bool {
        self.stage == StartStage::Running
    }

    /// Returns the key position; to be called every [`PERIOD_S`]. `time_s` is the time since power-up, `wanted` is true when the engine is
    /// to run.
    pub fn act(&mut self, time_s: f64, wanted: bool, engine_rad_per_s: f64) -> Key {
        let over = |until_s: f64| time_s >= until_s;
        let caught = self.start_detection.step(engine_rad_per_s, PERIOD_S);
        self.stage = match self.stage {
            _ if !wanted => StartStage::SwitchedOff,
            StartStage::SwitchedOff => StartStage::Priming { until_s: time_s + PRIME_S },
            StartStage::Priming { until_s } | StartStage::Resting { until_s } if over(until_s) => {
                StartStage::Cranking { until_s: time_s + CRANK_S }
            }
            StartStage::Cranking { .. } if caught => StartStage::Settling { until_s: time_s + SETTLE_S },
            StartStage::Cranking { until_s } if over(until_s) => {
                StartStage::Resting { until_s: time_s + REST_S }
            }
            StartStage::Settling { .. } | StartStage::Running if engine_rad_per_s < STALLED_RAD_PER_S => {
                self.stalls += 1;
                StartStage::Resting { until_s: time_s + REST_S }
            }
            StartStage::Settling { until_s } if over(until_s) => StartStage::Running,
            same => same,
        };
        match self.stage {
            StartStage::SwitchedOff => Key::Off,
            StartStage::Cranking { .. } => {
                self.crank_s += PERIOD_S;
                Key::Start
            }
            _ => Key::On,
        }
    }
}

impl Default for Starting {
    fn default() -> Self {
        Self::new()
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Calls `act` for `seconds` at an engine speed and returns the last key position.
    fn hold(starting: &mut Starting, from_s: f64, seconds: f64, wanted: bool, rad_per_s: f64) -> Key {
        let mut key = Key::Off;
        for step in 0..(seconds / PERIOD_S) as u32 {
            key = starting.act(from_s + f64::from(step) * PERIOD_S, wanted, rad_per_s);
        }
        key
    }

    #[test]
    fn it_primes_cranks_settles_and_tries_again_after_a_stall() {
        let mut starting = Starting::new();
        assert_eq!(hold(&mut starting, 0.0, 1.5, true, 0.0), Key::On);
        assert_eq!(hold(&mut starting, 1.5, 1.5, true, 20.0), Key::Start);
        assert_eq!(hold(&mut starting, 3.0, 5.0, true, 80.0), Key::On);
        assert!(!starting.is_running());
        hold(&mut starting, 8.0, 3.0, true, 80.0);
        assert!(starting.is_running());
        assert_eq!(hold(&mut starting, 11.0, 2.0, true, 0.0), Key::On);
        assert_eq!(hold(&mut starting, 13.0, 2.0, true, 20.0), Key::Start);
        assert_eq!(starting.stalls(), 1);
        assert!((starting.crank_s() - 2.4).abs() < 0.1, "{}", starting.crank_s());
    }

    #[test]
    fn a_short_rev_up_does_not_end_cranking() {
        let mut starting = Starting::new();
        hold(&mut starting, 0.0, 3.0, true, 20.0);
        assert_eq!(hold(&mut starting, 3.0, 0.3, true, 60.0), Key::Start);
        assert_eq!(hold(&mut starting, 3.3, 0.2, true, 30.0), Key::Start);
        assert_eq!(hold(&mut starting, 3.5, 0.3, true, 60.0), Key::Start);
        assert_eq!(hold(&mut starting, 3.8, 0.3, true, 60.0), Key::On);
    }

    #[test]
    fn cranking_rests_and_the_key_turned_off_is_no_stall() {
        let mut starting = Starting::new();
        hold(&mut starting, 0.0, 8.5, true, 20.0);
        assert_eq!(starting.act(8.52, true, 20.0), Key::On);
        assert_eq!(hold(&mut starting, 8.54, 4.0, true, 20.0), Key::Start);
        hold(&mut starting, 12.54, 8.0, true, 80.0);
        assert_eq!(hold(&mut starting, 20.54, 5.0, false, 0.0), Key::Off);
        assert_eq!((starting.stalls(), starting.is_running()), (0, false));
    }
}
