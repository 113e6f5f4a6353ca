//! Everything the controller's pins read at one instant.

use heapless::Vec;

/// Most distributor pulses that fit into one frame: eight cylinders at 9000 rpm give 0.6 per millisecond, so that this
/// leaves room for frames up to 10 ms apart and for interference.
pub const MAX_PULSES: usize = 8;

/// Everything the controller's pins read at one instant.
///
/// Voltages are what the converter saw, in volts, whatever they are; believing them is the controller's business.
///
/// ```
/// let frame = trimwright_signals::Frame::default();
/// assert!(frame.pulses_us.is_empty());
/// ```
#[derive(Clone, Debug, Default, PartialEq)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
#[cfg_attr(feature = "serde", derive(serde::Serialize, serde::Deserialize))]
pub struct Frame {
    /// Time of this frame since power-up, microseconds.
    pub time_us: u64,
    /// Time stamps of the distributor pulses since the last frame, oldest first, microseconds: one a firing.
    pub pulses_us: Vec<u64, MAX_PULSES>,
    /// Supply voltage at the controller.
    pub battery_v: f32,
    /// Manifold absolute pressure sensor, ratiometric to 5 V.
    pub map_v: f32,
    /// Barometric pressure sensor on the controller's own board, ratiometric to 5 V.
    pub baro_v: f32,
    /// Throttle position sensor, ratiometric to 5 V.
    pub tp_v: f32,
    /// Coolant thermistor under a pull-up to 5 V: open reads 5 V, a short to ground reads 0 V.
    pub ect_v: f32,
    /// Intake air thermistor under a pull-up to 5 V.
    pub iat_v: f32,
    /// Fuel rail pressure sensor, ratiometric to 5 V.
    pub frp_v: f32,
    /// Analog output of the wideband sensor's driver, 0 to 5 V.
    pub o2_v: f32,
    /// Vehicle speed pulses, hertz.
    pub vss_hz: f32,
    /// Switches and requests.
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
    /// The wideband sensor's driver says that the sensor is hot and its output valid.
    pub o2_ready: bool,
    /// The driver asks for air conditioning.
    pub ac_request: bool,
    /// An automatic gearbox is in a driving range.
    pub in_gear: bool,
    /// The driver has armed the nitrous system.
    pub nitrous_armed: bool,
}
