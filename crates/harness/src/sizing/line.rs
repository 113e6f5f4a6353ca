//! One line of a sizing: value, limit, verdict.

use crate::units::{Kind, Unit};
use serde::Serialize;

/// What to think of a value.
///
/// ```
/// use trimwright_harness::sizing::Verdict;
/// let worst = [Verdict::Ok, Verdict::NotEnough, Verdict::Tight, Verdict::Told].into_iter().max();
/// assert_eq!(worst, Some(Verdict::NotEnough), "verdicts are in order");
/// ```
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Serialize)]
#[serde(rename_all = "snake_case")]
pub enum Verdict {
    /// A figure without a limit.
    Told,
    /// Within the limit and away from it.
    Ok,
    /// Within the limit, but near it.
    Tight,
    /// Beyond the limit.
    NotEnough,
}

impl Verdict {
    /// In words.
    ///
    /// ```
    /// use trimwright_harness::sizing::Verdict;
    /// assert_eq!([Verdict::Told, Verdict::Tight].map(Verdict::words), ["", "tight"], "a mere figure gets no word");
    /// ```
    pub const fn words(self) -> &'static str {
        match self {
            Self::Told => "",
            Self::Ok => "ok",
            Self::Tight => "tight",
            Self::NotEnough => "not enough",
        }
    }
}

/// The limit of a value, in the value's unit.
///
/// ```
/// use trimwright_harness::sizing::{Limit, size};
/// # use trimwright_harness::scenario::Scenario;
/// let sizing = size(&Scenario::load("delivery-van")?)?;
/// let wire = sizing.line("wire to the pump").ok_or("a line")?;
/// assert_eq!((wire.limit, wire.unit), (Some(Limit::AtMost(0.5)), "V"));
/// # Ok::<(), Box<dyn std::error::Error>>(())
/// ```
#[derive(Clone, Copy, Debug, PartialEq, Serialize)]
#[serde(rename_all = "snake_case")]
pub enum Limit {
    /// It must not be above.
    AtMost(f64),
    /// It must not be below.
    AtLeast(f64),
    /// It must be between.
    Between(f64, f64),
}

/// One thing that was worked out.
///
/// ```
/// use trimwright_harness::sizing::{Verdict, size};
/// # use trimwright_harness::scenario::Scenario;
/// let sizing = size(&Scenario::load("tired-van")?)?;
/// let thin = sizing.line("wire to the pump").ok_or("a line")?;
/// assert!(thin.verdict == Verdict::NotEnough && thin.formula.starts_with("8 A x 6 m"));
/// assert!(thin.change.starts_with("AWG"), "it says what to change: {}", thin.change);
/// # Ok::<(), Box<dyn std::error::Error>>(())
/// ```
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct Line {
    /// The part of the car.
    pub part: &'static str,
    /// What it is.
    pub what: &'static str,
    /// How much, in `unit`.
    pub value: f64,
    /// A unit of the trade; empty for a plain number.
    pub unit: &'static str,
    /// The limit, in `unit`.
    pub limit: Option<Limit>,
    /// Whether that is enough.
    pub verdict: Verdict,
    /// How it was worked out, with numbers.
    pub formula: String,
    /// What to change when it is not enough or tight.
    pub change: String,
    /// Where formula and limit are from.
    pub source: &'static str,
}

impl Line {
    /// A figure without a limit. `si` is in SI units.
    pub(crate) fn told(
        part: &'static str,
        what: &'static str,
        kind: Kind,
        unit: &'static str,
        si: f64,
    ) -> Self {
        Self {
            part,
            what,
            value: in_unit(kind, unit, si),
            unit,
            limit: None,
            verdict: Verdict::Told,
            formula: String::new(),
            change: String::new(),
            source: "",
        }
    }

    /// Must not be above `limit` and had better be `spare` below it; both in the line's unit.
    pub(crate) fn at_most(self, limit: f64, spare: f64) -> Self {
        let verdict = judge(limit - self.value, spare);
        Self { limit: Some(Limit::AtMost(limit)), verdict, ..self }
    }

    /// Must not be below `limit` and had better be `spare` above it; both in the line's unit.
    pub(crate) fn at_least(self, limit: f64, spare: f64) -> Self {
        let verdict = judge(self.value - limit, spare);
        Self { limit: Some(Limit::AtLeast(limit)), verdict, ..self }
    }

    /// Must be between `low` and `high`, and had better be `spare` away from both; all in the line's unit.
    pub(crate) fn between(self, low: f64, high: f64, spare: f64) -> Self {
        let verdict = judge((self.value - low).min(high - self.value), spare);
        Self { limit: Some(Limit::Between(low, high)), verdict, ..self }
    }

    /// Neither number is beyond another, but it is as it should not be.
    pub(crate) fn with_verdict(self, verdict: Verdict) -> Self {
        Self { verdict, ..self }
    }

    pub(crate) fn formula(self, formula: String) -> Self {
        Self { formula, ..self }
    }

    /// Shown only when it is not simply enough.
    pub(crate) fn change(self, change: impl Into<String>) -> Self {
        let change = if self.verdict >= Verdict::Tight { change.into() } else { String::new() };
        Self { change, ..self }
    }

    pub(crate) fn source(self, source: &'static str) -> Self {
        Self { source, ..self }
    }
}

/// A value that is no number is never enough.
fn judge(margin: f64, spare: f64) -> Verdict {
    if margin >= spare {
        Verdict::Ok
    } else if margin >= 0.0 {
        Verdict::Tight
    } else {
        Verdict::NotEnough
    }
}

/// An SI value in a unit of the trade; one that isn't known is left in SI.
pub(crate) fn in_unit(kind: Kind, unit: &str, si: f64) -> f64 {
    Unit::find(kind, unit).map_or(si, |unit| unit.from_si(si))
}

/// A number to four digits, without useless zeros.
pub(crate) fn digits(number: f64) -> String {
    let rounded: f64 = format!("{number:.3e}").parse().unwrap_or(f64::NAN);
    format!("{}", rounded + 0.0)
}

/// An SI value to four digits in a unit of the trade.
pub(crate) fn show(kind: Kind, unit: &str, si: f64) -> String {
    let number = digits(in_unit(kind, unit, si));
    if unit.is_empty() { number } else { format!("{number} {unit}") }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn verdicts_follow_the_margin() {
        let line = |si| Line::told("pump", "flow", Kind::MassRate, "g/s", si);
        let verdicts = [0.011, 0.0105, 0.0095].map(|si| line(si).at_least(10.0, 1.0).verdict);
        assert_eq!(verdicts, [Verdict::Ok, Verdict::Tight, Verdict::NotEnough]);
        let verdicts = [0.009, 0.0095, 0.0105].map(|si| line(si).at_most(10.0, 1.0).verdict);
        assert_eq!(verdicts, [Verdict::Ok, Verdict::Tight, Verdict::NotEnough]);
        let verdicts = [0.0105, 0.015, 0.021].map(|si| line(si).between(10.0, 20.0, 1.0).verdict);
        assert_eq!(verdicts, [Verdict::Tight, Verdict::Ok, Verdict::NotEnough]);
        assert_eq!(line(f64::NAN).at_most(1.0, 0.1).verdict, Verdict::NotEnough);
        assert_eq!(line(0.009).at_most(10.0, 1.0).change("larger").change, "");
    }

    #[test]
    fn numbers_are_short() {
        assert_eq!(
            ["0.3048", "1235", "0"],
            [0.304_799, 1234.9, -0.0].map(digits).each_ref().map(String::as_str)
        );
        assert_eq!(show(Kind::Pressure, "psi", 3e5), "43.51 psi");
    }
}
