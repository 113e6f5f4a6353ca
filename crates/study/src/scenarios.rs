//! All shipped scenarios with every learner.

use rayon::prelude::*;
use trimwright_harness::csv_text::csv_text;
use trimwright_harness::drive::{Record, RunError, drive_learners};
use trimwright_harness::scenario::Scenario;

use crate::fleet::Figures;
use crate::learners::LEARNERS;
use crate::quantiles::FIGURES;

/// One scenario with one learner.
///
/// ```
/// use trimwright_harness::{scenario::Scenario, schedule::Schedule};
/// use trimwright_study::scenarios::{DrivenScenario, drive};
/// let trip = "time [s],speed [km/h]\n0,0\n10,0\n20,30\n40,30\n";
/// let schedule = Schedule::parse("trip", "trip.csv", trip)?;
/// let scenario = Scenario { schedule, passes: 1, ..Scenario::load("town-coupe")? };
/// let driven: Vec<DrivenScenario> = drive(&[scenario])?;
/// assert_eq!((driven[2].scenario.as_str(), driven[2].learner), ("town-coupe", "kalman"));
/// assert_eq!(driven[2].figures.dtcs, "", "no code on a fault-free car");
/// # Ok::<(), Box<dyn std::error::Error>>(())
/// ```
#[derive(Clone, Debug, PartialEq)]
pub struct DrivenScenario {
    /// Name of the scenario.
    pub scenario: String,
    /// Name of the learner.
    pub learner: &'static str,
    /// Results.
    pub figures: Figures,
}

/// Drives each scenario with each learner.
///
/// ```
/// use trimwright_harness::{scenario::Scenario, schedule::Schedule};
/// use trimwright_study::scenarios::drive;
/// let trip = "time [s],speed [km/h]\n0,0\n10,0\n20,30\n40,30\n";
/// let schedule = Schedule::parse("trip", "trip.csv", trip)?;
/// let van = Scenario { schedule: schedule.clone(), passes: 1, ..Scenario::load("delivery-van")? };
/// let coupe = Scenario { schedule, passes: 1, ..Scenario::load("town-coupe")? };
/// let driven = drive(&[van, coupe])?;
/// assert_eq!(driven.len(), 2 * 3);
/// assert!(driven[0].figures.fuel_kg > driven[3].figures.fuel_kg, "the van consumes more on the same trip");
/// # Ok::<(), Box<dyn std::error::Error>>(())
/// ```
///
/// # Errors
/// [`RunError`] when the truth or the answers of a scenario are outside their ranges.
pub fn drive(scenarios: &[Scenario]) -> Result<Vec<DrivenScenario>, RunError> {
    let one = |scenario: &Scenario| {
        let runs =
            drive_learners(scenario, &LEARNERS.map(|(_, learner)| learner), Record::Figures, &mut |_| ())?;
        let driven = LEARNERS.iter().zip(&runs).map(|((learner, _), run)| DrivenScenario {
            scenario: scenario.name.clone(),
            learner,
            figures: Figures::of(run),
        });
        Ok(driven.collect::<Vec<_>>())
    };
    let driven: Result<Vec<Vec<DrivenScenario>>, RunError> =
        scenarios.par_iter().with_max_len(1).map(one).collect();
    Ok(driven?.into_iter().flatten().collect())
}

/// The table as comma-separated values: a row for each scenario and learner. Values that were not measured are empty.
///
/// ```
/// use trimwright_harness::{scenario::Scenario, schedule::Schedule};
/// use trimwright_study::scenarios::{csv, drive};
/// let trip = "time [s],speed [km/h]\n0,0\n10,0\n20,30\n40,30\n";
/// let schedule = Schedule::parse("trip", "trip.csv", trip)?;
/// let scenario = Scenario { schedule, passes: 1, ..Scenario::load("delivery-van")? };
/// let text = csv(&drive(&[scenario])?);
/// assert!(text.starts_with("scenario,learner,base_map_rms [%],"));
/// assert!(text.contains("\ndelivery-van,kalman,,"), "too short for steady events");
/// # Ok::<(), Box<dyn std::error::Error>>(())
/// ```
pub fn csv(driven: &[DrivenScenario]) -> String {
    let units =
        FIGURES.iter().map(|figure| format!("{} [{}]", figure.name, figure.format.unit()).replace(" []", ""));
    let counts = ["cells_visited", "cells_run_away", "cells_beyond_authority", "dtcs"].map(str::to_owned);
    let heads = ["scenario", "learner"].map(str::to_owned).into_iter().chain(units).chain(counts);
    let row = |each: &DrivenScenario| {
        let figures = &each.figures;
        let written = FIGURES.iter().map(|figure| match (figure.value)(figures) {
            Some(value) if value.is_finite() => figure.format.text(value),
            _ => String::new(),
        });
        let counts = [figures.cells_visited, figures.cells_run_away, figures.cells_beyond_authority];
        let words = [each.scenario.clone(), each.learner.to_owned()].into_iter().chain(written);
        words.chain(counts.map(|count| count.to_string())).chain([figures.dtcs.clone()]).collect::<Vec<_>>()
    };
    csv_text(heads, driven.iter().map(row))
}
