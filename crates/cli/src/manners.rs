//! What any good command line does: units by choice, results as JSON, progress on standard error.

use crate::failure::Failure;
use clap::ValueEnum;
use indicatif::{ProgressBar, ProgressDrawTarget, ProgressStyle};
use serde::Serialize;
use std::io::{IsTerminal, stderr};
use std::time::Duration;

/// Metres in a mile, litres in a US gallon: exact, NIST SP 811, appendix B.
const MILE_M: f64 = 1609.344;
const US_GALLON_L: f64 = 3.785_411_784;

/// Units of the tables on the screen. Files keep the units that their columns name.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, ValueEnum)]
pub(crate) enum Units {
    /// Kilometres, litres, kilopascals, degrees Celsius
    #[default]
    Si,
    /// Miles, US gallons, pounds to the square inch, degrees Fahrenheit
    Us,
}

impl Units {
    /// A distance.
    pub(crate) fn distance(self, m: f64) -> String {
        match self {
            Self::Si => format!("{:.2} km", m / 1e3),
            Self::Us => format!("{:.2} mi", m / MILE_M),
        }
    }

    /// A speed.
    pub(crate) fn speed(self, m_per_s: f64) -> String {
        match self {
            Self::Si => format!("{m_per_s:.2} m/s"),
            Self::Us => format!("{:.2} mph", m_per_s * 3600.0 / MILE_M),
        }
    }

    /// What a drive takes: litres for 100 km, or miles to the US gallon.
    pub(crate) fn consumption(self, l_per_100km: f64) -> String {
        match self {
            Self::Si => format!("{l_per_100km:.1} L/100 km"),
            Self::Us => format!("{:.1} mpg", 100e3 / MILE_M * US_GALLON_L / l_per_100km),
        }
    }
}

/// A result as JSON, ready to be printed.
pub(crate) fn json(result: &impl Serialize) -> Result<String, Failure> {
    let text = serde_json::to_string_pretty(result).map_err(|error| Failure::Other(error.to_string()))?;
    Ok(text + "\n")
}

/// A bar of progress on standard error; nothing where that is no terminal or nothing is to be said.
pub(crate) fn bar(quiet: bool, length: u64, template: &str) -> ProgressBar {
    if quiet || !stderr().is_terminal() {
        return ProgressBar::with_draw_target(None, ProgressDrawTarget::hidden());
    }
    let style = ProgressStyle::with_template(template).unwrap_or_else(|_| ProgressStyle::default_bar());
    ProgressBar::new(length).with_style(style)
}

/// The same where there is no telling how far it has come: the time that has gone by.
pub(crate) fn waiting(doing: &str) -> ProgressBar {
    let bar = bar(false, 0, &format!("{doing}, {{elapsed}}"));
    bar.enable_steady_tick(Duration::from_millis(500));
    bar
}

#[cfg(test)]
mod tests {
    use super::*;

    /// NIST SP 811: 1 mi = 1.609344 km; 1 mpg (US) is 235.2146 L/100 km over the figure.
    #[test]
    fn val_units_of_the_us() {
        assert_eq!([Units::Si.distance(1609.344), Units::Us.distance(1609.344)], ["1.61 km", "1.00 mi"]);
        assert_eq!([Units::Si.speed(10.0), Units::Us.speed(10.0)], ["10.00 m/s", "22.37 mph"]);
        assert_eq!(
            [Units::Si.consumption(11.760_73), Units::Us.consumption(11.760_73)],
            ["11.8 L/100 km", "20.0 mpg"]
        );
    }
}
