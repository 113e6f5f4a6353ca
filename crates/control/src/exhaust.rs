//! The exhaust as the controller believes it to be: gas between valves and sensor, and the sensor's lag.

trimwright_numerics::parameters! {
    /// Way and lag of the exhaust gas to the reading.
    pub struct ExhaustParameters<f32> "exhaust" {
        /// Gas between exhaust valves and sensor for each volume of displacement, at the usual temperature: about 1.2 litres of hot pipe for each litre of engine, at 0.5 kg/m3.
        number pipe_kg_per_m3 { 0.6, 0.05..=5.0 "kg/m3", "engineering judgement" }
        /// Time constant of sensor and mixing before it.
        number sensor_s { 0.09, 0.01..=2.0 "s", "engineering judgement; literature has 50 to 100 ms for a sensor alone" }
        /// Mean temperature of the gas between valves and sensor against air flow over displacement: little gas cools more on its way.
        curve gas_k { [6] = [(0.8, 600.0), (1.5, 720.0), (3.0, 850.0), (6.0, 940.0), (15.0, 1020.0)], 0.0..=60.0 "kg/(s m3)" => 300.0..=1500.0 "K", "engineering judgement" }
        /// Gas temperature at which the pipe's gas is stated.
        number usual_gas_k { 900.0, 300.0..=1500.0 "K", "engineering judgement" }
        /// Time after a start in which the gas of cranking leaves the pipe: a reading tells nothing before.
        number cleared_s { 4.0, 0.0..=60.0 "s", "engineering judgement" }
        /// Crank turns from injection to the exhaust valve: about a quarter to the end of the intake stroke, five to six quarters on to the exhaust stroke.
        number turns { 1.7, 0.5..=4.0 "1", "geometry of the four-stroke cycle" }
    }
}
