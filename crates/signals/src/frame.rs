//! [`Frame`]: the controller's inputs at one instant.

use heapless::Vec;

/// Capacity of a frame in trigger pulses: eight cylinders at 9000 rpm give 0.6 per millisecond, which leaves room for
/// frames up to 10 ms apart and for interference.
pub const MAX_PULSES: usize = 8;

/// Inputs of the controller at one instant.
///
/// Voltages are converter readings, V, without any plausibility check, which is the controller's task.
#[derive(Clone, Debug, Default, PartialEq)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
#[cfg_attr(feature = "serde", derive(serde::Serialize, serde::Deserialize))]
pub struct Frame {
    /// Time since power-up, us.
    pub time_us: u64,
    /// Time stamps of the trigger pulses since the last frame, oldest first, us since power-up. A distributor gives one per firing.
    pub pulses_us: Vec<u64, MAX_PULSES>,
    /// Supply voltage at the controller, V.
    pub battery_v: f32,
    /// Manifold absolute pressure sensor (MAP), ratiometric to 5 V.
    pub map_v: f32,
    /// Barometric pressure sensor on the controller's own board, ratiometric to 5 V.
    pub baro_v: f32,
    /// Throttle position sensor (TP), ratiometric to 5 V.
    pub tp_v: f32,
    /// Engine coolant temperature thermistor (ECT) with a pull-up to 5 V: an open circuit reads 5 V, a short to ground 0 V.
    pub ect_v: f32,
    /// Intake air temperature thermistor (IAT) with a pull-up to 5 V.
    pub iat_v: f32,
    /// Fuel rail pressure sensor (FRP), ratiometric to 5 V.
    pub frp_v: f32,
    /// Analog output of the wideband controller, 0 to 5 V.
    pub o2_v: f32,
    /// Frequency of the vehicle speed pulses (VSS), Hz.
    pub vss_hz: f32,
    /// Two-state inputs.
    pub switches: Switches,
}

/// Two-state inputs.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
#[cfg_attr(feature = "serde", derive(serde::Serialize, serde::Deserialize))]
pub struct Switches {
    /// Ignition is on.
    pub ignition: bool,
    /// Starter is engaged.
    pub starter: bool,
    /// The wideband controller reports that the sensor is hot and its output valid.
    pub o2_ready: bool,
    /// Air-conditioning request.
    pub ac_request: bool,
    /// An automatic gearbox is in a driving range.
    pub in_gear: bool,
    /// Arming switch of the nitrous system.
    pub nitrous_armed: bool,
}
