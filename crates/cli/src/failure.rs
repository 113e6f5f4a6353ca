//! Failures that end the program.

use trimwright_harness::error::InputError;

/// A failure; its kind decides the exit code.
#[derive(Debug)]
pub(crate) enum Failure {
    /// Invalid input of the user; exit code 2.
    Input(InputError),
    /// Any other failure; exit code 1.
    Other(String),
}

impl From<InputError> for Failure {
    fn from(error: InputError) -> Self {
        Self::Input(error)
    }
}
