//! What the emulated board gives a program beside its processor.

use semihosting::experimental::env;

/// The whole number among the program's arguments, or `otherwise`.
pub fn number_asked_for(otherwise: u32) -> u32 {
    let Ok(arguments) = env::args::<128>() else { return otherwise };
    (&arguments).filter_map(|text| text.ok()?.parse().ok()).last().unwrap_or(otherwise)
}
