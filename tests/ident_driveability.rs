//! The shipped cars drive well: starts, tip-ins, idle under loads, the way back from a fuel cut, each with its limit.

use trimwright_control::Options;
use trimwright_harness::drive::{Record, drive_with};
use trimwright_harness::driveability::{Driveability, driveability};
use trimwright_harness::scenario::Scenario;

/// The trials of a scenario with what two passes of its schedule taught.
fn driven(name: &str) -> Driveability {
    let scenario = Scenario::load(name).expect("shipped");
    let run = drive_with(&scenario, Options::default(), Record::Figures, &mut |_| ()).expect("drives");
    assert!(run.summary.driveability.is_none(), "only when the whole record is asked for");
    driveability(&scenario, &run.calibration, &run.learned).expect("drives")
}

#[test]
fn ident_the_van_keeps_every_limit() {
    let figures = driven("delivery-van");
    for start in &figures.starts {
        assert!(start.cranked_s.is_some_and(|cranked_s| cranked_s < 3.0) && start.stalls == 0, "{start:?}");
    }
    for tip_in in &figures.tip_ins {
        let compensated = tip_in.compensated.farthest();
        assert!(compensated < 0.12, "{tip_in:?}");
        assert!(tip_in.uncompensated.farthest() > 2.0 * compensated, "{tip_in:?}");
    }
    let idle = figures.idle;
    assert!(idle.park_rms_rpm < 25.0 && idle.drive_rms_rpm < 25.0, "{idle:?}");
    assert!(idle.ac.drop_rpm < 120.0 && idle.ac.mixture < 0.05, "{idle:?}");
    assert!(idle.fan.is_none_or(|fan| fan.drop_rpm < 120.0 && fan.mixture < 0.05), "{idle:?}");
    assert!(figures.fuel_cut.stalls == 0 && figures.fuel_cut.cuts >= 3, "{:?}", figures.fuel_cut);
}

#[test]
fn ident_a_hot_cam_idles_and_comes_back_from_a_cut() {
    let figures = driven("hot-cam-town");
    assert!(figures.idle.park_rms_rpm < 25.0 && figures.idle.drive_rms_rpm < 25.0, "{:?}", figures.idle);
    assert!(figures.fuel_cut.stalls == 0 && figures.fuel_cut.cuts >= 3, "{:?}", figures.fuel_cut);
    assert!(figures.idle.fan.is_some_and(|fan| fan.mixture < 0.05), "{:?}", figures.idle);
}
