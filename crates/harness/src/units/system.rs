//! The two systems of units that people are answered in.

use super::{Kind, Unit};
use serde::Serialize;

/// Units by choice: those of the SI and its friends, or those of the United States. Files keep the units that their columns name.
///
/// ```
/// use trimwright_harness::units::UnitSystem::{Si, Us};
/// assert_eq!([Si, Us].map(|system| system.distance(1609.344)), ["1.61 km", "1.00 mi"]);
/// assert_eq!([Si, Us].map(|system| system.speed(10.0)), ["10.00 m/s", "22.37 mph"]);
/// assert_eq!([Si, Us].map(|system| system.road_speed(10.0)), ["36 km/h", "22 mph"]);
/// assert_eq!([Si, Us].map(|system| system.temperature(373.15)), ["100 degC", "212 degF"]);
/// ```
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, Serialize)]
#[serde(rename_all = "lowercase")]
pub enum UnitSystem {
    /// Kilometres, litres, grams per second, kilopascals, millimetres, degrees Celsius.
    #[default]
    Si,
    /// Miles, US gallons, pounds an hour, pounds to the square inch, inches, degrees Fahrenheit.
    Us,
}

impl UnitSystem {
    /// Both.
    pub const ALL: [Self; 2] = [Self::Si, Self::Us];

    /// How a user names it.
    pub const fn name(self) -> &'static str {
        match self {
            Self::Si => "si",
            Self::Us => "us",
        }
    }

    /// The one of this name.
    pub fn named(name: &str) -> Option<Self> {
        Self::ALL.into_iter().find(|system| system.name() == name)
    }

    /// One of two things that are written differently.
    pub fn pick<T>(self, si: T, us: T) -> T {
        match self {
            Self::Si => si,
            Self::Us => us,
        }
    }

    /// A distance, m.
    pub fn distance(self, m: f64) -> String {
        self.written(Kind::Length, ["km", "mi"], m, 2)
    }

    /// A difference of speeds, m/s.
    pub fn speed(self, m_per_s: f64) -> String {
        self.written(Kind::Speed, ["m/s", "mph"], m_per_s, 2)
    }

    /// A speed as the dashboard has it, m/s.
    pub fn road_speed(self, m_per_s: f64) -> String {
        self.written(Kind::Speed, ["km/h", "mph"], m_per_s, 0)
    }

    /// A temperature, K.
    pub fn temperature(self, k: f64) -> String {
        self.written(Kind::Temperature, ["degC", "degF"], k, 0)
    }

    /// What a drive takes, from litres for 100 km: the same, or miles to the US gallon.
    ///
    /// ```
    /// use trimwright_harness::units::UnitSystem;
    /// // NIST SP 811: 1 mpg (US) is 235.2146 L/100 km over the figure.
    /// assert_eq!(UnitSystem::ALL.map(|system| system.consumption(11.760_73)), ["11.8 L/100 km", "20.0 mpg"]);
    /// ```
    pub fn consumption(self, l_per_100km: f64) -> String {
        let per_gallon = self.pick(None, Unit::find(Kind::Length, "mi").zip(Unit::find(Kind::Volume, "gal")));
        match per_gallon {
            None => format!("{l_per_100km:.1} L/100 km"),
            Some((mile, gallon)) => {
                let m3_per_m = l_per_100km * 1e-3 / 100e3;
                format!("{:.1} mpg", gallon.to_si(1.0) / mile.to_si(1.0) / m3_per_m)
            }
        }
    }

    /// A value in the unit that each system has for it, to so many decimals; without that unit as it is.
    fn written(self, kind: Kind, [si, us]: [&'static str; 2], value: f64, decimals: usize) -> String {
        let unit = self.pick(si, us);
        let value = Unit::find(kind, unit).map_or(value, |unit| unit.from_si(value));
        format!("{value:.decimals$} {unit}")
    }
}
