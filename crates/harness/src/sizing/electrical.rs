//! Volts lost in wires, and whether the alternator carries the load at idle.

use super::line::{Line, Verdict, digits, show};
use super::{Car, Installation};
use crate::units::Kind;
use trimwright_plant::Truth;

/// Resistivity of copper at 20 degC, ohm m: IEC 60028.
const COPPER_OHM_M: f64 = 1.7241e-8;
/// Its rise with temperature, 1/K: IEC 60028.
const COPPER_PER_K: f64 = 3.93e-3;
/// Temperature of a wire under a bonnet over 20 degC, K (engineering judgement).
const WARMER_K: f64 = 40.0;
/// Most volts that a wire may take: common practice, no source.
const MOST_V: f64 = 0.5;
const PART: &str = "electrical";

/// Resistance of a metre of copper of this cross-section in a warm engine bay (60 degC), ohm.
///
/// ```
/// // 2.5 mm2: 1.7241e-8 (1 + 0.00393 * 40) / 2.5e-6.
/// assert!((trimwright_harness::sizing::copper_ohm_per_m(2.5e-6) - 7.9805e-3).abs() < 1e-6);
/// ```
pub fn copper_ohm_per_m(area_m2: f64) -> f64 {
    COPPER_OHM_M * (1.0 + COPPER_PER_K * WARMER_K) / area_m2
}

/// Cross-section of a solid wire of an American wire gauge, m^2: `d = 0.127 mm 92^((36 - n)/39)` (ASTM B258).
///
/// ```
/// assert!((trimwright_harness::sizing::gauge_m2(12) - 3.309e-6).abs() < 1e-9);
/// ```
pub fn gauge_m2(gauge: u8) -> f64 {
    let diameter_m = 0.127e-3 * libm::pow(92.0, (36.0 - f64::from(gauge)) / 39.0);
    0.25 * core::f64::consts::PI * diameter_m * diameter_m
}

/// Volts lost in a wire and back through the body, whose resistance is small beside it.
fn lost_v(current_a: f64, length_m: f64, area_m2: f64) -> f64 {
    current_a * length_m * copper_ohm_per_m(area_m2)
}

/// Volts that arrive at the pump with the engine running.
pub(super) fn pump_v(parts: &Truth, installation: &Installation) -> f64 {
    installation.supply_v
        - lost_v(parts.electrical.pump_a, installation.pump_wire_m, installation.pump_wire_m2)
}

pub(super) fn lines(car: &Car<'_>) -> Vec<Line> {
    let (electrical, installation) = (&car.parts.electrical, car.installation);
    let mut lines = vec![
        wire("wire to the pump", electrical.pump_a, installation.pump_wire_m, installation.pump_wire_m2),
        wire("wire to each fan", electrical.fan_a, installation.fan_wire_m, installation.fan_wire_m2),
    ];
    lines.push(load_at_idle(car));
    lines
}

fn wire(what: &'static str, current_a: f64, length_m: f64, area_m2: f64) -> Line {
    // The thinnest gauge that would do.
    let gauge = (0..=20).rev().find(|&gauge| lost_v(current_a, length_m, gauge_m2(gauge)) <= 0.8 * MOST_V);
    let wider = gauge.map_or_else(
        || "Several wires side by side, or a shorter way.".to_owned(),
        |gauge| {
            format!(
                "AWG {gauge} ({}) or thicker, fused for the wire at the battery.",
                show(Kind::Area, "mm2", gauge_m2(gauge))
            )
        },
    );
    Line::told(PART, what, Kind::Voltage, "V", lost_v(current_a, length_m, area_m2))
        .at_most(MOST_V, 0.1)
        .formula(format!(
            "{} A x {} x {} mohm/m ({} of copper at 60 degC), back through the body; fuse {} A or the next size up",
            digits(current_a),
            show(Kind::Length, "m", length_m),
            digits(1e3 * copper_ohm_per_m(area_m2)),
            show(Kind::Area, "mm2", area_m2),
            digits((current_a / 0.8).ceil()),
        ))
        .change(wider)
        .source("IEC 60028; 0.5 V and a fuse loaded to 80 %: common practice, no source")
}

fn load_at_idle(car: &Car<'_>) -> Line {
    let electrical = &car.parts.electrical;
    let idle = f64::from(car.calibration.answers().idle_speed_rad_per_s);
    let load_a = electrical.base_a
        + electrical.pump_a
        + 2.0 * electrical.fan_a
        + electrical.heater_a
        + electrical.ac_a;
    let able_a = electrical.alternator_a * (1.0 - electrical.cut_in_rad_per_s / idle).max(0.0);
    let lasting_a = load_a - electrical.fan_a - electrical.ac_a;
    let line = Line::told(PART, "load at idle", Kind::Current, "A", load_a).at_most(able_a, 0.1 * able_a);
    // The battery helps while the second fan and the air conditioning run, but not for ever.
    let verdict = if lasting_a < able_a { line.verdict.min(Verdict::Tight) } else { line.verdict };
    line.with_verdict(verdict)
        .formula(format!(
            "{} ignition and controller + {} pump + 2 x {} fans + {} sensor heater + {} air conditioning; alternator {} A x (1 - {} / {}); \
             {} A of it last",
            digits(electrical.base_a),
            digits(electrical.pump_a),
            digits(electrical.fan_a),
            digits(electrical.heater_a),
            digits(electrical.ac_a),
            digits(electrical.alternator_a),
            show(Kind::Rotation, "rpm", electrical.cut_in_rad_per_s),
            show(Kind::Rotation, "rpm", idle),
            digits(lasting_a),
        ))
        .change("A larger alternator, a smaller pulley on it, or a higher idle with the fans on: otherwise volts sag, and with them pump and injectors.")
        .source("sum of the loads; alternator against speed: the plant's")
}
