//! Learning follows ageing parts.

use trimwright_control::Options;
use trimwright_harness::drive::{Record, drive_with};
use trimwright_harness::faults::{Fault, find};
use trimwright_harness::scenario::Scenario;

/// Time over which the injectors lose flow, s.
const AGEING_S: f64 = 7200.0;
/// Share of the flow that is lost.
const LOST: f64 = 0.10;
/// Number of steps of the loss, each 0.2 %.
const STEPS: u32 = 50;

/// The fault during one step of the ageing; the last one stays.
fn step(index: u32) -> Fault {
    let step_s = AGEING_S / f64::from(STEPS);
    let from_s = step_s * f64::from(index);
    let last = index + 1 == STEPS;
    Fault {
        strength: LOST * f64::from(index + 1) / f64::from(STEPS),
        from_s,
        until_s: if last { f64::INFINITY } else { from_s + step_s },
        ..Fault::usual(find("clogged_injectors").expect("a kind"))
    }
}

/// Six times UDDS, 2.3 hours. Deposits reduce the flow of all injectors by 10 % within 2 hours; after the first two passes, which
/// learn the map, the lasting error of the map alone stays within 2.5 % rms (2.3 % seen, 2.1 % without disturbances): a learner that
/// believes what lasts for minutes less follows more slowly, and no part ages by 10 % in 2 hours.
#[test]
fn the_map_follows_a_flow_loss_of_10_percent() {
    let scenario = Scenario::load("delivery-van").expect("shipped").with_passes(6);
    let learned_s = 2.0 * scenario.schedule.duration_s();
    let scenario = Scenario { faults: (0..STEPS).map(step).collect(), ..scenario };
    let run = drive_with(&scenario, Options::default(), Record::Figures, &mut |_| ()).expect("driven");
    let late = run.windows.iter().filter(|window| window.end_s > learned_s + 60.0);
    let errors: Vec<f64> = late.map(|window| window.map_rms).filter(|rms| rms.is_finite()).collect();
    assert!(errors.len() > 60, "{} windows", errors.len());
    let rms = (errors.iter().map(|rms| rms * rms).sum::<f64>() / errors.len() as f64).sqrt();
    assert!(rms < 0.025, "{rms}");
}
