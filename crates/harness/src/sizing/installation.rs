//! Installation of the parts, from section `[installation]` of a scenario. Defaults are customary values.

use crate::block_reader::{self, Aliases};
use crate::document::Document;
use crate::error::InputError;

/// Position of the oxygen sensor on the pipe.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum SensorPlace {
    /// On a straight section.
    Straight,
    /// On the inside of a bend.
    Inside,
    /// On the outside of a bend.
    Outside,
}

/// Type of hose clamps.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Clamps {
    /// Rated for injection pressure: rolled edges, uniform clamping.
    Injection,
    /// As used on the carburettor's hose.
    Carburettor,
}

trimwright_numerics::choice!(SensorPlace {
    Straight = "straight",
    Inside = "inside of a bend",
    Outside = "outside of a bend",
});
trimwright_numerics::choice!(Clamps { Injection = "injection", Carburettor = "carburettor" });

trimwright_numerics::parameters! {
    /// Installation of the parts, SI units.
    ///
    /// ```
    /// use trimwright_harness::sizing::{Installation, size};
    /// use trimwright_harness::units::UnitSystem;
    /// # use trimwright_harness::scenario::Scenario;
    /// let lost_v = |pump_wire_m2| {
    ///     let installation = Installation { pump_wire_m2, ..Installation::default() };
    ///     let van = Scenario { installation, ..Scenario::load("delivery-van").ok()? };
    ///     Some(size(&van, UnitSystem::Si).ok()?.line("wire to the pump")?.value)
    /// };
    /// assert!(lost_v(0.75e-6).is_some_and(|volts| volts > 0.5) && lost_v(4e-6).is_some_and(|volts| volts < 0.5));
    /// ```
    pub struct Installation<f64> "installation" {
        /// Peak power to be supplied, 10 kW or more; 0: that of the engine's air.
        number power_w { 0.0, 0.0..=1.5e6 "W", "engineering judgement" }
        /// Brake specific fuel consumption at peak power.
        number bsfc_lb_per_hp_h { 0.50, 0.35..=0.80 "lb/(hp h)", "common practice, no source" }
        /// Largest duty of the injectors.
        number duty_limit { 0.80, 0.5..=1.0 "1", "common practice, no source" }
        /// Supply with the engine running.
        number supply_v { 13.5, 11.0..=16.0 "V", "engineering judgement" }
        /// Highest fuel temperature in the tank: a summer's day with warm return fuel.
        number hot_fuel_k { 318.15, 273.0..=340.0 "K", "engineering judgement" }
        /// Height of the pump above the lowest fuel level.
        number suction_lift_m { 0.35, 0.0..=2.0 "m", "engineering judgement" }
        /// Sum of the loss coefficients of bends and fittings before the pump: inlet and two bends.
        number suction_fittings { 2.5, 0.0..=30.0 "1", "engineering judgement" }
        /// Pressure drop of the strainer at the pickup; proportional to the flow squared.
        number strainer_pa { 3e3, 0.0..=50e3 "Pa", "engineering judgement" }
        /// Flow of that pressure drop.
        number strainer_flow_kg_per_s { 0.0189, 1e-3..=0.3 "kg/s", "engineering judgement" }
        /// Length of the return line.
        number return_m { 4.5, 0.1..=20.0 "m", "engineering judgement" }
        /// Bore of the return line.
        number return_bore_m { 7.9e-3, 0.003..=0.03 "m", "engineering judgement" }
        /// Working pressure printed on the hose.
        number hose_rating_pa { 690e3, 0.0..=5e6 "Pa", "engineering judgement" }
        /// Type of hose clamps.
        choice clamps { Clamps = Clamps::Injection, "engineering judgement" }
        /// Length of the pump's wire, one way.
        number pump_wire_m { 5.0, 0.0..=20.0 "m", "engineering judgement" }
        /// Copper cross-section of the pump's wire.
        number pump_wire_m2 { 4e-6, 2e-7..=5e-5 "m2", "engineering judgement" }
        /// Length of a fan's wire, one way.
        number fan_wire_m { 2.0, 0.0..=20.0 "m", "engineering judgement" }
        /// Copper cross-section of a fan's wire.
        number fan_wire_m2 { 4e-6, 2e-7..=5e-5 "m2", "engineering judgement" }
        /// Distance of the oxygen sensor from the merge of the tubes: seven inches.
        number sensor_after_merge_m { 0.178, 0.0..=5.0 "m", "common practice, no source" }
        /// Position of the oxygen sensor on the pipe.
        choice sensor_place { SensorPlace = SensorPlace::Straight, "engineering judgement" }
        /// Bore of the pipe at the oxygen sensor.
        number sensor_pipe_m { 0.057, 0.02..=0.15 "m", "engineering judgement" }
    }
}

/// Least power that can be given, W.
const MIN_POWER_W: f64 = 10e3;

pub(crate) const ALIASES: Aliases = &[
    ("installation.strainer_pa", "installation.strainer_drop"),
    ("installation.return_m", "installation.return_line"),
    ("installation.pump_wire_m2", "installation.pump_wire_copper"),
    ("installation.fan_wire_m2", "installation.fan_wire_copper"),
    ("installation.sensor_pipe_m", "installation.sensor_pipe_bore"),
];

impl Installation {
    /// Given peak power, W; `None` when the power follows from the engine's air.
    pub fn fed_power_w(&self) -> Option<f64> {
        (self.power_w > 0.0).then_some(self.power_w)
    }
}

/// Reads the section; what is not given keeps its default.
pub(crate) fn read(document: &Document) -> Result<Installation, InputError> {
    let mut read = Installation::DEFAULT;
    block_reader::read(document, "", &mut read, ALIASES)?;
    match read.fed_power_w() {
        Some(power_w) if power_w < MIN_POWER_W => {
            Err(document.out_of_range("installation.power_w", power_w, MIN_POWER_W, 1.5e6))
        }
        _ => Ok(read),
    }
}
