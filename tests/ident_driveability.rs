//! Driveability limits of the shipped cars: starts, tip-ins, idle with load steps, return from fuel cut.

use trimwright_control::Options;
use trimwright_harness::drive::{Record, drive_with};
use trimwright_harness::driveability::{Driveability, driveability};
use trimwright_harness::scenario::Scenario;

/// Driveability of a scenario with the map learned in two passes of its schedule.
fn driven(name: &str) -> Driveability {
    let scenario = Scenario::load(name).expect("shipped");
    let run = drive_with(&scenario, Options::default(), Record::Figures, &mut |_| ()).expect("drives");
    assert!(run.summary.driveability.is_none(), "only when the whole record is asked for");
    driveability(&scenario, &run.calibration, &run.learned).expect("drives")
}

fn assert_starts_and_tip_ins(figures: &Driveability) {
    for start in &figures.starts {
        // Several seconds in hard frost: common practice, no source.
        let longest_s = if start.engine_degc < -10.0 { 8.0 } else { 3.0 };
        assert!(start.cranked_s.is_some_and(|cranked_s| cranked_s < longest_s), "{start:?}");
        assert_eq!(start.stalls, 0, "{start:?}");
    }
    for tip_in in &figures.tip_ins {
        let compensated = tip_in.compensated.farthest();
        // 0.147: the coupe in the mountains, cold; one believed film cannot fit two puddles.
        assert!(compensated < 0.15, "{tip_in:?}");
        assert!(tip_in.uncompensated.farthest() > 2.0 * compensated, "{tip_in:?}");
    }
}

fn assert_idle_and_return(name: &str, figures: &Driveability) {
    let idle = &figures.idle;
    // The hot cam's: 28; with constant throttle and spark 27 to 34, as each of its misfires without load slows the engine.
    let park_rpm = if name == "hot-cam-town" { 35.0 } else { 25.0 };
    assert!(idle.park_rms_rpm < park_rpm && idle.drive_rms_rpm < 25.0, "{idle:?}");
    let fan = idle.fan.expect("each of these cars has fans that the controller turns on");
    for event in [idle.ac, fan] {
        assert!(event.drop_rpm < 120.0 && event.mixture < 0.08, "{idle:?}");
    }
    assert!(figures.fuel_cut.stalls == 0 && figures.fuel_cut.cuts >= 3, "{:?}", figures.fuel_cut);
}

fn assert_every_limit(names: &[&str]) {
    for name in names {
        let figures = driven(name);
        assert_starts_and_tip_ins(&figures);
        assert_idle_and_return(name, &figures);
    }
}

#[test]
fn ident_cars_driven_in_town_keep_every_limit() {
    assert_every_limit(&["delivery-van", "cold-morning", "town-coupe", "hot-cam-town"]);
}

#[test]
fn ident_cars_driven_elsewhere_keep_every_limit() {
    assert_every_limit(&["highway-pickup", "hot-restart", "long-idle", "trailer-hill", "mountain-pass"]);
}
