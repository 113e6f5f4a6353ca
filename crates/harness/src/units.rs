//! Quantities as people write them, `"318 cu in"` or `"190 degF"`, to SI.
//!
//! The numbers behind a unit come from the `uom` crate, which takes its factors from NIST Special Publication 811; the
//! tables below only say which spellings are accepted and what `uom` calls them. Inside the program everything is SI,
//! except that an [`Kind::Angle`] is in degrees, as throttle plates and cranks are.

use std::str::FromStr;
use uom::si::f64 as si;

/// What a quantity measures, and so which units it may be written in.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
pub enum Kind {
    /// A plain number or a percentage.
    Ratio,
    /// Seconds.
    Time,
    /// Metres.
    Length,
    /// Square metres.
    Area,
    /// Cubic metres.
    Volume,
    /// Kilograms.
    Mass,
    /// Kilograms per second.
    MassRate,
    /// Pascals.
    Pressure,
    /// Kelvin, of a temperature on the absolute scale.
    Temperature,
    /// Kelvin, of a difference of temperatures.
    TemperatureStep,
    /// Metres per second.
    Speed,
    /// Radians per second.
    Rotation,
    /// Degrees.
    Angle,
    /// Watts.
    Power,
    /// Newton metres.
    Torque,
    /// Newtons.
    Force,
    /// Kilogram square metres.
    Inertia,
    /// Volts.
    Voltage,
    /// Amperes.
    Current,
    /// Ohms.
    Resistance,
    /// Watts per kelvin.
    HeatTransfer,
    /// Joules per kelvin.
    HeatCapacity,
    /// Joules per kilogram.
    HeatingValue,
}

/// A spelling that is accepted, and the abbreviation under which `uom` knows that unit.
type Spelling = (&'static str, &'static str);

impl Kind {
    /// Every kind.
    pub const ALL: [Self; 23] = [
        Self::Ratio,
        Self::Time,
        Self::Length,
        Self::Area,
        Self::Volume,
        Self::Mass,
        Self::MassRate,
        Self::Pressure,
        Self::Temperature,
        Self::TemperatureStep,
        Self::Speed,
        Self::Rotation,
        Self::Angle,
        Self::Power,
        Self::Torque,
        Self::Force,
        Self::Inertia,
        Self::Voltage,
        Self::Current,
        Self::Resistance,
        Self::HeatTransfer,
        Self::HeatCapacity,
        Self::HeatingValue,
    ];

    /// What it is called in a message: "a volume".
    pub const fn name(self) -> &'static str {
        match self {
            Self::Ratio => "a number or a percentage",
            Self::Time => "a time",
            Self::Length => "a length",
            Self::Area => "an area",
            Self::Volume => "a volume",
            Self::Mass => "a mass",
            Self::MassRate => "a mass flow",
            Self::Pressure => "a pressure",
            Self::Temperature => "a temperature",
            Self::TemperatureStep => "a temperature difference",
            Self::Speed => "a speed",
            Self::Rotation => "a rotational speed",
            Self::Angle => "an angle",
            Self::Power => "a power",
            Self::Torque => "a torque",
            Self::Force => "a force",
            Self::Inertia => "a moment of inertia",
            Self::Voltage => "a voltage",
            Self::Current => "a current",
            Self::Resistance => "a resistance",
            Self::HeatTransfer => "a heat transfer per degree",
            Self::HeatCapacity => "a heat capacity",
            Self::HeatingValue => "a heating value",
        }
    }

    /// The unit at the end of the name of a field that holds such a quantity, `_m` of `bore_m`; a ratio has none.
    pub const fn suffix(self) -> &'static str {
        match self {
            Self::Ratio => "",
            Self::Time => "_s",
            Self::Length => "_m",
            Self::Area => "_m2",
            Self::Volume => "_m3",
            Self::Mass => "_kg",
            Self::MassRate => "_kg_per_s",
            Self::Pressure => "_pa",
            Self::Temperature | Self::TemperatureStep => "_k",
            Self::Speed => "_m_per_s",
            Self::Rotation => "_rad_per_s",
            Self::Angle => "_deg",
            Self::Power => "_w",
            Self::Torque => "_nm",
            Self::Force => "_n",
            Self::Inertia => "_kg_m2",
            Self::Voltage => "_v",
            Self::Current => "_a",
            Self::Resistance => "_ohm",
            Self::HeatTransfer => "_w_per_k",
            Self::HeatCapacity => "_j_per_k",
            Self::HeatingValue => "_j_per_kg",
        }
    }

    /// The spellings that are accepted, the preferred one first. Upper and lower case matter: `mPa` is not `MPa`.
    pub const fn spellings(self) -> &'static [Spelling] {
        match self {
            Self::Ratio => &[("%", "%"), ("percent", "%")],
            Self::Time => &[("s", "s"), ("ms", "ms"), ("us", "µs"), ("µs", "µs"), ("min", "min"), ("h", "h")],
            Self::Length => &[
                ("m", "m"),
                ("mm", "mm"),
                ("cm", "cm"),
                ("km", "km"),
                ("in", "in"),
                ("ft", "ft"),
                ("mi", "mi"),
            ],
            Self::Area => &[
                ("m2", "m²"),
                ("m²", "m²"),
                ("cm2", "cm²"),
                ("mm2", "mm²"),
                ("sq in", "in²"),
                ("sq ft", "ft²"),
            ],
            Self::Volume => &[
                ("L", "L"),
                ("l", "L"),
                ("cu in", "in³"),
                ("in3", "in³"),
                ("cc", "cm³"),
                ("cm3", "cm³"),
                ("mL", "mL"),
                ("m3", "m³"),
                ("gal", "gal"),
            ],
            Self::Mass => &[("kg", "kg"), ("g", "g"), ("mg", "mg"), ("t", "t"), ("lb", "lb"), ("lbs", "lb")],
            Self::MassRate => &[
                ("kg/s", "kg/s"),
                ("g/s", "g/s"),
                ("mg/s", "mg/s"),
                ("g/min", "g/min"),
                ("kg/h", "kg/h"),
                ("lb/h", "lb/h"),
                ("lb/hr", "lb/h"),
            ],
            Self::Pressure => &[
                ("kPa", "kPa"),
                ("Pa", "Pa"),
                ("hPa", "hPa"),
                ("MPa", "MPa"),
                ("bar", "bar"),
                ("mbar", "mbar"),
                ("psi", "psi"),
                ("inHg", "in Hg"),
            ],
            Self::Temperature | Self::TemperatureStep => {
                &[("degC", "°C"), ("°C", "°C"), ("degF", "°F"), ("°F", "°F"), ("K", "K")]
            }
            Self::Speed => &[("m/s", "m/s"), ("km/h", "km/h"), ("mph", "mi/h"), ("ft/s", "ft/s")],
            Self::Rotation => &[("rpm", "rpm"), ("rad/s", "rad/s")],
            Self::Angle => &[("deg", "°"), ("°", "°"), ("rad", "rad")],
            Self::Power => &[("kW", "kW"), ("W", "W"), ("hp", "hp")],
            Self::Torque => {
                &[("N m", "N · m"), ("Nm", "N · m"), ("lb ft", "lbf · ft"), ("ft lb", "lbf · ft")]
            }
            Self::Force => &[("N", "N"), ("kN", "kN"), ("lbf", "lbf")],
            Self::Inertia => &[("kg m2", "kg · m²"), ("kg m²", "kg · m²")],
            Self::Voltage => &[("V", "V"), ("mV", "mV")],
            Self::Current => &[("A", "A"), ("mA", "mA")],
            Self::Resistance => &[("ohm", "Ω"), ("Ω", "Ω"), ("mohm", "mΩ"), ("kohm", "kΩ"), ("kΩ", "kΩ")],
            Self::HeatTransfer => &[("W/K", "W/K")],
            Self::HeatCapacity => &[("kJ/K", "kJ/K"), ("J/K", "J/K")],
            Self::HeatingValue => &[("MJ/kg", "MJ/kg"), ("kJ/kg", "kJ/kg"), ("J/kg", "J/kg")],
        }
    }

    /// The accepted spellings in one line, for a message.
    pub fn accepted(self) -> String {
        self.spellings().iter().map(|(spelling, _)| *spelling).collect::<Vec<_>>().join(", ")
    }

    /// `number` of the unit that `uom` calls `abbreviation`, in SI (an angle in degrees).
    fn convert(self, number: f64, abbreviation: &str) -> Option<f64> {
        fn value<Q: FromStr>(text: &str) -> Option<Q> {
            text.parse().ok()
        }
        // The shortest decimal that reads back as the same bits, so nothing is lost on the way through text.
        let text = format!("{number} {abbreviation}");
        match self {
            Self::Ratio => value::<si::Ratio>(&text).map(|q| q.value),
            Self::Time => value::<si::Time>(&text).map(|q| q.value),
            Self::Length => value::<si::Length>(&text).map(|q| q.value),
            Self::Area => value::<si::Area>(&text).map(|q| q.value),
            Self::Volume => value::<si::Volume>(&text).map(|q| q.value),
            Self::Mass => value::<si::Mass>(&text).map(|q| q.value),
            Self::MassRate => value::<si::MassRate>(&text).map(|q| q.value),
            Self::Pressure => value::<si::Pressure>(&text).map(|q| q.value),
            Self::Temperature => value::<si::ThermodynamicTemperature>(&text).map(|q| q.value),
            Self::TemperatureStep => value::<si::TemperatureInterval>(&text).map(|q| q.value),
            Self::Speed => value::<si::Velocity>(&text).map(|q| q.value),
            Self::Rotation => value::<si::AngularVelocity>(&text).map(|q| q.value),
            Self::Angle => value::<si::Angle>(&text).map(|q| q.get::<uom::si::angle::degree>()),
            Self::Power => value::<si::Power>(&text).map(|q| q.value),
            Self::Torque => value::<si::Torque>(&text).map(|q| q.value),
            Self::Force => value::<si::Force>(&text).map(|q| q.value),
            Self::Inertia => value::<si::MomentOfInertia>(&text).map(|q| q.value),
            Self::Voltage => value::<si::ElectricPotential>(&text).map(|q| q.value),
            Self::Current => value::<si::ElectricCurrent>(&text).map(|q| q.value),
            Self::Resistance => value::<si::ElectricalResistance>(&text).map(|q| q.value),
            Self::HeatTransfer => value::<si::ThermalConductance>(&text).map(|q| q.value),
            Self::HeatCapacity => value::<si::HeatCapacity>(&text).map(|q| q.value),
            Self::HeatingValue => value::<si::AvailableEnergy>(&text).map(|q| q.value),
        }
    }
}

/// One accepted unit of one kind.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Unit {
    kind: Kind,
    spelling: &'static str,
    /// SI value of one unit above zero, and of zero.
    slope: f64,
    offset: f64,
}

impl Unit {
    /// The unit of `kind` that is spelled so.
    ///
    /// ```
    /// use trimwright_harness::units::{Kind, Unit};
    /// let mph = Unit::find(Kind::Speed, "mph").expect("an accepted unit");
    /// assert_eq!(mph.to_si(10.0), 4.4704);
    /// assert!(Unit::find(Kind::Speed, "psi").is_none());
    /// ```
    pub fn find(kind: Kind, spelling: &str) -> Option<Self> {
        if kind == Kind::Ratio && spelling.is_empty() {
            return Some(Self { kind, spelling: "", slope: 1.0, offset: 0.0 });
        }
        let &(spelling, abbreviation) = kind.spellings().iter().find(|(known, _)| *known == spelling)?;
        let offset = kind.convert(0.0, abbreviation)?;
        // The slope of a thermometer scale is that of its degree; elsewhere zero is zero.
        let degree = if kind == Kind::Temperature { Kind::TemperatureStep } else { kind };
        let slope = degree.convert(1.0, abbreviation)?;
        Some(Self { kind, spelling, slope, offset })
    }

    /// The preferred unit of a kind: the one a message falls back to.
    pub fn preferred(kind: Kind) -> Option<Self> {
        let spelling = if kind == Kind::Ratio { "" } else { kind.spellings().first()?.0 };
        Self::find(kind, spelling)
    }

    /// How it is written.
    pub const fn spelling(self) -> &'static str {
        self.spelling
    }

    /// This many of the unit, in SI (an angle in degrees).
    pub fn to_si(self, number: f64) -> f64 {
        number * self.slope + self.offset
    }

    /// An SI value (an angle in degrees) in this unit.
    pub fn from_si(self, si: f64) -> f64 {
        (si - self.offset) / self.slope
    }

    /// An SI value written in this unit, to six significant digits.
    pub fn show(self, si: f64) -> String {
        let rounded = format!("{:.5e}", self.from_si(si)).parse().unwrap_or(f64::NAN);
        // Adding zero turns a negative zero into a plain one.
        let number = format!("{}", rounded + 0.0);
        match self.spelling {
            "" => number,
            "%" => format!("{number}%"),
            spelling => format!("{number} {spelling}"),
        }
    }
}

/// A quantity as it was written.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Quantity {
    /// Its value in SI (an angle in degrees).
    pub si: f64,
    /// The unit it was written in.
    pub unit: Unit,
}

/// Why a text is no quantity of the kind that is wanted.
#[derive(Clone, Debug, PartialEq, Eq, thiserror::Error)]
pub enum UnitError {
    /// It doesn't start with a number.
    #[error("must be {} such as {:?}, a number and then one of the units {}", .0.name(), example(*.0), .0.accepted())]
    NoNumber(Kind),
    /// A number, but no unit.
    #[error("needs a unit, one of {}", .0.accepted())]
    NoUnit(Kind),
    /// A unit that is unknown or of another kind.
    #[error("is not {}, which is written in one of the units {}", .0.name(), .0.accepted())]
    WrongUnit(Kind),
    /// A number too large to be held.
    #[error("is too large a number")]
    NotFinite,
}

/// How a quantity of this kind may look, for a message.
fn example(kind: Kind) -> String {
    match kind.spellings().first() {
        Some(("%", _)) => "15%".to_owned(),
        Some((spelling, _)) => format!("10 {spelling}"),
        None => "10".to_owned(),
    }
}

/// Reads a quantity: a number and a unit, with or without a space between them.
///
/// ```
/// use trimwright_harness::units::{Kind, parse};
/// assert!((parse(Kind::Volume, "318 cu in")?.si - 5.21109e-3).abs() < 1e-8);
/// assert!((parse(Kind::Temperature, "190 degF")?.si - 360.93).abs() < 0.01);
/// assert!(parse(Kind::Mass, "55 psi").is_err());
/// # Ok::<(), trimwright_harness::units::UnitError>(())
/// ```
///
/// # Errors
///
/// When it isn't a finite number followed by a unit of the kind; the message says which units are.
pub fn parse(kind: Kind, text: &str) -> Result<Quantity, UnitError> {
    let text = text.trim();
    let is_number = |c: char| c.is_ascii_digit() || matches!(c, '+' | '-' | '.' | 'e' | 'E');
    let (number, unit) = text.split_at(text.find(|c| !is_number(c)).unwrap_or(text.len()));
    let number: f64 = number.parse().map_err(|_| UnitError::NoNumber(kind))?;
    let spelling = unit.split_whitespace().collect::<Vec<_>>().join(" ");
    if spelling.is_empty() && kind != Kind::Ratio {
        return Err(UnitError::NoUnit(kind));
    }
    let unit = Unit::find(kind, &spelling).ok_or(UnitError::WrongUnit(kind))?;
    let si = unit.to_si(number);
    if si.is_finite() { Ok(Quantity { si, unit }) } else { Err(UnitError::NotFinite) }
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    fn si(kind: Kind, text: &str) -> f64 {
        parse(kind, text).unwrap_or_else(|error| panic!("{text}: {error}")).si
    }

    fn close(got: f64, want: f64, relative: f64) {
        assert!((got - want).abs() <= relative * want.abs(), "{got} against {want}");
    }

    /// Exact definitions: NIST Special Publication 811, appendix B.8 (inch, pound, mile, degree Fahrenheit), to the seven
    /// digits that table prints.
    #[test]
    fn val_trade_units_have_their_defined_size() {
        close(si(Kind::Volume, "5.2 L"), 5.2e-3, 1e-15);
        close(si(Kind::Volume, "318 cu in"), 318.0 * 0.0254_f64.powi(3), 3e-7);
        close(si(Kind::Pressure, "55 psi"), 55.0 * 4.448_221_615 / 0.0254_f64.powi(2), 2e-7);
        close(si(Kind::Pressure, "43.5 psi"), 299_921.9, 2e-7);
        close(si(Kind::Temperature, "190 degF"), (190.0 + 459.67) / 1.8, 1e-12);
        close(si(Kind::Temperature, "-40 degF"), 233.15, 1e-12);
        close(si(Kind::Temperature, "-40 degC"), 233.15, 1e-12);
        close(si(Kind::TemperatureStep, "18 degF"), 10.0, 1e-12);
        close(si(Kind::TemperatureStep, "10 degC"), 10.0, 1e-12);
        close(si(Kind::Rotation, "650 rpm"), 650.0 * std::f64::consts::TAU / 60.0, 1e-12);
        close(si(Kind::Time, "15 min"), 900.0, 1e-15);
        close(si(Kind::Mass, "2300 kg"), 2300.0, 1e-15);
        close(si(Kind::MassRate, "38 lb/h"), 38.0 * 0.453_592_37 / 3600.0, 2e-7);
        close(si(Kind::Speed, "60 mph"), 26.8224, 1e-12);
        close(si(Kind::Power, "100 hp"), 74_569.99, 2e-7);
        close(si(Kind::Torque, "100 lb ft"), 135.581_8, 2e-7);
        close(si(Kind::Angle, "84 deg"), 84.0, 1e-14);
        close(si(Kind::Ratio, "15%"), 0.15, 1e-14);
        close(si(Kind::Ratio, "0.25"), 0.25, 0.0);
        close(si(Kind::Resistance, "2.2 kohm"), 2200.0, 1e-14);
    }

    #[test]
    fn spacing_is_free_and_case_is_not() {
        for text in ["318 cu in", "318cu in", "  318  cu   in ", "3.18e2 cu in"] {
            close(si(Kind::Volume, text), si(Kind::Volume, "318 in3"), 0.0);
        }
        assert_eq!(parse(Kind::Pressure, "5 kpa"), Err(UnitError::WrongUnit(Kind::Pressure)));
    }

    #[test]
    fn what_is_no_quantity_says_why() {
        assert_eq!(parse(Kind::Volume, "5.2"), Err(UnitError::NoUnit(Kind::Volume)));
        assert_eq!(parse(Kind::Volume, "NaN L"), Err(UnitError::NoNumber(Kind::Volume)));
        assert_eq!(parse(Kind::Volume, "inf L"), Err(UnitError::NoNumber(Kind::Volume)));
        assert_eq!(parse(Kind::Volume, "1e999 L"), Err(UnitError::NotFinite));
        assert_eq!(parse(Kind::Volume, ""), Err(UnitError::NoNumber(Kind::Volume)));
        let message = parse(Kind::Mass, "55 psi").expect_err("no mass").to_string();
        assert_eq!(message, "is not a mass, which is written in one of the units kg, g, mg, t, lb, lbs");
    }

    #[test]
    fn a_range_is_shown_in_the_unit_the_user_chose() {
        let psi = parse(Kind::Pressure, "55 psi").expect("a pressure").unit;
        assert_eq!(psi.show(275_790.28), "40 psi");
        let fahrenheit = parse(Kind::Temperature, "190 degF").expect("a temperature").unit;
        assert_eq!(fahrenheit.show(273.15), "32 degF");
        assert_eq!(Unit::preferred(Kind::Ratio).expect("plain").show(0.15), "0.15");
    }

    #[test]
    fn ident_every_spelling_is_one_that_the_library_knows() {
        for kind in Kind::ALL {
            assert!(Unit::preferred(kind).is_some(), "{kind:?}");
            for (spelling, _) in kind.spellings() {
                let unit = Unit::find(kind, spelling);
                assert!(unit.is_some_and(|u| u.slope > 0.0 && u.offset >= 0.0), "{kind:?} {spelling}");
            }
        }
    }

    proptest! {
        /// To text and back in every accepted unit of every kind.
        #[test]
        fn ident_round_trip(number in -1.0e6..1.0e6_f64) {
            for kind in Kind::ALL {
                for (spelling, _) in kind.spellings() {
                    let quantity = parse(kind, &format!("{number} {spelling}")).expect("an accepted unit");
                    let back = quantity.unit.from_si(quantity.si);
                    // A thermometer scale has its zero 460 degrees off, which costs that many units in the last place.
                    prop_assert!((back - number).abs() <= 1e-12 * (number.abs() + 500.0), "{} {} -> {}", number, spelling, back);
                    prop_assert!(quantity.unit.spelling() == *spelling);
                }
            }
        }

        #[test]
        fn any_text_is_read_or_refused(text in any::<String>()) {
            for kind in Kind::ALL {
                if let Ok(quantity) = parse(kind, &text) {
                    prop_assert!(quantity.si.is_finite());
                }
            }
        }
    }
}
