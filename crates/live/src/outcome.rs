//! Summary of a drive as text.

use crate::bench::Bench;
use crate::codes_and_faults;

/// Time driven, lessons, cells and trouble codes, in two lines.
///
/// ```
/// use trimwright_harness::scenario::Scenario;
/// use trimwright_live::{Bench, outcome};
/// let mut bench = Bench::new(&Scenario::load("delivery-van")?)?;
/// for _ in 0..500 {
///     bench.step();
/// }
/// let words = "Driven for 0:10 min: 0 lessons, 0 cells visited, 0 known to 1 %.\nCodes: none.\n";
/// assert_eq!(outcome(&bench), words, "after 10 s");
/// # Ok::<(), Box<dyn std::error::Error>>(())
/// ```
pub fn outcome(bench: &Bench) -> String {
    let codes = codes_and_faults::codes(bench)
        .into_iter()
        .map(|(dtc, now)| format!("{} {}{}", dtc.code(), dtc.meaning(), if now { "" } else { " (stored)" }));
    let codes: Vec<String> = codes.collect();
    let codes = if codes.is_empty() { "none".to_owned() } else { codes.join("; ") };
    format!("Driven for {} min: {}.\nCodes: {codes}.\n", clock(bench), learned(bench))
}

/// Time since power-up in minutes and seconds.
pub(crate) fn clock(bench: &Bench) -> String {
    let time_s = bench.closed_loop().time_s().round() as u64;
    format!("{}:{:02}", time_s / 60, time_s % 60)
}

/// Counts of lessons and cells.
pub(crate) fn learned(bench: &Bench) -> String {
    let state = bench.closed_loop().controller().state();
    let (visited, known) = bench.cells().count(state.learned());
    format!("{} lessons, {visited} cells visited, {known} known to 1 %", state.counts().lessons())
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::BenchAction;
    use trimwright_harness::scenario::Scenario;

    #[test]
    fn lessons_are_counted_and_codes_named() {
        let mut bench = Bench::new(&Scenario::load("delivery-van").expect("shipped")).expect("valid");
        (0..50 * 300).for_each(|_| bench.step());
        let mut fault = |name: &str, seconds: u32| {
            let number = Bench::fault_kinds().iter().position(|kind| kind.name == name).expect("a kind");
            bench.apply(BenchAction::ToggleFault(number));
            (0..50 * seconds).for_each(|_| bench.step());
        };
        fault("map_open", 10);
        fault("map_open", 10);
        fault("iat_open", 10);
        let text = outcome(&bench);
        assert!(text.starts_with("Driven for 5:30 min: "), "{text}");
        let codes = "Codes: P0113 intake air temperature sensor circuit high; \
                     P0107 manifold pressure sensor circuit low (stored).\n";
        assert!(text.ends_with(codes), "{text}");
        let (visited, _) = bench.cells().count(bench.closed_loop().controller().state().learned());
        assert!(visited > 0 && text.contains(&format!(" {visited} cells visited, ")), "{text}");
    }
}
