//! What a page tells: plain data that the caller fills from a run.
//!
//! Quantities are SI with the unit in the name, except the two that the trade only knows otherwise: crank speed in rpm
//! and distance totals that carry their own unit in the figure's name. A value that isn't known is `NaN`; the page
//! leaves a gap there. Corrections and errors are natural logarithms of a ratio: 0.05 is about 5 %.

use serde::Serialize;

use trimwright_harness::driveability::Driveability;
use trimwright_harness::summary::Finding;
use trimwright_harness::units::UnitSystem;

use crate::digits::{rounded, rounded_each};

/// Everything the page tells about one run.
///
/// ```
/// use trimwright_report::{Story, render};
/// let story = Story { title: "A short drive".into(), ..Story::default() };
/// assert!(render(&story).contains("A short drive"));
/// ```
#[derive(Clone, Debug, Default, PartialEq, Serialize)]
pub struct Story {
    /// Headline of the page, for example the scenario's title.
    pub title: String,
    /// What kind of car and engine it is and what the controller was not told, in a few sentences.
    pub scenario: String,
    /// What was driven: schedule, passes, weather.
    pub driven: String,
    /// Short facts for the head of the page: seed, scenario hash, engine, ...
    pub facts: Vec<Fact>,
    /// The figures of the summary, by their full name; the page adds label, unit and explanation to those it knows.
    pub figures: Vec<Figure>,
    /// What happened over time, about two samples a second.
    pub trace: Trace,
    /// How the car drives, tried after the run with what was learned; `None` when that was not tried.
    pub driveability: Option<Driveability>,
    /// Units that the page's charts begin with; the reader may choose others.
    pub units: UnitSystem,
    /// Moments worth a line in the charts: engine started, second pass, a fault begins.
    pub marks: Vec<Mark>,
    /// How good the mixture was, window by window.
    pub convergence: Convergence,
    /// How the mixture error was spread before and after learning.
    pub spread: Spread,
    /// The map at the end of the run.
    pub map: MapFigures,
    /// The map while it filled in, in order of time; the last one is the map at the end.
    pub snapshots: Vec<ReplayFrame>,
    /// How many lessons were taken.
    pub lessons: u64,
    /// Why readings were not taken as lessons.
    pub refusals: Vec<RefusalCount>,
    /// Diagnostic trouble codes that were set.
    pub dtcs: Vec<TroubleCode>,
    /// What the assessment found.
    pub findings: Vec<Finding>,
    /// Cautions of this run; the page adds the usual ones itself.
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
    /// The full name, for example `mixture.learned_map_rms`.
    pub name: String,
    /// In the unit that the name says; ratios and ln as they are (0.02 is shown as 2 %); `NaN` when not measured.
    #[serde(serialize_with = "rounded")]
    pub value: f64,
}

/// What happened over time. All series are as long as `time_s`, or empty when not recorded.
#[derive(Clone, Debug, Default, PartialEq, Serialize)]
pub struct Trace {
    /// Time from the start of the run.
    #[serde(serialize_with = "rounded_each")]
    pub time_s: Vec<f64>,
    /// Speed that the schedule asks for.
    #[serde(serialize_with = "rounded_each")]
    pub wanted_speed_m_per_s: Vec<f64>,
    /// Speed of the vehicle.
    #[serde(serialize_with = "rounded_each")]
    pub speed_m_per_s: Vec<f64>,
    /// True lambda of the charge that goes into the cylinders; `NaN` while no fuel is wanted.
    #[serde(serialize_with = "rounded_each")]
    pub lambda: Vec<f64>,
    /// Lambda that the controller wanted; `NaN` while no fuel is wanted.
    #[serde(serialize_with = "rounded_each")]
    pub wanted_lambda: Vec<f64>,
    /// Short-term trim, ln of the fuel factor.
    #[serde(serialize_with = "rounded_each")]
    pub short_term_trim_ln: Vec<f64>,
    /// Long-term trim: what the map gave at that moment, ln of the fuel factor.
    #[serde(serialize_with = "rounded_each")]
    pub long_term_trim_ln: Vec<f64>,
    /// Manifold absolute pressure.
    #[serde(serialize_with = "rounded_each")]
    pub map_pa: Vec<f64>,
    /// Crank speed.
    #[serde(serialize_with = "rounded_each")]
    pub rpm: Vec<f64>,
}

/// A moment worth a line in the charts.
#[derive(Clone, Debug, Default, PartialEq, Serialize)]
pub struct Mark {
    /// When.
    #[serde(serialize_with = "rounded")]
    pub time_s: f64,
    /// A word or two, for example "pass 2".
    pub label: String,
}

/// Root mean square of the mixture error ln(lambda / wanted lambda) in windows, at the window's end.
#[derive(Clone, Debug, Default, PartialEq, Serialize)]
pub struct Convergence {
    /// Width of a window.
    pub window_s: f64,
    /// End of each window.
    #[serde(serialize_with = "rounded_each")]
    pub time_s: Vec<f64>,
    /// What the map alone was worth: steady events without short-term trim; `NaN` when a window holds too few.
    #[serde(serialize_with = "rounded_each")]
    pub map_rms: Vec<f64>,
    /// What went into the cylinders, with feedback; `NaN` when a window holds no event.
    #[serde(serialize_with = "rounded_each")]
    pub closed_loop_rms: Vec<f64>,
}

/// How often each size of mixture error occurred. Bin `i` reaches from `edges_ln[i]` to `edges_ln[i + 1]`; the outer
/// bins also hold what lies beyond.
#[derive(Clone, Debug, Default, PartialEq, Serialize)]
pub struct Spread {
    /// Edges of the bins, rising, one more than there are bins.
    #[serde(serialize_with = "rounded_each")]
    pub edges_ln: Vec<f64>,
    /// Cylinder events per bin, steady, with the first calibration, feedback and learning off.
    pub base_map: Vec<u64>,
    /// Cylinder events per bin, steady, with what was learned, frozen, feedback off.
    pub learned_map: Vec<u64>,
    /// Cylinder events per bin, all, in the last pass of the learning run.
    pub closed_loop: Vec<u64>,
}

/// Values over crank speed and manifold pressure, row by row: `cell = map_index * rpm.len() + rpm_index`. A list of
/// values may be empty when it wasn't worked out.
#[derive(Clone, Debug, Default, PartialEq, Serialize)]
pub struct MapFigures {
    /// Crank speed axis.
    #[serde(serialize_with = "rounded_each")]
    pub rpm: Vec<f64>,
    /// Manifold absolute pressure axis.
    #[serde(serialize_with = "rounded_each")]
    pub map_pa: Vec<f64>,
    /// Filling efficiency that the first calibration believes.
    #[serde(serialize_with = "rounded_each")]
    pub base_filling: Vec<f64>,
    /// What was learned.
    #[serde(serialize_with = "rounded_each")]
    pub learned_ln: Vec<f64>,
    /// What would have been right, from the truth of the plant.
    #[serde(serialize_with = "rounded_each")]
    pub right_ln: Vec<f64>,
    /// Time spent near the cell in steady state.
    #[serde(serialize_with = "rounded_each")]
    pub dwell_s: Vec<f64>,
    /// The learner's own standard deviation of `learned_ln`.
    #[serde(serialize_with = "rounded_each")]
    pub sigma_ln: Vec<f64>,
    /// Whether the engine was there long enough to learn from it.
    pub visited: Vec<bool>,
}

/// The learned map at one moment, cells in the order of [`Map`].
#[derive(Clone, Debug, Default, PartialEq, Serialize)]
pub struct ReplayFrame {
    /// When.
    #[serde(serialize_with = "rounded")]
    pub time_s: f64,
    /// What was learned until then.
    #[serde(serialize_with = "rounded_each")]
    pub learned_ln: Vec<f64>,
    /// The learner's own standard deviation then.
    #[serde(serialize_with = "rounded_each")]
    pub sigma_ln: Vec<f64>,
    /// Whether anything had been learned in the cell by then.
    pub touched: Vec<bool>,
}

/// How often a reading was not taken as a lesson, and why.
#[derive(Clone, Debug, Default, PartialEq, Serialize)]
pub struct RefusalCount {
    /// The reason's name, for example `transient`.
    pub reason: String,
    /// How many readings.
    pub count: u64,
}

/// A diagnostic trouble code.
#[derive(Clone, Debug, Default, PartialEq, Serialize)]
pub struct TroubleCode {
    /// The code of SAE J2012, for example `P0171`.
    pub code: String,
    /// What it says.
    pub meaning: String,
    /// When it was first set; `NaN` when not known.
    #[serde(serialize_with = "rounded")]
    pub time_s: f64,
}
