//! Comparison of the learners on the same drive.

use std::iter;

use rayon::prelude::*;
use trimwright_control::{Options, Strategy};
use trimwright_harness::csv_text::{csv_text, decimals};
use trimwright_harness::drive::{Record, Run, RunError, drive_with};
use trimwright_harness::scenario::Scenario;

use crate::learners::LEARNERS;

/// One learner's run.
///
/// ```
/// use trimwright_harness::{scenario::Scenario, schedule::Schedule};
/// use trimwright_study::compare::compare;
/// use trimwright_study::learners::named;
/// let trip = "time [s],speed [km/h]\n0,0\n10,0\n20,30\n40,30\n";
/// let schedule = Schedule::parse("trip", "trip.csv", trip)?;
/// let scenario = Scenario { schedule, passes: 1, ..Scenario::load("delivery-van")? };
/// let compared = compare(&scenario, || ())?;
/// assert!(compared.iter().all(|each| named(each.learner) == Some(each.strategy)));
/// let way_km = |place: usize| compared[place].run.summary.drive.distance_km;
/// assert!(way_km(0) > 0.1 && (way_km(0) - way_km(2)).abs() < 0.01, "the same trip");
/// # Ok::<(), Box<dyn std::error::Error>>(())
/// ```
#[derive(Clone, Debug, PartialEq)]
pub struct LearnerRun {
    /// Name of the learner.
    pub learner: &'static str,
    /// Strategy of the learner.
    pub strategy: Strategy,
    /// The run.
    pub run: Run,
}

/// Drives the scenario with each learner; nothing else differs. `each` is called after every run.
///
/// ```
/// use std::sync::atomic::{AtomicU32, Ordering};
/// use trimwright_harness::{scenario::Scenario, schedule::Schedule};
/// use trimwright_study::compare::compare;
/// let trip = "time [s],speed [km/h]\n0,0\n10,0\n20,30\n40,30\n";
/// let schedule = Schedule::parse("trip", "trip.csv", trip)?;
/// let scenario = Scenario { schedule, passes: 1, ..Scenario::load("delivery-van")? };
/// let done = AtomicU32::new(0);
/// let compared = compare(&scenario, || _ = done.fetch_add(1, Ordering::Relaxed))?;
/// assert_eq!(done.into_inner(), 3);
/// assert_eq!(compared[0].run.base, compared[2].run.base, "equal before learning");
/// # Ok::<(), Box<dyn std::error::Error>>(())
/// ```
///
/// # Errors
/// [`RunError`] when the scenario's truth or answers are outside their ranges.
pub fn compare(scenario: &Scenario, each: impl Fn() + Sync) -> Result<Vec<LearnerRun>, RunError> {
    let one = |&(learner, strategy): &(&'static str, Strategy)| {
        let options = Options { strategy, ..Options::default() };
        let run = drive_with(scenario, options, Record::Figures, &mut |_| ())?;
        each();
        Ok(LearnerRun { learner, strategy, run })
    };
    LEARNERS.par_iter().map(one).collect()
}

/// The text of `compare.csv`: the error of each learner over time, window by window. Values that were not measured are empty.
///
/// ```
/// use trimwright_harness::{scenario::Scenario, schedule::Schedule};
/// use trimwright_study::compare::{compare, to_csv};
/// let trip = "time [s],speed [km/h]\n0,0\n10,0\n20,30\n60,30\n";
/// let schedule = Schedule::parse("trip", "trip.csv", trip)?;
/// let scenario = Scenario { schedule, passes: 1, ..Scenario::load("delivery-van")? };
/// let text = to_csv(&compare(&scenario, || ())?);
/// assert!(text.starts_with("time [s],integral map rms [1],integral closed loop rms [1],gradient"));
/// assert!(text.ends_with("\n60,,,,,,\n"), "no measurement in the first minute: {text}");
/// # Ok::<(), Box<dyn std::error::Error>>(())
/// ```
pub fn to_csv(compared: &[LearnerRun]) -> String {
    let of = |each: &LearnerRun| {
        ["map rms [1]", "closed loop rms [1]"].map(|what| format!("{} {what}", each.learner))
    };
    let head = iter::once("time [s]".to_owned()).chain(compared.iter().flat_map(of));
    let row = |row: usize| {
        let windows = || compared.iter().filter_map(move |each| each.run.windows.get(row));
        let time_s = windows().next().map_or(f64::NAN, |window| window.end_s);
        let values = windows().flat_map(|window| [window.map_rms, window.closed_loop_rms]);
        iter::once(format!("{time_s:.0}")).chain(values.map(|value| decimals(value, 6)))
    };
    let rows = compared.first().map_or(0, |first| first.run.windows.len());
    csv_text(head, (0..rows).map(row))
}

#[cfg(test)]
mod tests {
    use super::*;
    use trimwright_harness::schedule::Schedule;

    #[test]
    fn only_the_learner_differs() {
        let text = "time [s],speed [km/h]\n0,0\n20,0\n40,50\n500,50\n510,0\n";
        let schedule = Schedule::parse("trip", "trip.csv", text).expect("a schedule");
        let scenario = Scenario { schedule, passes: 1, ..Scenario::load("delivery-van").expect("shipped") };
        let compared = compare(&scenario, || ()).expect("driven");
        let base: Vec<f64> = compared.iter().map(|each| each.run.summary.mixture.base_map_rms).collect();
        assert!(base[0] > 0.0 && base.iter().all(|rms| *rms == base[0]), "{base:?}");
        let strategies: Vec<Strategy> = compared.iter().map(|each| each.strategy).collect();
        assert_eq!(strategies, [Strategy::Integral, Strategy::NormalisedGradient, Strategy::Kalman]);
        let learned: Vec<_> = compared.iter().map(|each| &each.run.learned).collect();
        assert!(learned[0] != learned[1] && learned[1] != learned[2] && learned[0] != learned[2]);
        let csv = to_csv(&compared);
        let mut lines = csv.lines();
        assert_eq!(lines.next().map(|line| line.split(',').count()), Some(7));
        assert_eq!(lines.next().map(|line| line.split(',').count()), Some(7));
        assert_eq!(csv.lines().count(), 1 + 8);
    }
}
