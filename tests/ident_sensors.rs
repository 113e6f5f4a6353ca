//! Other sensors are described by a scenario file alone: where engine and controller agree on them, a drive comes out as with the usual
//! ones; where only one of them has changed, it shows what a wrong curve does.

use std::fs;
use std::sync::LazyLock;
use trimwright_control::Options;
use trimwright_harness::drive::{Record, drive_with};
use trimwright_harness::parameters::changed;
use trimwright_harness::scenario::Scenario;
use trimwright_harness::summary::Summary;

const VAN: &str = include_str!("../shared/scenarios/delivery-van.toml");
const README: &str = include_str!("../README.md");

/// A sensor for up to three bar, with a bend in its curve.
const MAP: &str = "map = [[\"0.4 V\", \"20 kPa\"], [\"2 V\", \"125 kPa\"], [\"4.65 V\", \"300 kPa\"]]\n";
const SENDERS: &str =
    "ect_sender = \"2 kohm\"\nect_pull_up = \"1 kohm\"\niat_sender = \"2 kohm\"\niat_pull_up = \"1 kohm\"\n";
const WIDER: &str = "lambda = [[\"0 V\", 0.5], [\"5 V\", 1.5]]\n";
const FALLING: &str = "lambda = [[\"0 V\", 1.5], [\"5 V\", 0.5]]\n";
const PULSES: &str = "pulses_per_firing = 2\n";

/// How far the rms mixture error of the learned map, and that of its visited cells, may be from those with the usual sensors.
const SAME: f64 = 0.002;
/// The first of those with two pulses a firing. The first one after standstill counts as the firing, and here it is the one between
/// two: fuel comes half an interval late, so that a valve closes in the middle of a pulse, and the controller's step of 1 ms decides how
/// much of it is in time. That is noise from event to event, no wrong curve: with steps of 0.25 ms one pulse makes 1.07 %, two 1.14 %, and
/// the cells are learned as well as ever.
const SAME_HALF_LATE: f64 = 0.008;

/// The delivery van with more lines, as read from a file.
fn load(name: &str, more: &str) -> Scenario {
    let directory =
        std::env::temp_dir().join(format!("trimwright-ident-sensors-{}-{name}", std::process::id()));
    fs::create_dir_all(&directory).expect("a directory");
    let file = directory.join("van.toml");
    fs::write(&file, format!("{VAN}\n{more}")).expect("written");
    let scenario = Scenario::load(file.to_str().expect("a name in UTF-8"));
    fs::remove_dir_all(&directory).expect("removed");
    scenario.expect("a scenario")
}

/// Drives the delivery van with what is said of the engine's sensors and of the controller's.
fn drive(name: &str, truth: &str, calibration: &str) -> Summary {
    let scenario = load(name, &format!("[truth.sensors]\n{truth}[calibration.sensors]\n{calibration}"));
    drive_with(&scenario, Options::default(), Record::Figures, &mut |_| ()).expect("a drive").summary
}

static USUAL: LazyLock<Summary> = LazyLock::new(|| drive("usual", "", ""));

/// Both agree.
fn agreeing(name: &str, sensors: &str, same: f64) {
    let (usual, other) = (&*USUAL, drive(name, sensors, sensors));
    let learned = [usual, &other].map(|summary| summary.mixture.learned_map_rms);
    let cells = [usual, &other].map(|summary| summary.learning.visited_error_rms);
    assert_eq!(other.drive.stalls, 0);
    assert_eq!(other.dtcs, usual.dtcs);
    assert!((learned[1] - learned[0]).abs() < same, "{name}: rms {learned:?}");
    assert!((cells[1] - cells[0]).abs() < SAME, "{name}: cells {cells:?}");
}

/// Only the engine's sensors have changed, or only the controller's.
fn at_odds(name: &str, sensors: &str) -> [Summary; 2] {
    [drive(&format!("{name}-engine"), sensors, ""), drive(&format!("{name}-controller"), "", sensors)]
}

/// It never ran.
fn never_started(summary: &Summary) -> bool {
    summary.mixture.base_map_rms.is_nan() && summary.learning.cells_visited == 0
}

#[test]
fn sections_in_the_readme_are_read() {
    let (_, rest) = README.split_once("```toml\n").expect("an example");
    let (sections, _) = rest.split_once("```").expect("its end");
    let parameters = load("readme", sections).parameters;
    assert_eq!(
        changed(&parameters),
        ["sensors.map_pa", "feedback.keep_s"],
        "what it shows is set, and no more"
    );
    let sensors = parameters.sensors;
    assert_eq!((sensors.map_pa[0], sensors.map_pa[1]), ((0.4, 15e3), (4.65, 115e3)));
}

#[test]
fn ident_another_map_sensor() {
    agreeing("map", MAP, SAME);
    // The 100 kPa of cranking pass for 38 kPa, or for 264 kPa: too lean to start, or too rich.
    for summary in at_odds("map", MAP) {
        assert!(never_started(&summary) && summary.dtcs == ["P0335"], "{summary:?}");
    }
}

#[test]
fn ident_other_thermistors() {
    agreeing("senders", SENDERS, SAME);
    let usual = &*USUAL;
    let [hot, cold] = at_odds("senders", SENDERS);
    let too_cold = [usual, &hot, &cold].map(|summary| summary.learning.refusals["cold"]);
    // Air seems 15 degC hotter to one, and engine and air colder to the other: first calibration 13.5, 15.7, 9.1 %; readings that teach
    // nothing because the engine is cold 10 684, 8692, 12 928; fuel 3.13, 3.24, 3.18 kg.
    assert!(too_cold[1] < too_cold[0] - 1000 && too_cold[2] > too_cold[0] + 1000, "{too_cold:?}");
    let base = [usual, &hot, &cold].map(|summary| summary.mixture.base_map_rms);
    assert!(base[1] > base[0] + 0.015 && base[2] < base[0] - 0.03, "{base:?}");
    assert!(hot.mixture.learned_map_rms > usual.mixture.learned_map_rms + 0.005, "1.9 for 1.2 %");
    assert!(cold.drive.fuel_kg > usual.drive.fuel_kg + 0.03);
}

#[test]
fn ident_another_wideband_scale() {
    agreeing("wider", WIDER, SAME);
    // 2.8 and 2.6 % for 1.2 %: what is learned is as far off as the curves are at lambda 1.
    for summary in at_odds("wider", WIDER) {
        assert!(summary.mixture.learned_map_rms > 0.02 && summary.drive.stalls == 0, "{summary:?}");
    }
}

#[test]
fn ident_a_falling_wideband_scale() {
    agreeing("falling", FALLING, SAME);
    // Lean reads as rich: it stalls 306 and 255 times.
    for summary in at_odds("falling", FALLING) {
        assert!(summary.drive.stalls > 50 && summary.dtcs.iter().any(|code| code == "P0171"), "{summary:?}");
    }
}

#[test]
fn ident_two_trigger_pulses_a_firing() {
    agreeing("pulses", PULSES, SAME_HALF_LATE);
    let [twice, half] = at_odds("pulses", PULSES);
    // Twice the speed, and twice the fuel: it stalls 69 times and its reading is at its end. At half of both it never starts.
    assert!(twice.drive.stalls > 20 && twice.dtcs.iter().any(|code| code == "P0172"), "{twice:?}");
    assert!(never_started(&half) && half.dtcs == ["P0335"], "{half:?}");
}

#[test]
fn ident_all_of_them_are_others() {
    let all = [MAP, SENDERS, FALLING, PULSES].concat();
    agreeing("all", &all, SAME_HALF_LATE);
    for summary in at_odds("all", &all) {
        assert!(never_started(&summary), "{summary:?}");
    }
}
