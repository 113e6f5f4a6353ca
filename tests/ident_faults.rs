//! Faults in whole drives: the program stays numerically valid.

use std::fmt::Write;
use trimwright_control::Parameters;
use trimwright_harness::closed_loop::ClosedLoop;
use trimwright_harness::faults::examination::{self, Experience, examine, experience};
use trimwright_harness::faults::{Fault, KINDS, find};
use trimwright_harness::scenario::Scenario;
use trimwright_harness::shipped::SCENARIOS;

/// Part of each shipped drive for each fault, s: a start, an intermittent fault, and some driving.
const DRIVEN_S: f64 = 60.0;
/// Interval of the check of all numbers, s.
const CHECK_S: u64 = 20;

fn van() -> Scenario {
    Scenario::load("delivery-van").expect("shipped")
}

fn with(scenario: &Scenario, fault: Fault) -> Scenario {
    Scenario { faults: vec![fault], ..scenario.clone() }
}

/// State of controller and plant as text, for the search of non-finite numbers.
fn written(closed_loop: &ClosedLoop, text: &mut String) {
    text.clear();
    let (controller, commands) = (closed_loop.controller().state(), closed_loop.commands());
    let (view, balances) = (closed_loop.view(), closed_loop.plant().balances());
    write!(text, "{controller:?} {commands:?} {view:?} {balances:?} ").expect("a string takes any text");
}

fn assert_finite(text: &str, what: &str) {
    let odd = [" NaN", "(NaN", "[NaN", " inf", "[inf", "(inf", "-inf"].iter().find_map(|odd| {
        let at = text.find(odd)?;
        // Names of fields may begin with the same letters.
        let after = text[at + odd.len()..].chars().next();
        after.is_some_and(|next| !next.is_alphanumeric() && next != '_').then_some(at)
    });
    if let Some(at) = odd {
        panic!("{what}: {}", &text[at.saturating_sub(120)..(at + 20).min(text.len())]);
    }
}

/// Each kind of fault with usual and largest strength, intermittent, on the beginning of each shipped drive.
#[test]
fn every_fault_on_every_shipped_drive_leaves_every_number_finite() {
    let drive = |shipped: &trimwright_harness::shipped::Shipped| {
        let scenario = Scenario::load(shipped.name).expect("shipped");
        let mut text = String::new();
        for (index, kind) in KINDS.iter().enumerate() {
            let usual = Fault::usual(kind);
            let strongest = kind.strength.as_ref().map_or(0.0, |strength| strength.high);
            let strength = if kind.is_timed && index % 2 == 1 { strongest } else { usual.strength };
            let (from_s, until_s, intermittent_s) = match kind.is_timed {
                true => (12.3, 52.7, (index % 3 == 0).then_some((7.0, 4.2))),
                false => (0.0, f64::INFINITY, None),
            };
            let fault = Fault { strength, from_s, until_s, intermittent_s, ..usual };
            let what = format!("{} with {}", shipped.name, fault.title());
            let mut seconds = 0;
            experience(&with(&scenario, fault), DRIVEN_S, &mut |closed_loop| {
                seconds += 1;
                if seconds % CHECK_S == 0 {
                    written(closed_loop, &mut text);
                    assert_finite(&text, &what);
                }
            })
            .unwrap_or_else(|error| panic!("{what}: {error}"));
            assert!(seconds >= 10, "{what}");
        }
    };
    std::thread::scope(|scope| {
        for half in SCENARIOS.chunks(SCENARIOS.len().div_ceil(2)) {
            scope.spawn(move || half.iter().for_each(drive));
        }
    });
}

#[test]
fn non_finite_numbers_are_found_in_text() {
    assert_finite("Inner { inflow_k: 3.0, info: 2.0, nan_count: 1 }", "names");
    for text in ["a: NaN, b", "a: [NaN, 1.0]", "a: inf }", "a: -inf, b", "Some(inf)"] {
        assert!(std::panic::catch_unwind(|| assert_finite(text, "odd")).is_err(), "{text}");
    }
}

#[test]
fn ident_before_a_fault_begins_nothing_differs() {
    let fault_free = van();
    let until_s = 40.0;
    // As text, in which NaN equals NaN.
    let driven =
        |scenario: &Scenario| format!("{:?}", experience(scenario, until_s, &mut |_| {}).expect("a drive"));
    let plain = driven(&fault_free);
    for name in ["clogged_injectors", "other_fuel", "map_open", "slow_sensor"] {
        let fault = Fault { from_s: until_s, ..Fault::usual(find(name).expect("a kind")) };
        assert_eq!(driven(&with(&fault_free, fault.clone())), plain, "{name}");
        let earlier = Fault { from_s: 0.5 * until_s, ..fault };
        assert_ne!(driven(&with(&fault_free, earlier)), plain, "{name}");
    }
}

#[test]
fn several_faults_are_active_at_once() {
    let names = ["weak_pump", "o2_open", "wrong_cam"];
    let faults = names.map(|name| Fault::usual(find(name).expect("a kind"))).to_vec();
    let scenario = Scenario { faults, ..van() };
    let mut seen = None;
    experience(&scenario, 2.0, &mut |closed_loop| {
        let faults = &closed_loop.plant().truth().faults;
        seen = Some((faults.weak_pump, faults.o2, closed_loop.controller().calibration().answers().cam));
    })
    .expect("a drive");
    let (weak_pump, o2, cam) = seen.expect("a look");
    assert_eq!((weak_pump, o2), (0.6, trimwright_plant::Circuit::Open));
    assert_ne!(cam, van().answers.cam);
}

/// Lean mixture at high load with a fault-free sensor must be ended by the lean guard.
#[test]
fn the_lean_guard_ends_lean_mixture_at_high_load() {
    let schedule = examination::schedule();
    // Learning compensates a loss up to the authority limit; a little more it does not.
    let Parameters { learner, common_correction, .. } = Parameters::DEFAULT;
    let whole_authority_ln = learner.authority_ln + common_correction.flow_authority_ln;
    let made_up_for = 1.0 - f64::from((-whole_authority_ln).exp());
    for (name, strength) in
        [("weak_pump", 0.85), ("weak_pump", 0.9), ("clogged_injectors", made_up_for + 0.007)]
    {
        let kind = find(name).expect("a kind");
        let fault = Fault { strength, from_s: examination::FROM_S, ..Fault::usual(kind) };
        let scenario = Scenario { schedule: schedule.clone(), ..with(&van(), fault) };
        let met: Experience =
            experience(&scenario, scenario.schedule.duration_s(), &mut |_| {}).expect("a drive");
        assert!(met.guard_trips > 0, "{name}: {:?}", met.high_load);
        // Without the guard lean intervals last up to a minute; with it 2 or 3 s until the reading has arrived and is valid.
        assert!(met.high_load.longest_lean_s < 3.0, "{name}: {:?}", met.high_load);
    }
}

#[test]
fn ident_an_examination_does_not_depend_on_threads() {
    let schedule = examination::schedule();
    let all = || examine(&van(), &schedule, 100.0, Some("exhaust_leak")).expect("drives");
    let (one, other) = (all(), all());
    assert_eq!(format!("{one:?}"), format!("{other:?}"));
    assert_eq!(one.iter().map(|one| one.fault.as_str()).collect::<Vec<_>>(), ["sound", "exhaust_leak"]);
    assert!(one[0].owner.is_empty() && one[0].controller.is_empty(), "{:?}", one[0]);
    assert!(one[1].learned_idle_shift > 0.02, "{}", one[1].learned_idle_shift);
}
