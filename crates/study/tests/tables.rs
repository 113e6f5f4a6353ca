//! The tables under version control belong to the current controller and plant.

use trimwright_study::fingerprint::fingerprint;
use trimwright_study::tables::TABLES;

#[test]
fn no_table_is_stale() {
    let now = fingerprint().expect("drives");
    let mut stale = String::new();
    for table in TABLES {
        let file_text = table.read().expect("a table");
        if table.stamp(&file_text) != now {
            stale += &format!("\n{}, stamped {:?}: {}", table.name, table.stamp(&file_text), table.command());
        }
        assert!(
            file_text.starts_with(&format!("# {}\n", table.command())),
            "{}: the first line is the command",
            table.name
        );
    }
    assert!(
        stale.is_empty(),
        "controller and plant have fingerprint {now}. `cargo run --release -p trimwright-study --example stamp` updates \
         the fingerprint of tables whose rows are unchanged; regenerate the others:{stale}"
    );
}
