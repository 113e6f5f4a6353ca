//! The two unit systems of the output.

use super::{Kind, Unit};
use serde::Serialize;

/// Unit system of texts for people: SI, or United States customary units. Files keep the units named in their columns.
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

    /// Name on the command line.
    pub const fn name(self) -> &'static str {
        match self {
            Self::Si => "si",
            Self::Us => "us",
        }
    }

    /// The system of this name.
    pub fn named(name: &str) -> Option<Self> {
        Self::ALL.into_iter().find(|system| system.name() == name)
    }

    /// Selects by system.
    pub fn pick<T>(self, si: T, us: T) -> T {
        match self {
            Self::Si => si,
            Self::Us => us,
        }
    }

    /// Text of a distance, m.
    pub fn distance(self, m: f64) -> String {
        self.written(Kind::Length, ["km", "mi"], m, 2)
    }

    /// Text of a speed difference, m/s.
    pub fn speed(self, m_per_s: f64) -> String {
        self.written(Kind::Speed, ["m/s", "mph"], m_per_s, 2)
    }

    /// Text of a vehicle speed, m/s.
    pub fn road_speed(self, m_per_s: f64) -> String {
        self.written(Kind::Speed, ["km/h", "mph"], m_per_s, 0)
    }

    /// Text of a temperature, K.
    pub fn temperature(self, k: f64) -> String {
        self.written(Kind::Temperature, ["degC", "degF"], k, 0)
    }

    /// Text of a fuel consumption given in L/100 km: the same, or miles per US gallon.
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

    /// A value in the unit of the system, with `decimals` decimals; unconverted when the unit is unknown.
    fn written(self, kind: Kind, [si, us]: [&'static str; 2], value: f64, decimals: usize) -> String {
        let unit = self.pick(si, us);
        let value = Unit::find(kind, unit).map_or(value, |unit| unit.from_si(value));
        format!("{value:.decimals$} {unit}")
    }
}
