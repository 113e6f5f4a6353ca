//! Program arguments from the emulator.

use semihosting::experimental::env;

/// The last integer among the program's arguments, or `default`.
pub fn number_argument(default: u32) -> u32 {
    let Ok(arguments) = env::args::<128>() else { return default };
    (&arguments).filter_map(|text| text.ok()?.parse().ok()).last().unwrap_or(default)
}
