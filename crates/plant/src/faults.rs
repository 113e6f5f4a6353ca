//! Deviations put into the plant or a wire on purpose.

use crate::noise::Noise;

/// Standard deviation of what a bad connection adds to a reading, V: enough to be no sensor any more
/// (engineering judgement).
const NOISY_V: f64 = 0.5;

/// State of a sensor's circuit.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Circuit {
    /// As it should be.
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

trimwright_numerics::choice!(Circuit {
    Sound = "sound",
    Open = "open",
    Grounded = "grounded",
    Supplied = "supplied",
    Stuck = "stuck",
    Noisy = "noisy",
});

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

trimwright_numerics::parameters! {
    /// All faults; the default has none. A sensor on a bend, too far down the pipe, slow, drifting or badly
    /// grounded, clogged injectors and a fuel with ethanol are set in the part itself.
    ///
    /// ```
    /// use trimwright_plant::{Circuit, Faults, Truth};
    /// let faults = Faults { map: Circuit::Open, vacuum_leak_m2: 4e-5, ..Faults::default() };
    /// assert!(Truth { faults, ..Truth::mild_v8() }.check().is_ok());
    /// ```
    pub struct Faults<f64> "faults" {
        /// Effective area of a leak into the intake manifold.
        number vacuum_leak_m2 { 0.0, 0.0..=2e-4 "m2", "engineering judgement: nothing is broken" }
        /// Air that a leak upstream of the oxygen sensor takes in with little exhaust flow.
        number exhaust_leak_kg_per_s { 0.0, 0.0..=0.01 "kg/s", "engineering judgement: nothing is broken" }
        /// Share of the fuel pump's delivery that is lost.
        number weak_pump { 0.0, 0.0..=1.0 "1", "engineering judgement: nothing is broken" }
        /// Factor on the filter's pressure drop beyond 1.
        number clogged_filter { 0.0, 0.0..=1000.0 "1", "engineering judgement: nothing is broken" }
        /// Share of trigger pulses that are lost.
        number lost_pulses { 0.0, 0.0..=1.0 "1", "engineering judgement: nothing is broken" }
        /// Pulses of interference on the trigger wire; those that fall before another pulse of the same step are left out.
        number extra_pulses_hz { 0.0, 0.0..=1000.0 "1/s", "engineering judgement: nothing is broken" }
        /// The oxygen sensor's heater gets no power.
        flag heater_dead { false, "engineering judgement: nothing is broken" }
        /// The cooling fans do not turn.
        flag fans_dead { false, "engineering judgement: nothing is broken" }
        /// The thermostat stays open.
        flag thermostat_open { false, "engineering judgement: nothing is broken" }
        /// MAP sensor circuit.
        choice map { Circuit = Circuit::Sound, "engineering judgement: nothing is broken" }
        /// TP sensor circuit.
        choice tp { Circuit = Circuit::Sound, "engineering judgement: nothing is broken" }
        /// ECT sensor circuit.
        choice ect { Circuit = Circuit::Sound, "engineering judgement: nothing is broken" }
        /// IAT sensor circuit.
        choice iat { Circuit = Circuit::Sound, "engineering judgement: nothing is broken" }
        /// FRP sensor circuit.
        choice frp { Circuit = Circuit::Sound, "engineering judgement: nothing is broken" }
        /// Analog wire of the oxygen sensor.
        choice o2 { Circuit = Circuit::Sound, "engineering judgement: nothing is broken" }
        /// Wire by which the controller measures its supply; it is fed all the same.
        choice battery { Circuit = Circuit::Sound, "engineering judgement: nothing is broken" }
        /// Vehicle speed wire is broken.
        flag vss_lost { false, "engineering judgement: nothing is broken" }
    }
}
