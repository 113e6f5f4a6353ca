//! Deviations put into the plant or a wire on purpose.

use crate::noise::Noise;

/// Standard deviation of the noise of a bad connection, V (engineering judgement).
const NOISY_V: f64 = 0.5;

/// State of a sensor's circuit.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
#[non_exhaustive]
pub enum Circuit {
    /// No fault.
    FaultFree,
    /// Open circuit: the input's pull-up or pull-down sets the voltage.
    Open,
    /// Short to ground: 0 V.
    Grounded,
    /// Short to the 5 V supply.
    Supplied,
    /// Stuck: the reading stays at its last value.
    Stuck,
    /// Bad connection: noise with a standard deviation of 0.5 V is added.
    Noisy,
}

trimwright_numerics::choice!(Circuit {
    FaultFree = "fault-free",
    Open = "open",
    Grounded = "grounded",
    Supplied = "supplied",
    Stuck = "stuck",
    Noisy = "noisy",
});

impl Circuit {
    /// Voltage at the converter for a fault-free voltage `fault_free_v` and an open-circuit voltage `open_v`; `None` when the
    /// reading is stuck.
    #[inline]
    pub(crate) fn volts(self, fault_free_v: f64, open_v: f64, noise: &mut Noise) -> Option<f64> {
        // The common case first: this runs for every channel.
        if self == Self::FaultFree {
            return Some(fault_free_v);
        }
        match self {
            Self::FaultFree => Some(fault_free_v),
            Self::Open => Some(open_v),
            Self::Grounded => Some(0.0),
            Self::Supplied => Some(5.0),
            Self::Stuck => None,
            Self::Noisy => Some(fault_free_v + NOISY_V * noise.normal()),
        }
    }
}

trimwright_numerics::parameters! {
    /// All faults; the default has none. Errors of a part itself are parameters of that part: a badly placed, slow, drifting or badly
    /// grounded sensor, clogged injectors, fuel with ethanol.
    ///
    /// ```
    /// use trimwright_plant::{Circuit, Faults, Truth};
    /// let faults = Faults { map: Circuit::Open, vacuum_leak_m2: 4e-5, ..Faults::default() };
    /// assert!(Truth { faults, ..Truth::mild_v8() }.check().is_ok());
    /// ```
    pub struct Faults<f64> "faults" {
        /// Effective area of a leak into the intake manifold.
        number vacuum_leak_m2 { 0.0, 0.0..=2e-4 "m2", "engineering judgement: no fault by default" }
        /// Air flow into a leak upstream of the oxygen sensor at low exhaust flow.
        number exhaust_leak_kg_per_s { 0.0, 0.0..=0.01 "kg/s", "engineering judgement: no fault by default" }
        /// Fraction of the fuel pump's delivery that is lost.
        number weak_pump { 0.0, 0.0..=1.0 "1", "engineering judgement: no fault by default" }
        /// Added pressure drop of the fuel filter over that of the clean filter.
        number clogged_filter { 0.0, 0.0..=1000.0 "1", "engineering judgement: no fault by default" }
        /// Fraction of trigger pulses that are lost.
        number lost_pulses { 0.0, 0.0..=1.0 "1", "engineering judgement: no fault by default" }
        /// Rate of interference pulses on the trigger wire; one that falls before another pulse of the same step is dropped.
        number extra_pulses_hz { 0.0, 0.0..=1000.0 "1/s", "engineering judgement: no fault by default" }
        /// The oxygen sensor's heater gets no power.
        flag heater_dead { false, "engineering judgement: no fault by default" }
        /// The cooling fans do not run.
        flag fans_dead { false, "engineering judgement: no fault by default" }
        /// The thermostat is stuck open.
        flag thermostat_open { false, "engineering judgement: no fault by default" }
        /// MAP sensor circuit.
        choice map { Circuit = Circuit::FaultFree, "engineering judgement: no fault by default" }
        /// TP sensor circuit.
        choice tp { Circuit = Circuit::FaultFree, "engineering judgement: no fault by default" }
        /// ECT sensor circuit.
        choice ect { Circuit = Circuit::FaultFree, "engineering judgement: no fault by default" }
        /// IAT sensor circuit.
        choice iat { Circuit = Circuit::FaultFree, "engineering judgement: no fault by default" }
        /// FRP sensor circuit.
        choice frp { Circuit = Circuit::FaultFree, "engineering judgement: no fault by default" }
        /// Analog output circuit of the wideband controller.
        choice o2 { Circuit = Circuit::FaultFree, "engineering judgement: no fault by default" }
        /// Circuit by which the controller measures its supply voltage; the supply itself is unaffected.
        choice battery { Circuit = Circuit::FaultFree, "engineering judgement: no fault by default" }
        /// The vehicle speed signal is lost.
        flag vss_lost { false, "engineering judgement: no fault by default" }
    }
}
