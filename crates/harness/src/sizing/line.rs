//! One line of a sizing: value, limit, verdict.

use crate::units::{Kind, Unit, UnitSystem};
use serde::Serialize;

/// A quantity and its unit in each system.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(crate) struct SizedQuantity {
    kind: Kind,
    si: &'static str,
    us: &'static str,
}

impl SizedQuantity {
    const fn new(kind: Kind, si: &'static str, us: &'static str) -> Self {
        Self { kind, si, us }
    }

    fn unit(self, system: UnitSystem) -> &'static str {
        system.pick(self.si, self.us)
    }

    /// An SI value to four digits with its unit.
    pub(crate) fn show(self, system: UnitSystem, si: f64) -> String {
        let unit = self.unit(system);
        format!("{} {unit}", digits(in_unit(self.kind, unit, si)))
    }
}

/// A flow of fuel or gas.
pub(crate) const FLOW: SizedQuantity = SizedQuantity::new(Kind::MassRate, "g/s", "lb/h");
pub(crate) const POWER: SizedQuantity = SizedQuantity::new(Kind::Power, "kW", "hp");
pub(crate) const PRESSURE: SizedQuantity = SizedQuantity::new(Kind::Pressure, "kPa", "psi");
/// The length of a line or a wire.
pub(crate) const LENGTH: SizedQuantity = SizedQuantity::new(Kind::Length, "m", "ft");
/// A bore or a short distance.
pub(crate) const BORE: SizedQuantity = SizedQuantity::new(Kind::Length, "mm", "in");
pub(crate) const AREA: SizedQuantity = SizedQuantity::new(Kind::Area, "mm2", "sq in");
pub(crate) const VOLUME: SizedQuantity = SizedQuantity::new(Kind::Volume, "L", "cu in");
pub(crate) const MASS: SizedQuantity = SizedQuantity::new(Kind::Mass, "kg", "lb");
/// The fuel of one firing.
pub(crate) const CHARGE: SizedQuantity = SizedQuantity::new(Kind::Mass, "mg", "mg");
pub(crate) const TEMPERATURE: SizedQuantity = SizedQuantity::new(Kind::Temperature, "degC", "degF");
pub(crate) const STEP: SizedQuantity = SizedQuantity::new(Kind::TemperatureStep, "K", "degF");
pub(crate) const ROTATION: SizedQuantity = SizedQuantity::new(Kind::Rotation, "rpm", "rpm");
/// Duration of a pulse or a delay.
pub(crate) const DELAY: SizedQuantity = SizedQuantity::new(Kind::Time, "ms", "ms");
pub(crate) const TIME: SizedQuantity = SizedQuantity::new(Kind::Time, "s", "s");
pub(crate) const SHARE: SizedQuantity = SizedQuantity::new(Kind::Ratio, "%", "%");
pub(crate) const VOLTAGE: SizedQuantity = SizedQuantity::new(Kind::Voltage, "V", "V");
pub(crate) const CURRENT: SizedQuantity = SizedQuantity::new(Kind::Current, "A", "A");

/// Verdict on a value.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Serialize)]
#[serde(rename_all = "snake_case")]
pub enum Verdict {
    /// A value without a limit.
    #[serde(rename = "told")]
    NoLimit,
    /// Within the limit with margin.
    Ok,
    /// Within the limit with little margin.
    Tight,
    /// Below the limit.
    NotEnough,
    /// Above the limit.
    TooMuch,
    /// A property that is not as required.
    Wrong,
}

impl Verdict {
    /// Word for tables.
    pub const fn words(self) -> &'static str {
        match self {
            Self::NoLimit => "",
            Self::Ok => "ok",
            Self::Tight => "tight",
            Self::NotEnough => "not enough",
            Self::TooMuch => "too much",
            Self::Wrong => "wrong",
        }
    }
}

/// The limit of a value, in the value's unit.
#[derive(Clone, Copy, Debug, PartialEq, Serialize)]
#[serde(rename_all = "snake_case")]
pub enum Limit {
    /// Upper limit.
    AtMost(f64),
    /// Lower limit.
    AtLeast(f64),
    /// Lower and upper limit.
    Between(f64, f64),
}

/// One line of a sizing.
///
/// ```
/// use trimwright_harness::sizing::{Verdict, size};
/// use trimwright_harness::units::UnitSystem;
/// # use trimwright_harness::scenario::Scenario;
/// let sizing = size(&Scenario::load("tired-van")?, UnitSystem::Si)?;
/// let thin = sizing.line("wire to the pump").ok_or("a line")?;
/// assert!(thin.verdict == Verdict::TooMuch && thin.formula.starts_with("8 A x 6 m"), "{thin:?}");
/// assert!(thin.change.starts_with("2.624 mm2"), "it says what to change: {}", thin.change);
/// # Ok::<(), Box<dyn std::error::Error>>(())
/// ```
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct Line {
    /// Part of the car.
    pub part: &'static str,
    /// Name of the value.
    pub what: &'static str,
    /// Value in `unit`; NaN (`null` in JSON) where `word` is given.
    pub value: f64,
    /// Value that is a word, `yes` or `outside`.
    pub word: Option<&'static str>,
    /// Unit; empty where there is none.
    pub unit: &'static str,
    /// Limit in `unit`.
    pub limit: Option<Limit>,
    /// Verdict.
    pub verdict: Verdict,
    /// Formula with its numbers.
    pub formula: String,
    /// What to change; empty when the verdict is ok.
    pub change: String,
    /// Source of formula and limit.
    pub source: String,
    #[serde(skip)]
    kind: Kind,
    #[serde(skip)]
    si: f64,
}

impl Line {
    /// A value without a limit; `si` is in SI units.
    pub(crate) fn figure(
        system: UnitSystem,
        part: &'static str,
        what: &'static str,
        measure: SizedQuantity,
        si: f64,
    ) -> Self {
        let unit = measure.unit(system);
        Self {
            part,
            what,
            value: in_unit(measure.kind, unit, si),
            word: None,
            unit,
            limit: None,
            verdict: Verdict::NoLimit,
            formula: String::new(),
            change: String::new(),
            source: String::new(),
            kind: measure.kind,
            si,
        }
    }

    /// A property given by a word, as required or not.
    pub(crate) fn word(part: &'static str, what: &'static str, word: &'static str, right: bool) -> Self {
        let verdict = if right { Verdict::Ok } else { Verdict::Wrong };
        let line =
            Self::figure(UnitSystem::Si, part, what, SizedQuantity::new(Kind::Ratio, "", ""), f64::NAN);
        Self { word: Some(word), verdict, ..line }
    }

    /// Sets an upper limit; tight within `spare` of it; both in SI units.
    pub(crate) fn at_most(self, limit: f64, spare: f64) -> Self {
        let verdict = judge(limit - self.si, spare, Verdict::TooMuch);
        Self { limit: Some(Limit::AtMost(self.in_unit(limit))), verdict, ..self }
    }

    /// Sets a lower limit; tight within `spare` of it; both in SI units.
    pub(crate) fn at_least(self, limit: f64, spare: f64) -> Self {
        let verdict = judge(self.si - limit, spare, Verdict::NotEnough);
        Self { limit: Some(Limit::AtLeast(self.in_unit(limit))), verdict, ..self }
    }

    /// Sets both limits; tight within `spare` of either; all in SI units.
    pub(crate) fn between(self, low: f64, high: f64, spare: f64) -> Self {
        let from_low = judge(self.si - low, spare, Verdict::NotEnough);
        let verdict = from_low.max(judge(high - self.si, spare, Verdict::TooMuch));
        let limit = Some(Limit::Between(self.in_unit(low), self.in_unit(high)));
        Self { limit, verdict, ..self }
    }

    /// At least tight unless `best`.
    pub(crate) fn tight_unless(self, best: bool) -> Self {
        let verdict = if best { self.verdict } else { self.verdict.max(Verdict::Tight) };
        Self { verdict, ..self }
    }

    pub(crate) fn formula(self, formula: impl Into<String>) -> Self {
        Self { formula: formula.into(), ..self }
    }

    /// What to change; kept only when the verdict is tight or worse.
    pub(crate) fn change(self, change: impl Into<String>) -> Self {
        let change = if self.verdict >= Verdict::Tight { change.into() } else { String::new() };
        Self { change, ..self }
    }

    pub(crate) fn source(self, source: impl Into<String>) -> Self {
        Self { source: source.into(), ..self }
    }

    fn in_unit(&self, si: f64) -> f64 {
        in_unit(self.kind, self.unit, si)
    }
}

/// Verdict on a margin; NaN is never ok.
fn judge(margin: f64, spare: f64, beyond: Verdict) -> Verdict {
    if margin >= spare {
        Verdict::Ok
    } else if margin >= 0.0 {
        Verdict::Tight
    } else {
        beyond
    }
}

/// An SI value in a unit; unchanged when the unit is unknown.
fn in_unit(kind: Kind, unit: &str, si: f64) -> f64 {
    Unit::find(kind, unit).map_or(si, |unit| unit.from_si(si))
}

/// A number of a unit in SI, for limits stated in trade units.
pub(crate) fn si(kind: Kind, unit: &str, number: f64) -> f64 {
    Unit::find(kind, unit).map_or(f64::NAN, |unit| unit.to_si(number))
}

/// A number to four digits without trailing zeros.
pub(crate) fn digits(number: f64) -> String {
    let rounded: f64 = format!("{number:.3e}").parse().unwrap_or(f64::NAN);
    format!("{}", rounded + 0.0)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn verdicts_follow_the_margin() {
        let line = |si| Line::figure(UnitSystem::Si, "pump", "flow", FLOW, si);
        let verdicts = [0.0115, 0.0105, 0.0095].map(|si| line(si).at_least(0.010, 0.001).verdict);
        assert_eq!(verdicts, [Verdict::Ok, Verdict::Tight, Verdict::NotEnough]);
        let verdicts = [0.0085, 0.0095, 0.0105].map(|si| line(si).at_most(0.010, 0.001).verdict);
        assert_eq!(verdicts, [Verdict::Ok, Verdict::Tight, Verdict::TooMuch]);
        let between = |si| line(si).between(0.010, 0.020, 0.001);
        let verdicts = [0.009, 0.0105, 0.015, 0.021].map(|si| between(si).verdict);
        assert_eq!(verdicts, [Verdict::NotEnough, Verdict::Tight, Verdict::Ok, Verdict::TooMuch]);
        assert_eq!(line(f64::NAN).at_most(1.0, 0.1).verdict, Verdict::TooMuch);
        assert_eq!(line(0.0085).at_most(0.010, 0.001).change("larger").change, "");
        assert_eq!(line(0.009).at_most(0.010, 0.001).tight_unless(false).verdict, Verdict::Tight);
        assert_eq!(line(0.011).at_most(0.010, 0.001).tight_unless(false).verdict, Verdict::TooMuch);
        let word = Line::word("lines", "clamps", "no", false).change("others");
        assert_eq!((word.verdict, word.change.as_str()), (Verdict::Wrong, "others"));
    }

    #[test]
    fn limits_are_in_the_unit_of_the_line() {
        let line = Line::figure(UnitSystem::Us, "cooling", "fan", TEMPERATURE, 373.15).at_most(383.15, 1.0);
        assert_eq!(line.unit, "degF");
        assert!((line.value - 212.0).abs() < 1e-9);
        assert!(matches!(line.limit, Some(Limit::AtMost(most)) if (most - 230.0).abs() < 1e-9));
    }

    #[test]
    fn numbers_are_short() {
        assert_eq!(
            ["0.3048", "1235", "0"],
            [0.304_799, 1234.9, -0.0].map(digits).each_ref().map(String::as_str)
        );
        assert_eq!(PRESSURE.show(UnitSystem::Us, 3e5), "43.51 psi");
        assert_eq!(PRESSURE.show(UnitSystem::Si, 3e5), "300 kPa");
    }
}
