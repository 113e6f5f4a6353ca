//! The tables under version control are those of this controller and this plant.

use trimwright_study::fingerprint::fingerprint;
use trimwright_study::tables::TABLES;

#[test]
fn no_table_was_drawn_by_another_controller_or_plant() {
    let now = fingerprint().expect("drives");
    let mut stale = String::new();
    for table in TABLES {
        let kept = table.read().expect("a table");
        if table.stamp(&kept) != now {
            stale += &format!("\n{}, stamped {:?}: {}", table.name, table.stamp(&kept), table.command());
        }
        assert!(kept.starts_with(&format!("# {}\n", table.command())), "{} says how it is drawn", table.name);
    }
    assert!(
        stale.is_empty(),
        "controller and plant are {now} today. Where they have changed nothing that a table shows, \
         `cargo run --release -p trimwright-study --example stamp` says so in it; else draw it anew:{stale}"
    );
}
