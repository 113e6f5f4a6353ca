//! What the driver does with hands and feet, and where the road goes.

use trimwright_numerics::Real;

/// Ignition key.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub enum Key {
    /// No spark, no pump, no injectors; the controller sleeps but is read on.
    #[default]
    Off,
    /// Ignition on.
    On,
    /// Starter engaged, ignition on.
    Start,
}

/// Selector.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub enum Range {
    /// Engine free, car held.
    #[default]
    Park,
    /// Forward gears.
    Drive,
}

/// Everything that comes from outside engine and controller in one step.
///
/// ```
/// use trimwright_plant::{Hands, Key};
/// let cranking = Hands { key: Key::Start, ..Hands::default() };
/// assert_eq!(cranking.throttle, 0.0);
/// ```
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Hands {
    /// Ignition key.
    pub key: Key,
    /// Throttle pedal, 0 to 1; the plates follow by cable.
    pub throttle: f64,
    /// Brake pedal, 0 to 1.
    pub brake: f64,
    /// Selector.
    pub range: Range,
    /// The driver asks for air conditioning.
    pub ac: bool,
    /// The driver has armed the nitrous system.
    pub nitrous_armed: bool,
    /// Slope of the road, rise over run, held within -0.5 to 0.5.
    pub grade: f64,
    /// Height above sea level, m, held within -500 to 5000; `None` takes the truth's.
    pub altitude_m: Option<f64>,
    /// Crank speed that a dynamometer in the car's place holds, rad/s, while a fan blows at the car; `None`
    /// drives the car.
    pub dyno_rad_per_s: Option<f64>,
}

impl Hands {
    /// The same with every number inside its range; NaN becomes the lower end, but a level road. What is seldom asked for is held
    /// where it is.
    pub(crate) fn held(&self) -> Self {
        Self {
            throttle: self.throttle.held(0.0, 1.0),
            brake: self.brake.held(0.0, 1.0),
            grade: if self.grade.is_finite() { self.grade.held(-0.5, 0.5) } else { 0.0 },
            ..self.clone()
        }
    }
}
