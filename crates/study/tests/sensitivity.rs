//! Sensitivity of the results to each parameter of the controller: the table under version control.

use trimwright_study::tables::{SENSITIVITY, difference};

#[test]
fn the_table_is_current() {
    let file_text = SENSITIVITY.read().expect("a table");
    assert_eq!(difference(&file_text, &SENSITIVITY.recomputed().expect("drives")), None);
}
