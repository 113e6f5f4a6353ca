//! Measure of a number in a file: kind, unit, range, reading and writing.

use crate::document::{Number, decimal, plain_number, read_quantity};
use crate::units::{Kind, Unit, UnitSystem, clamp_within};
use std::fmt::Display;
use toml_edit::Value;
use trimwright_numerics::Real;
use trimwright_numerics::parameters::Range;

/// Number type of a parameter.
pub trait Scalar: Real + Number + Display + 'static {}

impl<T: Real + Number + Display + 'static> Scalar for T {}

/// Smallest number that is written in a unit rather than in a smaller one. Engineering judgement.
const MIN_WRITTEN: f64 = 0.1;

/// Kind, SI unit and range of a number.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(crate) struct Measure {
    /// `None` when no other unit is in use.
    pub(crate) kind: Option<Kind>,
    /// The SI unit.
    pub(crate) unit: &'static str,
    pub(crate) low: f64,
    pub(crate) high: f64,
}

impl Measure {
    pub(crate) fn of<T: Scalar>(range: &Range<T>) -> Self {
        let (low, high) = (decimal(range.min), decimal(range.max));
        Self { kind: Kind::of(range.unit), unit: range.unit, low, high }
    }

    /// Name in messages: "a voltage".
    pub(crate) fn name(self) -> String {
        self.kind.map_or_else(|| format!("a number in {}", self.unit), |kind| kind.name().to_owned())
    }

    /// Reads a number in its range; the error is what is wrong with it.
    pub(crate) fn read<T: Scalar>(self, value: &Value) -> Result<T, String> {
        let plain = plain_number(value);
        let (si, unit) = match (self.kind, plain) {
            (None, Some(number)) => (number, None),
            (None, None) => return Err(format!("must be a plain number, in {}", self.unit)),
            // Rejected as out of range, so that the message shows the range.
            (Some(Kind::Ratio), Some(number)) if !number.is_finite() => {
                (number, Unit::preferred(Kind::Ratio))
            }
            (Some(kind), _) => {
                let (si, unit) = read_quantity(value, kind).map_err(|problem| problem.to_string())?;
                (si, Some(unit))
            }
        };
        let range = (self.low, self.high);
        clamp_within(si, range).map(T::from_f64).ok_or_else(|| {
            match unit.map(|unit| unit.tolerant_limits(range.0, range.1)) {
                Some([least, most]) => format!("must be between {least} and {most}"),
                None => format!("must be between {} and {} {}", range.0, range.1, self.unit),
            }
        })
    }

    /// A quantity of this kind with its range in SI.
    pub(crate) const fn quantity(kind: Kind, (low, high): (f64, f64)) -> Self {
        Self { kind: Some(kind), unit: kind.si_unit(), low, high }
    }

    /// Unit in which numbers up to `largest` are written; `None` for a plain number.
    pub(crate) fn unit(self, system: UnitSystem, largest: f64) -> Option<Unit> {
        let kind = self.kind?;
        let units = || customary(kind, system).iter().filter_map(|unit| Unit::find(kind, unit));
        units().find(|unit| unit.from_si(largest).abs() >= MIN_WRITTEN).or_else(|| units().next_back())
    }

    /// A value as written in a file: the fewest digits that read back as the same in single precision.
    pub(crate) fn written<T: Scalar>(self, unit: Option<Unit>, value: T) -> String {
        let exact = decimal(value);
        let Some(unit) = unit else { return plain(exact) };
        let number = unit.from_si(exact);
        let reads_back = |number: &f64| {
            let read = unit.to_si(*number);
            clamp_within(read, (self.low, self.high))
                .map_or(read == exact, |read| read as f32 == exact as f32)
        };
        let number = (0..17)
            .filter_map(|digits| format!("{number:.digits$e}").parse().ok())
            .find(reads_back)
            .unwrap_or(number);
        match unit.spelling() {
            "" => plain(number),
            spelling => format!("\"{} {spelling}\"", plain(number)),
        }
    }

    /// The range in words, in the unit of its larger end.
    pub(crate) fn range(self, system: UnitSystem) -> String {
        let largest = self.low.abs().max(self.high.abs());
        match self.unit(system, largest) {
            Some(unit) => unit.tolerant_limits(self.low, self.high).join(" to "),
            None => format!("{} to {} {}", plain(self.low), plain(self.high), self.unit),
        }
    }
}

/// A number without a unit.
fn plain(number: f64) -> String {
    let size = number.abs();
    if size != 0.0 && !(1e-4..1e7).contains(&size) {
        format!("{number:e}")
    } else {
        format!("{}", number + 0.0)
    }
}

/// Customary units of a kind, larger ones first.
const fn customary(kind: Kind, system: UnitSystem) -> &'static [&'static str] {
    match (system, kind) {
        (_, Kind::Ratio) => &[""],
        (_, Kind::Time) => &["s", "ms", "us"],
        (_, Kind::Rotation) => &["rpm"],
        (_, Kind::Angle) => &["deg"],
        (_, Kind::Inertia) => &["kg m2"],
        (_, Kind::Voltage) => &["V", "mV"],
        (_, Kind::Current) => &["A", "mA"],
        (_, Kind::Resistance) => &["kohm", "ohm", "mohm"],
        (_, Kind::HeatTransfer) => &["W/K"],
        (_, Kind::HeatCapacity) => &["kJ/K", "J/K"],
        (_, Kind::HeatingValue) => &["MJ/kg"],
        (UnitSystem::Si, Kind::Length) => &["m", "mm"],
        (UnitSystem::Si, Kind::Area) => &["m2", "mm2"],
        (UnitSystem::Si, Kind::Volume) => &["L", "cm3"],
        (UnitSystem::Si, Kind::Mass) => &["kg", "g", "mg"],
        (UnitSystem::Si, Kind::MassRate) => &["g/s", "mg/s"],
        (UnitSystem::Si, Kind::Pressure) => &["kPa", "Pa"],
        (UnitSystem::Si, Kind::Temperature) => &["degC"],
        (UnitSystem::Si, Kind::TemperatureStep) => &["K"],
        (UnitSystem::Si, Kind::Speed) => &["km/h"],
        (UnitSystem::Si, Kind::Power) => &["kW", "W"],
        (UnitSystem::Si, Kind::Torque) => &["N m"],
        (UnitSystem::Si, Kind::Force) => &["N"],
        (UnitSystem::Us, Kind::Length) => &["ft", "in"],
        (UnitSystem::Us, Kind::Area) => &["sq ft", "sq in"],
        (UnitSystem::Us, Kind::Volume) => &["cu in"],
        (UnitSystem::Us, Kind::Mass) => &["lb"],
        (UnitSystem::Us, Kind::MassRate) => &["lb/h"],
        (UnitSystem::Us, Kind::Pressure) => &["psi"],
        (UnitSystem::Us, Kind::Temperature | Kind::TemperatureStep) => &["degF"],
        (UnitSystem::Us, Kind::Speed) => &["mph"],
        (UnitSystem::Us, Kind::Power) => &["hp"],
        (UnitSystem::Us, Kind::Torque) => &["lb ft"],
        (UnitSystem::Us, Kind::Force) => &["lbf"],
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn written(kind: Kind, system: UnitSystem, si: f32) -> String {
        let measure = Measure::quantity(kind, (0.0, 1e7));
        measure.written(measure.unit(system, f64::from(si)), si)
    }

    #[test]
    fn values_are_written_in_the_units_that_people_read_and_in_the_fewest_digits() {
        for (kind, si, metric, us) in [
            (Kind::Time, 10.0, "\"10 s\"", "\"10 s\""),
            (Kind::Time, 1.95e-3, "\"1.95 ms\"", "\"1.95 ms\""),
            (Kind::Pressure, 110e3, "\"110 kPa\"", "\"15.954152 psi\""),
            (Kind::Temperature, 293.15, "\"20 degC\"", "\"68 degF\""),
            (Kind::TemperatureStep, 5.0, "\"5 K\"", "\"9 degF\""),
            (Kind::Resistance, 2490.0, "\"2.49 kohm\"", "\"2.49 kohm\""),
            (Kind::Ratio, 0.85, "0.85", "0.85"),
            (Kind::MassRate, 0.0, "\"0 mg/s\"", "\"0 lb/h\""),
        ] {
            assert_eq!(
                [written(kind, UnitSystem::Si, si), written(kind, UnitSystem::Us, si)],
                [metric, us],
                "{kind:?} {si}"
            );
        }
        let plain = Measure { kind: None, unit: "1/K", low: -1.0, high: 1.0 };
        assert_eq!(plain.written(None, 1.175_121_9e-11_f32), "1.1751219e-11");
        assert_eq!(plain.range(UnitSystem::Si), "-1 to 1 1/K");
    }

    #[test]
    fn a_limit_is_written_so_that_it_is_read_as_allowed() {
        let (low, high) = (45.0_f32, 160.0_f32);
        let idle = Measure::quantity(Kind::Rotation, (45.0, 160.0));
        for limit in [low, high] {
            let text = idle.written(idle.unit(UnitSystem::Si, 160.0), limit);
            let value: Value = text.parse().expect("TOML");
            assert_eq!(idle.read::<f32>(&value), Ok(limit), "{text}");
        }
    }
}
