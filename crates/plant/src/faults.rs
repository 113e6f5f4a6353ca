//! Deviations put into the plant or a wire on purpose.

use crate::check::{OutOfRange, within};
use crate::noise::Noise;

/// Standard deviation of what a bad connection adds to a reading, V: enough to be no sensor any more
/// (engineering judgement).
const NOISY_V: f64 = 0.5;

/// State of a sensor's circuit.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub enum Circuit {
    /// As it should be.
    #[default]
    Sound,
    /// The wire is broken: the input's pull-up or pull-down takes over.
    Open,
    /// The wire touches ground: 0 V.
    Grounded,
    /// The wire touches the 5 V supply.
    Supplied,
    /// The sensor hangs: the converter goes on reading what it read last.
    Stuck,
    /// A bad connection: the reading jumps about the true one by half a volt (standard deviation).
    Noisy,
}

impl Circuit {
    /// What the converter is offered when the sensor would give `sound_v` and a broken wire reads `open_v`;
    /// `None` when the reading stays as it was.
    #[inline]
    pub(crate) fn volts(self, sound_v: f64, open_v: f64, noise: &mut Noise) -> Option<f64> {
        // Nearly all are, and this one question is quick.
        if self == Self::Sound {
            return Some(sound_v);
        }
        match self {
            Self::Sound => Some(sound_v),
            Self::Open => Some(open_v),
            Self::Grounded => Some(0.0),
            Self::Supplied => Some(5.0),
            Self::Stuck => None,
            Self::Noisy => Some(sound_v + NOISY_V * noise.bell()),
        }
    }
}

/// All faults; the default has none. A sensor on a bend, too far down the pipe, slow, drifting or badly
/// grounded, clogged injectors and a fuel with ethanol are set in the part itself.
///
/// ```
/// use trimwright_plant::{Circuit, Faults, Truth};
/// let faults = Faults { map: Circuit::Open, vacuum_leak_m2: 4e-5, ..Faults::default() };
/// assert!(Truth { faults, ..Truth::mild_v8() }.check().is_ok());
/// ```
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Faults {
    /// Effective area of a leak into the intake manifold, m^2, 0 to 2e-4.
    pub vacuum_leak_m2: f64,
    /// Air that a leak upstream of the oxygen sensor takes in with little exhaust flow, kg/s, 0 to 0.01.
    pub exhaust_leak_kg_per_s: f64,
    /// Share of the fuel pump's delivery that is lost, 0 to 1.
    pub weak_pump: f64,
    /// Factor on the filter's pressure drop beyond 1, 0 to 1000.
    pub clogged_filter: f64,
    /// Share of trigger pulses that are lost, 0 to 1.
    pub lost_pulses: f64,
    /// Pulses of interference on the trigger wire, 1/s, 0 to 1000; those that fall before a firing of the
    /// same step are left out.
    pub extra_pulses_hz: f64,
    /// The oxygen sensor's heater gets no power.
    pub heater_dead: bool,
    /// The cooling fans do not turn.
    pub fans_dead: bool,
    /// The thermostat stays open.
    pub thermostat_open: bool,
    /// MAP sensor circuit.
    pub map: Circuit,
    /// TP sensor circuit.
    pub tp: Circuit,
    /// ECT sensor circuit.
    pub ect: Circuit,
    /// IAT sensor circuit.
    pub iat: Circuit,
    /// FRP sensor circuit.
    pub frp: Circuit,
    /// Analog wire of the oxygen sensor.
    pub o2: Circuit,
    /// Wire by which the controller measures its supply; it is fed all the same.
    pub battery: Circuit,
    /// Vehicle speed wire is broken.
    pub vss_lost: bool,
}

impl Faults {
    pub(crate) fn check(&self) -> Result<(), OutOfRange> {
        within("faults.vacuum_leak_m2", self.vacuum_leak_m2, 0.0, 2e-4)?;
        within("faults.exhaust_leak_kg_per_s", self.exhaust_leak_kg_per_s, 0.0, 0.01)?;
        within("faults.weak_pump", self.weak_pump, 0.0, 1.0)?;
        within("faults.clogged_filter", self.clogged_filter, 0.0, 1000.0)?;
        within("faults.lost_pulses", self.lost_pulses, 0.0, 1.0)?;
        within("faults.extra_pulses_hz", self.extra_pulses_hz, 0.0, 1000.0)
    }
}
