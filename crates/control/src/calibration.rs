//! The constants a controller works from: the parameters of its stages and what the setup answers make of them; valid by construction,
//! never changed in a step.

use core::borrow::Borrow;
use core::fmt;

use trimwright_numerics::parameters::{OutOfRange, along};

use crate::answers::{AnswerError, SetupAnswers};
use crate::options::Options;
use crate::parameters::Parameters;
use crate::setup::Setup;

/// Everything the controller works from. `P` is where the parameters are: here, or a reference to where a board keeps them in flash.
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

/// What a controller works from: a calibration, or a reference to one that many share.
///
/// ```
/// use trimwright_control::{Calibration, Controller, SetupAnswers};
/// use trimwright_signals::Frame;
/// let shared = Calibration::from_answers(&SetupAnswers::default())?;
/// let mut twins = [Controller::new(&shared), Controller::new(&shared)];
/// let frame = Frame { battery_v: 12.4, ..Frame::default() };
/// let [one, other] = twins.each_mut().map(|controller| controller.step(&frame));
/// assert_eq!(one, other);
/// # Ok::<(), trimwright_control::AnswerError>(())
/// ```
pub trait Calibrated {
    /// The parameters of the stages.
    fn parameters(&self) -> &Parameters;
    /// What the answers make of them.
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

/// Why there is no calibration.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum CalibrationError {
    /// An answer is out of its range.
    Answer(AnswerError),
    /// A parameter is.
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
    /// A complete first calibration with the default parameters.
    ///
    /// ```
    /// use trimwright_control::{Calibration, SetupAnswers};
    /// let calibration = Calibration::from_answers(&SetupAnswers::default())?;
    /// assert!((0.6..0.9).contains(&calibration.setup().filling().at(&calibration.setup().weights(60e3, 200.0))));
    /// # Ok::<(), trimwright_control::AnswerError>(())
    /// ```
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

    /// A calibration with parameters that were checked before ([`Parameters::check`]), such as a board's own by a test on the host: the
    /// check needs the name and range of each, which take more flash than the controller.
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

    /// The parameters of the stages.
    pub fn parameters(&self) -> &Parameters {
        self.parameters.borrow()
    }

    /// What the answers make of them.
    pub const fn setup(&self) -> &Setup {
        &self.setup
    }

    /// Flow of one open injector at this pressure drop, kg/s: [`InjectorParameters::flow_kg_per_s`](crate::injector::InjectorParameters).
    pub fn injector_flow_kg_per_s(&self, drop_pa: f32) -> f32 {
        self.parameters().injector.flow_kg_per_s(&self.setup, drop_pa)
    }

    /// Opening delay less closing delay at this supply voltage, s.
    pub fn opening_delay_s(&self, battery_v: f32) -> f32 {
        along(&self.parameters().injector.opening_delay_s, battery_v)
    }

    /// How long to energise one injector for `fuel_kg` of its own, s.
    pub fn open_time_s(&self, fuel_kg: f32, battery_v: f32, drop_pa: f32) -> f32 {
        self.parameters().injector.open_time_s(&self.setup, fuel_kg, battery_v, drop_pa)
    }

    /// Fuel that one injector gives when energised for `open_time_s`, kg: the inverse of [`Calibration::open_time_s`].
    pub fn injected_fuel_kg(&self, open_time_s: f32, battery_v: f32, drop_pa: f32) -> f32 {
        self.parameters().injector.injected_fuel_kg(&self.setup, open_time_s, battery_v, drop_pa)
    }

    /// By how much the fuel of a cell falls for each second that injectors open later than believed, 1/s.
    pub fn delay_rate_per_s(&self, cell: usize) -> f32 {
        self.parameters().injector.delay_rate_per_s(&self.setup, cell)
    }

    /// The answers it was made from.
    pub const fn answers(&self) -> &SetupAnswers {
        self.setup.answers()
    }

    /// What is switched on.
    pub const fn options(&self) -> &Options {
        self.setup.options()
    }
}

impl<P> core::ops::Deref for Calibration<P> {
    type Target = Setup;
    fn deref(&self) -> &Setup {
        &self.setup
    }
}

#[cfg(test)]
mod tests {
    extern crate std;
    use super::*;
    use std::string::ToString;

    #[test]
    fn a_wrong_answer_makes_no_calibration() {
        let answers = SetupAnswers { rev_limit_rad_per_s: 100.0, ..SetupAnswers::default() };
        assert_eq!(Calibration::from_answers(&answers).unwrap_err().answer, "rev_limit_rad_per_s");
    }

    #[test]
    fn a_parameter_out_of_range_makes_no_calibration_and_is_named() {
        let mut parameters = Parameters::DEFAULT;
        parameters.base_map.least = 0.0;
        let error = Calibration::new(&SetupAnswers::default(), &parameters).unwrap_err();
        assert_eq!(error.to_string(), "base_map.least is 0, allowed is 0.05 to 0.9");
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
}
