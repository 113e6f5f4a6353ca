//! What is wrong with the car, in words: trouble codes first, then the faults behind them.

use crate::bench::Bench;
use crate::rows::wrapped;
use trimwright_control::Dtc;

/// Codes and faults in rows of this width, at most so many: when some are left out the last row says so.
pub(crate) fn rows(bench: &Bench, width: usize, most: usize) -> Vec<String> {
    let codes = codes(bench).into_iter().map(|(dtc, now)| {
        let before = if now { "" } else { " before:" };
        (if now { '!' } else { ' ' }, format!("{}{before} {}", dtc.code(), dtc.meaning()))
    });
    let faults = bench.faults().map(|(fault, there)| (if there { '*' } else { ' ' }, fault.title()));
    let mut rows = vec!["Codes (! now)".to_owned()];
    rows.extend(entries(codes, width));
    rows.extend([String::new(), "Faults (* now)".to_owned()]);
    rows.extend(entries(faults, width));
    if rows.len() > most {
        rows.truncate(most.saturating_sub(1));
        rows.push("... and more".to_owned());
    }
    rows
}

/// Every code that has been set, those of now first, and whether it is one of these.
pub(crate) fn codes(bench: &Bench) -> Vec<(Dtc, bool)> {
    let dtcs = &bench.closed_loop().controller().state().dtcs();
    let before = dtcs.stored().filter(|dtc| !dtcs.is_set(*dtc)).map(|dtc| (dtc, false));
    dtcs.active().map(|dtc| (dtc, true)).chain(before).collect()
}

/// Entries with their signs, broken into rows; "none" when there are none.
fn entries(entries: impl Iterator<Item = (char, String)>, width: usize) -> Vec<String> {
    let rows = |(sign, text): (char, String)| {
        let signs = std::iter::once(sign).chain(std::iter::repeat(' '));
        let rows = wrapped(&text, width.saturating_sub(2)).into_iter().zip(signs);
        rows.map(|(row, sign)| format!("{sign} {row}")).collect::<Vec<_>>()
    };
    let rows: Vec<String> = entries.flat_map(rows).collect();
    if rows.is_empty() { vec!["  none".to_owned()] } else { rows }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::Act;
    use trimwright_harness::scenario::Scenario;

    #[test]
    fn codes_and_faults_have_their_meaning() {
        let mut bench = Bench::new(&Scenario::load("delivery-van").expect("shipped")).expect("sound");
        (0..500).for_each(|_| bench.go_on());
        for name in ["map_open", "vacuum_leak"] {
            let number = Bench::kinds().iter().position(|kind| kind.name == name).expect("a kind");
            bench.act(Act::Fault(number));
        }
        assert_eq!(rows(&bench, 60, 9)[..2], ["Codes (! now)", "  none"]);
        (0..500).for_each(|_| bench.go_on());
        let now = [
            "Codes (! now)",
            "! P0107 manifold",
            "  pressure",
            "  sensor circuit",
            "  low",
            "",
            "Faults (* now)",
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
        bench.act(Act::Mend);
        (0..500).for_each(|_| bench.go_on());
        let before = "  P0107 before: manifold pressure sensor circuit low";
        assert_eq!(rows(&bench, 60, 9), ["Codes (! now)", before, "", "Faults (* now)", "  none"]);
    }
}
