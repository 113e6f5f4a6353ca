//! Dynamometer operator model: starts the engine, then follows the scheduled crank speed and pedal.

use trimwright_plant::{DriverInputs, GearRange, View};

use crate::schedule::{DynoSetpoint, SchedulePoint};
use crate::starting::{PERIOD_S, Starting};

/// Scheduled speed below which the dynamometer releases the crank and the engine idles, rad/s.
const RELEASE_RAD_PER_S: f64 = 50.0;
/// Largest pedal speed, travels per second, and rate of the dynamometer's speed, rad/s^2. Engineering judgement.
const PEDAL_PER_S: f64 = 2.0;
const SWEEP_RAD_PER_S2: f64 = 300.0;

/// Operator of pedal and dynamometer.
///
/// ```
/// use trimwright_harness::{operator::Operator, schedule::Schedule, starting::PERIOD_S};
/// use trimwright_plant::View;
/// let pull = Schedule::parse("pull", "pull.csv", "time [s],engine_speed [rpm],pedal [%]\n0,2000,50\n30,2000,50\n")?;
/// let mut operator = Operator::new();
/// let view = View { speed_rad_per_s: 80.0, ..View::default() };
/// let mut held = |act: u32| {
///     let time_s = f64::from(act) * PERIOD_S;
///     operator.act(time_s, &pull.at(time_s), &view).dyno_rad_per_s
/// };
/// let held: Vec<_> = (0..1000).map(|act| held(act)).collect();
/// assert_eq!(held[200], None, "first the engine has to start");
/// assert!(held[999].is_some_and(|rad_per_s| (rad_per_s - 209.4).abs() < 0.1), "2000 rpm");
/// # Ok::<(), trimwright_harness::error::InputError>(())
/// ```
#[derive(Clone, Debug, Default)]
pub struct Operator {
    starting: Starting,
    inputs: DriverInputs,
}

impl Operator {
    /// An operator with the engine off.
    pub fn new() -> Self {
        Self {
            starting: Starting::new(),
            inputs: DriverInputs { range: GearRange::Park, ..DriverInputs::default() },
        }
    }

    /// Start and stall record.
    pub fn starting(&self) -> &Starting {
        &self.starting
    }

    /// Returns the inputs; to be called every [`PERIOD_S`]. `time_s` is the time since power-up.
    pub fn act(&mut self, time_s: f64, wanted: &SchedulePoint, view: &View) -> &DriverInputs {
        self.inputs.key = self.starting.act(time_s, wanted.key, view.speed_rad_per_s);
        self.inputs.ac = wanted.ac;
        self.inputs.nitrous_armed = wanted.nitrous;
        self.inputs.altitude_m = wanted.altitude_m;
        let pull = wanted.pull.filter(|_| self.starting.is_running()).unwrap_or_default();
        self.hold(pull, view.speed_rad_per_s);
        &self.inputs
    }

    fn hold(&mut self, pull: DynoSetpoint, engine_rad_per_s: f64) {
        let reach = PEDAL_PER_S * PERIOD_S;
        self.inputs.throttle += (pull.pedal - self.inputs.throttle).clamp(-reach, reach);
        self.inputs.dyno_rad_per_s = (pull.speed_rad_per_s > RELEASE_RAD_PER_S).then(|| {
            let from = self.inputs.dyno_rad_per_s.unwrap_or(engine_rad_per_s);
            let reach = SWEEP_RAD_PER_S2 * PERIOD_S;
            from + (pull.speed_rad_per_s - from).clamp(-reach, reach)
        });
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::schedule::Schedule;

    #[test]
    fn it_starts_the_engine_before_it_loads_it_and_lets_go_in_the_end() {
        let text = "time [s],engine_speed [rpm],pedal [%]\n0,2000,50\n30,2000,50\n31,0,0\n40,0,0\n";
        let schedule = Schedule::parse("pull", "pull.csv", text).expect("valid");
        let mut operator = Operator::new();
        let mut view = View::default();
        let mut held_from_s = None;
        for step in 0..2000 {
            let time_s = f64::from(step) * PERIOD_S;
            let inputs = operator.act(time_s, &schedule.at(time_s), &view);
            if inputs.dyno_rad_per_s.is_some() && held_from_s.is_none() {
                held_from_s = Some(time_s);
            }
            if (time_s - 25.0).abs() < 1e-9 {
                assert!((inputs.dyno_rad_per_s.expect("held") - 209.44).abs() < 0.01);
                assert!((inputs.throttle - 0.5).abs() < 1e-9);
            }
            view.speed_rad_per_s = inputs.dyno_rad_per_s.unwrap_or(if time_s > 3.0 { 80.0 } else { 0.0 });
        }
        assert!(held_from_s.is_some_and(|time_s| (8.0..10.0).contains(&time_s)), "{held_from_s:?}");
        assert_eq!((operator.inputs.dyno_rad_per_s, operator.inputs.throttle), (None, 0.0));
        assert_eq!(operator.starting().stalls(), 0);
    }
}
