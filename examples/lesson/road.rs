//! The default van on a highway, with every lesson that its controller took written down.

use trimwright_control::learning::LaggedShares;
use trimwright_harness::cells::Cells;
use trimwright_harness::mixture_observer::MixtureObserver;
use trimwright_harness::scenario::Scenario;
use trimwright_harness::session::{Moment, Observer, SessionBuilder, Until};

/// A lesson as it was heard.
pub(crate) struct Heard {
    pub(crate) minute: f64,
    pub(crate) shares: LaggedShares,
    pub(crate) required_ln: f32,
}

/// What is left of a drive.
pub(crate) struct Road {
    pub(crate) lessons: Vec<Heard>,
    /// Where the engine ran, and which correction would have been right in each cell, ln.
    pub(crate) cells: Cells,
    pub(crate) right_ln: Vec<f64>,
}

/// The van on the highway schedule.
pub(crate) fn van() -> Scenario {
    let scenario = Scenario::load("delivery-van").and_then(|scenario| scenario.with_schedule("hwfet"));
    scenario.expect("both are shipped").with_passes(1)
}

/// Drives it.
pub(crate) fn drive() -> Road {
    let mut session = SessionBuilder::new(van()).build().expect("it was checked");
    let (mut mixture, mut lessons) = (MixtureObserver::new(session.closed_loop().controller()), Vec::new());
    let mut taken = 0;
    let observer = &mut |now: &Moment<'_>| {
        mixture.observe(now);
        let state = now.closed_loop.controller().state();
        if state.counts().lessons() > taken {
            taken = state.counts().lessons();
            let (shares, required_ln) = (state.attribution().latest().shares, state.insight().required_ln);
            lessons.push(Heard { minute: now.schedule_s() / 60.0, shares, required_ln });
        }
    };
    session.run(Until::Driven, observer).expect("it has no faults");
    let controller = session.closed_loop().controller();
    let late_s = controller.state().learned().common.delay_s;
    let right_ln =
        mixture.cells.true_correction_ln(&session.scenario().truth, controller.calibration(), late_s);
    Road { lessons, cells: mixture.cells, right_ln }
}
