//! One key of a file: allowed values, present value, meaning.

use super::written::{self, FileLine};
use crate::block_reader::{Aliases, Scalar, key_of};
use crate::document::inside;
use crate::measure::Measure;
use crate::units::UnitSystem;
use trimwright_numerics::parameters::{Block, ParameterInfo, Shape, Value};

/// A key of a file.
///
/// ```
/// use trimwright_control::Parameters;
/// use trimwright_harness::{keys, units::UnitSystem};
/// let parameters = Parameters::DEFAULT;
/// let feedback = keys::of_block(&parameters.feedback, "calibration", &[], UnitSystem::Si);
/// let hold = feedback.iter().find(|key| key.path == "calibration.feedback.hold").expect("a key");
/// assert_eq!((hold.lines[0].text().as_str(), hold.allowed(UnitSystem::Si).as_str()), ("\"10 s\"", "0 s to 600 s"));
/// ```
#[derive(Clone, Debug, PartialEq)]
pub struct FileKey {
    /// Path: sections and key, separated by dots.
    pub path: String,
    /// One sentence of description.
    pub about: &'static str,
    /// Source of the default; empty when there is none to name.
    pub source: &'static str,
    /// Present value as written in a file: one line, three for a table, none without a value.
    pub lines: Vec<FileLine>,
    pub(super) wanted: AllowedValue,
}

/// Allowed values of a key.
#[derive(Clone, Debug, PartialEq)]
pub(super) enum AllowedValue {
    Text,
    Flag,
    Whole(i64, i64),
    Choice(Vec<&'static str>),
    Quantity(Measure),
    /// Strength of a fault, in the unit of its kind.
    Strength,
    /// Shortest and longest length, and each item.
    List([usize; 2], Measure),
    Curve(usize, Measure, Measure),
    Table([usize; 2], [Measure; 2], Measure),
}

impl AllowedValue {
    fn of<T: Scalar>(info: &ParameterInfo<T>) -> Self {
        let measure = Measure::of(&info.range);
        match info.shape {
            Shape::Number => Self::Quantity(measure),
            Shape::Whole => Self::Whole(measure.low as i64, measure.high as i64),
            Shape::Flag => Self::Flag,
            Shape::Choice(words) => Self::Choice(words.to_vec()),
            Shape::List(room) => Self::List([room; 2], measure),
            Shape::Curve(room, axis) => Self::Curve(room, Measure::of(&axis), measure),
            Shape::Table(room, axes) => Self::Table(room, axes.each_ref().map(Measure::of), measure),
        }
    }
}

impl FileKey {
    pub(super) fn new(path: impl Into<String>, wanted: AllowedValue, about: &'static str) -> Self {
        Self { path: path.into(), about, source: "", lines: Vec::new(), wanted }
    }

    pub(super) fn by_default(self, text: impl Into<String>) -> Self {
        Self { lines: vec![FileLine::new(text)], ..self }
    }

    /// Key of a parameter, with its value.
    pub(super) fn of<T: Scalar>(
        info: &ParameterInfo<T>,
        value: Value<'_, T>,
        path: String,
        system: UnitSystem,
    ) -> Self {
        let lines = written::value(info, value, system);
        Self { path, about: info.about, source: info.source, lines, wanted: AllowedValue::of(info) }
    }

    /// The value in one line; empty without one.
    pub fn value(&self) -> String {
        let line = |line: &FileLine| match line.part {
            "" => line.text(),
            part => format!("{part} = {}", line.text()),
        };
        self.lines.iter().map(line).collect::<Vec<_>>().join(", ")
    }

    /// The allowed values in words.
    pub fn allowed(&self, system: UnitSystem) -> String {
        match &self.wanted {
            AllowedValue::Text => "a text".to_owned(),
            AllowedValue::Flag => "true or false".to_owned(),
            AllowedValue::Whole(low, high) => format!("a whole number, {low} to {high}"),
            AllowedValue::Choice(words) => {
                words.iter().map(|word| format!("{word:?}")).collect::<Vec<_>>().join(", ")
            }
            AllowedValue::Quantity(measure) => measure.range(system),
            AllowedValue::Strength => "depends on the kind".to_owned(),
            AllowedValue::List([least, most], measure) => {
                let length = if least == most { most.to_string() } else { format!("{least} to {most}") };
                format!("a list of {length}, each {}", measure.range(system))
            }
            AllowedValue::Curve(room, axis, measure) => {
                format!("2 to {room} points [{}, {}]", axis.range(system), measure.range(system))
            }
            AllowedValue::Table([width, height], [x, y], measure) => format!(
                "up to {width} columns of {}, up to {height} rows of {}, values of {}",
                x.range(system),
                y.range(system),
                measure.range(system)
            ),
        }
    }
}

/// Keys of a block with their values, below `section` (`""` is the whole document).
///
/// ```
/// use trimwright_control::SetupAnswers;
/// use trimwright_harness::{keys, units::UnitSystem};
/// let paths = keys::of_block(&SetupAnswers::default(), "", &[], UnitSystem::Us);
/// assert!(paths.iter().any(|key| key.path == "setup.idle_speed" && key.value() == "\"699.96344 rpm\""));
/// ```
pub fn of_block<T: Scalar>(
    block: &dyn Block<T>,
    section: &str,
    aliases: Aliases<'_>,
    system: UnitSystem,
) -> Vec<FileKey> {
    let key = |(place, info): (usize, &ParameterInfo<T>)| {
        let path = inside(section, key_of(info, aliases)?);
        Some(FileKey::of(info, block.value(place)?, path, system))
    };
    block.info().iter().enumerate().filter_map(key).collect()
}
