//! The default van on a highway, with a record of all accepted lessons.

use trimwright_control::learning::LaggedShares;
use trimwright_harness::cells::Cells;
use trimwright_harness::mixture_observer::MixtureObserver;
use trimwright_harness::scenario::Scenario;
use trimwright_harness::session::{Moment, Observer, SessionBuilder, Until};

/// A recorded lesson.
pub(crate) struct RecordedLesson {
    pub(crate) minute: f64,
    pub(crate) shares: LaggedShares,
    pub(crate) required_ln: f32,
}

/// Results of a drive.
pub(crate) struct Road {
    pub(crate) lessons: Vec<RecordedLesson>,
    /// Dwell of the cells, and true correction of each, ln.
    pub(crate) cells: Cells,
    pub(crate) true_ln: Vec<f64>,
}

/// The van on the highway schedule.
pub(crate) fn van() -> Scenario {
    let scenario = Scenario::load("delivery-van").and_then(|scenario| scenario.with_schedule("hwfet"));
    scenario.expect("both are shipped").with_passes(1)
}

/// Drives the schedule.
pub(crate) fn drive() -> Road {
    let mut session = SessionBuilder::new(van()).build().expect("it was checked");
    let (mut mixture, mut lessons) = (MixtureObserver::new(session.closed_loop().controller()), Vec::new());
    let mut accepted = 0;
    let observer = &mut |now: &Moment<'_>| {
        mixture.observe(now);
        let state = now.closed_loop.controller().state();
        if state.counts().lessons() > accepted {
            accepted = state.counts().lessons();
            let (shares, required_ln) = (state.attribution().latest().shares, state.insight().required_ln);
            lessons.push(RecordedLesson { minute: now.schedule_s() / 60.0, shares, required_ln });
        }
    };
    session.run(Until::Driven, observer).expect("it has no faults");
    let controller = session.closed_loop().controller();
    let delay_s = controller.state().learned().common.delay_s;
    let true_ln =
        mixture.cells.true_correction_ln(&session.scenario().truth, controller.calibration(), delay_s);
    Road { lessons, cells: mixture.cells, true_ln }
}
