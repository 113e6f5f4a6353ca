//! Inputs from driver, road and dynamometer.

use trimwright_numerics::Real;

/// Position of the ignition key.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
#[non_exhaustive]
pub enum Key {
    /// No spark, fuel pump or injectors; commands are ignored. Frames are still produced.
    #[default]
    Off,
    /// Ignition on.
    On,
    /// Starter engaged, ignition on.
    Start,
}

/// Position of the gear selector.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub enum GearRange {
    /// Engine uncoupled, vehicle locked.
    #[default]
    Park,
    /// Engine uncoupled, vehicle free to roll.
    Neutral,
    /// Forward gears.
    Drive,
}

/// Inputs of one step that come neither from the engine nor from the controller.
///
/// ```
/// use trimwright_plant::{DriverInputs, Key};
/// let cranking = DriverInputs { key: Key::Start, ..DriverInputs::default() };
/// assert_eq!(cranking.throttle, 0.0);
/// ```
#[derive(Clone, Debug, Default, PartialEq)]
pub struct DriverInputs {
    /// Ignition key.
    pub key: Key,
    /// Accelerator pedal, 0 to 1; the throttle plates follow by cable.
    pub throttle: f64,
    /// Brake pedal, 0 to 1.
    pub brake: f64,
    /// Gear selector.
    pub range: GearRange,
    /// Air-conditioning request.
    pub ac: bool,
    /// Arming switch of the nitrous system.
    pub nitrous_armed: bool,
    /// Slope of the road, rise over run, clamped to -0.5 to 0.5.
    pub grade: f64,
    /// Altitude above sea level, m, clamped to -500 to 5000; `None` uses the truth's.
    pub altitude_m: Option<f64>,
    /// Crank speed held by an engine dynamometer, rad/s, clamped to 0 to 1000, with the cell fan on; `None` couples the
    /// engine to the vehicle.
    pub dyno_rad_per_s: Option<f64>,
}

impl DriverInputs {
    /// Pedals and slope clamped to their ranges: NaN gives a released pedal and a level road. Altitude and dynamometer speed are
    /// clamped where they are used.
    pub(crate) fn clamped(&self) -> Self {
        Self {
            throttle: self.throttle.held(0.0, 1.0),
            brake: self.brake.held(0.0, 1.0),
            grade: if self.grade.is_finite() { self.grade.held(-0.5, 0.5) } else { 0.0 },
            ..self.clone()
        }
    }
}
