//! Data of the report page of a run; the caller fills it.
//!
//! Quantities are SI with the unit in the name, except crank speed (rpm) and distances, whose figures have the unit in their
//! name. An unknown value is `NaN` and leaves a gap in the page. Corrections and errors are natural logarithms of a ratio: 0.05
//! is about 5 %.

use serde::Serialize;

use trimwright_harness::driveability::Driveability;
use trimwright_harness::summary::Finding;
use trimwright_harness::units::UnitSystem;

use crate::digits::{rounded, rounded_each};

/// Everything that the page shows about one run.
///
/// ```
/// use trimwright_report::{ReportData, render};
/// let data = ReportData { title: "A short drive".into(), ..ReportData::default() };
/// assert!(render(&data).contains("A short drive"));
/// ```
#[derive(Clone, Debug, Default, PartialEq, Serialize)]
pub struct ReportData {
    /// Headline of the page, for example the scenario's title.
    pub title: String,
    /// Description of car and engine and of what the controller does not know, a few sentences.
    pub scenario: String,
    /// Description of the drive: schedule, passes, weather.
    pub driven: String,
    /// Labelled values for the head of the page: seed, scenario hash, engine, ...
    pub facts: Vec<Fact>,
    /// Figures of the summary by full name; the page adds label, unit and explanation to the known ones.
    pub figures: Vec<Figure>,
    /// Signals over time, about two samples per second.
    pub trace: Trace,
    /// Results of the driveability tests after the run, with the learned map; `None` when they were not run.
    pub driveability: Option<Driveability>,
    /// Initial units of the charts; the reader can change them.
    pub units: UnitSystem,
    /// Times marked in the charts: engine started, second pass, a fault begins.
    pub marks: Vec<Mark>,
    /// Mixture error, window by window.
    pub convergence: Convergence,
    /// Histogram of the mixture error before and after learning.
    pub error_histogram: ErrorHistogram,
    /// The map at the end of the run.
    pub map: MapFigures,
    /// The map at several times in ascending order; the last one is the map at the end.
    pub snapshots: Vec<ReplayFrame>,
    /// Number of accepted lessons.
    pub lessons: u64,
    /// Counts of rejected readings by reason.
    pub refusals: Vec<RefusalCount>,
    /// Trouble codes that were set.
    pub dtcs: Vec<TroubleCode>,
    /// Findings of the assessment.
    pub findings: Vec<Finding>,
    /// Cautions of this run; the page adds the general ones.
    pub cautions: Vec<String>,
}

/// A label and its value as text.
#[derive(Clone, Debug, Default, PartialEq, Serialize)]
pub struct Fact {
    /// For example "Engine".
    pub label: String,
    /// For example "5.2 L V8, hot cam".
    pub value: String,
}

/// One figure of the summary.
#[derive(Clone, Debug, Default, PartialEq, Serialize)]
pub struct Figure {
    /// Full name, for example `mixture.learned_map_rms`.
    pub name: String,
    /// Value in the unit of the name; ratios and ln are shown as per cent (0.02 as 2 %); `NaN` when not measured.
    #[serde(serialize_with = "rounded")]
    pub value: f64,
}

/// Signals over time. Each series is as long as `time_s`, or empty when not recorded.
#[derive(Clone, Debug, Default, PartialEq, Serialize)]
pub struct Trace {
    /// Time since the start of the run, s.
    #[serde(serialize_with = "rounded_each")]
    pub time_s: Vec<f64>,
    /// Speed of the schedule, m/s.
    #[serde(serialize_with = "rounded_each")]
    pub wanted_speed_m_per_s: Vec<f64>,
    /// Speed of the vehicle, m/s.
    #[serde(serialize_with = "rounded_each")]
    pub speed_m_per_s: Vec<f64>,
    /// True lambda of the cylinder charge; `NaN` while no fuel is commanded.
    #[serde(serialize_with = "rounded_each")]
    pub lambda: Vec<f64>,
    /// Wanted lambda of the controller; `NaN` while no fuel is commanded.
    #[serde(serialize_with = "rounded_each")]
    pub wanted_lambda: Vec<f64>,
    /// Short-term trim, ln of the fuel factor.
    #[serde(serialize_with = "rounded_each")]
    pub short_term_trim_ln: Vec<f64>,
    /// Long-term trim, the learned correction at the operating point, ln of the fuel factor.
    #[serde(serialize_with = "rounded_each")]
    pub long_term_trim_ln: Vec<f64>,
    /// Manifold absolute pressure, Pa.
    #[serde(serialize_with = "rounded_each")]
    pub map_pa: Vec<f64>,
    /// Crank speed, rpm.
    #[serde(serialize_with = "rounded_each")]
    pub rpm: Vec<f64>,
}

/// A time that is marked in the charts.
#[derive(Clone, Debug, Default, PartialEq, Serialize)]
pub struct Mark {
    /// Time since the start of the run, s.
    #[serde(serialize_with = "rounded")]
    pub time_s: f64,
    /// A short label, for example "pass 2".
    pub label: String,
}

/// Root mean square of the mixture error ln(lambda / wanted lambda) in windows, at the window's end.
#[derive(Clone, Debug, Default, PartialEq, Serialize)]
pub struct Convergence {
    /// Width of a window, s.
    pub window_s: f64,
    /// End of each window, s.
    #[serde(serialize_with = "rounded_each")]
    pub time_s: Vec<f64>,
    /// Error of the map alone: steady cylinder events, short-term trim removed; `NaN` when a window holds too few.
    #[serde(serialize_with = "rounded_each")]
    pub map_rms: Vec<f64>,
    /// Error with feedback, all cylinder events; `NaN` when a window holds none.
    #[serde(serialize_with = "rounded_each")]
    pub closed_loop_rms: Vec<f64>,
}

/// Histogram of the mixture error. Bin `i` reaches from `edges_ln[i]` to `edges_ln[i + 1]`; the outer bins also count everything
/// beyond.
#[derive(Clone, Debug, Default, PartialEq, Serialize)]
pub struct ErrorHistogram {
    /// Edges of the bins, ascending, one more than there are bins, ln.
    #[serde(serialize_with = "rounded_each")]
    pub edges_ln: Vec<f64>,
    /// Steady cylinder events per bin with the first calibration, feedback and learning off.
    pub base_map: Vec<u64>,
    /// Steady cylinder events per bin with the learned map frozen, feedback off.
    pub learned_map: Vec<u64>,
    /// All cylinder events per bin in the last pass of the learning run.
    pub closed_loop: Vec<u64>,
}

/// Values over crank speed and manifold pressure, row by row: `cell = map_index * rpm.len() + rpm_index`. A list of
/// values may be empty when it was not computed.
#[derive(Clone, Debug, Default, PartialEq, Serialize)]
pub struct MapFigures {
    /// Crank speed axis, rpm.
    #[serde(serialize_with = "rounded_each")]
    pub rpm: Vec<f64>,
    /// Manifold absolute pressure axis, Pa.
    #[serde(serialize_with = "rounded_each")]
    pub map_pa: Vec<f64>,
    /// Filling efficiency of the first calibration, ratio.
    #[serde(serialize_with = "rounded_each")]
    pub base_filling: Vec<f64>,
    /// Learned correction, ln of the fuel factor.
    #[serde(serialize_with = "rounded_each")]
    pub learned_ln: Vec<f64>,
    /// True correction, computed from the truth of the plant, ln of the fuel factor.
    #[serde(serialize_with = "rounded_each")]
    pub true_ln: Vec<f64>,
    /// Time spent near the cell in steady state, s.
    #[serde(serialize_with = "rounded_each")]
    pub dwell_s: Vec<f64>,
    /// Standard deviation of `learned_ln` as estimated by the learner, ln.
    #[serde(serialize_with = "rounded_each")]
    pub sigma_ln: Vec<f64>,
    /// Whether the engine was near the cell long enough to learn.
    pub visited: Vec<bool>,
}

/// The learned map at one time, cells in the order of [`MapFigures`].
#[derive(Clone, Debug, Default, PartialEq, Serialize)]
pub struct ReplayFrame {
    /// Time since the start of the run, s.
    #[serde(serialize_with = "rounded")]
    pub time_s: f64,
    /// Learned correction at that time, ln of the fuel factor.
    #[serde(serialize_with = "rounded_each")]
    pub learned_ln: Vec<f64>,
    /// Its standard deviation as estimated by the learner, ln.
    #[serde(serialize_with = "rounded_each")]
    pub sigma_ln: Vec<f64>,
    /// Whether the cell had received a lesson by then.
    pub has_lesson: Vec<bool>,
}

/// Number of readings that were rejected for one reason.
#[derive(Clone, Debug, Default, PartialEq, Serialize)]
pub struct RefusalCount {
    /// The reason's name, for example `transient`.
    pub reason: String,
    /// Number of readings.
    pub count: u64,
}

/// A diagnostic trouble code.
#[derive(Clone, Debug, Default, PartialEq, Serialize)]
pub struct TroubleCode {
    /// The code of SAE J2012, for example `P0171`.
    pub code: String,
    /// Meaning of the code.
    pub meaning: String,
    /// Time at which it was first set, s; `NaN` when unknown.
    #[serde(serialize_with = "rounded")]
    pub time_s: f64,
}
