//! A table under version control against the one that the program gives.

/// Text is compared as it is, the figures of the columns named in `tolerances` within those.
pub(crate) fn assert_like(kept: &str, made: &str, tolerances: &[(&str, f64)]) {
    let read = |text: &str| -> Vec<Vec<String>> {
        let mut reader = csv::ReaderBuilder::new().has_headers(false).from_reader(text.as_bytes());
        reader.records().map(|row| row.expect("a row").iter().map(str::to_owned).collect()).collect()
    };
    let (kept, made) = (read(kept), read(made));
    assert_eq!(kept.len(), made.len(), "rows");
    let columns = made[0].clone();
    for (kept, made) in kept.iter().zip(&made) {
        for ((column, kept_text), made_text) in columns.iter().zip(kept).zip(made) {
            let tolerance = tolerances.iter().find(|(name, _)| name == column).map_or(0.0, |(_, off)| *off);
            let alike = match (kept_text.parse::<f64>(), made_text.parse::<f64>()) {
                (Ok(kept), Ok(made)) => (kept - made).abs() <= tolerance,
                _ => kept_text == made_text,
            };
            assert!(alike, "{column}: kept {kept:?}, made {made:?}");
        }
    }
}
