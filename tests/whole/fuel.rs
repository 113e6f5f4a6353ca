//! Fuel is conserved: a dead pump or an empty tank stops every engine, and no engine injects what it does not have.

use crate::rig::RPM;
use trimwright_control::{Calibration, Controller, Dtc, Options};
use trimwright_harness::closed_loop::{ClosedLoop, STEP_S};
use trimwright_harness::drive::{Record, drive_with};
use trimwright_harness::faults::{Fault, find};
use trimwright_harness::scenario::Scenario;
use trimwright_harness::schedule::Schedule;
use trimwright_harness::session::{SessionBuilder, Until};
use trimwright_plant::{DriverInputs, GearRange, Key, Plant, Truth};
use trimwright_study::sample::EngineSample;

/// Scenarios with the four shipped engines.
const CARS: [&str; 4] = ["delivery-van", "town-coupe", "highway-pickup", "hot-cam-town"];
/// Time within which an engine without fuel has to stop, s.
const STOPS_WITHIN_S: f64 = 5.0;
/// Heat released over that of before, below which a driven engine counts as stopped: single charges that still burn.
const STOPPED: f64 = 0.02;

/// Each shipped car, and drawn ones.
fn cars(drawn: u32) -> impl Iterator<Item = (String, Scenario)> {
    CARS.into_iter().flat_map(move |name| {
        let shipped = Scenario::load(name).expect("shipped");
        let samples = (0..drawn)
            .map(|index| (format!("{name}, drawn {index}"), EngineSample::of(77, index).scenario(&shipped)))
            .collect::<Vec<_>>();
        core::iter::once((name.to_owned(), shipped)).chain(samples)
    })
}

/// Upper limit of the time until a nearly empty tank is empty, s.
const EMPTY_WITHIN_S: f64 = 600.0;

/// Lowest speed of an engine that stumbles but runs, rad/s: that of an owner who answered the wrong cam falls to 45 at times.
const STUMBLES_RAD_PER_S: f64 = 15.0;

fn warm(truth: &Truth) -> Truth {
    let mut truth = truth.clone();
    (truth.thermal.start_k, truth.thermal.start_bonnet_k) = (360.0, 315.0);
    truth
}

/// Tries to start until a driver gives up.
const STARTS: u32 = 5;

/// An engine with its controller, started.
fn started(scenario: &Scenario) -> (ClosedLoop, DriverInputs) {
    let calibration = Calibration::from_answers(&scenario.answers).expect("answers in range");
    let plant = Plant::new(warm(&scenario.truth), scenario.seed).expect("a truth in range");
    let mut closed_loop = ClosedLoop::new(plant, Controller::new(calibration));
    let mut inputs = DriverInputs { key: Key::On, ..DriverInputs::default() };
    run(&mut closed_loop, &inputs, 2.0);
    for _ in 0..STARTS {
        inputs.key = Key::Start;
        let mut cranked_s = 0.0;
        while closed_loop.view().speed_rad_per_s < 50.0 && cranked_s < 6.0 {
            run(&mut closed_loop, &inputs, 0.1);
            cranked_s += 0.1;
        }
        inputs.key = Key::On;
        run(&mut closed_loop, &inputs, 8.0);
        if closed_loop.view().speed_rad_per_s > 45.0 {
            break;
        }
    }
    (closed_loop, inputs)
}

fn run(closed_loop: &mut ClosedLoop, inputs: &DriverInputs, seconds: f64) {
    (0..(seconds / STEP_S).round() as u32).for_each(|_| closed_loop.step(inputs));
}

/// Where an engine runs when its fuel ends.
const PLACES: [(&str, Option<f64>, f64); 3] =
    [("idle", None, 0.0), ("cruise", Some(1900.0), 0.12), ("full load", Some(3200.0), 1.0)];

/// Time from the end of the fuel until the engine has stopped, s: until the crank stands, or without work on a dynamometer. With an empty
/// tank the fuel ends when the pump draws no more.
fn stops_after_s(scenario: &Scenario, place: (&str, Option<f64>, f64), dead_pump: bool) -> f64 {
    let (_, rpm, throttle) = place;
    let (mut closed_loop, mut inputs) = started(scenario);
    (inputs.dyno_rad_per_s, inputs.throttle) = (rpm.map(|rpm| rpm * RPM), throttle);
    let released_j = |closed_loop: &ClosedLoop| closed_loop.plant().balances().released_j;
    let mut second_j = 0.0;
    if dead_pump {
        run(&mut closed_loop, &inputs, 4.0);
        let before_j = released_j(&closed_loop);
        run(&mut closed_loop, &inputs, 1.0);
        second_j = released_j(&closed_loop) - before_j;
        let mut truth = closed_loop.plant().truth().clone();
        truth.faults.weak_pump = 1.0;
        closed_loop.set_truth(truth).expect("in range");
    } else {
        let started_s = closed_loop.time_s();
        while !closed_loop.view().tank_is_empty {
            assert!(closed_loop.view().speed_rad_per_s > STUMBLES_RAD_PER_S, "it runs");
            assert!(closed_loop.time_s() - started_s < EMPTY_WITHIN_S, "it burns no fuel");
            let before_j = released_j(&closed_loop);
            run(&mut closed_loop, &inputs, 0.5);
            second_j = second_j.max(2.0 * (released_j(&closed_loop) - before_j));
        }
    }
    let mut after_s = 0.0;
    loop {
        let from_j = released_j(&closed_loop);
        run(&mut closed_loop, &inputs, 0.5);
        after_s += 0.5;
        let stands = rpm.is_none() && closed_loop.view().speed_rad_per_s < 5.0;
        let without_work = rpm.is_some() && released_j(&closed_loop) - from_j < STOPPED * 0.5 * second_j;
        if stands || without_work || after_s > 60.0 {
            return after_s;
        }
    }
}

/// Slowest stop of all cars and places, and where.
fn slowest_stop(dead_pump: bool) -> (f64, String) {
    let mut slowest = (0.0, String::new());
    for (name, mut scenario) in cars(3) {
        for place in PLACES {
            if !dead_pump {
                // About ten seconds beyond the start at idle, some at full load.
                scenario.truth.fuel_system.tank_kg = if place.1.is_some() { 0.12 } else { 0.05 };
            }
            let after_s = stops_after_s(&scenario, place, dead_pump);
            if after_s > slowest.0 {
                slowest = (after_s, format!("{name} at {}", place.0));
            }
        }
    }
    slowest
}

#[test]
fn a_dead_pump_stops_every_engine_within_five_seconds() {
    let slowest = slowest_stop(true);
    assert!(slowest.0 <= STOPS_WITHIN_S, "{slowest:?}");
}

#[test]
fn an_empty_tank_stops_every_engine_within_five_seconds() {
    let slowest = slowest_stop(false);
    assert!(slowest.0 <= STOPS_WITHIN_S, "{slowest:?}");
}

/// A dead pump from a time on.
fn dead_from(scenario: Scenario, from_s: f64) -> Scenario {
    let kind = find("weak_pump").expect("a kind");
    Scenario { faults: vec![Fault { from_s, strength: 1.0, ..Fault::usual(kind) }], ..scenario }
}

/// The map before a pump dies on the road and after two minutes of attempts to start.
#[test]
fn a_dead_pump_moves_no_cell_by_more_than_one_percent() {
    for (name, scenario) in cars(2) {
        let scenario = Scenario { truth: warm(&scenario.truth), ..scenario };
        // Far enough that the map no longer moves by itself.
        let dies_s = 900.0;
        let mut session = SessionBuilder::new(dead_from(scenario, dies_s)).build().expect("it was checked");
        session.run(Until::After(dies_s), &mut ()).expect("it runs");
        let before = session.closed_loop().controller().state().learned().clone();
        session.run(Until::After(120.0), &mut ()).expect("it runs");
        let state = session.closed_loop().controller().state();
        let after = state.learned();
        assert!(state.dtcs().stored().any(|dtc| dtc == Dtc::RailTooLow), "{name}");
        let moved = before.ln.flat().iter().zip(after.ln.flat()).map(|(one, other)| (one - other).abs());
        let most = moved.fold((before.common.flow_ln - after.common.flow_ln).abs(), f32::max);
        assert!(most < 0.01, "{name}: {most}");
    }
}

#[test]
fn the_findings_say_that_no_fuel_arrives_and_that_the_tank_is_empty() {
    let trip = "time [s],speed [km/h]\n0,0\n20,0\n40,50\n150,50\n";
    for name in CARS {
        let schedule = Schedule::parse("trip", "trip.csv", trip).expect("a schedule");
        let car = Scenario { schedule, passes: 1, ..Scenario::load(name).expect("shipped") };
        let titles = |scenario: &Scenario| {
            let run =
                drive_with(scenario, Options::default(), Record::Figures, &mut |_| ()).expect("it runs");
            run.summary.verdicts.into_iter().map(|finding| finding.title).collect::<Vec<_>>()
        };
        let none = "No fuel arrives: the tank is empty, or the fuel pump delivers nothing";
        for from_s in [0.0, 60.0] {
            assert_eq!(titles(&dead_from(car.clone(), from_s))[0], none, "{name} from {from_s} s");
        }
        let mut short = car.clone();
        short.truth.fuel_system.tank_kg = 0.06;
        assert_eq!(titles(&short)[..2], ["The tank is empty", none], "{name}");
        let sound = titles(&car);
        assert!(
            !sound.iter().any(|title| title.contains("uel") && title.contains("tank")),
            "{name}: {sound:?}"
        );
    }
}

/// Stream of random numbers: SplitMix64 (Steele et al. 2014).
struct Random(u64);

impl Random {
    fn between(&mut self, low: f64, high: f64) -> f64 {
        self.0 = self.0.wrapping_add(0x9e37_79b9_7f4a_7c15);
        let mut bits = self.0;
        bits = (bits ^ bits >> 30).wrapping_mul(0xbf58_476d_1ce4_e5b9);
        bits = (bits ^ bits >> 27).wrapping_mul(0x94d0_49bb_1331_11eb);
        low + (high - low) * ((bits ^ bits >> 31) >> 11) as f64 / (1_u64 << 53) as f64
    }
}

/// A random drive of a drawn car with little fuel, pumps that fail and come back, hot fuel, drained lines, random pedals and keys. Returns
/// whether the tank ran dry and whether the engine ran.
fn random_drive(index: u32) -> (bool, bool) {
    let mut random = Random(u64::from(index));
    let shipped = Scenario::load(CARS[index as usize % CARS.len()]).expect("shipped");
    let mut scenario = EngineSample::of(91, index).scenario(&shipped);
    let system = &mut scenario.truth.fuel_system;
    system.tank_kg = if random.between(0.0, 1.0) < 0.5 { random.between(0.0, 0.3) } else { 30.0 };
    system.line_filled = random.between(0.0, 2.0).min(1.0);
    system.fuel_k = random.between(270.0, 335.0);
    scenario.truth.fuel.vapour_pressure_pa = random.between(40e3, 100e3);
    let (mut closed_loop, mut inputs) = started(&scenario);
    let check = |closed_loop: &ClosedLoop| {
        let b = closed_loop.plant().balances();
        let used_kg = b.fuel_injected_kg + b.fuel_jet_kg;
        assert!(
            used_kg <= b.fuel_start_kg && b.fuel_tank_kg >= 0.0 && b.fuel_line_kg >= 0.0,
            "{index}: {b:?}"
        );
        let off_kg = b.fuel_tank_kg + b.fuel_line_kg + used_kg - b.fuel_start_kg;
        assert!(off_kg.abs() < 1e-9 * b.fuel_start_kg, "{index}: {off_kg} kg");
        let held_kg = b.fuel_wall_kg + b.fuel_airborne_kg + b.fuel_vapour_pending_kg + b.fuel_in_cylinders_kg;
        let gone_kg = b.fuel_burned_kg + b.fuel_unburned_kg;
        let entered_kg = used_kg + b.fuel_vapour_kg;
        assert!((held_kg + gone_kg - entered_kg).abs() < 1e-9 * b.fuel_start_kg, "{index}: {b:?}");
    };
    let mut ran = false;
    for _ in 0..8 {
        check(&closed_loop);
        let start = random.between(0.0, 1.0) < 0.3;
        inputs.key = if start { Key::Start } else { Key::On };
        inputs.range = if random.between(0.0, 1.0) < 0.5 { GearRange::Drive } else { GearRange::Park };
        inputs.throttle = random.between(-0.3, 1.0).max(0.0);
        inputs.brake = random.between(-1.0, 1.0).max(0.0);
        let mut truth = closed_loop.plant().truth().clone();
        truth.faults.weak_pump = random.between(-1.0, 1.3).clamp(0.0, 1.0);
        truth.faults.clogged_filter = random.between(-100.0, 100.0).max(0.0);
        closed_loop.set_truth(truth).expect("in range");
        for _ in 0..20 {
            let before = closed_loop.plant().balances();
            run(&mut closed_loop, &inputs, 0.1);
            let injected_kg = closed_loop.plant().balances().fuel_injected_kg - before.fuel_injected_kg;
            assert!(
                injected_kg <= before.fuel_tank_kg + before.fuel_line_kg,
                "{index}: {injected_kg} kg in 0.1 s"
            );
        }
        ran |= closed_loop.view().speed_rad_per_s > 60.0;
    }
    check(&closed_loop);
    (closed_loop.view().tank_is_empty, ran)
}

/// `DRIVES=10000` sets the number of drives.
#[test]
fn ident_no_random_drive_injects_more_than_tank_line_and_rail_held() {
    let drives = std::env::var("DRIVES").map_or(50, |drives| drives.parse().expect("a number"));
    let (mut dry, mut ran) = (0, 0);
    for index in 0..drives {
        let (is_dry, has_run) = random_drive(index);
        (dry, ran) = (dry + u32::from(is_dry), ran + u32::from(has_run));
    }
    assert!(dry * 20 > drives && ran * 2 > drives, "{dry} dry, {ran} ran");
}
