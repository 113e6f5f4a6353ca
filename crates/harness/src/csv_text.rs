//! Tables as comma-separated text; every CSV file of the workspace is written here.

/// Text of a table: column names, then rows, as in RFC 4180 but with a line feed at the end of a row.
///
/// ```
/// use trimwright_harness::csv_text::csv_text;
/// let text = csv_text(["engine", "failure"], [["4", "mass, which is \"-1\""], ["5", ""]]);
/// assert_eq!(text, "engine,failure\n4,\"mass, which is \"\"-1\"\"\"\n5,\n");
/// ```
///
/// # Panics
///
/// Never: writing to memory does not fail, and the fields are UTF-8.
pub fn csv_text(
    head: impl IntoIterator<Item: AsRef<str>>,
    rows: impl IntoIterator<Item: IntoIterator<Item: AsRef<str>>>,
) -> String {
    let mut writer = csv::WriterBuilder::new().flexible(true).from_writer(Vec::new());
    write_row(&mut writer, head);
    for row in rows {
        write_row(&mut writer, row);
    }
    String::from_utf8(writer.into_inner().expect(MEMORY)).expect("texts are UTF-8")
}

/// Message of an error that cannot occur.
const MEMORY: &str = "writing to memory does not fail";

fn write_row(writer: &mut csv::Writer<Vec<u8>>, row: impl IntoIterator<Item: AsRef<str>>) {
    for field in row {
        writer.write_field(field.as_ref()).expect(MEMORY);
    }
    writer.write_record(None::<&[u8]>).expect(MEMORY);
}

/// A number with `count` decimals; empty when it is not finite.
pub fn decimals(value: f64, count: usize) -> String {
    if value.is_finite() { format!("{value:.count$}") } else { String::new() }
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    proptest! {
        #[test]
        fn every_table_reads_back_as_it_was(
            rows in proptest::collection::vec(proptest::collection::vec("[a,\"\r\n ]{0,6}", 3), 0..6)
        ) {
            let text = csv_text(["one", "two", "three"], &rows);
            let mut reader = csv::Reader::from_reader(text.as_bytes());
            prop_assert_eq!(reader.headers().expect("a head"), vec!["one", "two", "three"]);
            let read: Vec<Vec<String>> = reader
                .records()
                .map(|record| record.expect("a row").iter().map(str::to_owned).collect())
                .collect();
            prop_assert_eq!(read, rows);
        }
    }
}
