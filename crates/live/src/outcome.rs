//! What a drive came to, for those who leave.

use crate::bench::Bench;
use crate::wrong;

/// How much was driven and learned, and which codes were set, in two lines.
///
/// ```
/// use trimwright_harness::scenario::Scenario;
/// use trimwright_live::{Bench, outcome};
/// let mut bench = Bench::new(&Scenario::load("delivery-van")?)?;
/// for _ in 0..500 {
///     bench.go_on();
/// }
/// let words = "Driven for 0:10 min: 0 lessons, 0 cells visited, 0 known to 1 %.\nCodes: none.\n";
/// assert_eq!(outcome(&bench), words, "it has only just started");
/// # Ok::<(), Box<dyn std::error::Error>>(())
/// ```
pub fn outcome(bench: &Bench) -> String {
    let codes = wrong::codes(bench)
        .into_iter()
        .map(|(dtc, now)| format!("{} {}{}", dtc.code(), dtc.meaning(), if now { "" } else { " (before)" }));
    let codes: Vec<String> = codes.collect();
    let codes = if codes.is_empty() { "none".to_owned() } else { codes.join("; ") };
    format!("Driven for {} min: {}.\nCodes: {codes}.\n", clock(bench), learned(bench))
}

/// Time since power-up in minutes and seconds.
pub(crate) fn clock(bench: &Bench) -> String {
    let time_s = bench.closed_loop().time_s().round() as u64;
    format!("{}:{:02}", time_s / 60, time_s % 60)
}

/// Lessons and cells.
pub(crate) fn learned(bench: &Bench) -> String {
    let state = bench.closed_loop().controller().state();
    let (visited, known) = bench.cells().count(state.learned());
    format!("{} lessons, {visited} cells visited, {known} known to 1 %", state.counts().lessons())
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::Act;
    use trimwright_harness::scenario::Scenario;

    #[test]
    fn it_counts_what_was_learned_and_names_codes_of_now_and_before() {
        let mut bench = Bench::new(&Scenario::load("delivery-van").expect("shipped")).expect("sound");
        (0..50 * 300).for_each(|_| bench.go_on());
        let mut fault = |name: &str, seconds: u32| {
            let number = Bench::kinds().iter().position(|kind| kind.name == name).expect("a kind");
            bench.act(Act::Fault(number));
            (0..50 * seconds).for_each(|_| bench.go_on());
        };
        fault("map_open", 10);
        fault("map_open", 10);
        fault("iat_open", 10);
        let told = outcome(&bench);
        assert!(told.starts_with("Driven for 5:30 min: "), "{told}");
        let codes = "Codes: P0113 intake air temperature sensor circuit high; \
                     P0107 manifold pressure sensor circuit low (before).\n";
        assert!(told.ends_with(codes), "{told}");
        let (visited, _) = bench.cells().count(bench.closed_loop().controller().state().learned());
        assert!(visited > 0 && told.contains(&format!(" {visited} cells visited, ")), "{told}");
    }
}
