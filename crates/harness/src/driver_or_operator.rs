//! Selects between the road driver and the dynamometer operator.

use trimwright_plant::{DriverInputs, Truth, View};

use crate::driver::{Driver, VehicleEstimate};
use crate::operator::Operator;
use crate::schedule::Schedule;
use crate::starting::Starting;

/// Source of the driver inputs.
///
/// ```
/// use trimwright_harness::scenario::Scenario;
/// use trimwright_harness::driver_or_operator::DriverOrOperator;
/// for (name, on_road) in [("delivery-van", true), ("dyno-map", false)] {
///     let scenario = Scenario::load(name)?;
///     let driver = DriverOrOperator::for_schedule(&scenario.schedule, &scenario.truth);
///     assert_eq!(matches!(driver, DriverOrOperator::Driver(_)), on_road);
/// }
/// # Ok::<(), trimwright_harness::error::InputError>(())
/// ```
#[derive(Clone, Debug)]
pub enum DriverOrOperator {
    /// Follows a speed schedule on the road.
    Driver(Driver),
    /// Holds crank speed and pedal on the dynamometer.
    Operator(Operator),
}

impl DriverOrOperator {
    /// The one that a schedule needs; the engine is off.
    pub fn for_schedule(schedule: &Schedule, truth: &Truth) -> Self {
        if schedule.on_dynamometer() {
            Self::Operator(Operator::new())
        } else {
            Self::Driver(Driver::new(VehicleEstimate::of(truth)))
        }
    }

    /// Returns the driver inputs; to be called every [`crate::starting::PERIOD_S`]. `time_s` is the time since power-up, `schedule_s` the
    /// place in the schedule.
    pub fn act(&mut self, time_s: f64, schedule_s: f64, schedule: &Schedule, view: &View) -> &DriverInputs {
        match self {
            Self::Driver(driver) => driver.act(time_s, schedule_s, schedule, view),
            Self::Operator(operator) => operator.act(time_s, &schedule.at(schedule_s), view),
        }
    }

    /// Start and stall record.
    pub fn starting(&self) -> &Starting {
        match self {
            Self::Driver(driver) => driver.starting(),
            Self::Operator(operator) => operator.starting(),
        }
    }
}
