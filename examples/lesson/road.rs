//! The default van on a highway, with every lesson that its controller took written down.

use trimwright_control::Controller;
use trimwright_control::learning::LaggedShares;
use trimwright_harness::cells::Cells;
use trimwright_harness::closed_loop::{ClosedLoop, STEP_S};
use trimwright_harness::scenario::Scenario;
use trimwright_harness::starting::PERIOD_S;
use trimwright_harness::watch::Watch;
use trimwright_harness::wheel::Wheel;
use trimwright_plant::{Hands, Plant};

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
    let scenario = van();
    let calibration = scenario.calibration().expect("they were checked");
    let plant = Plant::new(scenario.truth.clone(), scenario.seed).expect("it was checked");
    let mut wired = ClosedLoop::new(plant, Controller::new(calibration.clone()));
    let (mut wheel, mut hands) = (Wheel::for_schedule(&scenario.schedule, &scenario.truth), Hands::default());
    let (mut watch, mut lessons) = (Watch::new(wired.controller()), Vec::new());
    let act_steps = (PERIOD_S / STEP_S) as u64;
    for step in 0..(scenario.schedule.duration_s() / STEP_S) as u64 {
        let time_s = wired.time_s();
        if step.is_multiple_of(act_steps) {
            hands = wheel.act(time_s, time_s, &scenario.schedule, &wired.view()).clone();
        }
        let taken = wired.controller().state().counts().lessons();
        wired.step(&hands);
        watch.look(&wired);
        let state = wired.controller().state();
        if state.counts().lessons() > taken {
            let (shares, required_ln) = (state.attribution().latest().shares, state.insight().required_ln);
            lessons.push(Heard { minute: time_s / 60.0, shares, required_ln });
        }
    }
    let late_s = wired.controller().state().learned().common.delay_s;
    let right_ln = watch.cells.right_ln(&scenario.truth, &calibration, late_s);
    Road { lessons, cells: watch.cells, right_ln }
}
