//! Conversion of quantities with units, such as `"318 cu in"` or `"190 degF"`, to SI.
//!
//! Conversion factors come from the `uom` crate, which takes them from NIST Special Publication 811; the tables of [`Kind`] only list
//! accepted spellings and their `uom` abbreviations. Inside the program everything is SI, except that [`Kind::Angle`] is in degrees.

mod kind;
mod system;

pub use kind::Kind;
pub use system::UnitSystem;

/// Revolutions a minute in a radian a second: `30 / pi`.
pub const RPM_PER_RAD_PER_S: f64 = 30.0 / std::f64::consts::PI;

/// A count in words: `once`, `2 times`.
pub fn times(count: u32) -> String {
    if count == 1 { "once".to_owned() } else { format!("{count} times") }
}

/// Relative rounding error of a unit conversion.
const ROUNDED_OFF: f64 = 1e-14;

/// One accepted unit of one kind.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Unit {
    kind: Kind,
    spelling: &'static str,
    /// SI value of one unit above zero, and of zero.
    slope: f64,
    offset: f64,
}

impl Unit {
    /// The unit of `kind` with this spelling. Dots, hyphens and, where unambiguous, case are ignored: `Cu. In.` is `cu in`, but `mPa` is
    /// not `MPa`.
    ///
    /// ```
    /// use trimwright_harness::units::{Kind, Unit};
    /// let mph = Unit::find(Kind::Speed, "mph").expect("an accepted unit");
    /// assert_eq!(mph.to_si(10.0), 4.4704);
    /// assert_eq!(Unit::find(Kind::Speed, "MPH"), Some(mph));
    /// assert!(Unit::find(Kind::Speed, "psi").is_none());
    /// ```
    pub fn find(kind: Kind, spelling: &str) -> Option<Self> {
        if kind == Kind::Ratio && spelling.is_empty() {
            return Some(Self { kind, spelling: "", slope: 1.0, offset: 0.0 });
        }
        let &(spelling, abbreviation) = kind.named(spelling)?;
        let offset = kind.convert(0.0, abbreviation)?;
        // The slope of a temperature scale is that of its degree; for other kinds zero is zero.
        let degree = if kind == Kind::Temperature { Kind::TemperatureStep } else { kind };
        let slope = degree.convert(1.0, abbreviation)?;
        Some(Self { kind, spelling, slope, offset })
    }

    /// Preferred unit of a kind, used in messages without a unit from the input.
    pub fn preferred(kind: Kind) -> Option<Self> {
        let spelling = if kind == Kind::Ratio { "" } else { kind.spellings().first()?.0 };
        Self::find(kind, spelling)
    }

    /// Spelling.
    pub const fn spelling(self) -> &'static str {
        self.spelling
    }

    /// Converts to SI (an angle to degrees).
    pub fn to_si(self, number: f64) -> f64 {
        number * self.slope + self.offset
    }

    /// Converts from SI (an angle from degrees).
    pub fn from_si(self, si: f64) -> f64 {
        (si - self.offset) / self.slope
    }

    /// An SI value written in this unit, to six significant digits.
    pub fn show(self, si: f64) -> String {
        self.written(format!("{:.5e}", self.from_si(si)).parse().unwrap_or(f64::NAN))
    }

    /// Both ends of a range of SI values in this unit, to three significant digits, rounded inward so that the text lies in the range; with
    /// more digits where three would leave no range.
    pub fn limits(self, low: f64, high: f64) -> [String; 2] {
        self.limits_where(low, high, |si| (low..=high).contains(&si))
    }

    /// The same with the tolerance of [`clamp_within`].
    pub(crate) fn tolerant_limits(self, low: f64, high: f64) -> [String; 2] {
        self.limits_where(low, high, |si| clamp_within(si, (low, high)).is_some())
    }

    fn limits_where(self, low: f64, high: f64, allowed: impl Fn(f64) -> bool) -> [String; 2] {
        let allowed = |number: f64| allowed(self.to_si(number));
        let end = |si: f64, digits, inward| {
            let nearest = to_digits(self.from_si(si), digits, 0.0);
            if allowed(nearest) { nearest } else { to_digits(self.from_si(si), digits, inward) }
        };
        (3..=15)
            .map(|digits| [end(low, digits, 1.0), end(high, digits, -1.0)])
            .find(|[least, most]| least <= most && allowed(*least) && allowed(*most))
            .map_or_else(
                || [low, high].map(|si| self.show(si)),
                |ends| ends.map(|number| self.written(number)),
            )
    }

    /// A number with this unit.
    fn written(self, number: f64) -> String {
        // Adding zero turns a negative zero into a plain one.
        let number = number + 0.0;
        match self.spelling {
            "" => format!("{number}"),
            "%" => format!("{number}%"),
            spelling => format!("{number} {spelling}"),
        }
    }
}

/// A number to `digits` significant digits plus `steps` of the last digit.
fn to_digits(number: f64, digits: i32, steps: f64) -> f64 {
    if number == 0.0 || !number.is_finite() {
        return number;
    }
    let places = digits - 1 - number.abs().log10().floor() as i32;
    // Via text, so that the result is the nearest to the decimal number.
    let whole = (number * 10_f64.powi(places)).round() + steps;
    format!("{whole:.0}e{}", -places).parse().unwrap_or(number)
}

/// A value in the range. A value outside by no more than the rounding of a unit conversion is set to the limit: 35 % is not more than 0.35.
pub(crate) fn clamp_within(value: f64, (low, high): (f64, f64)) -> Option<f64> {
    let slack = ROUNDED_OFF * low.abs().max(high.abs());
    (low - slack..=high + slack).contains(&value).then(|| value.max(low).min(high))
}

/// A quantity as written.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Quantity {
    /// Value in SI (an angle in degrees).
    pub si: f64,
    /// Unit it was written in.
    pub unit: Unit,
}

/// Reason why a text is not a quantity of the wanted kind.
#[derive(Clone, Debug, PartialEq, Eq, thiserror::Error)]
pub enum UnitError {
    /// No number at the start.
    #[error("must be {} such as {:?}, a number and then one of the units {}", .0.name(), example(*.0), .0.accepted())]
    NoNumber(Kind),
    /// No unit after the number.
    #[error("needs a unit, one of {}", .0.accepted())]
    NoUnit(Kind),
    /// A comma in the number.
    #[error("has a comma in its number: write a decimal point, as in 5.2, and nothing between thousands")]
    Comma,
    /// An unknown unit, or one of another kind.
    #[error("is not {}, which is written in one of the units {}", .0.name(), .0.accepted())]
    WrongUnit(Kind),
    /// A number that overflows.
    #[error("is too large a number")]
    NotFinite,
}

/// Example of a quantity of this kind for a message.
fn example(kind: Kind) -> String {
    match kind.spellings().first() {
        Some(("%", _)) => "15%".to_owned(),
        Some((spelling, _)) => format!("10 {spelling}"),
        None => "10".to_owned(),
    }
}

/// Reads a quantity: a number and a unit, with or without a space between them, the unit spelled as for [`Unit::find`].
///
/// ```
/// use trimwright_harness::units::{Kind, parse};
/// assert!((parse(Kind::Volume, "318 cu in")?.si - 5.21109e-3).abs() < 1e-8);
/// assert!((parse(Kind::Temperature, "190 degF")?.si - 360.93).abs() < 0.01);
/// assert!(parse(Kind::Mass, "55 psi").is_err());
/// # Ok::<(), trimwright_harness::units::UnitError>(())
/// ```
///
/// # Errors
///
/// When it is not a finite number followed by a unit of the kind; the message lists the units.
pub fn parse(kind: Kind, text: &str) -> Result<Quantity, UnitError> {
    let text = text.trim();
    let is_number = |c: char| c.is_ascii_digit() || matches!(c, '+' | '-' | '.' | 'e' | 'E');
    let (number, unit) = text.split_at(text.find(|c| !is_number(c)).unwrap_or(text.len()));
    let number: f64 = number.parse().map_err(|_| UnitError::NoNumber(kind))?;
    let spelling = unit.split_whitespace().collect::<Vec<_>>().join(" ");
    if spelling.is_empty() && kind != Kind::Ratio {
        return Err(UnitError::NoUnit(kind));
    }
    let unit = Unit::find(kind, &spelling).ok_or_else(|| {
        let comma =
            spelling.strip_prefix(',').is_some_and(|rest| rest.starts_with(|c: char| c.is_ascii_digit()));
        if comma { UnitError::Comma } else { UnitError::WrongUnit(kind) }
    })?;
    let si = unit.to_si(number);
    if si.is_finite() { Ok(Quantity { si, unit }) } else { Err(UnitError::NotFinite) }
}

#[cfg(test)]
mod tests;
