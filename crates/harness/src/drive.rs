//! A scenario driven three times: with the first calibration, learning, and with what was learned.

use std::collections::BTreeMap;
use std::time::Instant;

use trimwright_control::{Calibration, Controller, LearnedMap, Options, Refusal, Strategy};
use trimwright_plant::{Hands, Plant};

use crate::cells::Cells;
use crate::closed_loop::{ClosedLoop, STEP_S};
use crate::driveability::driveability;
use crate::faults::Timeline;
use crate::mixture::Mixture;
use crate::on_target::OnTarget;
pub use crate::run_error::RunError;
use crate::scenario::Scenario;
use crate::starting;
use crate::summary::{CostFigures, DriveFigures, LearningFigures, MixtureFigures, SCHEMA, Summary};
use crate::trace::{self, Row};
use crate::verdicts::{self, Evidence};
use crate::watch::{Watch, Window, settle_s};
use crate::wheel::Wheel;

/// The map alone must stay under this rms to count as settled.
const SETTLED_RMS: f64 = 0.02;
/// Time between two snapshots of the map for the replay.
const SNAPSHOT_S: f64 = 20.0;

/// What is kept of a run.
///
/// ```
/// use trimwright_control::Options;
/// use trimwright_harness::drive::{Record, drive_with};
/// use trimwright_harness::{scenario::Scenario, schedule::Schedule};
///
/// let schedule = Schedule::parse("trip", "trip.csv", "time [s],speed [km/h]\n0,0\n20,0\n40,50\n60,50\n")?;
/// let scenario = Scenario { schedule, passes: 1, ..Scenario::load("delivery-van")? };
/// let run = drive_with(&scenario, Options::default(), Record::Everything, &mut |_| ())?;
/// assert_eq!((run.rows.len(), run.snapshots.len()), (600, 3), "a row each tenth of a second, a map each 20 s");
/// # Ok::<(), Box<dyn std::error::Error>>(())
/// ```
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Record {
    /// The figures and the maps.
    Figures,
    /// Also a row every tenth of a second and the map while it fills in.
    Everything,
}

/// How far a drive has come.
///
/// ```
/// use trimwright_control::Options;
/// use trimwright_harness::drive::{Record, drive_with};
/// # use trimwright_harness::{scenario::Scenario, schedule::Schedule};
///
/// # let schedule = Schedule::parse("trip", "trip.csv", "time [s],speed [km/h]\n0,0\n20,0\n40,50\n60,50\n")?;
/// let scenario = Scenario { schedule, passes: 2, ..Scenario::load("delivery-van")? };
/// let mut shares = Vec::new();
/// let mut tell = |progress: trimwright_harness::drive::Progress| shares.push(progress.done_s / progress.total_s);
/// drive_with(&scenario, Options::default(), Record::Figures, &mut tell)?;
/// assert!(shares.is_sorted() && shares[0] < 0.01 && shares[shares.len() - 1] > 0.9);
/// # Ok::<(), Box<dyn std::error::Error>>(())
/// ```
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Progress {
    /// Simulated time done, all drives together.
    pub done_s: f64,
    /// Simulated time in all.
    pub total_s: f64,
}

/// The learned map at one moment.
///
/// ```
/// use trimwright_harness::drive::drive;
/// use trimwright_harness::{scenario::Scenario, schedule::Schedule};
///
/// let schedule = Schedule::parse("trip", "trip.csv", "time [s],speed [km/h]\n0,0\n20,0\n40,50\n400,50\n")?;
/// let scenario = Scenario { schedule, passes: 1, ..Scenario::load("delivery-van")? };
/// let snapshots = drive(&scenario, &mut |_| ())?.snapshots;
/// let moved = |snapshot: &trimwright_harness::drive::Snapshot| snapshot.learned.ln.flat().iter().any(|ln| *ln != 0.0);
/// assert!(!moved(&snapshots[0]) && moved(&snapshots[snapshots.len() - 1]), "the map fills in on the way");
/// # Ok::<(), Box<dyn std::error::Error>>(())
/// ```
#[derive(Clone, Debug, PartialEq)]
pub struct Snapshot {
    /// When.
    pub time_s: f64,
    /// What was learned by then.
    pub learned: LearnedMap,
}

/// Everything that came of driving a scenario.
///
/// ```
/// use trimwright_control::Options;
/// use trimwright_harness::drive::{Record, drive_with};
/// use trimwright_harness::{scenario::Scenario, schedule::Schedule};
///
/// let schedule = Schedule::parse("trip", "trip.csv", "time [s],speed [km/h]\n0,0\n20,0\n40,50\n400,50\n")?;
/// let scenario = Scenario { schedule, passes: 2, ..Scenario::load("delivery-van")? };
/// let run = drive_with(&scenario, Options::default(), Record::Figures, &mut |_| ())?;
/// assert!(run.frozen.rms() < 0.5 * run.base.rms(), "the learned map alone leaves less than half of the error");
/// # Ok::<(), Box<dyn std::error::Error>>(())
/// ```
#[derive(Clone, Debug, PartialEq)]
pub struct Run {
    /// The figures.
    pub summary: Summary,
    /// The record of the learning run; empty unless [`Record::Everything`] was asked for.
    pub rows: Vec<Row>,
    /// Convergence of the learning run.
    pub windows: Vec<Window>,
    /// The map while it filled in; empty unless [`Record::Everything`] was asked for.
    pub snapshots: Vec<Snapshot>,
    /// The calibration the controller worked from.
    pub calibration: Calibration,
    /// What was learned in the end.
    pub learned: LearnedMap,
    /// The correction that would have been right, ln, by cell.
    pub right_ln: Vec<f64>,
    /// Dwell and conditions by cell.
    pub cells: Cells,
    /// Steady events with the first calibration.
    pub base: Mixture,
    /// Steady events with what was learned.
    pub frozen: Mixture,
    /// All events of the last pass of the learning run.
    pub last_pass: Mixture,
}

/// What one drive through the schedule left behind.
struct Driven {
    watch: Watch,
    evidence: Evidence,
    rows: Vec<Row>,
    snapshots: Vec<Snapshot>,
    closed_loop: ClosedLoop,
    wheel: Wheel,
    pass_distance_km: Vec<f64>,
    speed_error_rms: f64,
    wall_s: f64,
}

/// How one of the three drives is made.
struct Plan<'a> {
    scenario: &'a Scenario,
    passes: u32,
    calibration: Calibration,
    learned: LearnedMap,
    record: Record,
}

/// Drives `scenario`: one pass with the first calibration, all passes learning, one pass with what was learned.
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

/// The same with other options in the learning run, and with as much record as is needed.
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

/// The same engine with one learner after the other, in the order of `learners`: the run without learning, which is the same for
/// all, is made once, and counted in the cost of each.
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
/// use trimwright_harness::on_target::{Line, OnTarget, OnTargetError};
/// # use trimwright_harness::scenario::Scenario;
/// /// Nobody is at its other end.
/// struct Cut;
/// impl Line for Cut {
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
/// [`RunError`] when the scenario's truth or answers are outside their ranges, the processor can't be reached, a message is lost or
/// damaged, or the processor commands something else than a controller here would.
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
    // One run for one set of options.
    drive_each(scenario, &[options], record, target, progress).map(|mut runs| runs.remove(0))
}

/// One run for each set of options. Those differ in the learner at most: the first drive, without one, is made once.
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
        let plan = Plan { scenario, passes, calibration: calibration.clone(), learned, record };
        let target = target.as_deref_mut();
        let driven =
            drive_plan(&plan, target, &mut |time_s| progress(Progress { done_s: done_s + time_s, total_s }));
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
        let learned = learning.closed_loop.controller().state().learned().clone();
        let after = drive_once(1, &frozen(&live), learned.clone(), Record::Figures)?;
        let driveability = match record {
            Record::Everything => Some(driveability(scenario, &live, &learned)?),
            Record::Figures => None,
        };
        let mut run = assess(scenario, live, learned, &base, learning, after);
        run.summary.driveability = driveability;
        runs.push(run);
    }
    Ok(runs)
}

/// What is known after a drive in which only the controller was watched.
///
/// ```
/// use trimwright_control::Options;
/// use trimwright_harness::{drive::learn, scenario::Scenario, schedule::Schedule};
///
/// let schedule = Schedule::parse("trip", "trip.csv", "time [s],speed [km/h]\n0,0\n20,0\n40,50\n400,50\n")?;
/// let scenario = Scenario { schedule, passes: 1, ..Scenario::load("delivery-van")? };
/// let learned = learn(&scenario, Options::default())?;
/// assert!(learned.evidence.charge_v() > 0.8, "the alternator charges");
/// assert!(learned.controller.state().counts().lessons() > 0);
/// # Ok::<(), Box<dyn std::error::Error>>(())
/// ```
#[derive(Clone, Debug)]
pub struct Learned {
    /// What the log can know.
    pub evidence: Evidence,
    /// The controller in the end.
    pub controller: Controller,
}

/// Only the learning run of [`drive`]: for studies of many.
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
    let calibration = Timeline::new(scenario).calibration()?.with_options(options);
    let (passes, learned, record) = (scenario.passes, calibration.parameters().blank_map(), Record::Figures);
    let driven = drive_plan(&Plan { scenario, passes, calibration, learned, record }, None, &mut |_| ())?;
    Ok(Learned { evidence: driven.evidence, controller: driven.closed_loop.controller().clone() })
}

fn drive_plan(
    plan: &Plan<'_>,
    mut target: Option<&mut OnTarget>,
    at: &mut dyn FnMut(f64),
) -> Result<Driven, RunError> {
    let began = Instant::now();
    let scenario = plan.scenario;
    let mut timeline = Timeline::new(scenario);
    let plant = Plant::new(timeline.truth(0.0), scenario.seed)?;
    let controller = Controller::new(plan.calibration.clone()).with_learned(plan.learned.clone());
    if let Some(target) = &mut target {
        target.start(controller.calibration(), plan.learned != plan.calibration.parameters().blank_map())?;
    }
    let mut watch = Watch::new(&controller);
    let mut evidence = Evidence::default();
    evidence.on_dynamometer = scenario.schedule.on_dynamometer();
    let learning = plan.calibration.options().learning;
    let mut closed_loop = ClosedLoop::new(plant, controller);
    let mut wheel = Wheel::for_schedule(&scenario.schedule, &scenario.truth);
    let mut hands = Hands::default();
    let (mut rows, mut snapshots, mut pass_distance_km) = (Vec::new(), Vec::new(), Vec::new());
    let (mut error_squares, mut acts) = (0.0, 0_u64);

    let pass_steps = steps(scenario.schedule.duration_s());
    let (act_steps, row_steps, snapshot_steps) =
        (steps(starting::PERIOD_S), steps(trace::PERIOD_S), steps(SNAPSHOT_S));
    let look_steps = steps(verdicts::PERIOD_S);
    let mut pass_began_m = 0.0;
    for pass in 0..u64::from(plan.passes) {
        watch.start_pass();
        for step in 0..pass_steps {
            let time_s = step as f64 * STEP_S;
            if step.is_multiple_of(act_steps) {
                let view = closed_loop.view();
                hands = wheel.act(closed_loop.time_s(), time_s, &scenario.schedule, &view).clone();
                let error = view.vehicle_m_per_s - scenario.schedule.speed_m_per_s(time_s);
                error_squares += error * error;
                acts += 1;
            }
            timeline.step(&mut closed_loop)?;
            match &mut target {
                Some(target) => closed_loop.step_on(&hands, target)?,
                None => closed_loop.step(&hands),
            }
            watch.look(&closed_loop);
            if learning && step.is_multiple_of(look_steps) {
                evidence.look(closed_loop.controller());
            }
            if plan.record == Record::Everything {
                let all_steps = pass * pass_steps + step;
                if all_steps.is_multiple_of(row_steps) {
                    let wanted = scenario.schedule.speed_m_per_s(time_s);
                    rows.push(Row::of(&closed_loop, &watch, wanted, hands.throttle));
                }
                if all_steps.is_multiple_of(snapshot_steps) {
                    let learned = closed_loop.controller().state().learned().clone();
                    snapshots.push(Snapshot { time_s: closed_loop.time_s(), learned });
                }
            }
            if step.is_multiple_of(10_000) {
                at(closed_loop.time_s());
            }
        }
        let distance_m = closed_loop.view().distance_m;
        pass_distance_km.push((distance_m - pass_began_m) / 1e3);
        pass_began_m = distance_m;
    }
    if let Some(target) = &mut target {
        target.check_learned(closed_loop.controller().state().learned())?;
    }
    let speed_error_rms = libm::sqrt(error_squares / acts as f64);
    let wall_s = began.elapsed().as_secs_f64();
    Ok(Driven {
        watch,
        evidence,
        rows,
        snapshots,
        closed_loop,
        wheel,
        pass_distance_km,
        speed_error_rms,
        wall_s,
    })
}

/// Share of the visited cells whose error is below two of the learner's own standard deviations; NaN when none was visited.
fn within_two_sigma(cells: &Cells, learned: &LearnedMap, right_ln: &[f64]) -> f64 {
    let (mut visited, mut within) = (0_u32, 0_u32);
    let all = right_ln.iter().zip(cells.visited()).enumerate();
    for (cell, (right, _)) in all.filter(|(_, (_, visited))| *visited) {
        visited += 1;
        let error = f64::from(learned.ln.flat()[cell]) - right;
        within += u32::from(error.abs() < 2.0 * f64::from(learned.sigma_ln(cell)));
    }
    f64::from(within) / f64::from(visited)
}

fn steps(time_s: f64) -> u64 {
    (time_s / STEP_S).round() as u64
}

fn assess(
    scenario: &Scenario,
    calibration: Calibration,
    learned: LearnedMap,
    base: &Driven,
    learning: Driven,
    after: Driven,
) -> Run {
    let simulated_s = [base, &learning, &after].map(|driven| driven.closed_loop.time_s()).iter().sum::<f64>();
    let wall_s = base.wall_s + learning.wall_s + after.wall_s;
    let watch = learning.watch;
    let state = learning.closed_loop.controller().state();
    let fuel_kg = learning.closed_loop.plant().books().fuel_injected_kg;
    let late_s = learned.common.delay_s;
    let right_ln = watch.cells.right_ln(&scenario.truth, &calibration, late_s);
    let fitted = watch.fit(right_ln.len(), f64::from(late_s)).solve(calibration.parameters());
    // The fit has an opening delay of its own, and so corrections of its own that would have been right.
    let left_by_fit = fitted.map_or(f64::NAN, |fit| {
        let right_ln = watch.cells.right_ln(&scenario.truth, &calibration, late_s + fit.later_s as f32);
        watch.cells.error_rms(|cell| fit.cells[cell], &right_ln)
    });
    let (cells_visited, cells_confident) = watch.cells.count(&learned);
    let distance_km = learning.pass_distance_km.iter().sum::<f64>();
    let refusals =
        Refusal::ALL.map(|refusal| (refusal.name().to_owned(), u64::from(state.counts().of(refusal))));
    let summary = Summary {
        schema: SCHEMA,
        scenario: scenario.name.clone(),
        seed: scenario.seed,
        scenario_hash: scenario.hash(),
        mixture: MixtureFigures {
            base_map_rms: base.watch.steady.rms(),
            learned_map_rms: after.watch.steady.rms(),
            closed_loop_rms: watch.all.rms(),
            p95_abs: watch.all.p95_abs(),
            transient_rms: watch.transient.rms(),
            cylinder_spread_rms: watch.cylinders.rms(),
        },
        learning: LearningFigures {
            settle_s: settle_s(&watch.windows, SETTLED_RMS),
            cells_visited,
            cells_confident,
            within_two_sigma: within_two_sigma(&watch.cells, &learned, &right_ln),
            visited_error_rms: watch.cells.error_rms(|cell| f64::from(learned.ln.flat()[cell]), &right_ln),
            offline_fit_rms: left_by_fit,
            common_flow_ln: f64::from(learned.common.flow_ln),
            opening_delay_s: f64::from(late_s),
            told_apart: learned.common.is_identifiable(&calibration.parameters().common_correction),
            lessons: u64::from(state.counts().lessons()),
            refusals: BTreeMap::from(refusals),
        },
        drive: DriveFigures {
            distance_km,
            pass_distance_km: learning.pass_distance_km,
            speed_error_rms_m_per_s: learning.speed_error_rms,
            fuel_kg,
            l_per_100km: (distance_km > 0.1)
                .then(|| fuel_kg / scenario.truth.fuel.density_kg_per_m3() * 1e3 / distance_km * 100.0),
            stalls: learning.wheel.starting().stalls(),
            crank_s: learning.wheel.starting().crank_s(),
        },
        driveability: None,
        cost: CostFigures { simulated_s, wall_s, times_real_time: simulated_s / wall_s },
        dtcs: state.dtcs().stored().map(|dtc| dtc.code().to_owned()).collect(),
        verdicts: verdicts::findings(&learning.evidence, learning.closed_loop.controller()),
    };
    Run {
        summary,
        rows: learning.rows,
        windows: watch.windows,
        snapshots: learning.snapshots,
        calibration,
        learned,
        right_ln,
        cells: watch.cells,
        base: base.watch.steady.clone(),
        frozen: after.watch.steady,
        last_pass: watch.all,
    }
}
