//! List of trouble codes and of the faults that cause them.

use crate::bench::Bench;
use crate::text_rows::wrapped;
use trimwright_control::Dtc;

/// Codes and faults in at most `most` rows of `width` characters; the last row says when some are left out.
pub(crate) fn rows(bench: &Bench, width: usize, most: usize) -> Vec<String> {
    let codes = codes(bench).into_iter().map(|(dtc, now)| {
        let before = if now { "" } else { " stored:" };
        (if now { '!' } else { ' ' }, format!("{}{before} {}", dtc.code(), dtc.meaning()))
    });
    let faults = bench.faults().map(|(fault, active)| (if active { '*' } else { ' ' }, fault.title()));
    let mut rows = vec!["Codes (! active)".to_owned()];
    rows.extend(entries(codes, width));
    rows.extend([String::new(), "Faults (* active)".to_owned()]);
    rows.extend(entries(faults, width));
    if rows.len() > most {
        rows.truncate(most.saturating_sub(1));
        rows.push("... and more".to_owned());
    }
    rows
}

/// Active codes, then stored ones that are not active, each with whether it is active.
pub(crate) fn codes(bench: &Bench) -> Vec<(Dtc, bool)> {
    let dtcs = &bench.closed_loop().controller().state().dtcs();
    let before = dtcs.stored().filter(|dtc| !dtcs.is_set(*dtc)).map(|dtc| (dtc, false));
    dtcs.active().map(|dtc| (dtc, true)).chain(before).collect()
}

/// Entries with their marks, broken into rows; "none" when there are none.
fn entries(entries: impl Iterator<Item = (char, String)>, width: usize) -> Vec<String> {
    let rows = |(mark, text): (char, String)| {
        let marks = std::iter::once(mark).chain(std::iter::repeat(' '));
        let rows = wrapped(&text, width.saturating_sub(2)).into_iter().zip(marks);
        rows.map(|(row, mark)| format!("{mark} {row}")).collect::<Vec<_>>()
    };
    let rows: Vec<String> = entries.flat_map(rows).collect();
    if rows.is_empty() { vec!["  none".to_owned()] } else { rows }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::BenchAction;
    use trimwright_harness::scenario::Scenario;

    #[test]
    fn codes_and_faults_are_listed_with_their_meaning() {
        let mut bench = Bench::new(&Scenario::load("delivery-van").expect("shipped")).expect("valid");
        (0..500).for_each(|_| bench.step());
        for name in ["map_open", "vacuum_leak"] {
            let number = Bench::fault_kinds().iter().position(|kind| kind.name == name).expect("a kind");
            bench.apply(BenchAction::ToggleFault(number));
        }
        assert_eq!(rows(&bench, 60, 9)[..2], ["Codes (! active)", "  none"]);
        (0..500).for_each(|_| bench.step());
        let now = [
            "Codes (! active)",
            "! P0107 manifold",
            "  pressure",
            "  sensor circuit",
            "  low",
            "",
            "Faults (* active)",
            "* MAP sensor",
            "  wire broken",
            "* air leak into",
            "  the intake",
            "  manifold, 40",
            "  mm2",
        ];
        assert_eq!(rows(&bench, 16, 13), now);
        let cut = rows(&bench, 16, 5);
        assert_eq!((&cut[..4], cut[4].as_str()), (&now.map(str::to_owned)[..4], "... and more"));
        bench.apply(BenchAction::ClearFaults);
        (0..500).for_each(|_| bench.step());
        let before = "  P0107 stored: manifold pressure sensor circuit low";
        assert_eq!(rows(&bench, 60, 9), ["Codes (! active)", before, "", "Faults (* active)", "  none"]);
    }
}
