//! What is wrong with something a user gave, said so that it can be put right.

use std::fmt;

/// One thing wrong with the input: where it stands and what is expected there. Shown to the user as it prints, and
/// answered by exit code 2.
///
/// ```
/// use trimwright_harness::error::InputError;
/// let error = InputError::new("van.toml", "must be between 1 and 12").line(7).key("engine.cylinders").value("40");
/// assert_eq!(error.to_string(), "van.toml, line 7, engine.cylinders = 40: must be between 1 and 12");
/// ```
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct InputError {
    file: String,
    line: Option<usize>,
    key: Option<String>,
    value: Option<String>,
    problem: String,
}

impl InputError {
    /// Something wrong in or with `file`.
    ///
    /// ```
    /// use trimwright_harness::error::InputError;
    /// let error = InputError::new("trip.csv", "a schedule must last at least a second");
    /// assert_eq!(error.to_string(), "trip.csv: a schedule must last at least a second");
    /// ```
    pub fn new(file: impl Into<String>, problem: impl Into<String>) -> Self {
        Self { file: file.into(), line: None, key: None, value: None, problem: problem.into() }
    }

    /// The same, at this line (the first is 1).
    ///
    /// ```
    /// use trimwright_harness::error::InputError;
    /// let error = InputError::new("trip.csv", "must be later than the time of the row before").line(12);
    /// assert_eq!(error.to_string(), "trip.csv, line 12: must be later than the time of the row before");
    /// ```
    #[must_use]
    pub fn line(self, line: usize) -> Self {
        Self { line: Some(line), ..self }
    }

    /// The same, at this key or column.
    ///
    /// ```
    /// use trimwright_harness::error::InputError;
    /// let error = InputError::new("van.toml", "is missing and has to be given").key("setup.cam");
    /// assert_eq!(error.to_string(), "van.toml, setup.cam: is missing and has to be given");
    /// ```
    #[must_use]
    pub fn key(self, key: impl Into<String>) -> Self {
        Self { key: Some(key.into()), ..self }
    }

    /// The same, with the value that was found; control characters are escaped, a long value is cut, an empty one is
    /// called nothing.
    ///
    /// ```
    /// use trimwright_harness::error::InputError;
    /// let said = |value| InputError::new("trip.csv", "is no number").key("speed [km/h]").value(value).to_string();
    /// assert_eq!(said("fast\u{7}"), "trip.csv, speed [km/h] = fast\\u{7}: is no number", "no bell in the terminal");
    /// assert_eq!(said(""), "trip.csv, speed [km/h] = nothing: is no number");
    /// ```
    #[must_use]
    pub fn value(self, value: impl AsRef<str>) -> Self {
        const LONGEST: usize = 60;
        let mut shown: String = value.as_ref().chars().take(LONGEST).map(escape).collect();
        if value.as_ref().chars().nth(LONGEST).is_some() {
            shown.push_str("...");
        }
        if shown.is_empty() {
            shown.push_str("nothing");
        }
        Self { value: Some(shown), ..self }
    }
}

/// Escapes what would break a line of the terminal, and leaves quotes and accents alone.
fn escape(c: char) -> String {
    if c.is_control() { c.escape_default().to_string() } else { c.to_string() }
}

impl fmt::Display for InputError {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(&self.file)?;
        if let Some(line) = self.line {
            write!(f, ", line {line}")?;
        }
        match (&self.key, &self.value) {
            (Some(key), Some(value)) => write!(f, ", {key} = {value}")?,
            (Some(key), None) => write!(f, ", {key}")?,
            (None, Some(value)) => write!(f, ", {value}")?,
            (None, None) => {}
        }
        write!(f, ": {}", self.problem)
    }
}

impl std::error::Error for InputError {}
