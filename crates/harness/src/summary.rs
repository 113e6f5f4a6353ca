//! Figures of a run, as written to `summary.json`. A figure that could not be measured is `null`.

use std::collections::BTreeMap;

use serde::Serialize;

use crate::driveability::Driveability;

/// Version of the layout of `summary.json`.
pub const SCHEMA: u32 = 1;

/// Contents of `summary.json`. The same scenario and seed give the same bytes, except `cost`.
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
    /// Seed of all random numbers.
    pub seed: u64,
    /// Hash of the scenario.
    pub scenario_hash: String,
    /// Mixture error.
    pub mixture: MixtureFigures,
    /// Learning.
    pub learning: LearningFigures,
    /// Drive.
    pub drive: DriveFigures,
    /// Driveability trials; `null` when only figures were requested.
    pub driveability: Option<Driveability>,
    /// Computing time: the only part that differs from run to run.
    pub cost: CostFigures,
    /// Trouble codes (SAE J2012) set by the controller.
    pub dtcs: Vec<String>,
    /// Findings with their evidence.
    pub verdicts: Vec<Finding>,
}

/// Mixture error `e = ln(lambda_true / lambda_wanted)` of cylinder events of the whole engine. Events count while the engine runs, from 60
/// s after the start, outside fuel cuts. An event is steady when MAP stayed within 2 kPa and speed within 100 rpm over the last 0.7 s.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct MixtureFigures {
    /// Rms e of steady events over one pass with the first calibration, feedback and learning off.
    pub base_map_rms: f64,
    /// The same with the learned map frozen and feedback off.
    pub learned_map_rms: f64,
    /// The same without the disturbances that pass: what a slow map could know and does not.
    pub learned_map_lasting_rms: f64,
    /// Rms of the disturbances that pass, over the same events: what no map can know.
    pub passing_rms: f64,
    /// Rms e of all events in the last pass of the learning run.
    pub closed_loop_rms: f64,
    /// 95th percentile of abs e over all events of the last pass.
    pub p95_abs: f64,
    /// Rms e of the events of the last pass that are not steady.
    pub transient_rms: f64,
    /// Rms over cylinders of ln(lambda of the cylinder / lambda of the whole engine).
    pub cylinder_spread_rms: f64,
}

/// Learning figures.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct LearningFigures {
    /// First time after which the map alone, without the disturbances that pass, stays below 2 % rms in every later window of 60 s, s.
    pub settle_s: f64,
    /// Cells with more than 2 s of steady dwell.
    pub cells_visited: usize,
    /// Visited cells with a standard deviation below 1 %.
    pub cells_confident: usize,
    /// Share of the visited cells whose true error is below two of the learner's standard deviations.
    pub within_two_sigma: f64,
    /// Rms over visited cells, weighted by dwell, of ln(learned correction / true correction).
    pub visited_error_rms: f64,
    /// The same for an offline weighted least-squares fit of the whole log with known delay.
    pub offline_fit_rms: f64,
    /// Common flow correction of all cells: ln of true fuel over calculated fuel.
    pub common_flow_ln: f64,
    /// Learned opening delay in addition to the calibration's, s.
    pub opening_delay_s: f64,
    /// True when flow and delay are identifiable: both long and short pulses occurred. Otherwise they are the most likely of many pairs.
    pub told_apart: bool,
    /// Number of lessons.
    pub lessons: u64,
    /// Number of refusals by reason.
    pub refusals: BTreeMap<String, u64>,
}

/// Figures of the drive.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct DriveFigures {
    /// Distance over all passes of the learning run, km.
    pub distance_km: f64,
    /// Distance of each pass, km.
    pub pass_distance_km: Vec<f64>,
    /// Rms of speed minus scheduled speed, m/s.
    pub speed_error_rms_m_per_s: f64,
    /// Fuel injected, kg.
    pub fuel_kg: f64,
    /// Fuel consumption, L/100 km; `null` when the car did not move.
    pub l_per_100km: Option<f64>,
    /// Number of stalls.
    pub stalls: u32,
    /// Cranking time, s.
    pub crank_s: f64,
}

/// Computing time.
#[derive(Clone, Copy, Debug, PartialEq, Serialize)]
pub struct CostFigures {
    /// Simulated time of all three drives, s.
    pub simulated_s: f64,
    /// Wall-clock time, s.
    pub wall_s: f64,
    /// Simulated over wall-clock time.
    pub times_real_time: f64,
}

/// Urgency of a finding.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, PartialOrd, Ord, Serialize)]
#[serde(rename_all = "lowercase")]
pub enum Weight {
    /// For information.
    #[default]
    Note,
    /// To be repaired before the next drive.
    Act,
    /// Danger to engine or people.
    Stop,
}

/// One finding of the diagnosis.
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
/// assert!(findings[0].evidence[0].contains("V with the engine stopped"), "{:?}", findings[0]);
/// # Ok::<(), Box<dyn std::error::Error>>(())
/// ```
#[derive(Clone, Debug, Default, PartialEq, Serialize)]
pub struct Finding {
    /// The finding in one sentence.
    pub title: String,
    /// How much it matters.
    pub weight: Weight,
    /// Measurements behind it.
    pub evidence: Vec<String>,
    /// Possible causes, most likely first.
    pub causes: Vec<String>,
    /// How to distinguish the causes.
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
    /// Never for this layout.
    pub fn to_json(&self) -> serde_json::Result<String> {
        Ok(serde_json::to_string_pretty(self)? + "\n")
    }
}
