//! Why the program ends without having done what it was asked.

use trimwright_harness::error::InputError;

/// Decides how the program ends.
#[derive(Debug)]
pub(crate) enum Failure {
    /// Something that the user gave is wrong.
    Input(InputError),
    /// Anything else.
    Other(String),
}

impl From<InputError> for Failure {
    fn from(error: InputError) -> Self {
        Self::Input(error)
    }
}
