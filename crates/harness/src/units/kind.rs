//! Kinds of quantities and spellings of their units.

use std::str::FromStr;
use uom::si::f64 as si;

/// Kind of quantity; it determines the units it may be written in.
///
/// ```
/// use trimwright_harness::units::{Kind, parse};
/// let (oil, warmer) = (parse(Kind::Temperature, "20 degC")?, parse(Kind::TemperatureStep, "20 degC")?);
/// assert!((oil.si - 293.15).abs() < 1e-9 && (warmer.si - 20.0).abs() < 1e-9, "a temperature and a difference");
/// # Ok::<(), trimwright_harness::units::UnitError>(())
/// ```
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

/// An accepted spelling and the unit's abbreviation in `uom`.
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

    /// Name in messages: "a volume".
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

    /// Suffix of field names of this kind, such as `_m` in `bore_m`; empty for a ratio.
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

    /// SI unit of stored values, as written in the parameter tables (an angle in degrees; a temperature difference apart from a
    /// temperature).
    pub const fn si_unit(self) -> &'static str {
        match self {
            Self::Ratio => "1",
            Self::Time => "s",
            Self::Length => "m",
            Self::Area => "m2",
            Self::Volume => "m3",
            Self::Mass => "kg",
            Self::MassRate => "kg/s",
            Self::Pressure => "Pa",
            Self::Temperature => "K",
            Self::TemperatureStep => "K step",
            Self::Speed => "m/s",
            Self::Rotation => "rad/s",
            Self::Angle => "deg",
            Self::Power => "W",
            Self::Torque => "N m",
            Self::Force => "N",
            Self::Inertia => "kg m2",
            Self::Voltage => "V",
            Self::Current => "A",
            Self::Resistance => "ohm",
            Self::HeatTransfer => "W/K",
            Self::HeatCapacity => "J/K",
            Self::HeatingValue => "J/kg",
        }
    }

    /// The kind stored in this SI unit; `None` for units that have no alternative and are written as plain numbers.
    pub fn of(si_unit: &str) -> Option<Self> {
        Self::ALL.into_iter().find(|kind| kind.si_unit() == si_unit)
    }

    /// Spellings named in messages, the preferred one first.
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

    /// Further accepted spellings, not named in messages.
    pub(super) const fn besides(self) -> &'static [Spelling] {
        match self {
            Self::Time => &[
                ("sec", "s"),
                ("second", "s"),
                ("seconds", "s"),
                ("minute", "min"),
                ("minutes", "min"),
                ("hr", "h"),
                ("hour", "h"),
                ("hours", "h"),
            ],
            Self::Length => &[
                ("inch", "in"),
                ("inches", "in"),
                ("foot", "ft"),
                ("feet", "ft"),
                ("mile", "mi"),
                ("miles", "mi"),
            ],
            Self::Area => &[("in2", "in²"), ("ft2", "ft²"), ("square inches", "in²"), ("square feet", "ft²")],
            Self::Volume => &[
                ("ci", "in³"),
                ("cid", "in³"),
                ("cubic inch", "in³"),
                ("cubic inches", "in³"),
                ("liter", "L"),
                ("liters", "L"),
                ("litre", "L"),
                ("litres", "L"),
                ("ccm", "cm³"),
                ("gallon", "gal"),
                ("gallons", "gal"),
            ],
            Self::Mass => &[("pound", "lb"), ("pounds", "lb"), ("oz", "oz")],
            Self::MassRate => &[("lbs/h", "lb/h"), ("lbs/hr", "lb/h")],
            Self::Pressure => &[("in Hg", "in Hg")],
            Self::Temperature | Self::TemperatureStep => {
                &[("deg C", "°C"), ("C", "°C"), ("deg F", "°F"), ("F", "°F")]
            }
            Self::Angle => &[("degree", "°"), ("degrees", "°")],
            Self::Torque => &[("lbf ft", "lbf · ft"), ("ft lbs", "lbf · ft"), ("ft lbf", "lbf · ft")],
            Self::Voltage => &[("volt", "V"), ("volts", "V")],
            Self::Current => &[("amp", "A"), ("amps", "A")],
            Self::Resistance => &[("ohms", "Ω")],
            _ => &[],
        }
    }

    /// Regular expressions of the units in every accepted spelling.
    pub(crate) fn patterns(self) -> Vec<String> {
        let all = || self.spellings().iter().chain(self.besides());
        let pattern = |(unit, _): &Spelling| {
            // As in `named`: prefixes m and M stay distinct.
            let prefixed =
                unit.strip_prefix(['m', 'M']).is_some_and(|rest| all().any(|(unit, _)| *unit == rest));
            let letter = |(place, c): (usize, char)| match c {
                ' ' => "[ .-]+".to_owned(),
                '0'..='9' => format!(r"\^?{c}"),
                c if c.is_ascii_alphabetic() && !(prefixed && place == 0) => {
                    format!("[{}{}]", c.to_ascii_lowercase(), c.to_ascii_uppercase())
                }
                c => c.to_string(),
            };
            unit.chars().enumerate().map(letter).collect::<String>() + r"\.?"
        };
        all().map(pattern).collect()
    }

    /// The accepted spelling that matches, ignoring dots, hyphens and unambiguous case.
    pub(super) fn named(self, written: &str) -> Option<&'static Spelling> {
        let all = || self.spellings().iter().chain(self.besides());
        let exact = |written: &str| all().find(|(known, _)| *known == written);
        let plain = written.replace(['.', '-', '·'], " ").replace('^', "");
        let plain = plain.split_whitespace().collect::<Vec<_>>().join(" ");
        exact(written).or_else(|| exact(&plain)).or_else(|| {
            // A prefix m is a thousandth and M a million: `mPa` is not `MPa`, nor `MV` `mV`.
            let prefixed =
                |known: &str| known.strip_prefix(['m', 'M']).is_some_and(|unit| exact(unit).is_some());
            all().find(|(known, _)| {
                known.eq_ignore_ascii_case(&plain) && (!prefixed(known) || known.get(..1) == plain.get(..1))
            })
        })
    }

    /// Spellings named in messages, in one line.
    pub fn accepted(self) -> String {
        self.spellings().iter().map(|(spelling, _)| *spelling).collect::<Vec<_>>().join(", ")
    }

    /// Converts `number` of the unit with this `uom` abbreviation to SI (an angle to degrees).
    pub(super) fn convert(self, number: f64, abbreviation: &str) -> Option<f64> {
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
