//! Everything the controller's pins drive.

/// Most injectors the controller drives.
pub const MAX_INJECTORS: usize = 8;

/// Everything the controller's pins drive from this frame to the next.
///
/// ```
/// let off = trimwright_signals::Commands::default();
/// assert_eq!(off.open_time_s, [0.0; trimwright_signals::MAX_INJECTORS]);
/// ```
#[derive(Clone, Copy, Debug, Default, PartialEq)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
#[cfg_attr(feature = "serde", derive(serde::Serialize, serde::Deserialize))]
pub struct Commands {
    /// For each injector, how long to energise it from now on, seconds; 0 starts nothing. An injector that is still open
    /// stays open until the later of its two ends, without a second opening delay.
    pub open_time_s: [f32; MAX_INJECTORS],
    /// Spark advance for the coming firings, degrees before top dead centre.
    pub spark_deg: f32,
    /// Idle air control valve, share of full opening, 0 to 1.
    pub iac_duty: f32,
    /// Fuel pump drive, share of supply voltage, 0 to 1.
    pub pump_duty: f32,
    /// First cooling fan relay.
    pub fan1: bool,
    /// Second cooling fan relay.
    pub fan2: bool,
    /// Air-conditioning compressor clutch.
    pub ac_clutch: bool,
    /// Nitrous solenoids.
    pub nitrous: bool,
}
