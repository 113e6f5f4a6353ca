//! Errors that prevent a run.

use trimwright_control::{AnswerError, CalibrationError};
use trimwright_numerics::parameters;
use trimwright_plant::OutOfRange;

use crate::on_target::OnTargetError;

/// Reason why a run can't be made.
///
/// ```
/// use trimwright_control::Options;
/// use trimwright_harness::{drive::learn, scenario::Scenario};
/// let mut van = Scenario::load("delivery-van")?;
/// van.answers.displacement_m3 = 52.0;
/// let error = learn(&van, Options::default()).unwrap_err();
/// assert!(error.to_string().starts_with("setup answer displacement_m3 is 52"), "litres for cubic metres");
/// # Ok::<(), trimwright_harness::error::InputError>(())
/// ```
#[derive(Clone, Debug, PartialEq, thiserror::Error)]
pub enum RunError {
    /// An answer is outside its range.
    #[error("setup answer {0}")]
    Answer(AnswerError),
    /// A parameter of the controller is outside its range.
    #[error("parameter {0}")]
    Parameter(parameters::OutOfRange<f32>),
    /// The truth is outside its range.
    #[error("truth {0}")]
    Truth(#[from] OutOfRange),
    /// Error of the controller on another processor.
    #[error(transparent)]
    OnTarget(#[from] OnTargetError),
}

impl From<CalibrationError> for RunError {
    fn from(error: CalibrationError) -> Self {
        match error {
            CalibrationError::Answer(error) => Self::Answer(error),
            CalibrationError::Parameter(error) => Self::Parameter(error),
        }
    }
}
