//! Reads one section of a document into a block of parameters.
//!
//! Keys come from the block's table: a parameter's name without its unit (`hold_s` is `hold`), or with it where no other unit is in use
//! (`authority_ln`). Every key is optional. Syntax of each shape:
//!
//! ```toml
//! [calibration.stage]
//! number = "10 s"
//! whole = 2
//! flag = true
//! choice = "one of its words"
//! list = ["1 V", "2 V"]
//! curve = [["0.5 V", "10 kPa"], ["4.5 V", "110 kPa"]] # two points or more, places rising
//!
//! [calibration.stage.table] # or in braces; values alone keep the places that the columns and rows have
//! columns = ["1000 rpm", "4000 rpm"]
//! rows = ["30 kPa", "100 kPa"]
//! values = [["30 deg", "40 deg"], ["20 deg", "30 deg"]]
//! ```

use crate::document::{Document, inside};
use crate::error::InputError;
use crate::measure::Measure;
pub use crate::measure::Scalar;
use crate::units::Kind;
use toml_edit::{Array, Value};
use trimwright_numerics::parameters::{Block, ParameterInfo, Shape, Slot};

/// Keys that differ from the parameter's name: its path (`"fuel_system.fuel_k"`) and the key below the same section
/// (`"fuel_system.fuel_temperature"`). A parameter with an empty key is not read.
pub type Aliases<'a> = &'a [(&'a str, &'a str)];

/// Key of a parameter, with its stage in front; `None` for an empty alias.
pub fn key_of<'a, T>(info: &ParameterInfo<T>, aliases: Aliases<'a>) -> Option<&'a str> {
    match aliases.iter().find(|(path, _)| *path == info.path) {
        Some((_, "")) => None,
        Some((_, key)) => Some(key),
        None => {
            let suffix = Kind::of(info.range.unit).map_or("", Kind::suffix);
            Some(info.path.strip_suffix(suffix).unwrap_or(info.path))
        }
    }
}

/// Reads a block from its section below `section` (`""` is the whole document). Parameters that are not given keep their values; after an
/// error all of them do.
///
/// # Errors
///
/// When a value has the wrong shape, unit or length, or is out of range; the error names file, line, key, value and what is allowed.
pub fn read<T: Scalar>(
    document: &Document,
    section: &str,
    block: &mut dyn Block<T>,
    aliases: Aliases<'_>,
) -> Result<(), InputError> {
    let mut given = Vec::new();
    for (place, info) in block.info().iter().enumerate() {
        if let Some(key) = key_of(info, aliases) {
            let reader = Reader { document, key: inside(section, key) };
            reader.note(info, &inside(section, info.path));
            if let Some(value) = reader.read(info, block.slot(place))? {
                given.push((place, value));
            }
        }
    }
    for (place, value) in given {
        if let Some(slot) = block.slot(place) {
            value.store(slot);
        }
    }
    Ok(())
}

/// Value of one parameter as read from the document.
enum Given<T> {
    Number(T),
    Whole(u64),
    Flag(bool),
    Choice(usize),
    List(Vec<T>),
    Curve(Vec<(T, T)>),
    /// Breakpoints of columns and rows if given, and the values row by row.
    Table(Option<Vec<T>>, Option<Vec<T>>, Vec<Vec<T>>),
}

impl<T: Copy> Given<T> {
    /// Stores the value in its slot; the shapes match because it was read for this slot.
    fn store(self, slot: Slot<'_, T>) {
        match (self, slot) {
            (Self::Number(number), Slot::Number(place)) => *place = number,
            (Self::Whole(number), Slot::Whole(place)) => _ = place.set(number),
            (Self::Flag(flag), Slot::Flag(place)) => *place = flag,
            (Self::Choice(chosen), Slot::Choice(place)) => _ = place.choose(chosen),
            (Self::List(numbers), Slot::List(places)) => fill(places, &numbers),
            (Self::Curve(points), Slot::Curve(places)) => fill(places, &points),
            (Self::Table(columns, rows, values), Slot::Table(x, y, cells)) => {
                let width = x.len().max(1);
                columns.iter().for_each(|columns| fill(x, columns));
                rows.iter().for_each(|rows| fill(y, rows));
                for (row, cells) in cells.chunks_mut(width).enumerate() {
                    if let Some(values) = values.get(row).or(values.last()) {
                        fill(cells, values);
                    }
                }
            }
            _ => {}
        }
    }
}

/// Copies values; the last one is repeated to fill the rest.
fn fill<V: Copy>(places: &mut [V], values: &[V]) {
    for (index, place) in places.iter_mut().enumerate() {
        if let Some(value) = values.get(index).or(values.last()) {
            *place = *value;
        }
    }
}

/// Reader of one parameter.
struct Reader<'a> {
    document: &'a Document,
    key: String,
}

impl Reader<'_> {
    /// Registers the keys that may give the parameter.
    fn note<T: Scalar>(&self, info: &ParameterInfo<T>, field: &str) {
        let kind = Kind::of(info.range.unit);
        match info.shape {
            Shape::Table(_, [x, y]) => {
                for (part, kind) in
                    [("columns", Kind::of(x.unit)), ("rows", Kind::of(y.unit)), ("values", kind)]
                {
                    self.document.note(&inside(&self.key, part), kind, &inside(field, part));
                }
            }
            Shape::Number | Shape::List(_) | Shape::Curve(..) => self.document.note(&self.key, kind, field),
            Shape::Whole | Shape::Flag | Shape::Choice(_) => self.document.note(&self.key, None, field),
        }
    }

    fn read<T: Scalar>(
        &self,
        info: &ParameterInfo<T>,
        slot: Option<Slot<'_, T>>,
    ) -> Result<Option<Given<T>>, InputError> {
        let measure = Measure::of(&info.range);
        if let Shape::Table(room, axes) = info.shape {
            return self.table(room, axes.each_ref().map(Measure::of), measure);
        }
        let (document, key) = (self.document, &self.key);
        let Some(value) = document.value(key, None)? else { return Ok(None) };
        Ok(Some(match info.shape {
            Shape::Number => {
                Given::Number(measure.read(value).map_err(|problem| document.wrong(key, problem))?)
            }
            Shape::Whole => {
                let (low, high) = (measure.low as i64, measure.high as i64);
                let mut number = 0_i64;
                document.whole(key, (low, high), &mut number)?;
                // The integer type may be narrower than the range.
                let holds = |slot| match slot {
                    Slot::Whole(place) => {
                        let (before, number) = (place.get(), number.unsigned_abs());
                        place.set(number) && place.set(before)
                    }
                    _ => false,
                };
                if !slot.is_some_and(holds) {
                    return Err(document.wrong(key, "is too large a number"));
                }
                Given::Whole(number.unsigned_abs())
            }
            Shape::Flag => {
                let mut flag = false;
                document.flag(key, &mut flag)?;
                Given::Flag(flag)
            }
            Shape::Choice(words) => {
                let words: Vec<(&str, usize)> =
                    words.iter().enumerate().map(|(place, word)| (*word, place)).collect();
                let mut chosen = 0;
                document.choice(key, &words, &mut chosen)?;
                Given::Choice(chosen)
            }
            Shape::List(room) => {
                let list = self.list(key, value, room..=room, &format!("each {}", measure.name()))?;
                Given::List(self.numbers(key, "item", list, measure)?)
            }
            Shape::Curve(room, axis) => self.curve(value, room, Measure::of(&axis), measure)?,
            Shape::Table(..) => return Ok(None),
        }))
    }

    /// Returns the list at a key after checking its length.
    fn list<'v>(
        &self,
        key: &str,
        value: &'v Value,
        length: std::ops::RangeInclusive<usize>,
        each: &str,
    ) -> Result<&'v Array, InputError> {
        value.as_array().filter(|list| length.contains(&list.len())).ok_or_else(|| {
            let (least, most) = length.into_inner();
            let wanted = if least == most { most.to_string() } else { format!("{least} to {most}") };
            self.document.wrong(key, format!("must be a list of {wanted} in brackets, {each}"))
        })
    }

    fn numbers<T: Scalar>(
        &self,
        key: &str,
        what: &str,
        list: &Array,
        measure: Measure,
    ) -> Result<Vec<T>, InputError> {
        let number = |(index, value): (usize, &Value)| {
            let wrong =
                |problem| self.document.wrong_inside(&format!("{key}, {what} {}", index + 1), value, problem);
            measure.read(value).map_err(wrong)
        };
        list.iter().enumerate().map(number).collect()
    }

    fn curve<T: Scalar>(
        &self,
        value: &Value,
        room: usize,
        axis: Measure,
        measure: Measure,
    ) -> Result<Given<T>, InputError> {
        let pair = format!("{} and {}", axis.name(), measure.name());
        let each = format!("each a point [place, value] of {pair}");
        let list = self.list(&self.key, value, 2.min(room)..=room, &each)?;
        let (mut points, mut places) = (Vec::new(), RisingPlaces { before: None });
        for (index, point) in list.iter().enumerate() {
            let name = format!("{}, point {}", self.key, index + 1);
            let [at, value] =
                point.as_array().and_then(|pair| Some([pair.get(0)?, pair.get(1)?])).ok_or_else(|| {
                    let problem = format!("must be a pair in brackets, {pair}");
                    self.document.wrong_inside(&name, point, problem)
                })?;
            let wrong = |value, problem| self.document.wrong_inside(&name, value, problem);
            let place = axis.read(at).map_err(|problem| wrong(at, problem))?;
            places.next(self.document, &name, at, place)?;
            points.push((place, measure.read(value).map_err(|problem| wrong(value, problem))?));
        }
        Ok(Given::Curve(points))
    }

    fn table<T: Scalar>(
        &self,
        room: [usize; 2],
        axes: [Measure; 2],
        measure: Measure,
    ) -> Result<Option<Given<T>>, InputError> {
        let document = self.document;
        let [columns, rows, values] = ["columns", "rows", "values"].map(|part| inside(&self.key, part));
        let axis = |key: &str, room, axis: Measure, what| -> Result<Option<Vec<T>>, InputError> {
            let Some(value) = document.value(key, None)? else { return Ok(None) };
            let list = self.list(key, value, 2.min(room)..=room, &format!("each {}", axis.name()))?;
            let numbers = self.numbers(key, what, list, axis)?;
            let mut places = RisingPlaces { before: None };
            for (index, (value, place)) in list.iter().zip(&numbers).enumerate() {
                places.next(document, &format!("{key}, {what} {}", index + 1), value, *place)?;
            }
            Ok(Some(numbers))
        };
        let x = axis(&columns, room[0], axes[0], "column")?;
        let y = axis(&rows, room[1], axes[1], "row")?;
        let Some(value) = document.value(&values, None)? else {
            return match [(x.is_some(), &columns), (y.is_some(), &rows)].into_iter().find(|(given, _)| *given)
            {
                Some((_, key)) => Err(document.wrong(key, format!("needs {values} beside it"))),
                None => Ok(None),
            };
        };
        let [width, height] = [(&x, room[0]), (&y, room[1])]
            .map(|(axis, room)| axis.as_ref().map_or(room, |places| places.len()));
        let each = format!("a row each, of {width} in brackets, each {}", measure.name());
        let mut cells = Vec::new();
        for (index, row) in self.list(&values, value, height..=height, &each)?.iter().enumerate() {
            let name = format!("{values}, row {}", index + 1);
            let row = row.as_array().filter(|row| row.len() == width).ok_or_else(|| {
                let problem = format!("must be a list of {width} in brackets, each {}", measure.name());
                document.wrong_inside(&name, row, problem)
            })?;
            cells.push(self.numbers(&name, "column", row, measure)?);
        }
        Ok(Some(Given::Table(x, y, cells)))
    }
}

/// Checks that breakpoints rise.
struct RisingPlaces<T> {
    before: Option<(T, String)>,
}

impl<T: Scalar> RisingPlaces<T> {
    fn next(&mut self, document: &Document, name: &str, value: &Value, place: T) -> Result<(), InputError> {
        let written = document.written(value).to_owned();
        match self.before.replace((place, written)) {
            Some((before, written)) if place <= before => {
                let problem = format!("must be above the place before it, which is {written}");
                Err(document.wrong_inside(name, value, problem))
            }
            _ => Ok(()),
        }
    }
}

#[cfg(test)]
mod tests;
