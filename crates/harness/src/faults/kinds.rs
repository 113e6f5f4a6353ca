//! Kinds of faults: name, title, strength, and effect on truth or answers.

use crate::document::nearest;
use crate::units::Kind;
use std::fmt;
use trimwright_control::{Cam, SetupAnswers};
use trimwright_plant::{Circuit, Truth};

/// Strength of a kind of fault. All ranges and usual strengths: engineering judgement.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Strength {
    /// Kind of quantity.
    pub kind: Kind,
    /// Text between title and strength, such as ` by `.
    pub link: &'static str,
    /// Unit it is shown in.
    pub unit: &'static str,
    /// Lower limit, SI.
    pub low: f64,
    /// Upper limit, SI.
    pub high: f64,
    /// Default, SI.
    pub usual: f64,
}

/// One kind of fault.
pub struct FaultKind {
    /// Name in scenario files.
    pub name: &'static str,
    /// Title.
    pub title: &'static str,
    /// Strength, if the kind has one.
    pub strength: Option<Strength>,
    /// True when the fault may begin, end or be intermittent; false when it is present from the start, such as a wrong answer or a sensor
    /// in the wrong place.
    pub is_timed: bool,
    /// Applies the fault with this strength, SI.
    pub(super) apply: fn(f64, &mut Truth, &mut SetupAnswers),
}

/// The name alone: the address of a function would differ from run to run, and with it a scenario's hash.
impl fmt::Debug for FaultKind {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.debug_tuple("FaultKind").field(&self.name).finish()
    }
}

impl PartialEq for FaultKind {
    fn eq(&self, other: &Self) -> bool {
        self.name == other.name
    }
}

/// The kind of this name, if there is one.
///
/// ```
/// use trimwright_harness::faults::find;
/// let leak = find("vacuum_leak").expect("a kind");
/// assert_eq!(leak.strength.as_ref().map(|strength| strength.unit), Some("mm2"));
/// assert!(find("gremlin").is_none());
/// ```
pub fn find(name: &str) -> Option<&'static FaultKind> {
    KINDS.iter().find(|kind| kind.name == name)
}

/// The kind of this name, or the error message.
///
/// # Errors
/// When there is none; the message proposes the most similar kind.
pub fn named(name: &str) -> Result<&'static FaultKind, String> {
    find(name).ok_or_else(|| {
        let proposed = nearest(name, KINDS.iter().map(|kind| kind.name))
            .map_or_else(String::new, |kind| format!("did you mean {kind}? "));
        format!("is no kind of fault; {proposed}`trimwright faults --list` names them")
    })
}

/// Pipe cross-section between the usual and a too distant sensor position, m^2: 57 mm bore (engineering judgement).
const PIPE_M2: f64 = 2.55e-3;
/// Largest pipe volume up to the sensor, m^3: the plant's limit.
const MAX_PIPE_M3: f64 = 0.05;

const fn strength(
    link: &'static str,
    kind: Kind,
    unit: &'static str,
    (low, high): (f64, f64),
    usual: f64,
) -> Option<Strength> {
    Some(Strength { kind, link, unit, low, high, usual })
}

const fn share(link: &'static str, range: (f64, f64), usual: f64) -> Option<Strength> {
    strength(link, Kind::Ratio, "%", range, usual)
}

const fn number(link: &'static str, range: (f64, f64), usual: f64) -> Option<Strength> {
    strength(link, Kind::Ratio, "", range, usual)
}

/// A fault that may begin, end or be intermittent.
const fn part(
    name: &'static str,
    title: &'static str,
    strength: Option<Strength>,
    apply: fn(f64, &mut Truth, &mut SetupAnswers),
) -> FaultKind {
    FaultKind { name, title, strength, is_timed: true, apply }
}

/// A fault that is present from the start.
const fn made(
    name: &'static str,
    title: &'static str,
    strength: Option<Strength>,
    apply: fn(f64, &mut Truth, &mut SetupAnswers),
) -> FaultKind {
    FaultKind { name, title, strength, is_timed: false, apply }
}

macro_rules! circuit {
    ($name:literal, $title:literal, $field:ident, $state:ident) => {
        part($name, $title, None, |_, truth, _| truth.faults.$field = Circuit::$state)
    };
}

const PERCENT: (f64, f64) = (0.0, 1.0);

/// All kinds of faults: air, fuel, sensors, supply, cooling, wrong answers.
pub const KINDS: &[FaultKind] = &[
    part(
        "vacuum_leak",
        "air leak into the intake manifold",
        strength(", ", Kind::Area, "mm2", (0.0, 2e-4), 4e-5),
        |strength, truth, _| truth.faults.vacuum_leak_m2 = strength,
    ),
    part(
        "exhaust_leak",
        "air leak into the exhaust before the sensor",
        strength(", ", Kind::MassRate, "g/s", (0.0, 0.01), 6e-4),
        |strength, truth, _| truth.faults.exhaust_leak_kg_per_s = strength,
    ),
    part("weak_pump", "fuel pump delivers less", share(" by ", PERCENT, 0.6), |strength, truth, _| {
        truth.faults.weak_pump = strength;
    }),
    part(
        "clogged_filter",
        "fuel filter is clogged",
        number("; extra pressure drop, times a clean one's: ", (0.0, 1000.0), 60.0),
        |strength, truth, _| truth.faults.clogged_filter = strength,
    ),
    part(
        "clogged_injector",
        "one injector has lost part of its flow",
        share(", ", PERCENT, 0.5),
        |strength, truth, _| truth.injectors.clogged[0] = strength,
    ),
    part(
        "clogged_injectors",
        "all injectors have lost part of their flow",
        share(", ", PERCENT, 0.2),
        |strength, truth, _| truth.injectors.clogged = [strength; 8],
    ),
    part(
        "late_injectors",
        "all injectors open later than usual",
        strength(" by ", Kind::Time, "ms", (-5e-4, 5e-4), 3e-4),
        |strength, truth, _| {
            for delay_s in &mut truth.injectors.delay_s {
                *delay_s += strength;
            }
        },
    ),
    part(
        "hot_fuel",
        "fuel so hot that it boils at the pump's inlet",
        strength(", ", Kind::Temperature, "degC", (288.0, 340.0), 325.0),
        |strength, truth, _| truth.fuel_system.fuel_k = strength,
    ),
    part(
        "other_fuel",
        "fuel with ethanol, unknown to the controller",
        share(": by volume ", (0.0, 0.85), 0.25),
        |strength, truth, _| truth.fuel.ethanol_share = strength,
    ),
    part("lost_pulses", "distributor pulses are lost", share(", ", PERCENT, 0.05), |strength, truth, _| {
        truth.faults.lost_pulses = strength;
    }),
    part(
        "extra_pulses",
        "interference on the distributor wire",
        number(", pulses a second: ", (0.0, 1000.0), 5.0),
        |strength, truth, _| truth.faults.extra_pulses_hz = strength,
    ),
    part("heater_dead", "the oxygen sensor's heater gets no power", None, |_, truth, _| {
        truth.faults.heater_dead = true;
    }),
    part(
        "slow_sensor",
        "the oxygen sensor is slow",
        strength(" with a time constant of ", Kind::Time, "s", (0.01, 2.0), 0.6),
        |strength, truth, _| truth.oxygen_sensor.tau_s = strength,
    ),
    part(
        "shifted_sensor",
        "the oxygen sensor reads lean",
        share(" by ", (-0.2, 0.2), 0.05),
        |strength, truth, _| truth.oxygen_sensor.offset = strength,
    ),
    part(
        "bad_ground",
        "the oxygen sensor's ground is raised",
        strength(" by ", Kind::Voltage, "V", (-0.5, 0.5), 0.15),
        |strength, truth, _| truth.oxygen_sensor.ground_v = strength,
    ),
    made(
        "sensor_on_bend",
        "the oxygen sensor is on the outside of a bend and reads lean",
        share(" by ", (-0.1, 0.1), 0.04),
        |strength, truth, _| truth.exhaust.sensor_bend_error = strength,
    ),
    made(
        "sensor_far",
        "the oxygen sensor is further down the pipe",
        strength(" by ", Kind::Length, "m", (0.0, 5.0), 2.0),
        |strength, truth, _| {
            truth.exhaust.pipe_m3 = (truth.exhaust.pipe_m3 + PIPE_M2 * strength).min(MAX_PIPE_M3);
        },
    ),
    circuit!("o2_open", "oxygen sensor wire broken", o2, Open),
    circuit!("o2_grounded", "oxygen sensor wire shorted to ground", o2, Grounded),
    circuit!("o2_supplied", "oxygen sensor wire shorted to 5 V", o2, Supplied),
    circuit!("o2_stuck", "oxygen sensor stuck at its last value", o2, Stuck),
    circuit!("o2_noisy", "oxygen sensor wire has a loose connection, signal noisy", o2, Noisy),
    circuit!("map_open", "MAP sensor wire broken", map, Open),
    circuit!("map_grounded", "MAP sensor wire shorted to ground", map, Grounded),
    circuit!("map_supplied", "MAP sensor wire shorted to 5 V", map, Supplied),
    circuit!("map_stuck", "MAP sensor stuck at its last value", map, Stuck),
    circuit!("map_noisy", "MAP sensor wire has a loose connection, signal noisy", map, Noisy),
    circuit!("tp_open", "TP sensor wire broken", tp, Open),
    circuit!("tp_grounded", "TP sensor wire shorted to ground", tp, Grounded),
    circuit!("tp_supplied", "TP sensor wire shorted to 5 V", tp, Supplied),
    circuit!("tp_stuck", "TP sensor stuck at its last value", tp, Stuck),
    circuit!("tp_noisy", "TP sensor wire has a loose connection, signal noisy", tp, Noisy),
    circuit!("ect_open", "ECT sensor wire broken", ect, Open),
    circuit!("ect_grounded", "ECT sensor wire shorted to ground", ect, Grounded),
    circuit!("ect_supplied", "ECT sensor wire shorted to 5 V", ect, Supplied),
    circuit!("ect_stuck", "ECT sensor stuck at its last value", ect, Stuck),
    circuit!("ect_noisy", "ECT sensor wire has a loose connection, signal noisy", ect, Noisy),
    circuit!("iat_open", "IAT sensor wire broken", iat, Open),
    circuit!("iat_grounded", "IAT sensor wire shorted to ground", iat, Grounded),
    circuit!("iat_supplied", "IAT sensor wire shorted to 5 V", iat, Supplied),
    circuit!("iat_stuck", "IAT sensor stuck at its last value", iat, Stuck),
    circuit!("iat_noisy", "IAT sensor wire has a loose connection, signal noisy", iat, Noisy),
    circuit!("frp_open", "FRP sensor wire broken", frp, Open),
    circuit!("frp_grounded", "FRP sensor wire shorted to ground", frp, Grounded),
    circuit!("frp_supplied", "FRP sensor wire shorted to 5 V", frp, Supplied),
    circuit!("frp_stuck", "FRP sensor stuck at its last value", frp, Stuck),
    circuit!("frp_noisy", "FRP sensor wire has a loose connection, signal noisy", frp, Noisy),
    circuit!("battery_open", "supply measurement wire broken", battery, Open),
    circuit!("battery_grounded", "supply measurement wire shorted to ground", battery, Grounded),
    circuit!("battery_supplied", "supply measurement reads full scale", battery, Supplied),
    circuit!("battery_stuck", "supply measurement stuck at its last value", battery, Stuck),
    circuit!("battery_noisy", "supply measurement wire has a loose connection, signal noisy", battery, Noisy),
    part("vss_lost", "vehicle speed wire broken", None, |_, truth, _| truth.faults.vss_lost = true),
    part(
        "low_voltage",
        "bad connection between battery and controller",
        strength(" drops ", Kind::Voltage, "V", (0.0, 4.0), 2.5),
        |strength, truth, _| truth.electrical.wiring_v = strength,
    ),
    part("alternator_dead", "the alternator does not charge", None, |_, truth, _| {
        truth.electrical.alternator_a = 0.0;
    }),
    part("fans_dead", "the cooling fans do not turn", None, |_, truth, _| truth.faults.fans_dead = true),
    part("thermostat_open", "the thermostat stays open", None, |_, truth, _| {
        truth.faults.thermostat_open = true;
    }),
    made(
        "wrong_displacement",
        "displacement answered wrongly",
        share(", share of the true one: ", (0.5, 2.0), 0.8),
        |strength, _, answers| answers.displacement_m3 *= strength as f32,
    ),
    made(
        "wrong_cylinders",
        "number of cylinders answered wrongly",
        number(" as ", (1.0, 8.0), 6.0),
        |strength, _, answers| answers.cylinders = strength as u8,
    ),
    made("wrong_cam", "camshaft answered as the opposite", None, |_, _, answers| {
        answers.cam = if answers.cam == Cam::Hot { Cam::Stock } else { Cam::Hot };
    }),
    made(
        "wrong_injector_flow",
        "injector flow answered wrongly",
        share(", share of the printed one: ", (0.5, 2.0), 1.25),
        |strength, _, answers| answers.injector_flow_kg_per_s *= strength as f32,
    ),
];
