//! Reads a TOML document value by value; errors name the line and what is allowed there.
//!
//! Each getter sets a variable when its key is present and leaves it unchanged otherwise. At the end [`Document::finish`] reports keys that
//! were never asked for (misspelled ones) and required keys that are missing.

use crate::error::InputError;
use crate::units::{Kind, Unit, UnitError, clamp_within, parse};
use std::cell::RefCell;
use std::collections::BTreeMap;
use std::fmt::Display;
use std::ops::Range;
use toml_edit::{Item, TableLike, Value};

/// Least similarity, 0 to 1, at which a known name is proposed for a misspelled one. Engineering judgement.
const ALIKE: f64 = 0.6;

/// Renamed keys, old and new name, in any section of a file.
const RENAMED: &[(&str, &str)] = &[
    ("distribution.bank", "distribution.bank_deviation"),
    ("exhaust.bend", "exhaust.sensor_bend_error"),
    ("exhaust.misfire_seen", "exhaust.misfire_fuel_share"),
    ("film.draw", "film.draw_share"),
    ("film.flash", "film.flash_share"),
    ("injectors.bend", "injectors.nonlinearity"),
    ("injectors.delay_drop", "injectors.delay_pressure_slope"),
];

/// Present name of a renamed key, with the section in front of it.
fn renamed(key: &str) -> Option<String> {
    RENAMED.iter().find_map(|(old, new)| {
        let section = key.strip_suffix(old)?;
        (section.is_empty() || section.ends_with('.')).then(|| format!("{section}{new}"))
    })
}

/// The known name most similar to a misspelled one, if it is similar enough.
pub(crate) fn nearest<'a>(name: &str, known: impl Iterator<Item = &'a str>) -> Option<&'a str> {
    known
        .map(|known| (strsim::normalized_damerau_levenshtein(known, name), known))
        .filter(|(alike, _)| *alike >= ALIKE)
        .max_by(|one, other| one.0.total_cmp(&other.0))
        .map(|(_, known)| known)
}

/// A TOML document being read.
///
/// ```
/// use trimwright_harness::{document::Document, units::Kind};
/// let document = Document::parse("van.toml", "[car]\nmass = \"5000 lb\"\nwheels = 4\n")?;
/// let mut mass_kg = 0.0;
/// document.quantity("car.mass", Kind::Mass, &mut mass_kg)?;
/// assert!((mass_kg - 2267.96_f64).abs() < 0.01);
/// let error = document.finish(&[]).unwrap_err();
/// assert_eq!(error.to_string(), "van.toml, line 3, car.wheels: is not a known key");
/// # Ok::<(), trimwright_harness::error::InputError>(())
/// ```
pub struct Document {
    file: String,
    root: toml_edit::Document<String>,
    /// Keys asked for so far.
    known: RefCell<BTreeMap<String, Known>>,
}

/// Item at a key, and the position of the key in the text.
type Found<'a> = (&'a Item, Option<Range<usize>>);

/// A key that was asked for.
#[derive(Clone, Debug, PartialEq)]
struct Known {
    /// Kind of quantity, if it is one.
    kind: Option<Kind>,
    /// Path of the field that it sets.
    field: String,
}

/// A number type that a quantity can be stored in.
pub trait Number: Copy {
    /// Nearest value of this type.
    fn from_f64(value: f64) -> Self;
}

impl Number for f64 {
    fn from_f64(value: f64) -> Self {
        value
    }
}

impl Number for f32 {
    fn from_f64(value: f64) -> Self {
        value as Self
    }
}

impl Document {
    /// Parses a text; `file` is its name in messages.
    ///
    /// # Errors
    ///
    /// When the text is not TOML; the error names the line.
    pub fn parse(file: &str, text: &str) -> Result<Self, InputError> {
        let root = toml_edit::Document::parse(text.to_owned()).map_err(|error| {
            let problem = error.message().lines().collect::<Vec<_>>().join(", ");
            let at = error.span().map_or(1, |span| line_of(text, span));
            InputError::new(file, format!("is not TOML: {problem}")).line(at)
        })?;
        Ok(Self { file: file.to_owned(), root, known: RefCell::default() })
    }

    /// File name in messages.
    pub fn file(&self) -> &str {
        &self.file
    }

    /// Reads a quantity with its unit into SI (an angle into degrees).
    ///
    /// # Errors
    ///
    /// When the value is not a quantity of this kind.
    pub fn quantity<T: Number>(&self, key: &str, kind: Kind, target: &mut T) -> Result<(), InputError> {
        if let Some(value) = self.value(key, Some(kind))? {
            let (si, _) =
                read_quantity(value, kind).map_err(|problem| self.wrong(key, problem.to_string()))?;
            *target = T::from_f64(si);
        }
        Ok(())
    }

    /// The same for values that are checked against a range afterwards: a plain `nan` or `inf` passes here and is rejected there, with the
    /// range in the message.
    fn unchecked<T: Number>(&self, key: &str, kind: Kind, target: &mut T) -> Result<(), InputError> {
        let value = self.value(key, Some(kind))?;
        match value.and_then(Value::as_float).filter(|number| kind == Kind::Ratio && !number.is_finite()) {
            Some(number) => *target = T::from_f64(number),
            None => self.quantity(key, kind, target)?,
        }
        Ok(())
    }

    /// Reads a quantity from `low` to `high`, all in SI.
    ///
    /// # Errors
    ///
    /// When the value is not a quantity of this kind or is out of range.
    pub fn quantity_within(
        &self,
        key: &str,
        kind: Kind,
        (low, high): (f64, f64),
        target: &mut f64,
    ) -> Result<(), InputError> {
        self.unchecked(key, kind, target)?;
        if let Some(value) = clamp_within(*target, (low, high)) {
            *target = value;
            return Ok(());
        }
        Err(self.out_of_range(&format!("{key}{}", kind.suffix()), *target, low, high))
    }

    /// All keys asked for as a quantity of this kind.
    #[cfg(test)]
    pub(crate) fn keys_of(&self, kind: Kind) -> Vec<String> {
        let known = self.known.borrow();
        known.iter().filter(|(_, known)| known.kind == Some(kind)).map(|(key, _)| key.clone()).collect()
    }

    /// True when the document gives the field of this path.
    pub(crate) fn gives(&self, field: &str) -> bool {
        self.key_of(field).is_some_and(|(key, _)| matches!(self.find(&key), Ok(Some(_))))
    }

    /// Reads a list of quantities, each with its unit: as many as `target` holds, or from one up to that many when `fewer` is set. Returns
    /// their number if the key is present.
    ///
    /// # Errors
    ///
    /// When it is no list, has another length or holds a value that is not a quantity of this kind.
    pub fn quantities<T: Number>(
        &self,
        key: &str,
        kind: Kind,
        fewer: bool,
        target: &mut [T],
    ) -> Result<Option<usize>, InputError> {
        let Some(value) = self.value(key, Some(kind))? else { return Ok(None) };
        let most = target.len();
        let fits = |count: usize| count == most || (fewer && (1..most).contains(&count));
        let list = value.as_array().filter(|list| fits(list.len())).ok_or_else(|| {
            let wanted = if fewer { format!("1 to {most}") } else { most.to_string() };
            self.wrong(key, format!("must be a list of {wanted} in brackets, each {}", kind.name()))
        })?;
        for (place, value) in target.iter_mut().zip(list) {
            let (si, _) =
                read_quantity(value, kind).map_err(|problem| self.wrong(key, problem.to_string()))?;
            *place = T::from_f64(si);
        }
        Ok(Some(list.len()))
    }

    /// Reads a whole number from `low` to `high`.
    ///
    /// # Errors
    ///
    /// When the value is anything else.
    pub fn whole<T: TryFrom<i64>>(
        &self,
        key: &str,
        (low, high): (i64, i64),
        target: &mut T,
    ) -> Result<(), InputError> {
        if let Some(value) = self.value(key, None)? {
            let number = value.as_integer().filter(|number| (low..=high).contains(number));
            *target = number
                .and_then(|number| T::try_from(number).ok())
                .ok_or_else(|| self.wrong(key, format!("must be a whole number between {low} and {high}")))?;
        }
        Ok(())
    }

    /// Reads `true` or `false`.
    ///
    /// # Errors
    ///
    /// When it is neither.
    pub fn flag(&self, key: &str, target: &mut bool) -> Result<(), InputError> {
        if let Some(value) = self.value(key, None)? {
            *target = value.as_bool().ok_or_else(|| self.wrong(key, "must be true or false"))?;
        }
        Ok(())
    }

    /// Reads a text of one line.
    ///
    /// # Errors
    ///
    /// When it is no text or an empty one, or holds control characters.
    pub fn text(&self, key: &str, target: &mut String) -> Result<(), InputError> {
        self.texts(key, &[], target)
    }

    /// Reads a text of one or more lines.
    ///
    /// # Errors
    ///
    /// When it is no text or an empty one, or holds control characters that do not end a line.
    pub fn lines(&self, key: &str, target: &mut String) -> Result<(), InputError> {
        self.texts(key, &['\n', '\r', '\t'], target)
    }

    fn texts(&self, key: &str, allowed: &[char], target: &mut String) -> Result<(), InputError> {
        if let Some(value) = self.value(key, None)? {
            let text = value.as_str().filter(|text| !text.trim().is_empty());
            let text = text.ok_or_else(|| self.wrong(key, "must be a text in quotes"))?;
            if let Some(found) = text.chars().find(|c| c.is_control() && !allowed.contains(c)) {
                let code = u32::from(found);
                return Err(
                    self.wrong(key, format!("must not hold control characters; there is U+{code:04X}"))
                );
            }
            target.clear();
            target.extend(text.chars().filter(|c| *c != '\r'));
        }
        Ok(())
    }

    /// Reads one of the given words.
    ///
    /// # Errors
    ///
    /// When the value is none of them; the message lists them.
    pub fn choice<T: Copy>(&self, key: &str, words: &[(&str, T)], target: &mut T) -> Result<(), InputError> {
        if let Some(value) = self.value(key, None)? {
            let found = words.iter().find(|(word, _)| value.as_str() == Some(word));
            *target = found.map(|(_, meaning)| *meaning).ok_or_else(|| {
                let words = words.iter().map(|(word, _)| format!("{word:?}")).collect::<Vec<_>>().join(", ");
                self.wrong(key, format!("must be one of {words}"))
            })?;
        }
        Ok(())
    }

    /// Number of sections headed by this name in double brackets. Keys of the first begin with `name.1.`.
    ///
    /// # Errors
    ///
    /// When the name is used for something else.
    pub fn sections(&self, name: &str) -> Result<usize, InputError> {
        match self.find(name)? {
            None => Ok(0),
            Some((item, _)) => match item.as_array_of_tables() {
                Some(sections) => Ok(sections.len()),
                None => Err(self.wrong(name, format!("must be sections, each headed [[{name}]]"))),
            },
        }
    }

    /// True when the key is present. The key counts as asked for.
    pub fn has(&self, key: &str) -> bool {
        self.note(key, None, key);
        self.find(key).is_ok_and(|item| item.is_some())
    }

    /// Checks the document after reading: no unknown key may be left, and the required keys must be present.
    ///
    /// # Errors
    ///
    /// For the first key in the text that was never asked for, with the most similar known key; otherwise for the first required key that
    /// is missing.
    pub fn finish(&self, required: &[&str]) -> Result<(), InputError> {
        let known = self.known.borrow();
        let mut leaves = Vec::new();
        list_leaves(self.root.as_table(), "", &mut leaves);
        let is_section = |path: &str| {
            known.keys().any(|key| key.strip_prefix(path).is_some_and(|rest| rest.starts_with('.')))
        };
        let is_known =
            |leaf: &Leaf| known.contains_key(&leaf.key) || (leaf.empty_section && is_section(&leaf.key));
        let unknown = leaves.into_iter().filter(|leaf| !is_known(leaf));
        if let Some(leaf) =
            unknown.min_by_key(|leaf| leaf.span.as_ref().map_or(usize::MAX, |span| span.start))
        {
            let nearest = || nearest(&leaf.key, known.keys().map(String::as_str));
            let problem = match renamed(&leaf.key) {
                Some(key) => format!("is now called {key}"),
                None => match nearest() {
                    Some(key) => format!("is not a known key; did you mean {key}?"),
                    None => "is not a known key".to_owned(),
                },
            };
            let error = InputError::new(&self.file, problem).key(leaf.key);
            return Err(match leaf.span {
                Some(span) => error.line(line_of(self.root.raw(), span)),
                None => error,
            });
        }
        match required.iter().find(|key| !matches!(self.find(key), Ok(Some(_)))) {
            Some(key) => Err(InputError::new(&self.file, "is missing and has to be given").key(*key)),
            None => Ok(()),
        }
    }

    /// Error about the value of a key, with its line and its text.
    pub fn wrong(&self, key: &str, problem: impl Into<String>) -> InputError {
        let error = InputError::new(&self.file, problem).key(key);
        let Ok(Some((item, key_span))) = self.find(key) else { return error };
        let error = match item.span().and_then(|span| self.root.raw().get(span)) {
            Some(written) => error.value(written),
            None => error,
        };
        match item.span().or(key_span) {
            Some(span) => error.line(line_of(self.root.raw(), span)),
            None => error,
        }
    }

    /// Error about one of the values inside the list at a key; `place` names the value.
    pub(crate) fn wrong_inside(&self, place: &str, value: &Value, problem: impl Into<String>) -> InputError {
        let error = InputError::new(&self.file, problem).key(place).value(self.written(value));
        match value.span() {
            Some(span) => error.line(line_of(self.root.raw(), span)),
            None => error,
        }
    }

    /// Text of a value in the document.
    pub(crate) fn written(&self, value: &Value) -> &str {
        value.span().and_then(|span| self.root.raw().get(span)).unwrap_or_default()
    }

    /// Error about a field outside its range, in SI. The field is named by its path, unit included; the range is shown in the unit in which
    /// the value was written, or in the preferred unit of its kind when the key is not given.
    pub fn out_of_range(&self, field: &str, value_si: f64, low: f64, high: f64) -> InputError {
        let (key, kind) = self.key_of(field).unwrap_or_else(|| (field.to_owned(), None));
        let unit = kind.and_then(|kind| self.unit(&key, kind));
        let show = |si: f64| unit.map_or_else(|| format!("{si}"), |unit| unit.show(si));
        let [least, most] =
            unit.map_or_else(|| [low, high].map(|si| format!("{si}")), |unit| unit.limits(low, high));
        let range = format!("must be between {least} and {most}");
        let is_it = |item: &&Value| match kind {
            Some(kind) => read_quantity(item, kind).is_ok_and(|(si, _)| si == value_si),
            None => plain_number(item) == Some(value_si),
        };
        let list = self.value(&key, kind).ok().flatten().and_then(Value::as_array);
        if let Some((index, item)) =
            list.and_then(|list| list.iter().enumerate().find(|(_, item)| is_it(item)))
        {
            return self.wrong_inside(&format!("{key}, item {}", index + 1), item, range);
        }
        match self.find(&key) {
            Ok(Some(_)) => self.wrong(&key, range),
            _ => InputError::new(&self.file, range).key(key).value(show(value_si)),
        }
    }

    /// An SI value in the unit used at this key, or in the preferred unit of the kind.
    pub(crate) fn shown(&self, key: &str, kind: Kind, si: f64) -> String {
        self.unit(key, kind).map_or_else(|| format!("{si}"), |unit| unit.show(si))
    }

    /// Unit used at this key, or the preferred unit of its kind.
    fn unit(&self, key: &str, kind: Kind) -> Option<Unit> {
        let written = || {
            let value = self.value(key, Some(kind)).ok()??;
            let first = value.as_array().map_or(Some(value), |list| list.get(0))?;
            Some(read_quantity(first, kind).ok()?.1)
        };
        written().or_else(|| Unit::preferred(kind))
    }

    /// Key that sets the field of this path, and its kind.
    pub(crate) fn key_of(&self, field: &str) -> Option<(String, Option<Kind>)> {
        let known = self.known.borrow();
        let (key, known) = known.iter().find(|(_, known)| known.field == field)?;
        Some((key.clone(), known.kind))
    }

    /// Registers a key as known, with its kind once that is given.
    pub(crate) fn note(&self, key: &str, kind: Option<Kind>, field: &str) {
        let known = Known { kind, field: field.to_owned() };
        let mut all = self.known.borrow_mut();
        let noted = all.entry(key.to_owned()).or_insert_with(|| known.clone());
        if noted.kind.is_none() && kind.is_some() {
            *noted = known;
        }
    }

    /// Value at a key, if the key is present.
    pub(crate) fn value(&self, key: &str, kind: Option<Kind>) -> Result<Option<&Value>, InputError> {
        self.note(key, kind, &format!("{key}{}", kind.map_or("", Kind::suffix)));
        match self.find(key)? {
            None => Ok(None),
            Some((item, _)) => match item.as_value() {
                Some(value) if !value.is_inline_table() => Ok(Some(value)),
                _ => Err(self.wrong(key, "must be a single value, not a section")),
            },
        }
    }

    /// Item at a key, and the position of the key.
    fn find(&self, key: &str) -> Result<Option<Found<'_>>, InputError> {
        let mut table: &dyn TableLike = self.root.as_table();
        let mut parts = key.split('.').peekable();
        let mut walked = String::new();
        while let Some(part) = parts.next() {
            let Some((written, item)) = table.get_key_value(part) else { return Ok(None) };
            if parts.peek().is_none() {
                return Ok(Some((item, written.span())));
            }
            walked.push_str(part);
            if let Some(sections) = item.as_array_of_tables() {
                let number = parts.next().and_then(|number| number.parse::<usize>().ok());
                let section = number.and_then(|number| sections.get(number.checked_sub(1)?));
                let Some(section) = section else { return Ok(None) };
                table = section;
                walked.push('.');
                continue;
            }
            table = item.as_table_like().ok_or_else(|| {
                let error = InputError::new(&self.file, "must be a section in brackets").key(walked.as_str());
                match written.span() {
                    Some(span) => error.line(line_of(self.root.raw(), span)),
                    None => error,
                }
            })?;
            walked.push('.');
        }
        Ok(None)
    }
}

/// Path in a section; `""` is the whole document.
pub(crate) fn inside(section: &str, path: &str) -> String {
    if section.is_empty() { path.to_owned() } else { format!("{section}.{path}") }
}

/// A value, or an empty section, at the end of its path.
struct Leaf {
    key: String,
    span: Option<Range<usize>>,
    empty_section: bool,
}

fn list_leaves(table: &dyn TableLike, path: &str, leaves: &mut Vec<Leaf>) {
    for (name, item) in table.iter() {
        let key = if path.is_empty() { name.to_owned() } else { format!("{path}.{name}") };
        if let Some(sections) = item.as_array_of_tables() {
            for (index, section) in sections.iter().enumerate() {
                list_leaves(section, &format!("{key}.{}", index + 1), leaves);
            }
            continue;
        }
        match item.as_table_like() {
            Some(inner) if !inner.is_empty() => list_leaves(inner, &key, leaves),
            _ => {
                let span = table.key(name).and_then(toml_edit::Key::span).or_else(|| item.span());
                leaves.push(Leaf { key, span, empty_section: item.is_table_like() });
            }
        }
    }
}

/// A number without a unit.
pub(crate) fn plain_number(value: &Value) -> Option<f64> {
    value.as_float().or_else(|| value.as_integer().map(|number| number as f64))
}

/// The decimal number that a constant of any precision was written as.
pub(crate) fn decimal(value: impl Display) -> f64 {
    value.to_string().parse().unwrap_or(f64::NAN)
}

/// Reads a quantity and the unit it is written in.
pub(crate) fn read_quantity(value: &Value, kind: Kind) -> Result<(f64, Unit), UnitError> {
    match (plain_number(value), value.as_str()) {
        (Some(number), _) if kind == Kind::Ratio && number.is_finite() => {
            Ok((number, Unit::preferred(kind).ok_or(UnitError::NoUnit(kind))?))
        }
        (Some(number), _) if number.is_finite() => Err(UnitError::NoUnit(kind)),
        (_, Some(text)) => parse(kind, text).map(|quantity| (quantity.si, quantity.unit)),
        _ => Err(UnitError::NoNumber(kind)),
    }
}

/// Line, from 1, in which a span starts.
fn line_of(text: &str, span: Range<usize>) -> usize {
    text.bytes().take(span.start).filter(|byte| *byte == b'\n').count() + 1
}

#[cfg(test)]
mod tests;
