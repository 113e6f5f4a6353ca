//! Causes that can be distinguished with these sensors.

/// A cause of a fault.
///
/// ```
/// use trimwright_control::Options;
/// use trimwright_harness::{drive::learn, scenario::Scenario, schedule::Schedule};
/// use trimwright_harness::faults::{Fault, find};
/// use trimwright_harness::verdicts::{Cause, rank};
/// let schedule = Schedule::parse("trip", "trip.csv", "time [s],speed [km/h]\n0,0\n20,0\n40,50\n100,50\n")?;
/// let faults = vec![Fault::usual(find("map_open").ok_or("a kind")?)];
/// let van = Scenario { schedule, faults, passes: 1, ..Scenario::load("delivery-van")? };
/// let learned = learn(&van, Options::default())?;
/// assert_eq!(rank(&learned.evidence, &learned.controller)[0].0, Cause::MapCircuit);
/// # Ok::<(), Box<dyn std::error::Error>>(())
/// ```
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash, PartialOrd, Ord)]
pub enum Cause {
    /// Air enters the exhaust before the sensor.
    UpstreamAir,
    /// Air enters the manifold past the throttle and the idle valve.
    VacuumLeak,
    /// Pump, line or filter deliver less fuel than is used.
    FuelSupply,
    /// Fuel is off by the same factor everywhere: injector flow, an answer, the fuel.
    FuelScale,
    /// The sensor has an offset at all flows.
    SensorReading,
    /// The opening delay of the injectors is wrong.
    OpeningDelay,
    /// The sensor responds late.
    SensorSlow,
    /// Pulses of the distributor are lost or added.
    CrankSignal,
    /// MAP sensor circuit.
    MapCircuit,
    /// TP sensor circuit.
    TpCircuit,
    /// ECT sensor circuit.
    EctCircuit,
    /// IAT sensor circuit.
    IatCircuit,
    /// FRP sensor circuit.
    FrpCircuit,
    /// Oxygen sensor circuit or heater.
    OxygenCircuit,
    /// The alternator does not charge.
    Charging,
    /// Voltage drop between battery and controller.
    Wiring,
    /// The thermostat does not close.
    Thermostat,
}

impl Cause {
    /// All causes.
    pub const ALL: [Self; 17] = [
        Self::UpstreamAir,
        Self::VacuumLeak,
        Self::FuelSupply,
        Self::FuelScale,
        Self::SensorReading,
        Self::OpeningDelay,
        Self::SensorSlow,
        Self::CrankSignal,
        Self::MapCircuit,
        Self::TpCircuit,
        Self::EctCircuit,
        Self::IatCircuit,
        Self::FrpCircuit,
        Self::OxygenCircuit,
        Self::Charging,
        Self::Wiring,
        Self::Thermostat,
    ];

    /// Short name for tables.
    pub const fn name(self) -> &'static str {
        match self {
            Self::UpstreamAir => "upstream_air",
            Self::VacuumLeak => "vacuum_leak",
            Self::FuelSupply => "fuel_supply",
            Self::FuelScale => "fuel_scale",
            Self::SensorReading => "sensor_reading",
            Self::OpeningDelay => "opening_delay",
            Self::SensorSlow => "sensor_slow",
            Self::CrankSignal => "crank_signal",
            Self::MapCircuit => "map_circuit",
            Self::TpCircuit => "tp_circuit",
            Self::EctCircuit => "ect_circuit",
            Self::IatCircuit => "iat_circuit",
            Self::FrpCircuit => "frp_circuit",
            Self::OxygenCircuit => "oxygen_circuit",
            Self::Charging => "charging",
            Self::Wiring => "wiring",
            Self::Thermostat => "thermostat",
        }
    }
}
