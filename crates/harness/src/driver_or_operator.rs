//! Who works the car: a driver on the road, or the operator of a dynamometer.

use trimwright_plant::{DriverInputs, Truth, View};

use crate::driver::{Driver, VehicleEstimate};
use crate::operator::Operator;
use crate::schedule::Schedule;
use crate::starting::Starting;

/// The one at the driver.
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
    /// Follows a speed on the road.
    Driver(Driver),
    /// Holds crank speed and pedal.
    Operator(Operator),
}

impl DriverOrOperator {
    /// Whom a schedule needs; the engine is off.
    ///
    /// ```
    /// use trimwright_harness::{scenario::Scenario, schedule::Schedule, driver_or_operator::DriverOrOperator};
    /// let pull = Schedule::parse("pull", "pull.csv", "time [s],engine_speed [rpm],pedal [%]\n0,2000,50\n30,2000,50\n")?;
    /// let driver = DriverOrOperator::for_schedule(&pull, &Scenario::load("delivery-van")?.truth);
    /// assert!(matches!(driver, DriverOrOperator::Operator(_)), "a held crank speed is for a dynamometer");
    /// # Ok::<(), trimwright_harness::error::InputError>(())
    /// ```
    pub fn for_schedule(schedule: &Schedule, truth: &Truth) -> Self {
        if schedule.on_dynamometer() {
            Self::Operator(Operator::new())
        } else {
            Self::Driver(Driver::new(VehicleEstimate::of(truth)))
        }
    }

    /// Driver inputs; called every [`crate::starting::PERIOD_S`]. `time_s` is the time since power-up, `schedule_s`
    /// the place in the schedule.
    ///
    /// ```
    /// # use trimwright_control::{Calibration, Controller};
    /// # use trimwright_harness::{closed_loop::ClosedLoop, scenario::Scenario, schedule::Schedule, driver_or_operator::DriverOrOperator};
    /// # use trimwright_plant::Plant;
    /// let trip = Schedule::parse("trip", "trip.csv", "time [s],speed [km/h]\n0,0\n20,0\n30,36\n40,36\n")?;
    /// # let van = Scenario::load("delivery-van")?;
    /// # let controller = Controller::new(Calibration::from_answers(&van.answers)?);
    /// let mut driver = DriverOrOperator::for_schedule(&trip, &van.truth);
    /// let mut closed_loop = ClosedLoop::new(Plant::new(van.truth, van.seed)?, controller);
    /// while closed_loop.time_s() < trip.duration_s() {
    ///     let inputs = driver.act(closed_loop.time_s(), closed_loop.time_s(), &trip, &closed_loop.view()).clone();
    ///     (0..20).for_each(|_| closed_loop.step(&inputs));
    /// }
    /// assert!((closed_loop.view().vehicle_m_per_s - 10.0).abs() < 0.7, "36 km/h");
    /// # Ok::<(), Box<dyn std::error::Error>>(())
    /// ```
    pub fn act(&mut self, time_s: f64, schedule_s: f64, schedule: &Schedule, view: &View) -> &DriverInputs {
        match self {
            Self::Driver(driver) => driver.act(time_s, schedule_s, schedule, view),
            Self::Operator(operator) => operator.act(time_s, &schedule.at(schedule_s), view),
        }
    }

    /// How the engine was started and kept running.
    ///
    /// ```
    /// use trimwright_harness::starting::PERIOD_S;
    /// # use trimwright_harness::{scenario::Scenario, driver_or_operator::DriverOrOperator};
    /// use trimwright_plant::View;
    /// let van = Scenario::load("delivery-van")?;
    /// let mut driver = DriverOrOperator::for_schedule(&van.schedule, &van.truth);
    /// let view = View { speed_rad_per_s: 75.0, ..View::default() };
    /// for act in 0..600 {
    ///     driver.act(f64::from(act) * PERIOD_S, 0.0, &van.schedule, &view);
    /// }
    /// assert!(driver.starting().is_running(), "12 s after key on it idles by itself");
    /// # Ok::<(), trimwright_harness::error::InputError>(())
    /// ```
    pub fn starting(&self) -> &Starting {
        match self {
            Self::Driver(driver) => driver.starting(),
            Self::Operator(operator) => operator.starting(),
        }
    }
}
