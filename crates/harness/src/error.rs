//! Errors in user input, with their place.

use std::fmt;

/// One error in the input: its place and what is expected there. Printed to the user; the exit code is 2.
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
    /// An error in or with `file`.
    pub fn new(file: impl Into<String>, problem: impl Into<String>) -> Self {
        Self { file: file.into(), line: None, key: None, value: None, problem: problem.into() }
    }

    /// Adds the line, from 1.
    #[must_use]
    pub fn line(self, line: usize) -> Self {
        Self { line: Some(line), ..self }
    }

    /// Adds the key or column.
    #[must_use]
    pub fn key(self, key: impl Into<String>) -> Self {
        Self { key: Some(key.into()), ..self }
    }

    /// Adds the value found; control characters are escaped, a long value is cut, an empty one is shown as `nothing`.
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

    /// The message without the file name when `file` has just been named.
    pub(crate) fn about(&self, file: &str) -> String {
        if *self == Self::new(file, &self.problem) { self.problem.clone() } else { self.to_string() }
    }
}

/// Escapes control characters; quotes and accents stay.
fn escape(c: char) -> String {
    if c.is_control() { c.escape_default().to_string() } else { c.to_string() }
}

impl fmt::Display for InputError {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        let mut place = self.file.clone();
        if let Some(line) = self.line {
            place.push_str(&format!(", line {line}"));
        }
        match (&self.key, &self.value) {
            (Some(key), Some(value)) => place.push_str(&format!(", {key} = {value}")),
            (Some(key), None) => place.push_str(&format!(", {key}")),
            (None, Some(value)) => place.push_str(&format!(", {value}")),
            (None, None) => {}
        }
        // File names, keys and quoted text may contain any character.
        format!("{place}: {}", self.problem).chars().try_for_each(|c| f.write_str(&escape(c)))
    }
}

impl std::error::Error for InputError {}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn control_characters_are_not_printed() {
        let error =
            InputError::new("a\u{1b}[31m.toml", "is \u{7}bad").key("k\u{9b}").value("\u{1b}[2J \"ü\"");
        let text = error.to_string();
        assert!(!text.chars().any(char::is_control), "{text:?}");
        assert_eq!(text, "a\\u{1b}[31m.toml, k\\u{9b} = \\u{1b}[2J \"ü\": is \\u{7}bad");
    }

    #[test]
    fn a_file_is_not_named_twice() {
        let error = InputError::new("trip.csv", "can't be read");
        assert_eq!(error.about("trip.csv"), "can't be read");
        assert_eq!(error.about("moon"), "trip.csv: can't be read");
        assert_eq!(error.line(3).about("trip.csv"), "trip.csv, line 3: can't be read");
    }
}
