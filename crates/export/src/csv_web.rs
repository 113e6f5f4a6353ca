//! CSV with metadata beside it, after the W3C Recommendation "Metadata Vocabulary for Tabular Data" (2015).

use serde_json::{Value, json};
use trimwright_harness::csv_text::csv_text;

use crate::run::ExportedRun;
use crate::table::{ExportColumn, ExportTable, Values};

/// Two files a table: `NAME.csv` and `NAME.csv-metadata.json`.
pub(crate) fn files(run: &ExportedRun) -> Vec<(String, Vec<u8>)> {
    let mut files = Vec::new();
    for table in &run.tables {
        files.push((format!("{}.csv", table.name), text(table).into_bytes()));
        let metadata = format!("{:#}\n", metadata(run, table));
        files.push((format!("{}.csv-metadata.json", table.name), metadata.into_bytes()));
    }
    files
}

fn text(table: &ExportTable) -> String {
    let row = |row: usize| table.columns.iter().map(move |column| cell(&column.values, row));
    csv_text(table.columns.iter().map(|column| &column.name), (0..table.rows()).map(row))
}

/// One value, in the shortest exact form; empty when unknown.
fn cell(values: &Values, row: usize) -> String {
    match values {
        Values::Numbers(numbers) => {
            numbers.get(row).filter(|number| number.is_finite()).map_or_else(String::new, f64::to_string)
        }
        Values::Flags(flags) => flags.get(row).map_or_else(String::new, bool::to_string),
        Values::Words(words) => words.get(row).cloned().unwrap_or_default(),
    }
}

/// `schema` and `dc` are prefixes of the RDFa 1.1 initial context.
fn metadata(run: &ExportedRun, table: &ExportTable) -> Value {
    json!({
        "@context": "http://www.w3.org/ns/csvw",
        "url": format!("{}.csv", table.name),
        "dc:title": run.title(),
        "tableSchema": { "columns": table.columns.iter().map(column).collect::<Vec<_>>() },
    })
}

fn column(column: &ExportColumn) -> Value {
    let kind = match column.values {
        Values::Numbers(_) => "double",
        Values::Flags(_) => "boolean",
        Values::Words(_) => "string",
    };
    let mut about = json!({ "name": column.name, "titles": column.name, "datatype": kind });
    for (key, text) in [("schema:unitText", &column.unit), ("dc:description", &column.description)] {
        if !text.is_empty() {
            about[key] = json!(text);
        }
    }
    about
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn unknown_is_empty_and_numbers_read_back() {
        let values = Values::Numbers(vec![0.1, f64::NAN, 1e-7]);
        assert_eq!([cell(&values, 0), cell(&values, 1)], ["0.1", ""]);
        assert_eq!(cell(&values, 2).parse::<f64>(), Ok(1e-7));
    }
}
