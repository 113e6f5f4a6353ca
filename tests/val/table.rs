//! Reading `shared/reference/*.csv`.

use std::collections::HashMap;

/// One row of a reference table, by the names in its header.
pub(crate) struct Row {
    at: String,
    cells: HashMap<String, String>,
}

/// The rows of `shared/reference/{name}.csv`; at least one.
pub(crate) fn read(name: &str) -> Vec<Row> {
    let path = format!("{}/shared/reference/{name}.csv", env!("CARGO_MANIFEST_DIR"));
    let mut reader = csv::Reader::from_path(&path).unwrap_or_else(|error| panic!("{path}: {error}"));
    let header = reader.headers().expect("a header").clone();
    let rows: Vec<Row> = reader
        .records()
        .enumerate()
        .map(|(index, record)| {
            let record = record.unwrap_or_else(|error| panic!("{path}: {error}"));
            let cells = header.iter().zip(&record).map(|(name, cell)| (name.to_owned(), cell.to_owned()));
            Row { at: format!("{name}.csv row {}", index + 1), cells: cells.collect() }
        })
        .collect();
    assert!(!rows.is_empty(), "{path} has no rows");
    rows
}

/// The rows whose `column` begins with `start`; at least one.
pub(crate) fn read_where(name: &str, column: &str, start: &str) -> Vec<Row> {
    let rows: Vec<Row> = read(name).into_iter().filter(|row| row.text(column).starts_with(start)).collect();
    assert!(!rows.is_empty(), "{name}.csv has no row whose {column} begins with {start}");
    rows
}

impl Row {
    /// A cell as written.
    pub(crate) fn text(&self, column: &str) -> &str {
        self.cells.get(column).unwrap_or_else(|| panic!("{} has no column {column}", self.at))
    }

    /// A cell as a number.
    pub(crate) fn number(&self, column: &str) -> f64 {
        let text = self.text(column);
        text.parse().unwrap_or_else(|_| panic!("{}: {column} is no number: {text:?}", self.at))
    }

    /// Asserts that `computed` lies within `tolerance` of `column`, relative to it.
    #[track_caller]
    pub(crate) fn agrees(&self, column: &str, computed: f64, tolerance: f64) {
        let wanted = self.number(column);
        self.agrees_within(column, computed, tolerance * wanted.abs());
    }

    /// Asserts that `computed` lies within `tolerance` of `column`, in its unit.
    #[track_caller]
    pub(crate) fn agrees_within(&self, column: &str, computed: f64, tolerance: f64) {
        let wanted = self.number(column);
        assert!(
            (computed - wanted).abs() <= tolerance,
            "{}: {column} is {wanted}, computed {computed}, allowed {tolerance}",
            self.at
        );
    }
}
