//! Weighs the evidence for each cause.

use trimwright_control::{Controller, Dtc};

use super::cause::Cause;
use super::evidence::Evidence;

/// Weight of a code that names a circuit: it stands above everything else.
const CIRCUIT: f64 = 100.0;
/// Weight of something plainly measured.
const MEASURED: f64 = 20.0;
/// What sound engines need at high flow, ln, and from where it is too much.
const SOUND_HIGH_LN: f64 = 0.03;
const SCALE_LN: f64 = 0.18;
/// What sound engines need at idle beyond that at high flow, ln, and from where it is too much.
const SOUND_RISE_LN: f64 = -0.11;
const RISE_LN: f64 = 0.34;
/// Rise from idle to middle flow that parts air before the sensor from a sensor that reads lean everywhere, ln.
const LEAK_RISE_LN: f64 = 0.0;
/// Answer of the crank below and above which the engine is not as lean or rich as it reads.
const RICH_PULL: f64 = 0.03;
const LEAN_PULL: f64 = 0.19;
/// Idle duty beyond the known one at which air comes in elsewhere.
const IDLE_EXTRA: f64 = -0.22;
/// Least rail pressure, ln of the wanted one.
const RAIL_LN: f64 = -0.03;

/// Causes with their weights, heaviest first, those of at least 1.
pub fn rank(evidence: &Evidence, controller: &Controller) -> Vec<(Cause, f64)> {
    let weigh = |cause: &Cause| (*cause, weight(*cause, evidence, controller));
    let mut ranked: Vec<(Cause, f64)> =
        Cause::ALL.iter().map(weigh).filter(|(_, weight)| *weight >= 1.0).collect();
    ranked.sort_by(|one, other| other.1.total_cmp(&one.1));
    ranked
}

fn weight(cause: Cause, evidence: &Evidence, controller: &Controller) -> f64 {
    let state = controller.state();
    let any = |dtcs: &[Dtc]| state.dtcs.stored().any(|stored| dtcs.contains(&stored));
    let circuit = |dtcs: &[Dtc]| if any(dtcs) { CIRCUIT } else { 0.0 };
    let measured = |found: bool| if found { MEASURED } else { 0.0 };
    match cause {
        Cause::MapCircuit => circuit(&[Dtc::MapPerformance, Dtc::MapLow, Dtc::MapHigh]),
        Cause::TpCircuit => circuit(&[Dtc::TpPerformance, Dtc::TpLow, Dtc::TpHigh]),
        Cause::EctCircuit => circuit(&[Dtc::EctPerformance, Dtc::EctLow, Dtc::EctHigh]),
        Cause::IatCircuit => circuit(&[Dtc::IatPerformance, Dtc::IatLow, Dtc::IatHigh]),
        Cause::FrpCircuit => circuit(&[Dtc::FrpPerformance, Dtc::FrpLow, Dtc::FrpHigh]),
        Cause::OxygenCircuit => {
            if evidence.at_end.value() > 0.5 {
                CIRCUIT
            } else {
                circuit(&[Dtc::O2Heater, Dtc::O2NoActivity])
            }
        }
        Cause::CrankSignal => {
            let bad = f64::from(state.crank.lost_pulses) + f64::from(state.crank.refused_pulses);
            if any(&[Dtc::CrankPerformance]) { 2.5 * MEASURED } else { 2.0 * measured(bad > 20.0) }
        }
        Cause::Charging => measured(evidence.charge_v() < 0.8),
        Cause::Wiring => measured(evidence.battery_v[0].value() < 10.8),
        Cause::Thermostat => measured(evidence.ect_late_k.value() < 340.0),
        Cause::FuelSupply => {
            let low = evidence.rail_least_ln / RAIL_LN;
            if any(&[Dtc::RailTooLow]) { MEASURED } else { low.min(MEASURED) }
        }
        Cause::VacuumLeak => measured(evidence.idle_extra.value() < IDLE_EXTRA),
        Cause::SensorSlow => slow(evidence, controller),
        Cause::UpstreamAir => 3.0 * rich(controller) + if rises(evidence) { 0.5 } else { 0.0 },
        Cause::SensorReading => {
            let lean = lean(controller);
            lean.max(3.0 * rich(controller) + if rises(evidence) { 0.0 } else { 0.5 })
        }
        Cause::FuelScale => {
            evidence.pattern.high_ln().map_or(0.0, |ln| 1.5 * (ln - SOUND_HIGH_LN).abs() / SCALE_LN) - 0.5
        }
        Cause::OpeningDelay => {
            let rise = evidence.rise_ln().map_or(0.0, |ln| (ln - SOUND_RISE_LN).abs() / RISE_LN);
            // A rise that goes with a rich engine is no delay.
            if rich(controller) > 0.0 && evidence.rise_ln() > Some(SOUND_RISE_LN) {
                0.0
            } else {
                4.0 * rise - 3.0
            }
        }
    }
}

/// 1 when the crank says that the engine is richer than it reads.
fn rich(controller: &Controller) -> f64 {
    let (mean, sigma, count) = controller.state().self_check.pull.estimate();
    f64::from(u8::from(count >= 15.0 && f64::from(mean + 2.0 * sigma) < RICH_PULL))
}

/// How surely the crank says that the engine is leaner than it reads.
fn lean(controller: &Controller) -> f64 {
    let (mean, sigma, count) = controller.state().self_check.pull.estimate();
    if count >= 15.0 { f64::from(mean - 2.0 * sigma) / LEAN_PULL } else { 0.0 }
}

/// Whether the correction is larger at idle, as air before the sensor makes it.
fn rises(evidence: &Evidence) -> bool {
    evidence
        .pattern
        .low_ln()
        .zip(evidence.pattern.middle_ln())
        .is_some_and(|(low, middle)| low - middle > LEAK_RISE_LN)
}

fn slow(evidence: &Evidence, controller: &Controller) -> f64 {
    let state = controller.state();
    if state.dtcs.stored().any(|stored| stored == Dtc::O2Slow) {
        return MEASURED;
    }
    let after_cut = (evidence.late_s.value() - 0.02) / 0.2;
    let by_dither = state
        .self_check
        .measured
        .map_or(0.0, |measured| f64::from(measured.delay_s / measured.believed_s) - 0.9);
    after_cut.max(0.0) + 2.0 * by_dither.max(0.0)
}
