//! Injected faults: kind, strength, start, end, permanent or intermittent.
//!
//! Each section `[[fault]]` of a scenario is one fault; several may be given. `kind` is a name of [`KINDS`]; `strength` is in the unit of
//! that kind and optional; `from` and `until` are times since power-up; with `every` and `lasting` the fault is present only for a part of
//! each period, like a loose plug.

pub mod examination;
mod experience;
pub mod high_load;
mod kinds;
mod notices;
mod timeline;

use crate::document::Document;
use crate::error::InputError;
use crate::schedule::LONGEST_RUN_S;
use crate::units::{Kind, Unit};
pub use kinds::{FaultKind, KINDS, Strength, find, named};
pub use timeline::Timeline;
use trimwright_control::SetupAnswers;
use trimwright_plant::Truth;

/// Most faults in one scenario.
pub(crate) const MAX_FAULTS: usize = 64;
/// Range of the times at which a fault begins and ends, s.
pub(crate) const TIMES_S: (f64, f64) = (0.0, LONGEST_RUN_S);
/// Range of the period of an intermittent fault, s; at least one driver period.
pub(crate) const PERIODS_S: (f64, f64) = (0.02, LONGEST_RUN_S);
/// Range of the part of the period in which the fault is present, s; at most the period.
pub(crate) const PARTS_S: (f64, f64) = (1e-3, LONGEST_RUN_S);

/// One fault of a scenario.
///
/// ```
/// use trimwright_harness::faults::{Fault, find};
/// let loose_plug = Fault {
///     from_s: 600.0,
///     intermittent_s: Some((30.0, 4.0)),
///     ..Fault::usual(find("iat_open").expect("a kind"))
/// };
/// assert_eq!([599.0, 601.0, 605.0, 631.0].map(|time_s| loose_plug.is_present(time_s)), [false, true, false, true]);
/// ```
#[derive(Clone, Debug, PartialEq)]
pub struct Fault {
    /// Kind of fault.
    pub kind: &'static FaultKind,
    /// Strength in SI units of the kind; 0 for a kind without strength.
    pub strength: f64,
    /// Start, s since power-up.
    pub from_s: f64,
    /// End, s since power-up; infinite when it stays.
    pub until_s: f64,
    /// Period, and the part of it in which the fault is present, s; `None` for a permanent fault.
    pub intermittent_s: Option<(f64, f64)>,
}

impl Fault {
    /// The fault with its usual strength, over the whole run.
    pub fn usual(kind: &'static FaultKind) -> Self {
        let strength = kind.strength.as_ref().map_or(0.0, |strength| strength.usual);
        Self { kind, strength, from_s: 0.0, until_s: f64::INFINITY, intermittent_s: None }
    }

    /// True when the fault is present at this time since power-up, s.
    pub fn is_present(&self, time_s: f64) -> bool {
        let within = (self.from_s..self.until_s).contains(&time_s);
        within
            && self.intermittent_s.is_none_or(|(period_s, lasting_s)| {
                // Half a microsecond of slack, so that rounding of the time does not shift an edge by a step.
                (time_s - self.from_s + 5e-7).rem_euclid(period_s) < lasting_s
            })
    }

    /// First later time at which the fault may begin or end, s.
    fn next_change_s(&self, time_s: f64) -> f64 {
        if time_s < self.from_s {
            return self.from_s;
        }
        if time_s >= self.until_s {
            return f64::INFINITY;
        }
        let Some((period_s, lasting_s)) = self.intermittent_s else { return self.until_s };
        let periods = ((time_s - self.from_s + 5e-7) / period_s).floor();
        let begins_s = self.from_s + periods * period_s;
        let edges = [begins_s + lasting_s, begins_s + period_s, begins_s + period_s + lasting_s];
        let next_s = edges.into_iter().find(|&edge_s| edge_s > time_s + 5e-7).unwrap_or(f64::INFINITY);
        next_s.min(self.until_s)
    }

    /// Kind and strength in one line.
    pub fn title(&self) -> String {
        match &self.kind.strength {
            Some(strength) => {
                format!("{}{}{}", self.kind.title, strength.link, show(strength, self.strength))
            }
            None => self.kind.title.to_owned(),
        }
    }

    /// Applies the fault to a truth and to the owner's answers.
    pub fn apply(&self, truth: &mut Truth, answers: &mut SetupAnswers) {
        (self.kind.apply)(self.strength, truth, answers);
    }
}

/// A strength in its usual unit, to three digits.
pub(crate) fn show(strength: &Strength, si: f64) -> String {
    let number = Unit::find(strength.kind, strength.unit).map_or(si, |unit| unit.from_si(si));
    let number: f64 = format!("{number:.2e}").parse().unwrap_or(number);
    let unit = if strength.unit.is_empty() { String::new() } else { format!(" {}", strength.unit) };
    format!("{number}{unit}")
}

/// Reads the sections `[[fault]]`.
pub(crate) fn read(document: &Document) -> Result<Vec<Fault>, InputError> {
    let count = document.sections("fault")?;
    if count > MAX_FAULTS {
        return Err(document.wrong("fault", format!("there may be at most {MAX_FAULTS} of them")));
    }
    (1..=count).map(|number| read_one(document, &format!("fault.{number}"))).collect()
}

fn read_one(document: &Document, section: &str) -> Result<Fault, InputError> {
    let key = |name: &str| format!("{section}.{name}");
    let (kind_key, strength_key) = (key("kind"), key("strength"));
    if !document.has(&kind_key) {
        return Err(document.wrong(&kind_key, "is missing and has to be given"));
    }
    let mut name = String::new();
    document.text(&kind_key, &mut name)?;
    let kind = named(&name).map_err(|problem| document.wrong(&kind_key, problem))?;
    let mut fault = Fault::usual(kind);
    match &kind.strength {
        Some(strength) => {
            let range = (strength.low, strength.high);
            document.quantity_within(&strength_key, strength.kind, range, &mut fault.strength)?;
        }
        None if document.has(&strength_key) => {
            return Err(document.wrong(&strength_key, format!("does not go with {name}, which has none")));
        }
        None => {}
    }
    read_times(document, &key, &mut fault)?;
    Ok(fault)
}

fn read_times(
    document: &Document,
    key: &impl Fn(&str) -> String,
    fault: &mut Fault,
) -> Result<(), InputError> {
    let keys = ["from", "until", "every", "lasting"].map(key);
    let [from, until, every, lasting] = &keys;
    let given = keys.each_ref().map(|key| document.has(key));
    if !fault.kind.is_timed
        && let Some((key, _)) = keys.iter().zip(given).find(|(_, given)| *given)
    {
        return Err(
            document.wrong(key, format!("does not go with {}: it is so from the start", fault.kind.name))
        );
    }
    document.quantity_within(from, Kind::Time, TIMES_S, &mut fault.from_s)?;
    if given[1] {
        document.quantity_within(until, Kind::Time, (fault.from_s, TIMES_S.1), &mut fault.until_s)?;
        if fault.until_s == fault.from_s {
            return Err(document.wrong(until, "must be later than from, or the fault would never be there"));
        }
    }
    if given[2] != given[3] {
        let (there, other) = if given[2] { (every, "lasting") } else { (lasting, "every") };
        return Err(document.wrong(there, format!("needs {other} beside it")));
    }
    if given[2] {
        let (mut period_s, mut lasting_s) = (0.0, 0.0);
        document.quantity_within(every, Kind::Time, PERIODS_S, &mut period_s)?;
        document.quantity_within(lasting, Kind::Time, (PARTS_S.0, period_s), &mut lasting_s)?;
        fault.intermittent_s = Some((period_s, lasting_s));
    }
    Ok(())
}

/// Checks that the answers stay in their ranges with the faults applied.
pub(crate) fn check(document: &Document, faults: &[Fault], answers: &SetupAnswers) -> Result<(), InputError> {
    let (mut truth, mut answers) = (Truth::mild_v8(), *answers);
    for (index, fault) in faults.iter().enumerate() {
        fault.apply(&mut truth, &mut answers);
        answers.check().map_err(|error| {
            document.wrong(
                &format!("fault.{}.kind", index + 1),
                format!("makes an answer that is rejected: {error}"),
            )
        })?;
    }
    Ok(())
}

#[cfg(test)]
mod tests;
