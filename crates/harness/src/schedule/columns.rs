//! Columns of a schedule file and their values.

use crate::error::InputError;
use crate::units::{Kind, Unit, clamp_within};

/// A column of quantities with the unit from its header.
pub(super) struct ScheduleColumn {
    index: usize,
    name: &'static str,
    unit: Unit,
}

/// A column of `on` and `off`.
pub(super) struct Switch {
    index: usize,
    name: &'static str,
}

/// The columns of a file.
pub(super) struct Columns<'a> {
    header: &'a csv::StringRecord,
    file: &'a str,
}

impl<'a> Columns<'a> {
    pub(super) fn new(header: &'a csv::StringRecord, file: &'a str) -> Self {
        Self { header, file }
    }

    /// The column of this name; an error when it is missing.
    pub(super) fn need(&self, name: &'static str, kind: Kind) -> Result<ScheduleColumn, InputError> {
        let wanted = || format!("the first line must name a column `{name}` {}", bracketed(kind));
        self.check_commas()?;
        self.find(name, kind)?.ok_or_else(|| self.error(wanted()).value(self.shown()))
    }

    /// The column of this name, if there is one.
    pub(super) fn find(&self, name: &'static str, kind: Kind) -> Result<Option<ScheduleColumn>, InputError> {
        let Some((index, field)) = self.place(name)? else { return Ok(None) };
        let spelling =
            field.split_once(['[', '(']).and_then(|(_, rest)| rest.strip_suffix([']', ')'])).map(str::trim);
        let Some(spelling) = spelling else {
            return Err(self
                .error(format!("the column `{name}` must be named {}", bracketed(kind)))
                .value(field));
        };
        let unit = if kind == Kind::Ratio && spelling == "1" { "" } else { spelling };
        match Unit::find(kind, unit) {
            Some(unit) => Ok(Some(ScheduleColumn { index, name, unit })),
            None => {
                let problem = format!("`{spelling}` is no unit of {name}; write {name} {}", bracketed(kind));
                Err(self.error(problem).value(field))
            }
        }
    }

    /// The switch of this name, if there is one.
    pub(super) fn switch(&self, name: &'static str) -> Result<Option<Switch>, InputError> {
        Ok(self.place(name)?.map(|(index, _)| Switch { index, name }))
    }

    /// Whether a column has this name.
    pub(super) fn has(&self, name: &str) -> bool {
        self.header.iter().any(|field| is_named(field, name))
    }

    /// An error in the first line.
    pub(super) fn error(&self, problem: impl Into<String>) -> InputError {
        InputError::new(self.file, problem).line(1)
    }

    /// The whole first line for messages.
    pub(super) fn shown(&self) -> String {
        self.header.iter().collect::<Vec<_>>().join(",")
    }

    /// Detects columns separated by something other than commas, which look like a single column.
    fn check_commas(&self) -> Result<(), InputError> {
        let only = if self.header.len() == 1 { self.header.get(0).unwrap_or_default() } else { "" };
        match [(';', "semicolons"), ('\t', "tabs")].into_iter().find(|(part, _)| only.contains(*part)) {
            Some((_, parts)) => {
                let problem =
                    format!("columns are separated by commas, not {parts}, and numbers have a decimal point");
                Err(self.error(problem).value(only))
            }
            None => Ok(()),
        }
    }

    fn place(&self, name: &str) -> Result<Option<(usize, &'a str)>, InputError> {
        let mut found = self.header.iter().enumerate().filter(|(_, field)| is_named(field, name));
        let first = found.next();
        match found.next() {
            Some(_) => {
                Err(self.error(format!("more than one column is called `{name}`")).value(self.shown()))
            }
            None => Ok(first),
        }
    }
}

impl ScheduleColumn {
    /// Value of this row in SI, from `low` to `high`.
    pub(super) fn read(
        &self,
        record: &csv::StringRecord,
        (low, high): (f64, f64),
        file: &str,
    ) -> Result<f64, InputError> {
        let text = record.get(self.index).unwrap_or_default();
        let Ok(value) = text.parse::<f64>().map(|number| self.unit.to_si(number)) else {
            return Err(self.error(record, file, "must be a number"));
        };
        if let Some(value) = clamp_within(value, (low, high)) {
            return Ok(value);
        }
        let [least, most] = self.unit.tolerant_limits(low, high);
        let problem = if value < low && low == 0.0 {
            "must not be negative".to_owned()
        } else if value < low {
            format!("must be at least {least}")
        } else if value > high {
            format!("must be at most {most}")
        } else {
            "must be a number".to_owned()
        };
        Err(self.error(record, file, &problem))
    }

    /// An error about the value of this row.
    pub(super) fn error(&self, record: &csv::StringRecord, file: &str, problem: &str) -> InputError {
        in_row(record, self.index, self.name, file, problem)
    }
}

impl Switch {
    /// True when this row has `on`.
    pub(super) fn read(&self, record: &csv::StringRecord, file: &str) -> Result<bool, InputError> {
        match record.get(self.index) {
            Some("on") => Ok(true),
            Some("off") => Ok(false),
            _ => Err(in_row(record, self.index, self.name, file, "must be on or off")),
        }
    }
}

fn is_named(field: &str, name: &str) -> bool {
    let word = field.split(['[', '(']).next().unwrap_or_default().trim();
    word.eq_ignore_ascii_case(name)
}

fn bracketed(kind: Kind) -> String {
    let accepted = if kind == Kind::Ratio { "%, 1".to_owned() } else { kind.accepted() };
    format!("with its unit in brackets, one of {accepted}")
}

fn in_row(record: &csv::StringRecord, index: usize, name: &str, file: &str, problem: &str) -> InputError {
    let error = InputError::new(file, problem).key(name).value(record.get(index).unwrap_or_default());
    match record.position() {
        Some(position) => error.line(line_number(position)),
        None => error,
    }
}

/// Error of a table that can't be read.
pub(super) fn unreadable(file: &str, error: &csv::Error) -> InputError {
    let problem = match error.kind() {
        csv::ErrorKind::UnequalLengths { expected_len, len, .. } => {
            format!("has {len} values where the first line names {expected_len} columns")
        }
        csv::ErrorKind::Utf8 { .. } => "is not UTF-8 text".to_owned(),
        _ => "is not a table of comma-separated values".to_owned(),
    };
    let position = error.position().map(line_number);
    let error = InputError::new(file, problem);
    position.map_or(error.clone(), |line| error.line(line))
}

fn line_number(position: &csv::Position) -> usize {
    usize::try_from(position.line()).unwrap_or(usize::MAX)
}
