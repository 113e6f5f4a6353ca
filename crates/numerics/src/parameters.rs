//! Registry of parameters: each is defined once, with default, range, unit, source and meaning, beside the code that uses it.
//!
//! [`parameters!`](macro@crate::parameters) defines a stage's block: the struct, its default as a constant (so that it can stay in flash),
//! [`Block`] for access by index, and the static table of [`ParameterInfo`] from which file readers, help and documents are generated.
//! [`blocks!`](crate::blocks) defines a struct of blocks.
//!
//! | shape | field | written |
//! |---|---|---|
//! | `number` | `T` | `{ 0.3, 0.0..=2.0 "s", "source" }` |
//! | `whole` | any unsigned integer | `{ u8 = 5, 1..=20 "1", "source" }` |
//! | `flag` | `bool` | `{ true, "source" }` |
//! | `choice` | an enum with [`Choice`](crate::choice) | `{ Cam = Cam::Stock, "source" }` |
//! | `list` | `[T; N]` | `{ [2] = [1.0, 2.0], 0.0..=5.0 "V", "source" }` |
//! | `curve` | `[(T, T); N]` | `{ [2] = [(0.5, 10e3), (4.5, 110e3)], 0.0..=5.0 "V" => 0.0..=300e3 "Pa", "source" }` |
//! | `table` | [`Table`]`<T, X, Y>` | `{ [2, 2] = ([0.0, 1.0], [0.0, 1.0], [[1.0; 2]; 2]), 0.0..=9.0 "V", 0.0..=9.0 "K" => 0.0..=2.0 "1", "source" }` |
//!
//! ```
//! use trimwright_numerics::parameters::Block;
//! trimwright_numerics::parameters! {
//!     /// Short-term trim.
//!     pub struct TrimParameters<f32> "trim" {
//!         /// Shortest time constant of the loop, s.
//!         number shortest_s { 0.3, 0.05..=5.0 "s", "engineering judgement" }
//!     }
//! }
//! let slow = TrimParameters { shortest_s: 9.0, ..TrimParameters::DEFAULT };
//! assert_eq!(slow.check().unwrap_err().to_string(), "trim.shortest_s is 9, allowed is 0.05 to 5 s");
//! assert_eq!(TrimParameters::INFO[0].about, "Shortest time constant of the loop, s.");
//! ```

use core::fmt;

use crate::Real;

/// Description of one parameter, for file readers, help and documents.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct ParameterInfo<T: 'static> {
    /// Name of the field, with its unit as a suffix.
    pub name: &'static str,
    /// Stage and field, `stage.field`.
    pub path: &'static str,
    /// Shape of its value.
    pub shape: Shape<T>,
    /// Range of each of its values, in the unit.
    pub range: Range<T>,
    /// Where its default comes from: a citation, "engineering judgement" or "common practice, no source".
    pub source: &'static str,
    /// Its meaning, in a sentence.
    pub about: &'static str,
}

/// Lowest and highest value, and the SI unit of both; `"1"` for ratios and counts.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Range<T> {
    /// Lowest value allowed.
    pub min: T,
    /// Highest value allowed.
    pub max: T,
    /// SI unit; angles in degrees.
    pub unit: &'static str,
}

/// Shape of a parameter's value.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum Shape<T: 'static> {
    /// One number.
    Number,
    /// One whole number.
    Whole,
    /// True or false.
    Flag,
    /// One of these words.
    Choice(&'static [&'static str]),
    /// A list of this many numbers.
    List(usize),
    /// Up to this many points, linear between them, over rising breakpoints in this range.
    Curve(usize, Range<T>),
    /// Columns by rows, bilinear between them, over rising breakpoints in these ranges.
    Table([usize; 2], [Range<T>; 2]),
}

/// Read access to a parameter's value.
#[derive(Clone, Copy)]
pub enum Value<'a, T> {
    /// One number.
    Number(T),
    /// One whole number.
    Whole(u64),
    /// True or false.
    Flag(bool),
    /// Index of the word.
    Choice(usize),
    /// Numbers.
    List(&'a [T]),
    /// Points.
    Curve(&'a [(T, T)]),
    /// Breakpoints of the columns and of the rows, and the cells row by row.
    Table(&'a [T], &'a [T], &'a [T]),
}

/// Write access to a parameter's value.
pub enum Slot<'a, T> {
    /// One number.
    Number(&'a mut T),
    /// One whole number.
    Whole(&'a mut dyn Whole),
    /// True or false.
    Flag(&'a mut bool),
    /// One of some words.
    Choice(&'a mut dyn Choice),
    /// Numbers.
    List(&'a mut [T]),
    /// Points. Fewer than the capacity are filled up by repeating the last one.
    Curve(&'a mut [(T, T)]),
    /// Breakpoints of the columns and of the rows, and the cells row by row.
    Table(&'a mut [T], &'a mut [T], &'a mut [T]),
}

/// An unsigned integer of any width.
pub trait Whole {
    /// The number.
    fn get(&self) -> u64;
    /// Sets the number; `false` when it does not fit.
    fn set(&mut self, number: u64) -> bool;
}

macro_rules! whole {
    ($($t:ty)*) => {$(
        impl Whole for $t {
            fn get(&self) -> u64 {
                u64::from(*self)
            }
            fn set(&mut self, number: u64) -> bool {
                <$t>::try_from(number).map(|number| *self = number).is_ok()
            }
        }
    )*};
}
whole!(u8 u16 u32 u64);

/// An enum whose variants have words in files; implemented by [`choice!`](crate::choice).
pub trait Choice {
    /// The words.
    fn words(&self) -> &'static [&'static str];
    /// Index of the variant in effect.
    fn chosen(&self) -> usize;
    /// Sets the variant with this index; `false` when there is none.
    fn choose(&mut self, place: usize) -> bool;
}

/// Implements [`Choice`](crate::parameters::Choice) for an enum without fields.
///
/// ```
/// use trimwright_numerics::parameters::Choice;
/// #[derive(Clone, Copy, Debug, PartialEq)]
/// enum Supply {
///     Return,
///     AtTank,
/// }
/// trimwright_numerics::choice!(Supply { Return = "return", AtTank = "regulated at tank" });
/// let mut supply = Supply::Return;
/// assert!(supply.choose(1) && supply == Supply::AtTank && !supply.choose(2));
/// assert_eq!(supply.words()[supply.chosen()], "regulated at tank");
/// ```
#[macro_export]
macro_rules! choice {
    ($name:ident { $($variant:ident = $word:literal),+ $(,)? }) => {
        impl $name {
            /// The words of the variants in files and documents, in order.
            pub const WORDS: &'static [&'static str] = &[$($word),+];
        }
        impl $crate::parameters::Choice for $name {
            fn words(&self) -> &'static [&'static str] {
                Self::WORDS
            }
            fn chosen(&self) -> usize {
                [$($name::$variant),+].iter().position(|one| one == self).unwrap_or(0)
            }
            fn choose(&mut self, place: usize) -> bool {
                [$($name::$variant),+].get(place).map(|one| *self = *one).is_some()
            }
        }
    };
}

/// Lookup table over two axes, bilinear between breakpoints, with its end values outside.
///
/// ```
/// use trimwright_numerics::parameters::Table;
/// let table = Table { x: [0.0, 10.0], y: [0.0, 1.0], cells: [[1.0, 2.0], [3.0, 4.0]] };
/// assert_eq!(table.at(5.0, 0.5), 2.5);
/// assert_eq!(table.at(-9.0, 7.0), 3.0);
/// ```
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Table<T, const X: usize, const Y: usize> {
    /// Breakpoints of the columns, rising.
    pub x: [T; X],
    /// Breakpoints of the rows, rising.
    pub y: [T; Y],
    /// The values: a row for each breakpoint of `y`.
    pub cells: [[T; X]; Y],
}

impl<T: Real, const X: usize, const Y: usize> Table<T, X, Y> {
    /// The value at a point; NaN gives the first row or column.
    pub fn at(&self, x: T, y: T) -> T {
        let row = |row: &[T; X]| between(self.x.iter().copied().zip(row.iter().copied()), x);
        between(self.y.iter().copied().zip(self.cells.iter().map(row)), y)
    }
}

/// The value of a curve at `x`: linear between points of rising places, held at both ends. NaN gives the first value.
///
/// ```
/// use trimwright_numerics::parameters::along;
/// let lambda = [(0.86, 1.0), (0.95, 0.88), (1.0, 0.87)];
/// assert_eq!([0.2, 0.95, 1.2].map(|load| along(&lambda, load)), [1.0, 0.88, 0.87]);
/// ```
// Out of line, as is the other: each is called from dozens of places, and a controller's flash is small.
#[inline(never)]
pub fn along<T: Real>(points: &[(T, T)], x: T) -> T {
    let [first, rest @ ..] = points else { return T::ZERO };
    #[expect(clippy::neg_cmp_op_on_partial_ord, reason = "what is no number gets the first value, too")]
    if !(x > first.0) {
        return first.1;
    }
    let mut low = first;
    // A warm engine is beyond the end of most curves: it need not look at all the points, nor at what fills the room up.
    if let [.., last] = rest
        && x < last.0
    {
        for high in rest {
            if x < high.0 {
                return low.1 + (x - low.0) / (high.0 - low.0) * (high.1 - low.1);
            }
            low = high;
        }
    }
    rest.last().map_or(first.1, |last| last.1)
}

#[inline]
fn between<T: Real>(points: impl Iterator<Item = (T, T)>, x: T) -> T {
    let mut before: Option<(T, T)> = None;
    for (point, value) in points {
        let Some((low, low_value)) = before else {
            #[expect(
                clippy::neg_cmp_op_on_partial_ord,
                reason = "what is no number gets the first value, too"
            )]
            if !(x > point) {
                return value;
            }
            before = Some((point, value));
            continue;
        };
        if x < point {
            return low_value + (x - low) / (point - low) * (value - low_value);
        }
        before = Some((point, value));
    }
    before.map_or(T::ZERO, |(_, value)| value)
}

/// The value at `x` of a curve, linear between points and extrapolated beyond both ends, as a sensor's curve is. NaN stays NaN.
///
/// ```
/// use trimwright_numerics::parameters::along_beyond;
/// let map_pa = [(0.5, 10e3), (4.5, 110e3)];
/// assert_eq!(along_beyond(&map_pa, 4.7), 115e3);
/// ```
#[inline(never)]
pub fn along_beyond<T: Real>(points: &[(T, T)], x: T) -> T {
    let [first, rest @ ..] = points else { return T::ZERO };
    let (mut low, mut high) = (first, rest.first().unwrap_or(first));
    for pair in rest.windows(2) {
        let [from, to] = pair else { continue };
        #[expect(clippy::neg_cmp_op_on_partial_ord, reason = "what is no number stays on the first piece")]
        if !(from.0 <= x) {
            break;
        }
        // What fills the room up repeats the last point.
        if from.0 < to.0 {
            (low, high) = (from, to);
        }
    }
    if low.0 < high.0 { low.1 + (x - low.0) * ((high.1 - low.1) / (high.0 - low.0)) } else { low.1 }
}

/// A parameter out of its range.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct OutOfRange<T: 'static> {
    /// Stage and field, `stage.field`.
    pub path: &'static str,
    /// The problem.
    pub problem: Problem<T>,
}

/// Problem of a parameter's value.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum Problem<T> {
    /// This value is not in this range.
    Outside(T, Range<T>),
    /// The breakpoint at this index of a curve or table is below the one before it.
    NotRising(usize),
}

impl<T: fmt::Display> fmt::Display for OutOfRange<T> {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match &self.problem {
            Problem::Outside(value, Range { min, max, unit }) => {
                write!(f, "{} is {value}, allowed is {min} to {max}", self.path)?;
                if *unit == "1" { Ok(()) } else { write!(f, " {unit}") }
            }
            Problem::NotRising(index) => write!(f, "{}: place {index} is below the one before it", self.path),
        }
    }
}

impl<T: fmt::Debug + fmt::Display> core::error::Error for OutOfRange<T> {}

/// Access to a stage's parameters by index.
pub trait Block<T: Real + 'static> {
    /// The stage's name, as files and documents write it.
    fn stage(&self) -> &'static str;
    /// Descriptions of the parameters, in the order of their index.
    fn info(&self) -> &'static [ParameterInfo<T>];
    /// The value of the parameter with this index.
    fn value(&self, place: usize) -> Option<Value<'_, T>>;
    /// Write access to the parameter with this index.
    fn slot(&mut self, place: usize) -> Option<Slot<'_, T>>;

    /// Checks every parameter.
    ///
    /// # Errors
    /// [`OutOfRange`] for the first parameter that is out of its range.
    fn check(&self) -> Result<(), OutOfRange<T>> {
        self.info()
            .iter()
            .enumerate()
            .try_for_each(|(place, info)| self.value(place).map_or(Ok(()), |value| info.check(value)))
    }
}

impl<T: Real + 'static> ParameterInfo<T> {
    /// Checks a value of this parameter.
    ///
    /// # Errors
    /// [`OutOfRange`] when the value, or one of several, is out of range.
    pub fn check(&self, value: Value<'_, T>) -> Result<(), OutOfRange<T>> {
        let wrong = |problem| OutOfRange { path: self.path, problem };
        let within = |range: &Range<T>, value: T| {
            let inside = value >= range.min && value <= range.max;
            if inside { Ok(()) } else { Err(wrong(Problem::Outside(value, *range))) }
        };
        let places = |range: &Range<T>, places: &mut dyn Iterator<Item = T>| {
            let mut before = None;
            places.enumerate().try_for_each(|(index, place)| {
                within(range, place)?;
                let falls = before.replace(place).is_some_and(|before| place < before);
                if falls { Err(wrong(Problem::NotRising(index))) } else { Ok(()) }
            })
        };
        match (value, self.shape) {
            (Value::Number(number), _) => within(&self.range, number),
            (Value::Whole(number), _) => within(&self.range, T::from_whole(number)),
            (Value::List(numbers), _) => numbers.iter().try_for_each(|number| within(&self.range, *number)),
            (Value::Curve(points), Shape::Curve(_, axis)) => {
                places(&axis, &mut points.iter().map(|(place, _)| *place))?;
                points.iter().try_for_each(|(_, value)| within(&self.range, *value))
            }
            (Value::Table(x, y, cells), Shape::Table(_, [x_axis, y_axis])) => {
                places(&x_axis, &mut x.iter().copied())?;
                places(&y_axis, &mut y.iter().copied())?;
                cells.iter().try_for_each(|cell| within(&self.range, *cell))
            }
            _ => Ok(()),
        }
    }
}

/// Defines a stage's block of parameters: see [the module](mod@crate::parameters).
#[macro_export]
macro_rules! parameters {
    (
        $(#[$outer:meta])*
        $vis:vis struct $block:ident<$t:ty> $stage:literal {
            $( $(#[doc = $about:literal])+ $shape:ident $name:ident { $($spec:tt)+ } )+
        }
    ) => {
        $(#[$outer])*
        #[derive(Clone, Debug, PartialEq)]
        $vis struct $block {
            $( $(#[doc = $about])+ pub $name: $crate::parameter!(@field $shape $t, $($spec)+), )+
        }

        impl $block {
            /// The defaults, as a constant that can stay in flash.
            pub const DEFAULT: Self = Self { $( $name: $crate::parameter!(@default $shape $($spec)+), )+ };
            /// Descriptions of the parameters, in the order of the fields.
            pub const INFO: &'static [$crate::parameters::ParameterInfo<$t>] = &[$(
                $crate::parameters::ParameterInfo {
                    name: stringify!($name),
                    path: concat!($stage, ".", stringify!($name)),
                    shape: $crate::parameter!(@shape $shape $($spec)+),
                    range: $crate::parameter!(@range $shape $($spec)+),
                    source: $crate::parameter!(@source $shape $($spec)+),
                    about: concat!($($about),+).trim_ascii(),
                },
            )+];
        }

        impl Default for $block {
            fn default() -> Self {
                Self::DEFAULT
            }
        }

        impl $crate::parameters::Block<$t> for $block {
            fn stage(&self) -> &'static str {
                $stage
            }
            fn info(&self) -> &'static [$crate::parameters::ParameterInfo<$t>] {
                Self::INFO
            }
            fn value(&self, place: usize) -> Option<$crate::parameters::Value<'_, $t>> {
                let mut count = 0..;
                $( if count.next() == Some(place) {
                    return Some($crate::parameter!(@value $shape self.$name));
                } )+
                None
            }
            fn slot(&mut self, place: usize) -> Option<$crate::parameters::Slot<'_, $t>> {
                let mut count = 0..;
                $( if count.next() == Some(place) {
                    return Some($crate::parameter!(@slot $shape self.$name));
                } )+
                None
            }
        }
    };
}

/// One parameter of [`parameters!`], by its shape.
#[doc(hidden)]
#[macro_export]
macro_rules! parameter {
    (@field number $t:ty, $($spec:tt)+) => { $t };
    (@field whole $t:ty, $int:ty = $($spec:tt)+) => { $int };
    (@field flag $t:ty, $($spec:tt)+) => { bool };
    (@field choice $t:ty, $enum:ty = $($spec:tt)+) => { $enum };
    (@field list $t:ty, [$n:expr] = $($spec:tt)+) => { [$t; $n] };
    (@field curve $t:ty, [$n:expr] = $($spec:tt)+) => { [($t, $t); $n] };
    (@field table $t:ty, [$x:expr, $y:expr] = $($spec:tt)+) => { $crate::parameters::Table<$t, $x, $y> };

    (@default number $default:expr, $($spec:tt)+) => { $default };
    (@default whole $int:ty = $default:expr, $($spec:tt)+) => { $default };
    (@default flag $default:expr, $($spec:tt)+) => { $default };
    (@default choice $enum:ty = $default:expr, $($spec:tt)+) => { $default };
    (@default list [$n:expr] = $default:expr, $($spec:tt)+) => { $default };
    (@default curve [$n:expr] = $default:expr, $($spec:tt)+) => { $crate::parameters::padded($default) };
    (@default table [$x:expr, $y:expr] = ($xs:expr, $ys:expr, $cells:expr), $($spec:tt)+) => {
        $crate::parameters::Table { x: $xs, y: $ys, cells: $cells }
    };

    (@shape number $($spec:tt)+) => { $crate::parameters::Shape::Number };
    (@shape whole $($spec:tt)+) => { $crate::parameters::Shape::Whole };
    (@shape flag $($spec:tt)+) => { $crate::parameters::Shape::Flag };
    (@shape choice $enum:ty = $($spec:tt)+) => { $crate::parameters::Shape::Choice(<$enum>::WORDS) };
    (@shape list [$n:expr] = $($spec:tt)+) => { $crate::parameters::Shape::List($n) };
    (@shape curve [$n:expr] = $default:expr, $low:literal..=$high:literal $unit:literal => $($spec:tt)+) => {
        $crate::parameters::Shape::Curve($n, $crate::parameters::Range { min: $low, max: $high, unit: $unit })
    };
    (@shape table [$x:expr, $y:expr] = $default:expr, $xl:literal..=$xh:literal $xu:literal,
        $yl:literal..=$yh:literal $yu:literal => $($spec:tt)+) => {
        $crate::parameters::Shape::Table([$x, $y], [
            $crate::parameters::Range { min: $xl, max: $xh, unit: $xu },
            $crate::parameters::Range { min: $yl, max: $yh, unit: $yu },
        ])
    };

    (@range number $default:expr, $low:literal..=$high:literal $unit:literal, $source:literal) => {
        $crate::parameters::Range { min: $low, max: $high, unit: $unit }
    };
    (@range whole $int:ty = $default:expr, $low:literal..=$high:literal $unit:literal, $source:literal) => {
        $crate::parameters::Range { min: $low as _, max: $high as _, unit: $unit }
    };
    (@range flag $($spec:tt)+) => { $crate::parameters::Range { min: 0.0, max: 1.0, unit: "1" } };
    (@range choice $($spec:tt)+) => { $crate::parameters::Range { min: 0.0, max: 1.0, unit: "1" } };
    (@range list [$n:expr] = $default:expr, $low:literal..=$high:literal $unit:literal, $source:literal) => {
        $crate::parameters::Range { min: $low, max: $high, unit: $unit }
    };
    (@range curve [$n:expr] = $default:expr, $xl:literal..=$xh:literal $xu:literal =>
        $low:literal..=$high:literal $unit:literal, $source:literal) => {
        $crate::parameters::Range { min: $low, max: $high, unit: $unit }
    };
    (@range table [$x:expr, $y:expr] = $default:expr, $xl:literal..=$xh:literal $xu:literal,
        $yl:literal..=$yh:literal $yu:literal => $low:literal..=$high:literal $unit:literal, $source:literal) => {
        $crate::parameters::Range { min: $low, max: $high, unit: $unit }
    };

    (@source number $default:expr, $low:literal..=$high:literal $unit:literal, $source:literal) => { $source };
    (@source whole $int:ty = $default:expr, $low:literal..=$high:literal $unit:literal, $source:literal) => { $source };
    (@source flag $default:expr, $source:literal) => { $source };
    (@source choice $enum:ty = $default:expr, $source:literal) => { $source };
    (@source list [$n:expr] = $default:expr, $low:literal..=$high:literal $unit:literal, $source:literal) => { $source };
    (@source curve [$n:expr] = $default:expr, $xl:literal..=$xh:literal $xu:literal =>
        $low:literal..=$high:literal $unit:literal, $source:literal) => { $source };
    (@source table [$x:expr, $y:expr] = $default:expr, $xl:literal..=$xh:literal $xu:literal,
        $yl:literal..=$yh:literal $yu:literal => $low:literal..=$high:literal $unit:literal, $source:literal) => { $source };

    (@value number $self:ident.$name:ident) => { $crate::parameters::Value::Number($self.$name) };
    (@value whole $self:ident.$name:ident) => { $crate::parameters::Value::Whole($self.$name.into()) };
    (@value flag $self:ident.$name:ident) => { $crate::parameters::Value::Flag($self.$name) };
    (@value choice $self:ident.$name:ident) => {
        $crate::parameters::Value::Choice($crate::parameters::Choice::chosen(&$self.$name))
    };
    (@value list $self:ident.$name:ident) => { $crate::parameters::Value::List(&$self.$name) };
    (@value curve $self:ident.$name:ident) => { $crate::parameters::Value::Curve(&$self.$name) };
    (@value table $self:ident.$name:ident) => {
        $crate::parameters::Value::Table(&$self.$name.x, &$self.$name.y, $self.$name.cells.as_flattened())
    };

    (@slot number $self:ident.$name:ident) => { $crate::parameters::Slot::Number(&mut $self.$name) };
    (@slot whole $self:ident.$name:ident) => { $crate::parameters::Slot::Whole(&mut $self.$name) };
    (@slot flag $self:ident.$name:ident) => { $crate::parameters::Slot::Flag(&mut $self.$name) };
    (@slot choice $self:ident.$name:ident) => { $crate::parameters::Slot::Choice(&mut $self.$name) };
    (@slot list $self:ident.$name:ident) => { $crate::parameters::Slot::List(&mut $self.$name) };
    (@slot curve $self:ident.$name:ident) => { $crate::parameters::Slot::Curve(&mut $self.$name) };
    (@slot table $self:ident.$name:ident) => {
        $crate::parameters::Slot::Table(
            &mut $self.$name.x, &mut $self.$name.y, $self.$name.cells.as_flattened_mut())
    };
}

/// Defines a struct of blocks: its default as a constant, its check, and access to all blocks in the order of the fields.
///
/// ```
/// trimwright_numerics::parameters! {
///     /// Fans.
///     pub struct FanParameters<f32> "fans" {
///         /// Hysteresis of the fan: temperature below its starting point at which it stops, K.
///         number band_k { 5.0, 0.5..=20.0 "K step", "engineering judgement" }
///     }
/// }
/// trimwright_numerics::blocks! {
///     /// All of them.
///     pub struct Parameters<f32> {
///         /// Fans.
///         fans: FanParameters,
///     }
/// }
/// static IN_FLASH: Parameters = Parameters { fans: FanParameters { band_k: 6.0 }, ..Parameters::DEFAULT };
/// assert!(IN_FLASH.check().is_ok() && IN_FLASH.blocks()[0].stage() == "fans");
/// ```
///
/// With `struct Parameters<f32>, check_combinations` the check also calls this method of the struct, for parameters that depend on each
/// other.
#[macro_export]
macro_rules! blocks {
    (
        $(#[$outer:meta])*
        $vis:vis struct $name:ident<$t:ty> $(, $check_combinations:ident)? {
            $( $(#[doc = $about:literal])+ $field:ident: $block:ident, )+
        }
    ) => {
        $(#[$outer])*
        #[derive(Clone, Debug, PartialEq)]
        $vis struct $name {
            $( $(#[doc = $about])+ pub $field: $block, )+
        }

        impl $name {
            /// The defaults, as a constant that can stay in flash.
            pub const DEFAULT: Self = Self { $( $field: $block::DEFAULT, )+ };

            /// All blocks, in the order of the fields.
            pub fn blocks(&self) -> [&dyn $crate::parameters::Block<$t>; [$(stringify!($field)),+].len()] {
                [$( &self.$field ),+]
            }

            /// All blocks, mutable, in the order of the fields.
            pub fn blocks_mut(&mut self) -> [&mut dyn $crate::parameters::Block<$t>; [$(stringify!($field)),+].len()] {
                [$( &mut self.$field ),+]
            }

            /// Checks every parameter of every block.
            ///
            /// # Errors
            /// [`OutOfRange`](trimwright_numerics::parameters::OutOfRange) for the first that is out of its range.
            pub fn check(&self) -> Result<(), $crate::parameters::OutOfRange<$t>> {
                self.blocks().iter().try_for_each(|block| block.check())$(.and_then(|()| self.$check_combinations()))?
            }
        }

        impl Default for $name {
            fn default() -> Self {
                Self::DEFAULT
            }
        }
    };
}

/// A curve filled up to its capacity of `N` points by repeating its last point.
pub const fn padded<T: Copy, const FEWER: usize, const N: usize>(points: [(T, T); FEWER]) -> [(T, T); N] {
    assert!(
        0 < FEWER && FEWER <= N,
        "a curve has at least one point and at most as many as there is room for"
    );
    let mut all = [points[FEWER - 1]; N];
    let mut index = 0;
    while index < FEWER {
        all[index] = points[index];
        index += 1;
    }
    all
}
