//! The figures of a run, as `summary.json` holds them. A figure that could not be measured is `null`.

use std::collections::BTreeMap;

use serde::Serialize;

use crate::driveability::Driveability;

/// Version of the layout of `summary.json`.
pub const SCHEMA: u32 = 1;

/// Everything that `summary.json` holds. The same scenario and seed give the same bytes, except `cost`.
///
/// ```
/// use trimwright_control::Options;
/// use trimwright_harness::drive::{Record, drive_with};
/// use trimwright_harness::{scenario::Scenario, schedule::Schedule};
///
/// let schedule = Schedule::parse("trip", "trip.csv", "time [s],speed [km/h]\n0,0\n20,0\n40,50\n60,50\n")?;
/// let scenario = Scenario { schedule, passes: 1, ..Scenario::load("delivery-van")? };
/// let summary = drive_with(&scenario, Options::default(), Record::Figures, &mut |_| ())?.summary;
/// assert_eq!((summary.scenario.as_str(), summary.scenario_hash), ("delivery-van", scenario.hash()));
/// assert!(summary.dtcs.is_empty() && summary.driveability.is_none());
/// # Ok::<(), Box<dyn std::error::Error>>(())
/// ```
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct Summary {
    /// Version of this layout: [`SCHEMA`].
    pub schema: u32,
    /// Name of the scenario.
    pub scenario: String,
    /// Seed of everything drawn.
    pub seed: u64,
    /// Hash of the scenario's content.
    pub scenario_hash: String,
    /// How far the mixture was from the wanted one.
    pub mixture: MixtureFigures,
    /// What was learned.
    pub learning: LearningFigures,
    /// What was driven.
    pub drive: DriveFigures,
    /// How well the car drives, in trials of their own; `null` when only figures of the drive were asked for.
    pub driveability: Option<Driveability>,
    /// Speed of the simulation: the only part that differs from run to run.
    pub cost: CostFigures,
    /// Trouble codes (SAE J2012) that the controller set.
    pub dtcs: Vec<String>,
    /// Findings with their evidence.
    pub verdicts: Vec<Finding>,
}

/// Mixture error `e = ln(lambda_true / lambda_wanted)` of cylinder events: of the whole engine, while it runs, from 60 s after the
/// start, outside fuel cuts. An event is steady when over the last 0.7 s MAP stayed within 2 kPa and speed within 100 rpm.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct MixtureFigures {
    /// rms e of steady events over one pass with the first calibration, feedback and learning off.
    pub base_map_rms: f64,
    /// The same with what was learned, frozen, feedback off.
    pub learned_map_rms: f64,
    /// rms e of all events in the last pass of the learning run.
    pub closed_loop_rms: f64,
    /// 95th percentile of abs e, all events, last pass.
    pub p95_abs: f64,
    /// rms e of the events that are not steady, last pass.
    pub transient_rms: f64,
    /// rms over cylinders of ln(lambda of the cylinder / lambda of the whole engine).
    pub cylinder_spread_rms: f64,
}

/// What was learned and how well.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct LearningFigures {
    /// First time after which the map alone stays under 2 % rms in every later window of 60 s.
    pub settle_s: f64,
    /// Cells with more than 2 s of steady dwell.
    pub cells_visited: usize,
    /// Those of them whose own standard deviation is below 1 %.
    pub cells_confident: usize,
    /// Share of the visited cells whose true error is below two of the learner's own standard deviations.
    pub within_two_sigma: f64,
    /// Dwell-weighted rms over visited cells of ln(learned correction / right correction).
    pub visited_error_rms: f64,
    /// The same for a weighted least-squares fit made afterwards from the whole log, with known delay.
    pub offline_fit_rms: f64,
    /// What all cells have in common: ln of right fuel over believed fuel.
    pub common_flow_ln: f64,
    /// How much later than believed the injectors open.
    pub opening_delay_s: f64,
    /// Whether pulses long and short enough were seen to tell these two apart; if not, they are the likeliest of many pairs.
    pub told_apart: bool,
    /// Readings that were taken as lessons.
    pub lessons: u64,
    /// Readings that were not, by reason.
    pub refusals: BTreeMap<String, u64>,
}

/// The drive itself.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct DriveFigures {
    /// Distance of all passes of the learning run.
    pub distance_km: f64,
    /// Distance of each pass.
    pub pass_distance_km: Vec<f64>,
    /// rms of speed less wanted speed.
    pub speed_error_rms_m_per_s: f64,
    /// Fuel injected.
    pub fuel_kg: f64,
    /// Fuel by volume over distance; `null` when the car stood still.
    pub l_per_100km: Option<f64>,
    /// Times the engine died after it had run.
    pub stalls: u32,
    /// Time the starter turned.
    pub crank_s: f64,
}

/// Speed of the simulation.
#[derive(Clone, Copy, Debug, PartialEq, Serialize)]
pub struct CostFigures {
    /// Simulated time, all three drives.
    pub simulated_s: f64,
    /// Time that took.
    pub wall_s: f64,
    /// Their ratio.
    pub times_real_time: f64,
}

/// How much a finding matters.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, PartialOrd, Ord, Serialize)]
#[serde(rename_all = "lowercase")]
pub enum Weight {
    /// Worth knowing.
    #[default]
    Note,
    /// To be looked after before the next drive.
    Act,
    /// The engine or somebody could be hurt.
    Stop,
}

/// One finding of the assessment.
///
/// ```
/// use trimwright_control::Options;
/// use trimwright_harness::faults::{Fault, find};
/// use trimwright_harness::{drive::learn, scenario::Scenario, schedule::Schedule, verdicts};
///
/// let schedule = Schedule::parse("trip", "trip.csv", "time [s],speed [km/h]\n0,0\n20,0\n40,50\n100,50\n")?;
/// let faults = vec![Fault::usual(find("alternator_dead").ok_or("a kind")?)];
/// let van = Scenario { schedule, faults, passes: 1, ..Scenario::load("delivery-van")? };
/// let learned = learn(&van, Options::default())?;
/// let findings = verdicts::findings(&learned.evidence, &learned.controller);
/// assert!(findings[0].evidence[0].contains("V with the engine standing"), "{:?}", findings[0]);
/// # Ok::<(), Box<dyn std::error::Error>>(())
/// ```
#[derive(Clone, Debug, Default, PartialEq, Serialize)]
pub struct Finding {
    /// The finding in one sentence.
    pub title: String,
    /// How much it matters.
    pub weight: Weight,
    /// What was seen, with numbers.
    pub evidence: Vec<String>,
    /// What may be behind it, most likely first.
    pub causes: Vec<String>,
    /// How to tell the causes apart.
    pub tell_apart: Vec<String>,
    /// What to check first.
    pub check: Vec<String>,
}

impl Summary {
    /// The text of `summary.json`.
    ///
    /// ```
    /// use trimwright_harness::{drive, scenario::Scenario, schedule::Schedule};
    /// let trip = "time [s],speed [km/h]\n0,0\n20,0\n40,50\n100,50\n";
    /// let schedule = Schedule::parse("trip", "trip.csv", trip)?;
    /// let scenario = Scenario { schedule, passes: 1, ..Scenario::load("delivery-van")? };
    /// let text = drive::drive(&scenario, &mut |_| ())?.summary.to_json()?;
    /// assert!(text.contains("\"settle_s\": null"), "no figure without a measurement");
    /// # Ok::<(), Box<dyn std::error::Error>>(())
    /// ```
    ///
    /// # Errors
    /// When a value can't be written as JSON, which none of this layout can cause.
    pub fn to_json(&self) -> serde_json::Result<String> {
        Ok(serde_json::to_string_pretty(self)? + "\n")
    }
}
