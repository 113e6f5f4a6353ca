//! Voltage drop of wires, and alternator load at idle.

use super::car::Car;
use super::installation::Installation;
use super::line::{AREA, CURRENT, LENGTH, Line, ROTATION, TEMPERATURE, VOLTAGE, digits};
use trimwright_plant::Truth;

/// Resistivity of copper at 20 degC, ohm m: IEC 60028.
const COPPER_OHM_M: f64 = 1.7241e-8;
/// Temperature coefficient of that resistivity, 1/K: IEC 60028.
const COPPER_PER_K: f64 = 3.93e-3;
/// Reference temperature of that resistivity, K: 20 degC.
const COPPER_K: f64 = 293.15;
/// Metres in a foot: exact, NIST SP 811.
const FOOT_M: f64 = 0.3048;
/// Wire temperature under a bonnet above 20 degC, K (engineering judgement).
const WARMER_K: f64 = 40.0;
/// Largest voltage drop of a wire, V: common practice, no source.
const MAX_DROP_V: f64 = 0.5;
const PART: &str = "electrical";

/// Resistance per metre of copper of this cross-section in a warm engine bay (60 degC), ohm/m.
pub fn copper_ohm_per_m(area_m2: f64) -> f64 {
    COPPER_OHM_M * (1.0 + COPPER_PER_K * WARMER_K) / area_m2
}

/// Cross-section of a solid wire of an American wire gauge, m^2: `d = 0.127 mm 92^((36 - n)/39)` (ASTM B258).
pub fn gauge_m2(gauge: u8) -> f64 {
    let diameter_m = 0.127e-3 * libm::pow(92.0, (36.0 - f64::from(gauge)) / 39.0);
    0.25 * core::f64::consts::PI * diameter_m * diameter_m
}

/// Gauge of a wire of this cross-section: inverse of [`gauge_m2`], rounded to the nearest.
fn gauge(area_m2: f64) -> f64 {
    let diameter_m = 2.0 * libm::sqrt(area_m2 / core::f64::consts::PI);
    (36.0 - 39.0 * libm::log(diameter_m / 0.127e-3) / libm::log(92.0)).round()
}

/// Voltage drop of a wire, V; the return through the body has negligible resistance.
fn drop_v(current_a: f64, length_m: f64, area_m2: f64) -> f64 {
    current_a * length_m * copper_ohm_per_m(area_m2)
}

/// Voltage at the pump with the engine running, V.
pub(super) fn pump_v(parts: &Truth, installation: &Installation) -> f64 {
    installation.supply_v
        - drop_v(parts.electrical.pump_a, installation.pump_wire_m, installation.pump_wire_m2)
}

pub(super) fn lines(car: &Car<'_>) -> Vec<Line> {
    let (electrical, installation) = (&car.parts.electrical, car.installation);
    let pump = (installation.pump_wire_m, installation.pump_wire_m2);
    let fan = (installation.fan_wire_m, installation.fan_wire_m2);
    let [continuous, all] = loads_at_idle(car);
    vec![
        wire(car, "wire to the pump", electrical.pump_a, pump),
        wire(car, "wire to each fan", electrical.fan_a, fan),
        continuous,
        all,
    ]
}

fn wire(car: &Car<'_>, what: &'static str, current_a: f64, (length_m, area_m2): (f64, f64)) -> Line {
    let copper = |area_m2| car.system.pick(car.show(AREA, area_m2), format!("AWG {}", gauge(area_m2)));
    // Thinnest sufficient gauge.
    let enough =
        (0..=20).rev().find(|&gauge| drop_v(current_a, length_m, gauge_m2(gauge)) <= 0.8 * MAX_DROP_V);
    let wider = enough.map_or_else(
        || "Several wires in parallel, or a shorter run.".to_owned(),
        |gauge| format!("{} or thicker, fused for the wire at the battery.", copper(gauge_m2(gauge))),
    );
    let ohm_per_m = copper_ohm_per_m(area_m2);
    let resistance = car.system.pick(
        format!("{} mohm/m", digits(1e3 * ohm_per_m)),
        format!("{} mohm/ft", digits(1e3 * ohm_per_m * FOOT_M)),
    );
    car.figure(PART, what, VOLTAGE, drop_v(current_a, length_m, area_m2))
        .at_most(MAX_DROP_V, 0.1)
        .formula(format!(
            "{} A x {} x {resistance} ({} of copper at {}), back through the body; fuse {} A or the next size up",
            digits(current_a),
            car.show(LENGTH, length_m),
            copper(area_m2),
            car.show(TEMPERATURE, COPPER_K + WARMER_K),
            digits((current_a / 0.8).ceil()),
        ))
        .change(wider)
        .source("IEC 60028; 0.5 V and a fuse loaded to 80 %: common practice, no source")
}

/// Continuous load on the alternator, and load on alternator and battery with everything on.
fn loads_at_idle(car: &Car<'_>) -> [Line; 2] {
    let electrical = &car.parts.electrical;
    let idle = f64::from(car.calibration.answers().idle_speed_rad_per_s);
    let continuous_a = electrical.base_a + electrical.pump_a + electrical.fan_a + electrical.heater_a;
    let all_a = continuous_a + electrical.fan_a + electrical.ac_a;
    let able_a = electrical.alternator_a * (1.0 - electrical.cut_in_rad_per_s / idle).max(0.0);
    let continuous = car
        .figure(PART, "load at idle", CURRENT, continuous_a)
        .at_most(able_a, 0.1 * able_a)
        .formula(format!(
            "continuous: {} ignition and controller + {} pump + {} of one fan + {} sensor heater; alternator {} A x (1 - {} / {})",
            digits(electrical.base_a),
            digits(electrical.pump_a),
            digits(electrical.fan_a),
            digits(electrical.heater_a),
            digits(electrical.alternator_a),
            car.show(ROTATION, electrical.cut_in_rad_per_s),
            car.show(ROTATION, idle),
        ))
        .change("A larger alternator, a smaller pulley on it, or a higher idle with the fans on: otherwise volts sag, and with them pump and injectors.")
        .source("sum of the loads; alternator against speed: the plant's");
    let all = car
        .figure(PART, "load at idle with everything on", CURRENT, all_a)
        .formula(format!(
            "{} + {} second fan + {} air conditioning; the battery gives {} A of it as long as that lasts",
            digits(continuous_a),
            digits(electrical.fan_a),
            digits(electrical.ac_a),
            digits((all_a - able_a).max(0.0)),
        ))
        .source("sum of the loads");
    [continuous, all]
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn ident_a_gauge_has_the_section_that_leads_back_to_it() {
        for wire in 0..=20 {
            assert_eq!(gauge(gauge_m2(wire)), f64::from(wire));
        }
    }
}
