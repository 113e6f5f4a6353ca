//! Exhaust transport: gas between valves and sensor, and the sensor's lag.

trimwright_numerics::parameters! {
    /// Transport delay and lag of the exhaust gas up to the reading.
    pub struct ExhaustParameters<f32> "exhaust" {
        /// Gas mass between exhaust valves and sensor per displacement, at the reference temperature: about 1.2 litres of pipe per litre of engine, at 0.5 kg/m3.
        number pipe_kg_per_m3 { 0.6, 0.05..=5.0 "kg/m3", "engineering judgement" }
        /// Time constant of the sensor and of mixing before it.
        number sensor_s { 0.09, 0.01..=2.0 "s", "engineering judgement; literature has 50 to 100 ms for a sensor alone" }
        /// Mean gas temperature between valves and sensor against air flow per displacement; little gas cools more.
        curve gas_k { [6] = [(0.8, 600.0), (1.5, 720.0), (3.0, 850.0), (6.0, 940.0), (15.0, 1020.0)], 0.0..=60.0 "kg/(s m3)" => 300.0..=1500.0 "K", "engineering judgement" }
        /// Gas temperature at which the gas mass in the pipe is stated.
        number reference_gas_k { 900.0, 300.0..=1500.0 "K", "engineering judgement" }
        /// Time after a start until the gas of cranking has left the pipe; readings before are not used.
        number cranking_purge_s { 4.0, 0.0..=60.0 "s", "engineering judgement" }
        /// Crank turns from injection to exhaust valve opening: about a quarter to the end of the intake stroke, five to six quarters on to the exhaust stroke.
        number turns { 1.7, 0.5..=4.0 "1", "geometry of the four-stroke cycle" }
    }
}
