//! Drives a scenario three times: with the first calibration, while learning, and with the learned map frozen.

mod recorder;
mod run;

use trimwright_control::{Calibration, Controller, LearnedMap, Options, Strategy};

use crate::driveability::driveability;
use crate::faults::Timeline;
use crate::on_target::OnTarget;
pub use crate::run_error::RunError;
use crate::scenario::Scenario;
use crate::session::SessionBuilder;
use crate::verdicts::Evidence;
use recorder::drive_passes;
pub use recorder::{Record, Snapshot};
pub use run::Run;
use run::run_of;

/// Progress of a drive.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Progress {
    /// Simulated time done over all drives, s.
    pub done_s: f64,
    /// Total simulated time, s.
    pub total_s: f64,
}

/// Drives `scenario`: one pass with the first calibration, all passes while learning, one pass with the learned map.
///
/// ```
/// use trimwright_harness::{drive::drive, scenario::Scenario, schedule::Schedule};
///
/// let schedule = Schedule::parse("trip", "trip.csv", "time [s],speed [km/h]\n0,0\n20,0\n40,50\n100,50\n")?;
/// let scenario = Scenario { schedule, passes: 1, ..Scenario::load("delivery-van")? };
/// let summary = drive(&scenario, &mut |_| ())?.summary;
/// assert!((summary.drive.distance_km - 0.97).abs() < 0.05);
/// assert!(summary.driveability.is_some_and(|felt| felt.fuel_cut.stalls == 0));
/// # Ok::<(), Box<dyn std::error::Error>>(())
/// ```
///
/// # Errors
/// [`RunError`] when the scenario's truth or answers are outside their ranges.
pub fn drive(scenario: &Scenario, progress: &mut dyn FnMut(Progress)) -> Result<Run, RunError> {
    drive_with(scenario, Options::default(), Record::Everything, progress)
}

/// The same with other options in the learning run, and with the given extent of recording.
///
/// ```
/// use trimwright_control::{Options, Strategy};
/// use trimwright_harness::drive::{Record, drive_with};
/// use trimwright_harness::{scenario::Scenario, schedule::Schedule};
///
/// let trip = "time [s],speed [km/h]\n0,0\n20,0\n40,50\n100,50\n";
/// let schedule = Schedule::parse("trip", "trip.csv", trip)?;
/// let scenario = Scenario { schedule, passes: 1, ..Scenario::load("delivery-van")? };
/// let options = Options { strategy: Strategy::Integral, ..Options::default() };
/// let run = drive_with(&scenario, options, Record::Figures, &mut |_| ())?;
/// assert!(run.rows.is_empty() && run.summary.drive.distance_km > 0.5);
/// # Ok::<(), Box<dyn std::error::Error>>(())
/// ```
///
/// # Errors
/// [`RunError`] when the scenario's truth or answers are outside their ranges.
pub fn drive_with(
    scenario: &Scenario,
    options: Options,
    record: Record,
    progress: &mut dyn FnMut(Progress),
) -> Result<Run, RunError> {
    drive_where(scenario, options, record, None, progress)
}

/// Drives the same engine with each learner in turn, in the order of `learners`. The run without learning is the same for all; it is made
/// once and counted in the cost of each.
///
/// ```
/// use trimwright_control::Strategy;
/// use trimwright_harness::drive::{Record, drive_learners};
/// use trimwright_harness::{scenario::Scenario, schedule::Schedule};
///
/// let trip = "time [s],speed [km/h]\n0,0\n20,0\n40,50\n400,50\n";
/// let schedule = Schedule::parse("trip", "trip.csv", trip)?;
/// let scenario = Scenario { schedule, passes: 1, ..Scenario::load("delivery-van")? };
/// let runs = drive_learners(&scenario, &[Strategy::Integral, Strategy::Kalman], Record::Figures, &mut |_| ())?;
/// assert_eq!(runs[0].base, runs[1].base);
/// assert_ne!(runs[0].learned, runs[1].learned);
/// # Ok::<(), Box<dyn std::error::Error>>(())
/// ```
///
/// # Errors
/// [`RunError`] when the scenario's truth or answers are outside their ranges.
pub fn drive_learners(
    scenario: &Scenario,
    learners: &[Strategy],
    record: Record,
    progress: &mut dyn FnMut(Progress),
) -> Result<Vec<Run>, RunError> {
    let options = |strategy: &Strategy| Options { strategy: *strategy, ..Options::default() };
    let options: Vec<Options> = learners.iter().map(options).collect();
    drive_each(scenario, &options, record, None, progress)
}

/// Drives `scenario` with its controller on another processor.
///
/// ```
/// use trimwright_harness::drive::{RunError, drive_on};
/// use trimwright_harness::on_target::{SerialLine, OnTarget, OnTargetError};
/// # use trimwright_harness::scenario::Scenario;
/// /// Nobody is at its other end.
/// struct Cut;
/// impl SerialLine for Cut {
///     fn send(&mut self, _: &[u8]) -> std::io::Result<()> { Ok(()) }
///     fn receive(&mut self) -> std::io::Result<Option<Vec<u8>>> { Ok(None) }
/// }
/// let van = Scenario::load("delivery-van")?;
/// let error = drive_on(&van, &mut OnTarget::over(Box::new(Cut)), &mut |_| ()).unwrap_err();
/// assert_eq!(error, RunError::OnTarget(OnTargetError::Lost { number: 0 }));
/// # Ok::<(), trimwright_harness::error::InputError>(())
/// ```
///
/// # Errors
/// [`RunError`] when truth or answers are outside their ranges, the processor can't be reached, a message is lost or damaged, or the
/// processor's commands differ from those of a controller here.
pub fn drive_on(
    scenario: &Scenario,
    target: &mut OnTarget,
    progress: &mut dyn FnMut(Progress),
) -> Result<Run, RunError> {
    drive_where(scenario, Options::default(), Record::Everything, Some(target), progress)
}

fn drive_where(
    scenario: &Scenario,
    options: Options,
    record: Record,
    target: Option<&mut OnTarget>,
    progress: &mut dyn FnMut(Progress),
) -> Result<Run, RunError> {
    // One set of options gives one run.
    drive_each(scenario, &[options], record, target, progress).map(|mut runs| runs.remove(0))
}

/// One run for each set of options. The sets differ in the learner only; the first drive, without learning, is made once.
fn drive_each(
    scenario: &Scenario,
    each: &[Options],
    record: Record,
    mut target: Option<&mut OnTarget>,
    progress: &mut dyn FnMut(Progress),
) -> Result<Vec<Run>, RunError> {
    let built = Timeline::new(scenario).calibration()?;
    let frozen = |live: &Calibration| {
        let off = Options { feedback: false, learning: false, self_check: false, ..*live.options() };
        live.clone().with_options(off)
    };
    let pass_s = scenario.schedule.duration_s();
    let total_s = pass_s * (1.0 + each.len() as f64 * f64::from(scenario.passes + 1));
    let mut done_s = 0.0;
    let mut drive_once = |passes, calibration: &Calibration, learned: LearnedMap, record: Record| {
        let session = SessionBuilder::new(scenario.clone().with_passes(passes))
            .with_calibration(calibration.clone())
            .with_learned(learned)
            .build()?;
        let target = target.as_deref_mut();
        let driven = drive_passes(session, record, target, &mut |time_s| {
            progress(Progress { done_s: done_s + time_s, total_s })
        });
        done_s += pass_s * f64::from(passes);
        driven
    };
    let Some(first) = each.first() else { return Ok(Vec::new()) };
    let without = frozen(&built.clone().with_options(*first));
    let base = drive_once(1, &without, built.parameters().blank_map(), Record::Figures)?;
    let mut runs = Vec::with_capacity(each.len());
    for options in each {
        let live = built.clone().with_options(*options);
        let learning = drive_once(scenario.passes, &live, live.parameters().blank_map(), record)?;
        let learned = learning.session.closed_loop().controller().state().learned().clone();
        let after = drive_once(1, &frozen(&live), learned.clone(), Record::Figures)?;
        let driveability = match record {
            Record::Everything => Some(driveability(scenario, &live, &learned)?),
            Record::Figures => None,
        };
        let mut run = run_of(scenario, live, learned, &base, learning, after);
        run.summary.driveability = driveability;
        runs.push(run);
    }
    Ok(runs)
}

/// Result of [`learn`].
#[derive(Clone, Debug)]
pub struct Learned {
    /// Measurements of controller and log during the run.
    pub evidence: Evidence,
    /// Controller at the end of the run.
    pub controller: Controller,
}

/// Makes only the learning run of [`drive`]; used by studies of many engines.
///
/// ```
/// use trimwright_control::Options;
/// use trimwright_harness::{drive::learn, scenario::Scenario, schedule::Schedule};
///
/// let trip = "time [s],speed [km/h]\n0,0\n20,0\n40,50\n100,50\n";
/// let schedule = Schedule::parse("trip", "trip.csv", trip)?;
/// let scenario = Scenario { schedule, passes: 1, ..Scenario::load("delivery-van")? };
/// let learned = learn(&scenario, Options::default())?;
/// assert!(learned.controller.state().insight().phase.started());
/// # Ok::<(), Box<dyn std::error::Error>>(())
/// ```
///
/// # Errors
/// [`RunError`] when the scenario's truth or answers are outside their ranges.
pub fn learn(scenario: &Scenario, options: Options) -> Result<Learned, RunError> {
    let session = SessionBuilder::new(scenario.clone()).with_options(options).build()?;
    let driven = drive_passes(session, Record::Figures, None, &mut |_| ())?;
    Ok(Learned { evidence: driven.evidence, controller: driven.session.closed_loop().controller().clone() })
}
