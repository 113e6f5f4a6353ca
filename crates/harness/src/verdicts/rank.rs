//! Weights of the causes by the evidence.

use trimwright_control::parameters::TorqueResponseParameters;
use trimwright_control::{Cam, Controller, Dtc};

use super::cause::Cause;
use super::evidence::Evidence;

/// Weight of a trouble code that names a circuit: above everything else.
const CIRCUIT: f64 = 100.0;
/// Weight of a direct measurement.
const MEASURED: f64 = 20.0;
/// Weight of a reading that the torque response contradicts.
const CONTRADICTED: f64 = 3.0;
/// Typical correction of fault-free engines at high flow, and limit of the deviation from it, ln.
const FAULT_FREE_HIGH_LN: f64 = 0.03;
/// The same of fault-free engines with a hot cam.
const FAULT_FREE_HIGH_HOT_CAM_LN: f64 = -0.03;
const SCALE_LN: f64 = 0.22;
/// Limits of the correction at idle minus that at high flow, up and down, ln: fault-free engines have a standard deviation of 0.08
/// around 0.
const RISE_LN: f64 = 0.10;
const FALL_LN: f64 = 0.25;
/// Typical learned opening delay of fault-free injectors, and limits of the deviation from it, up and down, s: a change towards idle that
/// the delay explains is a delay; without it, it is the filling of another cam than answered.
const FAULT_FREE_DELAY_S: f64 = 0.01e-3;
const LONGER_S: f64 = 0.115e-3;
const SHORTER_S: f64 = 0.17e-3;
/// Deviation of the correction at high flow from which a sensor that reads lean does so at every flow, ln. Fault-free engines have a
/// standard deviation of 0.08 (over 240), so a leak seldom reaches it.
const EVERYWHERE_LN: f64 = 0.13;
/// Typical delay of air after a fuel cut with a fault-free sensor, s (latest about 0.09 later), and limit of the deviation from it, s.
const FAULT_FREE_LATE_S: f64 = -0.05;
const LATE_S: f64 = 0.21;
/// Typical delay of the mixture after a fuel cut with a fault-free sensor, s (latest about 0.36 later), and limit of the deviation from it,
/// s: larger than for air, since a slow sensor returns from the far end of its range.
const FAULT_FREE_BACK_S: f64 = -0.10;
const BACK_S: f64 = 0.46;
/// Extra idle duty below which air enters elsewhere.
const IDLE_EXTRA: f64 = -0.22;
/// Most pulses lost or rejected with a fault-free pickup.
const MAX_BAD_PULSES: u32 = 20;
/// Most stalls of a fault-free engine in a drive, and weight of more stalls.
const MAX_STALLS: u32 = 5;
const STALLS_OFTEN: f64 = 1.5;
/// Least rail pressure over the wanted one, ln.
const RAIL_LN: f64 = -0.03;

/// Causes with weights of at least 1, heaviest first.
///
/// ```
/// use trimwright_control::{Calibration, Controller, SetupAnswers};
/// use trimwright_harness::verdicts::{Cause, Evidence, rank};
/// let controller = Controller::new(Calibration::from_answers(&SetupAnswers::default())?);
/// let mut evidence = Evidence::default();
/// assert!(rank(&evidence, &controller).is_empty(), "nothing was seen, nothing is wrong");
/// evidence.battery_v[0].add(12.5);
/// evidence.battery_v[1].add(12.1);
/// assert_eq!(rank(&evidence, &controller)[0].0, Cause::Charging, "the supply does not rise with the engine running");
/// # Ok::<(), trimwright_control::AnswerError>(())
/// ```
pub fn rank(evidence: &Evidence, controller: &Controller) -> Vec<(Cause, f64)> {
    let weigh = |cause: &Cause| (*cause, weight(*cause, evidence, controller));
    let mut ranked: Vec<(Cause, f64)> =
        Cause::ALL.iter().map(weigh).filter(|(_, weight)| *weight >= 1.0).collect();
    ranked.sort_by(|one, other| other.1.total_cmp(&one.1));
    ranked
}

fn weight(cause: Cause, evidence: &Evidence, controller: &Controller) -> f64 {
    let state = controller.state();
    let any = |dtcs: &[Dtc]| state.dtcs().stored().any(|stored| dtcs.contains(&stored));
    let circuit = |dtcs: &[Dtc]| if any(dtcs) { CIRCUIT } else { 0.0 };
    let measured = |found: bool| if found { MEASURED } else { 0.0 };
    match cause {
        Cause::MapCircuit => circuit(&[Dtc::MapPerformance, Dtc::MapLow, Dtc::MapHigh]),
        Cause::TpCircuit => circuit(&[Dtc::TpPerformance, Dtc::TpLow, Dtc::TpHigh]),
        Cause::EctCircuit => circuit(&[Dtc::EctPerformance, Dtc::EctLow, Dtc::EctHigh]),
        Cause::IatCircuit => circuit(&[Dtc::IatPerformance, Dtc::IatLow, Dtc::IatHigh]),
        Cause::FrpCircuit => circuit(&[Dtc::FrpPerformance, Dtc::FrpLow, Dtc::FrpHigh]),
        Cause::OxygenCircuit => {
            if evidence.at_range_end.value() > 0.5 {
                CIRCUIT
            } else {
                circuit(&[Dtc::O2Heater, Dtc::O2NoActivity])
            }
        }
        Cause::CrankSignal => {
            let code = if any(&[Dtc::CrankPerformance]) { 2.5 } else { 2.0 };
            code * measured(evidence.bad_pulses > MAX_BAD_PULSES)
        }
        Cause::Charging => measured(evidence.charge_v() < 0.8),
        Cause::Wiring => measured(evidence.battery_v[0].value() < 10.8),
        Cause::Thermostat => measured(evidence.ect_late_k.value() < 340.0),
        Cause::FuelSupply => {
            let low = evidence.rail_min_ln / RAIL_LN;
            if any(&[Dtc::RailTooLow]) || evidence.starved > 0 { MEASURED } else { low.min(MEASURED) }
        }
        Cause::VacuumLeak => measured(evidence.idle_extra.value() < IDLE_EXTRA),
        Cause::SensorSlow => slow(evidence, controller),
        Cause::UpstreamAir => {
            reads_lean(controller) + if everywhere(evidence, controller) { 0.0 } else { 0.5 }
        }
        Cause::SensorReading => {
            let lean = reads_lean(controller) + if everywhere(evidence, controller) { 0.5 } else { 0.0 };
            lean.max(measured_ln(state.self_check().torque_response().falsely_rich_ln(response(controller))))
        }
        Cause::FuelScale => {
            // An engine that keeps stalling without another explanation has a large fuel error.
            let dies = if evidence.stalls > MAX_STALLS { STALLS_OFTEN } else { 0.0 };
            let off = |ln: f64| 1.5 * (ln - fault_free_high_ln(controller)).abs() / SCALE_LN - 0.5;
            evidence.pattern.high_ln().map_or(dies, off)
        }
        Cause::OpeningDelay => {
            let rise_ln = evidence.rise_ln().unwrap_or(0.0);
            let delay_s = f64::from(state.learned().common.delay_s) - FAULT_FREE_DELAY_S;
            let off = if delay_s < -SHORTER_S {
                // The learned delay ends at its authority, the correction does not.
                -rise_ln / FALL_LN
            } else if reads_lean(controller) > 0.0 {
                // A rise towards idle in an engine that is richer than its reading is no delay.
                0.0
            } else {
                (rise_ln / RISE_LN).min(delay_s / LONGER_S)
            };
            3.0 * off - 2.0
        }
    }
}

/// Weight of a reading that the torque response contradicts.
fn measured_ln(off_ln: Option<f32>) -> f64 {
    if off_ln.is_some() { CONTRADICTED } else { 0.0 }
}

/// Parameters of the torque response.
pub(super) fn response(controller: &Controller) -> &TorqueResponseParameters {
    &controller.calibration().parameters().torque_response
}

/// Weight of an engine that is richer than its reading.
fn reads_lean(controller: &Controller) -> f64 {
    measured_ln(controller.state().self_check().torque_response().falsely_lean_ln(response(controller)))
}

/// True when the correction is large at high flow too, which points to the sensor rather than a leak.
fn everywhere(evidence: &Evidence, controller: &Controller) -> bool {
    evidence.pattern.high_ln().is_some_and(|ln| ln - fault_free_high_ln(controller) > EVERYWHERE_LN)
}

/// Typical correction at high flow of fault-free engines with the cam answered, ln.
fn fault_free_high_ln(controller: &Controller) -> f64 {
    match controller.calibration().answers().cam {
        Cam::Hot => FAULT_FREE_HIGH_HOT_CAM_LN,
        _ => FAULT_FREE_HIGH_LN,
    }
}

fn slow(evidence: &Evidence, controller: &Controller) -> f64 {
    let state = controller.state();
    if state.dtcs().stored().any(|stored| stored == Dtc::O2Slow) {
        return MEASURED;
    }
    let late = (evidence.air_late_s.value() - FAULT_FREE_LATE_S) / LATE_S;
    let back = (evidence.mixture_late_s.value() - FAULT_FREE_BACK_S) / BACK_S;
    let by_dither = (state.self_check().measured())
        .map_or(0.0, |measured| 2.0 * f64::from(measured.delay_s / measured.expected_delay_s) - 1.8);
    late.max(back).max(by_dither).max(0.0)
}
