//! Calibration: the parameters of all stages and what follows from the setup answers. Valid by construction and constant during a drive.

use core::borrow::Borrow;
use core::fmt;

use trimwright_numerics::parameters::{OutOfRange, along};

use crate::answers::{AnswerError, SetupAnswers};
use crate::options::Options;
use crate::parameters::Parameters;
use crate::setup::Setup;

/// Everything constant that the controller works with. `P` is [`Parameters`], or a reference to parameters that stay in flash.
///
/// ```
/// use trimwright_control::{Calibration, Parameters, SetupAnswers};
/// static IN_FLASH: Parameters = Parameters::DEFAULT;
/// let answers = SetupAnswers { displacement_m3: 1.6e-3, cylinders: 4, ..SetupAnswers::default() };
/// let calibration = Calibration::new(&answers, &IN_FLASH)?;
/// assert_eq!(calibration.answers(), &answers);
/// assert!(core::mem::size_of_val(&calibration) < 2560, "what it has of its own is what follows from the answers");
/// # Ok::<(), trimwright_control::CalibrationError>(())
/// ```
#[derive(Clone, Debug, PartialEq)]
pub struct Calibration<P = Parameters> {
    parameters: P,
    setup: Setup,
}

/// A [`Calibration`], owned or borrowed: one calibration may be shared by many controllers.
pub trait Calibrated {
    /// The parameters of all stages.
    fn parameters(&self) -> &Parameters;
    /// What follows from the setup answers.
    fn setup(&self) -> &Setup;
}

impl<P: Borrow<Parameters>> Calibrated for Calibration<P> {
    fn parameters(&self) -> &Parameters {
        self.parameters.borrow()
    }

    fn setup(&self) -> &Setup {
        &self.setup
    }
}

impl<C: Calibrated> Calibrated for &C {
    fn parameters(&self) -> &Parameters {
        (*self).parameters()
    }

    fn setup(&self) -> &Setup {
        (*self).setup()
    }
}

/// Why a calibration could not be made.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum CalibrationError {
    /// An answer is out of its range.
    Answer(AnswerError),
    /// A parameter is out of its range.
    Parameter(OutOfRange<f32>),
}

impl fmt::Display for CalibrationError {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Self::Answer(error) => error.fmt(f),
            Self::Parameter(error) => error.fmt(f),
        }
    }
}

impl core::error::Error for CalibrationError {}

impl Calibration {
    /// A calibration with the default parameters.
    ///
    /// # Errors
    /// [`AnswerError`] when an answer is outside its range.
    pub fn from_answers(answers: &SetupAnswers) -> Result<Self, AnswerError> {
        Self::from_checked(answers, Parameters::DEFAULT)
    }
}

impl<P: Borrow<Parameters>> Calibration<P> {
    /// A calibration with these parameters, owned or borrowed.
    ///
    /// # Errors
    /// [`CalibrationError`] when an answer or a parameter is outside its range.
    pub fn new(answers: &SetupAnswers, parameters: P) -> Result<Self, CalibrationError> {
        parameters.borrow().check().map_err(CalibrationError::Parameter)?;
        Self::from_checked(answers, parameters).map_err(CalibrationError::Answer)
    }

    /// A calibration with parameters already checked by [`Parameters::check`], for example in a test on the host. It saves the flash of the
    /// parameters' names and ranges on a board.
    ///
    /// # Errors
    /// [`AnswerError`] when an answer is outside its range.
    pub fn from_checked(answers: &SetupAnswers, parameters: P) -> Result<Self, AnswerError> {
        let all = parameters.borrow();
        let rail_drop_pa = all.injector.bounded_drop_pa(answers.rail_pressure_pa);
        let setup = Setup::new(answers, &all.base_map, &all.exhaust, &all.sensors, rail_drop_pa)?;
        Ok(Self { parameters, setup })
    }

    /// The same calibration with other options.
    #[must_use]
    pub fn with_options(mut self, options: Options) -> Self {
        self.setup.set_options(options);
        self
    }

    /// The parameters of all stages.
    pub fn parameters(&self) -> &Parameters {
        self.parameters.borrow()
    }

    /// What follows from the setup answers: axes, base map, volumes.
    pub const fn setup(&self) -> &Setup {
        &self.setup
    }

    /// Flow of one open injector at this pressure drop, kg/s.
    pub fn injector_flow_kg_per_s(&self, drop_pa: f32) -> f32 {
        self.parameters().injector.flow_kg_per_s(&self.setup, drop_pa)
    }

    /// Opening delay minus closing delay of an injector at this supply voltage, s.
    pub fn opening_delay_s(&self, battery_v: f32) -> f32 {
        along(&self.parameters().injector.opening_delay_s, battery_v)
    }

    /// Open time of one injector for `fuel_kg`, s.
    pub fn open_time_s(&self, fuel_kg: f32, battery_v: f32, drop_pa: f32) -> f32 {
        self.parameters().injector.open_time_s(&self.setup, fuel_kg, battery_v, drop_pa)
    }

    /// Fuel that one injector delivers in `open_time_s`, kg: the inverse of [`Calibration::open_time_s`].
    pub fn injected_fuel_kg(&self, open_time_s: f32, battery_v: f32, drop_pa: f32) -> f32 {
        self.parameters().injector.injected_fuel_kg(&self.setup, open_time_s, battery_v, drop_pa)
    }

    /// Relative loss of fuel in a cell per second of additional opening delay, 1/s.
    pub fn delay_rate_per_s(&self, cell: usize) -> f32 {
        self.parameters().injector.delay_rate_per_s(&self.setup, cell)
    }

    /// The setup answers.
    pub const fn answers(&self) -> &SetupAnswers {
        self.setup.answers()
    }

    /// The options.
    pub const fn options(&self) -> &Options {
        self.setup.options()
    }
}

#[cfg(test)]
mod tests {
    extern crate std;
    use super::*;
    use std::string::ToString;

    #[test]
    fn an_answer_out_of_range_is_an_error() {
        let answers = SetupAnswers { rev_limit_rad_per_s: 100.0, ..SetupAnswers::default() };
        assert_eq!(Calibration::from_answers(&answers).unwrap_err().answer, "rev_limit_rad_per_s");
    }

    #[test]
    fn a_parameter_out_of_range_is_an_error_that_names_it() {
        let mut parameters = Parameters::DEFAULT;
        parameters.base_map.min_filling = 0.0;
        let error = Calibration::new(&SetupAnswers::default(), &parameters).unwrap_err();
        assert_eq!(error.to_string(), "base_map.min_filling is 0, allowed is 0.05 to 0.9");
        parameters = Parameters::DEFAULT;
        parameters.sensors.map_pa[1].0 = 0.2;
        let error = Calibration::new(&SetupAnswers::default(), &parameters).unwrap_err();
        assert_eq!(error.to_string(), "sensors.map_pa: place 1 is below the one before it");
    }

    #[test]
    fn borrowed_parameters_make_the_same_calibration() {
        let answers = SetupAnswers::default();
        let borrowed = Calibration::new(&answers, &Parameters::DEFAULT).unwrap();
        let owned = Calibration::from_answers(&answers).unwrap();
        assert_eq!((borrowed.setup(), borrowed.parameters()), (owned.setup(), owned.parameters()));
    }

    /// 8 g/s at 300 kPa, half of that at a quarter of the pressure; 1 ms of opening delay at 13.5 V.
    #[test]
    fn an_injector_has_a_flow_by_pressure_and_an_opening_delay_by_voltage() {
        let calibration = Calibration::from_answers(&SetupAnswers::default()).unwrap();
        assert!((calibration.injector_flow_kg_per_s(300e3) - 8e-3).abs() < 1e-8);
        assert!((calibration.injector_flow_kg_per_s(75e3) - 4e-3).abs() < 1e-8);
        assert!((calibration.opening_delay_s(13.5) - 1e-3).abs() < 1e-9);
        assert!((calibration.open_time_s(16e-6, 13.5, 300e3) - 3e-3).abs() < 1e-8, "16 mg flow for 2 ms");
        assert!((calibration.injected_fuel_kg(3e-3, 13.5, 300e3) - 16e-6).abs() < 1e-10);
    }

    #[test]
    fn answers_and_options_are_those_given() {
        let answers = SetupAnswers { cylinders: 6, ..SetupAnswers::default() };
        let options = Options { learning: false, ..Options::default() };
        let calibration = Calibration::from_answers(&answers).unwrap().with_options(options);
        assert_eq!((calibration.answers(), calibration.options()), (&answers, &options));
    }

    #[test]
    fn parameters_are_those_given_also_behind_a_reference() {
        let mut parameters = Parameters::DEFAULT;
        parameters.idle.start_s = 7.5;
        let calibration = Calibration::new(&SetupAnswers::default(), &parameters).unwrap();
        assert_eq!(calibration.parameters(), &parameters);
        assert_eq!(Calibrated::parameters(&&calibration), &parameters);
    }
}
