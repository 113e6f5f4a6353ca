//! What the owner knows about the car, and the ranges in which the answers make sense.

use core::fmt;

use trimwright_signals::MAX_INJECTORS;

/// How far the camshaft is from the one the engine left the works with.
///
/// ```
/// use trimwright_control::{Calibration, Cam, SetupAnswers};
/// let idle_air_kg = |cam| {
///     let calibration = Calibration::from_answers(&SetupAnswers { cam, ..SetupAnswers::default() })?;
///     Ok::<_, trimwright_control::AnswerError>(calibration.setup().base_air_charge_kg(50e3, 101_325.0, 75.0, 320.0))
/// };
/// // Overlap lets exhaust back in at idle: at the same MAP less air, and so less fuel.
/// assert!(idle_air_kg(Cam::Hot)? < 0.95 * idle_air_kg(Cam::Stock)?);
/// # Ok::<(), trimwright_control::AnswerError>(())
/// ```
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
#[cfg_attr(feature = "serde", derive(serde::Serialize, serde::Deserialize))]
pub enum Cam {
    /// Little overlap: smooth idle, strong vacuum.
    #[default]
    Stock,
    /// Some overlap: idle vacuum a little lower.
    Mild,
    /// Much overlap: rough idle with little vacuum, power high up.
    Hot,
}

/// How the fuel gets its pressure.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
#[cfg_attr(feature = "serde", derive(serde::Serialize, serde::Deserialize))]
pub enum FuelSystem {
    /// A regulator returns what the engine does not use: the pump runs at full supply.
    #[default]
    Return,
    /// No return line: the controller drives the pump to the wanted rail pressure.
    Returnless,
}

/// The owner's answers. SI units; the ranges are in [`SetupAnswers::check`].
///
/// ```
/// use trimwright_control::SetupAnswers;
/// let answers = SetupAnswers { compression_ratio: 30.0, ..SetupAnswers::default() };
/// let error = answers.check().unwrap_err();
/// assert_eq!(error.answer, "compression_ratio");
/// assert_eq!((error.low, error.high), (6.0, 14.0));
/// ```
#[derive(Clone, Copy, Debug, PartialEq)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
#[cfg_attr(feature = "serde", derive(serde::Serialize, serde::Deserialize))]
pub struct SetupAnswers {
    /// Swept volume of all cylinders, m3, 0.5e-3 to 10e-3.
    pub displacement_m3: f32,
    /// Number of cylinders, 1 to 8. The distributor gives as many pulses in two turns.
    pub cylinders: u8,
    /// Camshaft.
    pub cam: Cam,
    /// Compression ratio, 6 to 14.
    pub compression_ratio: f32,
    /// Number of injectors in the throttle body, 1 to 8.
    pub injectors: u8,
    /// Static flow of one injector at its rated pressure, kg/s, 0.5e-3 to 30e-3.
    pub injector_flow_kg_per_s: f32,
    /// Pressure drop at which that flow was measured, Pa, 50e3 to 600e3.
    pub injector_rated_pressure_pa: f32,
    /// Wanted fuel rail pressure above ambient, Pa, 50e3 to 600e3.
    pub rail_pressure_pa: f32,
    /// How the pressure is made.
    pub fuel_system: FuelSystem,
    /// Stoichiometric air-fuel ratio of the fuel, 8.9 (ethanol) to 15.2; pump petrol without ethanol is near 14.6.
    pub stoich_afr: f32,
    /// Idle speed when warm, rad/s, 45 to 160.
    pub idle_speed_rad_per_s: f32,
    /// Speed at which fuel is cut, rad/s, 300 to 900.
    pub rev_limit_rad_per_s: f32,
    /// The controller sets the spark advance.
    pub controls_spark: bool,
    /// The controller switches the cooling fans.
    pub controls_fans: bool,
    /// Coolant temperature that starts the first fan, K, 330 to 390.
    pub fan1_on_k: f32,
    /// Coolant temperature that starts the second fan, K, 330 to 390.
    pub fan2_on_k: f32,
    /// Nitrous oxide is fitted and its fuel comes through the injectors.
    pub nitrous: bool,
    /// Flow of nitrous oxide when it is on, kg/s, 0.005 to 0.2.
    pub nitrous_flow_kg_per_s: f32,
}

impl Default for SetupAnswers {
    /// An invented 5.2 L V8 with four injectors and a mild cam.
    fn default() -> Self {
        Self {
            displacement_m3: 5.2e-3,
            cylinders: 8,
            cam: Cam::Mild,
            compression_ratio: 8.8,
            injectors: 4,
            injector_flow_kg_per_s: 8.0e-3,
            injector_rated_pressure_pa: 300e3,
            rail_pressure_pa: 300e3,
            fuel_system: FuelSystem::Return,
            stoich_afr: 14.6,
            idle_speed_rad_per_s: 73.3,
            rev_limit_rad_per_s: 545.0,
            controls_spark: true,
            controls_fans: true,
            fan1_on_k: 364.0,
            fan2_on_k: 369.0,
            nitrous: false,
            nitrous_flow_kg_per_s: 0.03,
        }
    }
}

/// An answer outside its range.
///
/// ```
/// use trimwright_control::{Calibration, SetupAnswers};
/// let twelve = SetupAnswers { cylinders: 12, ..SetupAnswers::default() };
/// let error = Calibration::from_answers(&twelve).unwrap_err();
/// assert_eq!(error.to_string(), "cylinders is 12, allowed is 1 to 8 (SI units)");
/// ```
#[derive(Clone, Copy, Debug, PartialEq)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub struct AnswerError {
    /// Name of the field of [`SetupAnswers`].
    pub answer: &'static str,
    /// What was answered.
    pub value: f32,
    /// Lowest allowed value.
    pub low: f32,
    /// Highest allowed value.
    pub high: f32,
}

impl fmt::Display for AnswerError {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "{} is {}, allowed is {} to {} (SI units)", self.answer, self.value, self.low, self.high)
    }
}

impl core::error::Error for AnswerError {}

impl SetupAnswers {
    /// Checks every answer. The ranges are engineering judgement: what a throttle-body conversion of a road car can have.
    ///
    /// ```
    /// use trimwright_control::SetupAnswers;
    /// assert!(SetupAnswers::default().check().is_ok());
    /// // 5.2 litres answered as litres, not as m3.
    /// let in_litres = SetupAnswers { displacement_m3: 5.2, ..SetupAnswers::default() };
    /// assert_eq!(in_litres.check().map_err(|error| error.answer), Err("displacement_m3"));
    /// ```
    ///
    /// # Errors
    /// The first [`AnswerError`], in the order of the fields.
    pub fn check(&self) -> Result<(), AnswerError> {
        let ranges = [
            ("displacement_m3", self.displacement_m3, 0.5e-3, 10e-3),
            ("cylinders", f32::from(self.cylinders), 1.0, 8.0),
            ("compression_ratio", self.compression_ratio, 6.0, 14.0),
            ("injectors", f32::from(self.injectors), 1.0, MAX_INJECTORS as f32),
            ("injector_flow_kg_per_s", self.injector_flow_kg_per_s, 0.5e-3, 30e-3),
            ("injector_rated_pressure_pa", self.injector_rated_pressure_pa, 50e3, 600e3),
            ("rail_pressure_pa", self.rail_pressure_pa, 50e3, 600e3),
            ("stoich_afr", self.stoich_afr, 8.9, 15.2),
            ("idle_speed_rad_per_s", self.idle_speed_rad_per_s, 45.0, 160.0),
            ("rev_limit_rad_per_s", self.rev_limit_rad_per_s, 300.0, 900.0),
            ("fan1_on_k", self.fan1_on_k, 330.0, 390.0),
            ("fan2_on_k", self.fan2_on_k, 330.0, 390.0),
            ("nitrous_flow_kg_per_s", self.nitrous_flow_kg_per_s, 0.005, 0.2),
        ];
        for (answer, value, low, high) in ranges {
            if !(low..=high).contains(&value) {
                return Err(AnswerError { answer, value, low, high });
            }
        }
        Ok(())
    }
}

#[cfg(test)]
mod tests {
    extern crate std;
    use super::*;
    use std::string::ToString;

    #[test]
    fn the_default_answers_are_allowed() {
        assert_eq!(SetupAnswers::default().check(), Ok(()));
    }

    #[test]
    fn an_answer_out_of_range_is_named_with_value_and_range() {
        let error = SetupAnswers { cylinders: 12, ..SetupAnswers::default() }.check().unwrap_err();
        assert_eq!(error, AnswerError { answer: "cylinders", value: 12.0, low: 1.0, high: 8.0 });
        assert_eq!(error.to_string(), "cylinders is 12, allowed is 1 to 8 (SI units)");
    }

    #[test]
    fn an_answer_that_is_no_number_is_refused() {
        let error =
            SetupAnswers { displacement_m3: f32::NAN, ..SetupAnswers::default() }.check().unwrap_err();
        assert_eq!(error.answer, "displacement_m3");
    }
}
