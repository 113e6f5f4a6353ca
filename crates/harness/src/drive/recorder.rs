//! One drive through the schedule and its recording.

use std::time::Instant;

use trimwright_control::LearnedMap;

use crate::mixture_observer::MixtureObserver;
use crate::on_target::OnTarget;
use crate::run_error::RunError;
use crate::session::{Moment, Observer, Session, Until};
use crate::trace::{self, TraceRow};
use crate::verdicts::{self, Evidence};

/// Time between two snapshots of the map for the replay, s.
const SNAPSHOT_S: f64 = 20.0;
/// Time between two progress reports, s.
const PROGRESS_S: f64 = 10.0;

/// Extent of recording.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Record {
    /// Figures and maps.
    Figures,
    /// Also a trace row every 0.1 s and snapshots of the map.
    Everything,
}

/// The learned map at one time.
#[derive(Clone, Debug, PartialEq)]
pub struct Snapshot {
    /// Time since power-up, s.
    pub time_s: f64,
    /// Learned map at that time.
    pub learned: LearnedMap,
}

/// Recording of one drive through the schedule.
pub(super) struct Driven {
    pub(super) session: Session,
    pub(super) mixture: MixtureObserver,
    pub(super) evidence: Evidence,
    pub(super) rows: Vec<TraceRow>,
    pub(super) snapshots: Vec<Snapshot>,
    pub(super) pass_distance_km: Vec<f64>,
    pub(super) speed_error_rms: f64,
    pub(super) wall_s: f64,
}

/// Observer that records a drive.
struct DriveRecorder<'a> {
    mixture: MixtureObserver,
    evidence: Evidence,
    learning: bool,
    record: Record,
    each: Cadence,
    rows: Vec<TraceRow>,
    snapshots: Vec<Snapshot>,
    pass_began_m: f64,
    pass_distance_km: Vec<f64>,
    error_squares: f64,
    decisions: u64,
    progress: &'a mut dyn FnMut(f64),
}

/// Steps between two samples of each recording.
struct Cadence {
    evidence: u64,
    row: u64,
    snapshot: u64,
    progress: u64,
}

impl Observer for DriveRecorder<'_> {
    fn observe(&mut self, now: &Moment<'_>) {
        let closed_loop = now.closed_loop;
        if let Some(view) = now.decided {
            let error = view.vehicle_m_per_s - now.wanted_m_per_s();
            self.error_squares += error * error;
            self.decisions += 1;
        }
        self.mixture.observe(now);
        if self.learning && now.is_each(self.each.evidence) {
            self.evidence.sample(closed_loop.controller());
        }
        if self.record == Record::Everything {
            let steps_before = closed_loop.steps() - 1;
            if steps_before.is_multiple_of(self.each.row) {
                self.rows.push(TraceRow::of(now, &self.mixture));
            }
            if steps_before.is_multiple_of(self.each.snapshot) {
                let learned = closed_loop.controller().state().learned().clone();
                self.snapshots.push(Snapshot { time_s: closed_loop.time_s(), learned });
            }
        }
        if now.is_each(self.each.progress) {
            (self.progress)(closed_loop.time_s());
        }
        if now.is_last {
            let distance_m = closed_loop.view().distance_m;
            self.pass_distance_km.push((distance_m - self.pass_began_m) / 1e3);
            self.pass_began_m = distance_m;
        }
    }
}

/// Drives all passes of a session; its controller may run on another processor. `progress` is called with the simulated time, s.
pub(super) fn drive_passes(
    mut session: Session,
    record: Record,
    mut target: Option<&mut OnTarget>,
    progress: &mut dyn FnMut(f64),
) -> Result<Driven, RunError> {
    let began = Instant::now();
    let controller = session.closed_loop().controller();
    let calibration = controller.calibration();
    if let Some(target) = &mut target {
        let keeps_map = *controller.state().learned() != calibration.parameters().blank_map();
        target.start(calibration, keeps_map)?;
    }
    let mut evidence = Evidence::default();
    evidence.on_dynamometer = session.scenario().schedule.on_dynamometer();
    let mut recorder = DriveRecorder {
        mixture: MixtureObserver::new(controller),
        evidence,
        learning: calibration.options().learning,
        record,
        each: Cadence {
            evidence: session.steps(verdicts::PERIOD_S),
            row: session.steps(trace::PERIOD_S),
            snapshot: session.steps(SNAPSHOT_S),
            progress: session.steps(PROGRESS_S),
        },
        rows: Vec::new(),
        snapshots: Vec::new(),
        pass_began_m: 0.0,
        pass_distance_km: Vec::new(),
        error_squares: 0.0,
        decisions: 0,
        progress,
    };
    match target {
        None => session.run(Until::Driven, &mut recorder)?,
        Some(target) => {
            session.run_by(
                |closed_loop, inputs| Ok(closed_loop.step_on(inputs, target)?),
                Until::Driven,
                &mut recorder,
            )?;
            target.check_learned(session.closed_loop().controller().state().learned())?;
        }
    }
    let DriveRecorder {
        mixture, evidence, rows, snapshots, pass_distance_km, error_squares, decisions, ..
    } = recorder;
    let speed_error_rms = libm::sqrt(error_squares / decisions as f64);
    let wall_s = began.elapsed().as_secs_f64();
    Ok(Driven { session, mixture, evidence, rows, snapshots, pass_distance_km, speed_error_rms, wall_s })
}
