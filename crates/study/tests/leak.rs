//! Leaks upstream of the oxygen sensor: a small fleet, and limits of the table under version control.

use trimwright_harness::scenario::Scenario;
use trimwright_harness::verdicts::Cause;
use trimwright_study::leak::{STRENGTHS, csv, first_engines};
use trimwright_study::tables::{LEAK, difference, without_head};

/// Smallest share of detected leaks of at least [`CLEAR`], smallest share at 5 %, where healthy engines scatter by a third of the leak, and
/// largest share of false alarms.
const FOUND: f64 = 0.95;
const FOUND_SMALL: f64 = 0.3;
const FALSE_ALARMS: f64 = 0.02;
/// Strength from which a leak is clear of the scatter of healthy engines.
const CLEAR: f64 = 0.08;

/// Without the self-check the leak shifts the learned correction at idle rich; with it a leak of 8 % or more is detected and reported.
#[test]
fn leaks_shift_the_learned_idle_rich_and_are_detected() {
    let runs = first_engines(&Scenario::load("delivery-van").expect("shipped")).expect("drives");
    assert_eq!(runs.len(), 4 + 4 * STRENGTHS.len());
    for run in &runs {
        let strength = run.strength;
        if strength == 0.0 {
            assert!(!run.flagged && !run.reported.contains(&Cause::UpstreamAir), "{run:?}");
            continue;
        }
        let [without_ln, _] = run.richer_ln.expect("of a leaking engine");
        let rich = without_ln / strength.ln_1p();
        // The final idle differs from the mean idle of the strength; small leaks are within the scatter of learning.
        assert!((0.5..1.7).contains(&rich), "{strength}: {rich}");
        if strength >= CLEAR {
            assert!(run.flagged && run.rejected > 0 && run.reported.contains(&Cause::UpstreamAir), "{run:?}");
        }
    }
    let file_text = LEAK.read().expect("the table");
    assert_eq!(difference(&file_text, &without_head(&csv(&runs))), None);
}

#[test]
fn the_table_detects_leaks_without_false_alarms() {
    let text = LEAK.read().expect("the table");
    let lines = text.lines().filter(|line| !line.starts_with('#')).skip(1).take(1 + STRENGTHS.len());
    let rows = lines.map(|line| {
        line.split(',').map(|cell| cell.parse::<f64>().unwrap_or(f64::NAN)).collect::<Vec<f64>>()
    });
    let rows: Vec<Vec<f64>> = rows.collect();
    assert_eq!(rows.iter().map(|row| row[0]).collect::<Vec<_>>()[1..], STRENGTHS);
    for row in rows {
        let [strength, engines, without, flagged, named] = [0, 1, 2, 4, 6].map(|column| row[column]);
        if strength == 0.0 {
            assert!(engines >= 500.0 && named <= FALSE_ALARMS * engines, "{row:?}");
        } else {
            assert!((0.7..1.4).contains(&(without / strength)), "{row:?}");
        }
        if strength >= 0.05 {
            let found = if strength >= CLEAR { FOUND } else { FOUND_SMALL };
            assert!(flagged >= found * engines && named >= found * engines, "{row:?}");
        }
    }
}
