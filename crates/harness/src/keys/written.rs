//! Parameter values as written in files.

use crate::block_reader::Scalar;
use crate::document::decimal;
use crate::measure::Measure;
use crate::units::{Unit, UnitSystem};
use trimwright_numerics::parameters::{ParameterInfo, Range, Shape, Value};

/// A value, or a part of a table, as written in a file.
#[derive(Clone, Debug, PartialEq)]
pub struct FileLine {
    /// Part of a table: `columns`, `rows` or `values`; otherwise empty.
    pub part: &'static str,
    /// Items of a list, or the single value.
    pub items: Vec<String>,
    /// True for a list.
    pub is_list: bool,
}

impl FileLine {
    pub(super) fn new(text: impl Into<String>) -> Self {
        Self { part: "", items: vec![text.into()], is_list: false }
    }

    fn list(part: &'static str, items: Vec<String>) -> Self {
        Self { part, items, is_list: true }
    }

    /// The value in one line.
    pub fn text(&self) -> String {
        let items = self.items.join(", ");
        if self.is_list { format!("[{items}]") } else { items }
    }
}

/// Numbers of one measure, written in the same unit.
struct NumberFormat {
    measure: Measure,
    unit: Option<Unit>,
}

impl NumberFormat {
    fn of<T: Scalar>(range: &Range<T>, system: UnitSystem, numbers: impl Iterator<Item = T>) -> Self {
        let measure = Measure::of(range);
        let largest = numbers.fold(0.0_f64, |most, number| most.max(decimal(number).abs()));
        let largest = if largest == 0.0 { measure.high } else { largest };
        Self { measure, unit: measure.unit(system, largest) }
    }

    fn number<T: Scalar>(&self, number: T) -> String {
        self.measure.written(self.unit, number)
    }

    fn numbers<T: Scalar>(&self, numbers: &[T]) -> Vec<String> {
        numbers.iter().map(|number| self.number(*number)).collect()
    }
}

/// Number of values without trailing repetitions, at least two.
fn without_repeated<V: PartialEq>(values: &[V]) -> usize {
    let repeated = values.windows(2).rev().take_while(|pair| pair.first() == pair.last()).count();
    (values.len() - repeated).max(values.len().min(2))
}

/// Lines of a value.
pub(super) fn value<T: Scalar>(
    info: &ParameterInfo<T>,
    value: Value<'_, T>,
    system: UnitSystem,
) -> Vec<FileLine> {
    let one = |text: String| vec![FileLine::new(text)];
    match (value, info.shape) {
        (Value::Number(number), _) => {
            one(NumberFormat::of(&info.range, system, std::iter::once(number)).number(number))
        }
        (Value::Whole(number), _) => one(number.to_string()),
        (Value::Flag(flag), _) => one(flag.to_string()),
        (Value::Choice(chosen), Shape::Choice(words)) => {
            words.get(chosen).map_or_else(Vec::new, |word| one(format!("{word:?}")))
        }
        (Value::List(numbers), _) => {
            let format = NumberFormat::of(&info.range, system, numbers.iter().copied());
            vec![FileLine::list("", format.numbers(numbers))]
        }
        (Value::Curve(points), Shape::Curve(_, axis)) => {
            let places = NumberFormat::of(&axis, system, points.iter().map(|(place, _)| *place));
            let values = NumberFormat::of(&info.range, system, points.iter().map(|(_, value)| *value));
            let point =
                |(place, value): &(T, T)| format!("[{}, {}]", places.number(*place), values.number(*value));
            vec![FileLine::list("", points.iter().take(without_repeated(points)).map(point).collect())]
        }
        (Value::Table(x, y, cells), Shape::Table(_, [x_axis, y_axis])) => {
            let [columns, rows] = [(x, x_axis), (y, y_axis)].map(|(places, axis)| {
                let count = without_repeated(places);
                NumberFormat::of(&axis, system, places.iter().copied())
                    .numbers(places.get(..count).unwrap_or(places))
            });
            let format = NumberFormat::of(&info.range, system, cells.iter().copied());
            let row = |cells: &[T]| {
                let cells = format.numbers(cells.get(..columns.len()).unwrap_or(cells));
                format!("[{}]", cells.join(", "))
            };
            let values = cells.chunks(x.len().max(1)).take(rows.len()).map(row).collect();
            vec![
                FileLine::list("columns", columns),
                FileLine::list("rows", rows),
                FileLine::list("values", values),
            ]
        }
        _ => Vec::new(),
    }
}
