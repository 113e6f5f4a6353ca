//! The result of a run as a table that fits a screen.

use crate::page::{common_correction, meaning};
use std::fmt::Write;
use std::path::Path;
use trimwright_harness::drive::Run;
use trimwright_harness::scenario::Scenario;
use trimwright_harness::units::UnitSystem;

/// Largest number of refusals that are shown.
const REASONS: usize = 4;

/// The result as text.
pub(crate) fn text(scenario: &Scenario, run: &Run, out: &Path, units: UnitSystem) -> String {
    let mut text = String::new();
    // Writing into a String can't fail.
    let _ = fill(&mut text, scenario, run, out, units);
    text
}

fn fill(
    text: &mut String,
    scenario: &Scenario,
    run: &Run,
    out: &Path,
    units: UnitSystem,
) -> std::fmt::Result {
    let summary = &run.summary;
    let (mixture, learning, drive) = (&summary.mixture, &summary.learning, &summary.drive);
    writeln!(text, "{} (seed {})", scenario.title, scenario.seed)?;
    let times = if scenario.passes == 1 { "once".to_owned() } else { format!("{} times", scenario.passes) };
    row(text, "Schedule", &format!("{}, driven {times}", scenario.schedule.name()))?;
    row(text, "Distance", &units.distance(1e3 * drive.distance_km))?;
    row(text, "Speed error", &format!("{} rms", units.speed(drive.speed_error_rms_m_per_s)))?;
    if let Some(litres) = drive.l_per_100km {
        row(text, "Fuel", &units.consumption(litres))?;
    }
    row(text, "Stalls", &drive.stalls.to_string())?;

    writeln!(text, "\nMixture error, rms")?;
    let within = format!("whole last pass; 95 % of events within {:.2} %", 100.0 * mixture.p95_abs);
    row(text, "First calibration", &percent(mixture.base_map_rms, "steady driving, no correction"))?;
    let mut learned = "the same, learned map".to_owned();
    if mixture.passing_rms > 0.0 {
        let lasting = 100.0 * mixture.learned_map_lasting_rms;
        let _ = write!(learned, "; {lasting:.2} % without what passes within seconds or minutes");
    }
    row(text, "Learned map", &percent(mixture.learned_map_rms, &learned))?;
    row(text, "With feedback", &percent(mixture.closed_loop_rms, &within))?;

    writeln!(text, "\nLearning")?;
    let sure =
        format!("{} visited, {} of them known to 1 %", learning.cells_visited, learning.cells_confident);
    row(text, "Cells of the map", &sure)?;
    let limit = format!("remaining error; offline fit {:.2} %", 100.0 * learning.offline_fit_rms);
    row(text, "Visited cells", &percent(learning.visited_error_rms, &limit))?;
    if learning.lessons > 0 {
        row(text, "Common correction", &common_correction(learning))?;
    }
    let settled = learning.settle_s;
    let settled =
        if settled.is_finite() { format!("after {settled:.0} s") } else { "not reached".to_owned() };
    row(text, "Within 2 %", &settled)?;
    row(text, "Lessons", &lessons(learning.lessons, learning.refusals.iter()))?;
    for code in &summary.dtcs {
        row(text, "Trouble code", &format!("{code}  {}", meaning(code)))?;
    }
    for verdict in &summary.verdicts {
        writeln!(text, "\n* {}", verdict.title)?;
    }

    let cost = &summary.cost;
    writeln!(
        text,
        "\n{:.0} s simulated in {:.2} s, {:.0} times real time. A simulation: no proof that a real engine is safe.",
        cost.simulated_s, cost.wall_s, cost.times_real_time
    )?;
    writeln!(
        text,
        "Written to {}: report.html (open it in a browser), summary.json, trace.csv, map.csv",
        out.display()
    )
}

fn row(text: &mut String, label: &str, value: &str) -> std::fmt::Result {
    writeln!(text, "  {label:<22}{value}")
}

/// A ratio as a percentage with an explanation.
fn percent(ratio: f64, of: &str) -> String {
    if ratio.is_finite() { format!("{:>6.2} %  {of}", 100.0 * ratio) } else { "not measured".to_owned() }
}

fn lessons<'a>(accepted: u64, refusals: impl Iterator<Item = (&'a String, &'a u64)>) -> String {
    let mut reasons: Vec<_> = refusals.filter(|(_, count)| **count > 0).collect();
    reasons.sort_by(|a, b| b.1.cmp(a.1).then(a.0.cmp(b.0)));
    let named =
        reasons.iter().take(REASONS).map(|(reason, count)| format!("{count} {}", reason.replace('_', " ")));
    let named = named.collect::<Vec<_>>().join(", ");
    if named.is_empty() {
        format!("{accepted} accepted")
    } else {
        format!("{accepted} accepted; rejected: {named}")
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use std::collections::BTreeMap;

    #[test]
    fn the_most_frequent_refusals_are_named() {
        let refusals: BTreeMap<String, u64> =
            [("cold", 5), ("fuel_cut", 9), ("never", 0), ("a", 1), ("b", 1), ("c", 1)]
                .map(|(name, count)| (name.to_owned(), count))
                .into();
        assert_eq!(lessons(7, refusals.iter()), "7 accepted; rejected: 9 fuel cut, 5 cold, 1 a, 1 b");
        assert_eq!(lessons(7, BTreeMap::new().iter()), "7 accepted");
    }

    #[test]
    fn missing_measurements_are_marked() {
        assert_eq!([percent(0.0123, "it"), percent(f64::NAN, "it")], ["  1.23 %  it", "not measured"]);
    }
}
