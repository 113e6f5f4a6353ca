//! Who works the car: a driver on the road, or the operator of a dynamometer.

use trimwright_plant::{Hands, Truth, View};

use crate::driver::{Driver, Feel};
use crate::operator::Operator;
use crate::schedule::Schedule;
use crate::starting::Starting;

/// The one at the wheel.
///
/// ```
/// use trimwright_harness::scenario::Scenario;
/// use trimwright_harness::wheel::Wheel;
/// for (name, on_road) in [("delivery-van", true), ("dyno-map", false)] {
///     let scenario = Scenario::load(name)?;
///     let wheel = Wheel::for_schedule(&scenario.schedule, &scenario.truth);
///     assert_eq!(matches!(wheel, Wheel::Driver(_)), on_road);
/// }
/// # Ok::<(), trimwright_harness::error::InputError>(())
/// ```
#[derive(Clone, Debug)]
pub enum Wheel {
    /// Follows a speed on the road.
    Driver(Driver),
    /// Holds crank speed and pedal.
    Operator(Operator),
}

impl Wheel {
    /// Whom a schedule needs; the engine is off.
    pub fn for_schedule(schedule: &Schedule, truth: &Truth) -> Self {
        if schedule.on_dynamometer() {
            Self::Operator(Operator::new())
        } else {
            Self::Driver(Driver::new(Feel::of(truth)))
        }
    }

    /// What hands and feet do; called every [`crate::starting::PERIOD_S`]. `time_s` is the time since power-up, `schedule_s`
    /// the place in the schedule.
    pub fn act(&mut self, time_s: f64, schedule_s: f64, schedule: &Schedule, view: &View) -> &Hands {
        match self {
            Self::Driver(driver) => driver.act(time_s, schedule_s, schedule, view),
            Self::Operator(operator) => operator.act(time_s, &schedule.at(schedule_s), view),
        }
    }

    /// How the engine was started and kept running.
    pub fn starting(&self) -> &Starting {
        match self {
            Self::Driver(driver) => driver.starting(),
            Self::Operator(operator) => operator.starting(),
        }
    }
}
