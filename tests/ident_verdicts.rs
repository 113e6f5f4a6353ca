//! Findings after a drive: the true cause first, and none for a fault-free engine.

use trimwright_control::{Options, Refusal};
use trimwright_harness::drive::{Learned, learn};
use trimwright_harness::faults::{Fault, find};
use trimwright_harness::scenario::Scenario;
use trimwright_harness::schedule::Schedule;
use trimwright_harness::shipped::SCENARIOS;
use trimwright_harness::summary::Weight;
use trimwright_harness::verdicts::{Cause, findings, rank};

/// The van with this fault and strength, driven through town once, optionally with the self-check.
fn driven(fault: Option<(&str, f64)>, self_check: bool) -> Learned {
    let mut scenario = Scenario::load("delivery-van").expect("shipped").with_passes(1);
    scenario.faults = fault
        .map(|(name, strength)| Fault { strength, ..Fault::usual(find(name).expect("a kind")) })
        .into_iter()
        .collect();
    learn(&scenario, Options { self_check, ..Options::default() }).expect("a drive")
}

fn causes(learned: &Learned) -> Vec<Cause> {
    rank(&learned.evidence, &learned.controller).iter().map(|(cause, _)| *cause).collect()
}

/// A clear fault for each cause.
const CLEAR_FAULTS: [(Cause, &str, f64); 17] = [
    (Cause::UpstreamAir, "exhaust_leak", 5e-4),
    (Cause::VacuumLeak, "vacuum_leak", 6e-5),
    (Cause::FuelSupply, "weak_pump", 0.75),
    (Cause::FuelScale, "wrong_displacement", 1.4),
    (Cause::SensorReading, "shifted_sensor", -0.12),
    (Cause::OpeningDelay, "late_injectors", 3e-4),
    (Cause::SensorSlow, "slow_sensor", 1.5),
    (Cause::CrankSignal, "lost_pulses", 0.08),
    (Cause::MapCircuit, "map_grounded", 0.0),
    (Cause::TpCircuit, "tp_open", 0.0),
    (Cause::EctCircuit, "ect_open", 0.0),
    (Cause::IatCircuit, "iat_open", 0.0),
    (Cause::FrpCircuit, "frp_open", 0.0),
    (Cause::OxygenCircuit, "o2_open", 0.0),
    (Cause::Charging, "alternator_dead", 0.0),
    (Cause::Wiring, "low_voltage", 3.0),
    (Cause::Thermostat, "thermostat_open", 0.0),
];

/// The true cause is first, with the largest weight, and the first finding describes it.
#[test]
fn each_cause_is_reported_first() {
    assert_eq!(CLEAR_FAULTS.map(|(cause, ..)| cause), Cause::ALL);
    let check = |(cause, name, strength): (Cause, &str, f64)| {
        let learned = driven(Some((name, strength)), true);
        let ranked = rank(&learned.evidence, &learned.controller);
        assert_eq!(ranked.first().map(|first| first.0), Some(cause), "{name}: {ranked:?}");
        assert!(ranked.is_sorted_by(|one, other| one.1 >= other.1), "{name}: {ranked:?}");
        let found = findings(&learned.evidence, &learned.controller);
        let first = &found[0];
        let filled = |lines: &[String]| !lines.is_empty() && lines.iter().all(|line| line.len() > 5);
        assert!(filled(&first.causes) && filled(&first.tell_apart), "{name}: {first:?}");
        assert!(filled(&first.check) && filled(&first.evidence), "{name}: {first:?}");
        assert!(first.evidence.iter().all(|line| !line.contains("NaN")), "{name}: {first:?}");
    };
    std::thread::scope(|scope| {
        for half in CLEAR_FAULTS.chunks(9) {
            scope.spawn(move || half.iter().copied().for_each(check));
        }
    });
}

#[test]
fn a_fault_free_engine_has_only_the_finding_of_unvisited_cells() {
    let learned = driven(None, true);
    assert_eq!(causes(&learned), []);
    let found = findings(&learned.evidence, &learned.controller);
    let titles: Vec<(&str, Weight)> =
        found.iter().map(|finding| (finding.title.as_str(), finding.weight)).collect();
    assert_eq!(titles, [("Part of the map was never driven", Weight::Note)]);
}

/// Shipped drives without a fault, over a mountain, with a trailer or on a dynamometer, have no findings to act on, with the self-check neither.
#[test]
fn fault_free_shipped_drives_have_no_findings_to_act_on() {
    let fault_free = || SCENARIOS.iter().map(|shipped| Scenario::load(shipped.name).expect("shipped"));
    assert_eq!(fault_free().filter(|scenario| !scenario.faults.is_empty()).count(), 1);
    let check = |self_check: bool| {
        for scenario in fault_free().filter(|scenario| scenario.faults.is_empty()) {
            let learned = learn(&scenario, Options { self_check, ..Options::default() }).expect("a drive");
            assert_eq!(causes(&learned), [], "{}", scenario.name);
            let found = findings(&learned.evidence, &learned.controller);
            assert!(
                found.iter().all(|finding| finding.weight == Weight::Note),
                "{}: {found:?}",
                scenario.name
            );
        }
    };
    std::thread::scope(|scope| {
        scope.spawn(|| check(true));
        check(false);
    });
}

/// A drive that ends before the engine is warm has a finding that nothing was learned.
#[test]
fn a_drive_too_short_to_learn_has_a_finding() {
    let trip = "time [s],speed [km/h]\n0,0\n20,0\n40,50\n200,50\n220,0\n";
    let schedule = Schedule::parse("trip", "trip.csv", trip).expect("a schedule");
    let van = Scenario::load("delivery-van").expect("shipped");
    let scenario = Scenario { schedule, passes: 1, faults: Vec::new(), ..van };
    let learned = learn(&scenario, Options::default()).expect("a drive");
    let found = findings(&learned.evidence, &learned.controller);
    assert_eq!(found[0].title, "Nothing was learned", "{found:?}");
    assert!(found[0].evidence[0].ends_with("were not learned from because: cold"), "{found:?}");
}

/// With an upstream leak readings at idle are rejected after its detection, and the verdict counts them; without the self-check none are
/// rejected or reported.
#[test]
fn readings_with_an_upstream_leak_are_rejected_and_reported() {
    let leak = Some(("exhaust_leak", 5e-4));
    let (checked, unchecked) = (driven(leak, true), driven(leak, false));
    let rejected = |learned: &Learned| learned.controller.state().counts().of(Refusal::UpstreamAir);
    assert!(rejected(&checked) > 500, "{}", rejected(&checked));
    assert_eq!((rejected(&unchecked), causes(&unchecked).contains(&Cause::UpstreamAir)), (0, false));
    let found = findings(&checked.evidence, &checked.controller);
    let reported = format!("{} readings at low flow were not learned from", rejected(&checked));
    assert!(found[0].evidence.iter().any(|line| line.contains(&reported)), "{:?}", found[0].evidence);
    // A leak or a lean-reading sensor explains it: both are reported, with means to distinguish them.
    assert_eq!(causes(&checked)[..2], [Cause::UpstreamAir, Cause::SensorReading]);
    assert!(found[0].tell_apart.iter().any(|line| line.contains("at every flow")));
    // A rich engine is not in danger; a sensor that hides a lean one is a danger.
    assert_eq!((found[0].weight, found[1].weight), (Weight::Act, Weight::Act));
    let lean = driven(Some(("shifted_sensor", -0.12)), true);
    assert_eq!(findings(&lean.evidence, &lean.controller)[0].weight, Weight::Stop);
}

/// The shipped van with three faults: all three are reported, in any order.
#[test]
fn three_simultaneous_faults_are_all_reported() {
    let scenario = Scenario::load("tired-van").expect("shipped");
    let learned = learn(&scenario, Options { self_check: true, ..Options::default() }).expect("a drive");
    let reported = causes(&learned);
    for cause in [Cause::IatCircuit, Cause::VacuumLeak, Cause::UpstreamAir] {
        assert!(reported.contains(&cause), "{cause:?}: {reported:?}");
    }
}
