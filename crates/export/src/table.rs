//! A table of named columns, read from CSV whose header names the units.

use trimwright_harness::error::InputError;

use crate::describe::description;

/// The values of a column.
#[derive(Clone, Debug, PartialEq)]
pub enum Values {
    /// Numbers; NaN where nothing was measured.
    Numbers(Vec<f64>),
    /// Yes or no.
    Flags(Vec<bool>),
    /// Text.
    Words(Vec<String>),
}

impl Values {
    /// Number of values.
    pub fn len(&self) -> usize {
        match self {
            Self::Numbers(values) => values.len(),
            Self::Flags(values) => values.len(),
            Self::Words(values) => values.len(),
        }
    }

    /// Whether there are no values.
    pub fn is_empty(&self) -> bool {
        self.len() == 0
    }
}

/// One column.
#[derive(Clone, Debug, PartialEq)]
pub struct ExportColumn {
    /// Name, as in `engine_speed`.
    pub name: String,
    /// Unit, as in `rpm`; `1` for a ratio, empty where none makes sense.
    pub unit: String,
    /// Description; empty for an unknown column.
    pub description: String,
    /// The values.
    pub values: Values,
}

/// Columns of equal length.
#[derive(Clone, Debug, PartialEq)]
pub struct ExportTable {
    /// Name, as in `trace`.
    pub name: String,
    /// The columns.
    pub columns: Vec<ExportColumn>,
}

impl ExportTable {
    /// Reads CSV whose header is `name [unit]` or `name`. A column with a unit holds numbers or nothing; one without holds
    /// flags when every value is `true` or `false`, else words.
    ///
    /// ```
    /// use trimwright_export::{ExportTable, Values};
    /// let table = ExportTable::parse("trace", "trace.csv", "time [s],phase\n0.1,Priming\n,Running\n".as_bytes())?;
    /// assert_eq!((table.columns[0].name.as_str(), table.columns[0].unit.as_str()), ("time", "s"));
    /// assert!(matches!(&table.columns[0].values, Values::Numbers(values) if values[0] == 0.1 && values[1].is_nan()));
    /// assert_eq!(table.rows(), 2);
    /// # Ok::<(), trimwright_harness::error::InputError>(())
    /// ```
    ///
    /// # Errors
    /// [`InputError`] with file, line and column when it is no such CSV.
    pub fn parse(name: &str, file: &str, text: &[u8]) -> Result<Self, InputError> {
        let mut reader = csv::Reader::from_reader(text);
        let malformed = |error: csv::Error| {
            let line = error.position().map(|position| position.line() as usize);
            let problem = InputError::new(file, format!("is not CSV: {error}"));
            line.map_or(problem.clone(), |line| problem.line(line))
        };
        let headers: Vec<String> = reader.headers().map_err(malformed)?.iter().map(str::to_owned).collect();
        if headers.iter().all(String::is_empty) {
            return Err(InputError::new(file, "has no columns"));
        }
        let mut cells: Vec<Vec<String>> = vec![Vec::new(); headers.len()];
        let mut lines = Vec::new();
        for record in reader.records() {
            let record = record.map_err(malformed)?;
            lines.push(record.position().map_or(0, |position| position.line() as usize));
            for (column, cell) in cells.iter_mut().zip(record.iter()) {
                column.push(cell.to_owned());
            }
        }
        let read = |(header, cells): (String, Vec<String>)| {
            let (name, unit) = split(&header);
            let values = values(file, name, unit, cells, &lines)?;
            let (name, unit) = (name.to_owned(), unit.unwrap_or_default().to_owned());
            Ok(ExportColumn { description: description(&name).to_owned(), name, unit, values })
        };
        let columns: Result<Vec<ExportColumn>, InputError> =
            headers.into_iter().zip(cells).map(read).collect();
        Ok(Self { name: name.to_owned(), columns: columns? })
    }

    /// Number of rows.
    pub fn rows(&self) -> usize {
        self.columns.first().map_or(0, |column| column.values.len())
    }
}

/// Name and unit of a header `name [unit]`.
fn split(header: &str) -> (&str, Option<&str>) {
    match header.strip_suffix(']').and_then(|rest| rest.rsplit_once(" [")) {
        Some((name, unit)) => (name, Some(unit)),
        None => (header, None),
    }
}

fn values(
    file: &str,
    name: &str,
    unit: Option<&str>,
    cells: Vec<String>,
    lines: &[usize],
) -> Result<Values, InputError> {
    if unit.is_some() {
        let number = |(cell, &line): (&String, &usize)| match cell.trim() {
            "" => Ok(f64::NAN),
            text => text.parse().map_err(|_| {
                InputError::new(file, "must be a number or empty").line(line).key(name).value(cell)
            }),
        };
        return cells.iter().zip(lines).map(number).collect::<Result<_, _>>().map(Values::Numbers);
    }
    let flags: Option<Vec<bool>> = cells.iter().map(|cell| cell.parse().ok()).collect();
    Ok(match flags {
        Some(flags) if !flags.is_empty() => Values::Flags(flags),
        _ => Values::Words(cells),
    })
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn an_invalid_number_is_reported_with_line_and_column() {
        let error = ExportTable::parse("t", "t.csv", b"a [s],b [kPa]\n1,2\n3,x\n").expect_err("rejected");
        assert_eq!(error.to_string(), "t.csv, line 3, b = x: must be a number or empty");
        let error = ExportTable::parse("t", "t.csv", b"a [s],b\n1,2\n3\n").expect_err("rejected");
        assert!(error.to_string().starts_with("t.csv, line 3: is not CSV"), "{error}");
        let error = ExportTable::parse("t", "t.csv", b"").expect_err("rejected");
        assert_eq!(error.to_string(), "t.csv: has no columns");
    }

    #[test]
    fn flags_and_words_are_distinguished() {
        let table = ExportTable::parse("t", "t.csv", b"a,b\ntrue,true\nfalse,maybe\n").expect("CSV");
        assert_eq!(table.columns[0].values, Values::Flags(vec![true, false]));
        assert_eq!(table.columns[1].values, Values::Words(vec!["true".to_owned(), "maybe".to_owned()]));
    }
}
