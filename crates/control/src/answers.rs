//! Setup answers: what the owner knows about the car, with the range of each answer.

use core::fmt;

use trimwright_numerics::parameters::{Block, Value};
use trimwright_signals::MAX_INJECTORS;

/// Camshaft: how much it differs from the original one. More overlap means less filling at idle and more at high speed.
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

/// How the fuel rail pressure is regulated.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
#[cfg_attr(feature = "serde", derive(serde::Serialize, serde::Deserialize))]
pub enum FuelSystemType {
    /// A regulator returns what the engine does not use: the pump runs at full supply.
    #[default]
    Return,
    /// No return line: the controller drives the pump to the wanted rail pressure.
    Returnless,
}

trimwright_numerics::choice!(Cam { Stock = "stock", Mild = "mild", Hot = "hot" });
trimwright_numerics::choice!(FuelSystemType { Return = "return", Returnless = "returnless" });

trimwright_numerics::parameters! {
    /// The owner's answers, SI units. The ranges are engineering judgement: what a throttle-body conversion of a road car can have.
    ///
    /// ```
    /// use trimwright_control::SetupAnswers;
    /// let answers = SetupAnswers { compression_ratio: 30.0, ..SetupAnswers::default() };
    /// let error = answers.check().unwrap_err();
    /// assert_eq!(error.answer, "compression_ratio");
    /// assert_eq!((error.low, error.high), (6.0, 14.0));
    /// ```
    #[derive(Copy)]
    #[cfg_attr(feature = "defmt", derive(defmt::Format))]
    #[cfg_attr(feature = "serde", derive(serde::Serialize, serde::Deserialize))]
    pub struct SetupAnswers<f32> "setup" {
        /// Swept volume of all cylinders.
        number displacement_m3 { 5.2e-3, 0.5e-3..=10e-3 "m3", "engineering judgement: an invented V8" }
        /// Number of cylinders; a distributor gives as many pulses in two crank turns.
        whole cylinders { u8 = 8, 1..=8 "1", "engineering judgement: an invented V8" }
        /// Camshaft, compared with the original one.
        choice cam { Cam = Cam::Mild, "engineering judgement: an invented V8" }
        /// Compression ratio.
        number compression_ratio { 8.8, 6.0..=14.0 "1", "engineering judgement: an invented V8" }
        /// Number of injectors in the throttle body.
        whole injectors { u8 = 4, 1..=8 "1", "engineering judgement: an invented V8" }
        /// Static flow of one injector at its rated pressure.
        number injector_flow_kg_per_s { 8.0e-3, 0.5e-3..=30e-3 "kg/s", "engineering judgement: an invented V8" }
        /// Pressure drop at which the rated flow was measured.
        number injector_rated_pressure_pa { 300e3, 50e3..=600e3 "Pa", "engineering judgement: an invented V8" }
        /// Target fuel rail pressure above ambient.
        number rail_pressure_pa { 300e3, 50e3..=600e3 "Pa", "engineering judgement: an invented V8" }
        /// How the fuel rail pressure is regulated.
        choice fuel_system { FuelSystemType = FuelSystemType::Return, "engineering judgement: an invented V8" }
        /// Stoichiometric air-fuel ratio of the fuel: 8.9 is ethanol; pump petrol without ethanol is near 14.6.
        number stoich_afr { 14.6, 8.9..=15.2 "1", "engineering judgement: an invented V8" }
        /// Idle speed when warm.
        number idle_speed_rad_per_s { 73.3, 45.0..=160.0 "rad/s", "engineering judgement: an invented V8" }
        /// Crank speed at which fuel is cut.
        number rev_limit_rad_per_s { 545.0, 300.0..=900.0 "rad/s", "engineering judgement: an invented V8" }
        /// The controller sets the spark advance.
        flag controls_spark { true, "engineering judgement: an invented V8" }
        /// The controller switches the cooling fans.
        flag controls_fans { true, "engineering judgement: an invented V8" }
        /// Coolant temperature that switches the first fan on.
        number fan1_on_k { 364.0, 330.0..=390.0 "K", "engineering judgement: an invented V8" }
        /// Coolant temperature that switches the second fan on.
        number fan2_on_k { 369.0, 330.0..=390.0 "K", "engineering judgement: an invented V8" }
        /// Nitrous oxide is fitted and its fuel comes through the injectors.
        flag nitrous { false, "engineering judgement: an invented V8" }
        /// Flow of nitrous oxide while it is on.
        number nitrous_flow_kg_per_s { 0.03, 0.005..=0.2 "kg/s", "engineering judgement: an invented V8" }
    }
}

/// An answer outside its range.
#[derive(Clone, Copy, Debug, PartialEq)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
#[non_exhaustive]
pub struct AnswerError {
    /// Name of the field of [`SetupAnswers`].
    pub answer: &'static str,
    /// The value that was given.
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

/// Name and range of each answer without its description, which would cost flash on a board.
const RANGES: [(&str, f32, f32); SetupAnswers::INFO.len()] = {
    let mut ranges = [("", 0.0, 0.0); SetupAnswers::INFO.len()];
    let mut place = 0;
    while place < ranges.len() {
        let info = &SetupAnswers::INFO[place];
        ranges[place] = (info.name, info.range.min, info.range.max);
        place += 1;
    }
    ranges
};

const _: () = assert!(MAX_INJECTORS == 8, "the range of `injectors` is written as a literal");

impl SetupAnswers {
    /// Checks every answer against its range.
    ///
    /// # Errors
    /// The first [`AnswerError`], in the order of the fields.
    pub fn check(&self) -> Result<(), AnswerError> {
        for (place, (answer, low, high)) in RANGES.into_iter().enumerate() {
            let value = match self.value(place) {
                Some(Value::Number(number)) => number,
                Some(Value::Whole(number)) => number as f32,
                _ => continue,
            };
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
    fn an_answer_that_is_not_a_number_is_rejected() {
        let error =
            SetupAnswers { displacement_m3: f32::NAN, ..SetupAnswers::default() }.check().unwrap_err();
        assert_eq!(error.answer, "displacement_m3");
    }
}
