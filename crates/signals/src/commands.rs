//! [`Commands`]: the controller's outputs.

/// Largest number of injectors.
pub const MAX_INJECTORS: usize = 8;

/// Outputs of the controller from this frame to the next. The default drives nothing.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
#[cfg_attr(feature = "serde", derive(serde::Serialize, serde::Deserialize))]
pub struct Commands {
    /// Open time: for how long to energise each injector from now on, s; 0 starts no pulse. An injector that is still open
    /// stays open until the later of the two ends, without a second opening delay.
    pub open_time_s: [f32; MAX_INJECTORS],
    /// Spark advance of the next firings, degrees before top dead centre.
    pub spark_deg: f32,
    /// Duty of the idle air control valve, fraction of full opening, 0 to 1.
    pub iac_duty: f32,
    /// Duty of the fuel pump, fraction of supply voltage, 0 to 1.
    pub pump_duty: f32,
    /// Relay of the first cooling fan.
    pub fan1: bool,
    /// Relay of the second cooling fan.
    pub fan2: bool,
    /// Air-conditioning compressor clutch.
    pub ac_clutch: bool,
    /// Solenoids of the nitrous system.
    pub nitrous: bool,
}
