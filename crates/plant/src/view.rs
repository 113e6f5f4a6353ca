//! True quantities, for recording and for the simulated driver.

use crate::plant::Plant;

/// True quantities at the end of the last step. The controller never sees them.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub struct View {
    /// Time since power-up, s.
    pub time_s: f64,
    /// Crank speed, rad/s.
    pub speed_rad_per_s: f64,
    /// Manifold pressure, Pa.
    pub map_pa: f64,
    /// Temperature of the air in the manifold, K.
    pub manifold_k: f64,
    /// Outside pressure, Pa.
    pub ambient_pa: f64,
    /// Outside temperature, K.
    pub ambient_k: f64,
    /// Moist air through throttle, bypass and leaks, kg/s.
    pub throttle_kg_per_s: f64,
    /// Moist air into the cylinders, kg/s.
    pub engine_kg_per_s: f64,
    /// Fuel through the injectors in the last step, kg/s.
    pub injected_kg_per_s: f64,
    /// Fuel on the manifold's walls, kg.
    pub film_kg: f64,
    /// Fraction of the injected fuel that lands on the walls (X), 0 to 0.95.
    pub film_x: f64,
    /// Mean time constant of both puddles (tau), s: fuel on the walls in steady state over the flow onto them.
    pub film_tau_s: f64,
    /// Throttle opening, 0 to 1.
    pub throttle: f64,
    /// Torque at the crank after friction, pumping and accessories, N m.
    pub brake_nm: f64,
    /// Torque into the coupling or dynamometer, N m.
    pub load_nm: f64,
    /// Spark advance in effect, degrees before top dead centre.
    pub spark_deg: f64,
    /// Knock index of the last charge; above 1 it knocks. Computed above 60 kPa MAP.
    pub knock_index: f64,
    /// Vehicle speed, m/s.
    pub vehicle_m_per_s: f64,
    /// Force at the driven wheels, N; negative on overrun. Brakes are not part of it.
    pub wheel_n: f64,
    /// Distance since the start, m.
    pub distance_m: f64,
    /// Gear, 1 for first.
    pub gear: u8,
    /// Lambda of the gas at the oxygen sensor.
    pub exhaust_lambda: f64,
    /// Lambda after the sensor's lag, without noise, drift and offset.
    pub sensor_lambda: f64,
    /// The oxygen sensor is hot and its reading valid.
    pub sensor_ready: bool,
    /// Time at which the gas at the sensor was drawn into its cylinder, s.
    pub sensed_intake_s: f64,
    /// Mean temperature of the exhaust gas between port and sensor, K.
    pub exhaust_k: f64,
    /// Exhaust back pressure, Pa.
    pub back_pressure_pa: f64,
    /// Coolant temperature, K.
    pub coolant_k: f64,
    /// Oil temperature, K.
    pub oil_k: f64,
    /// Temperature of the intake wall, K.
    pub wall_k: f64,
    /// Temperature of the manifold's floor under the film, K.
    pub floor_k: f64,
    /// Temperature of the air at the throttle body, K.
    pub intake_k: f64,
    /// Supply voltage, V.
    pub supply_v: f64,
    /// Fuel rail gauge pressure (over outside air), Pa.
    pub rail_pa: f64,
    /// Fuel in the tank, kg.
    pub tank_kg: f64,
    /// The pump draws no more fuel from the tank, but for what the pickup does not reach.
    pub tank_is_empty: bool,
    /// Fuel in line, filter and rail, kg.
    pub line_kg: f64,
    /// Pressure drop that drives fuel through the injectors, Pa: rail over manifold, less where the fuel boils.
    pub injector_drop_pa: f64,
    /// Nitrous oxide flow, kg/s.
    pub nitrous_kg_per_s: f64,
}

impl Plant {
    /// True quantities at the end of the last step.
    ///
    /// ```
    /// use trimwright_plant::{DriverInputs, Plant, Truth};
    /// let mut plant = Plant::new(Truth::mild_v8(), 1)?;
    /// plant.step(&Default::default(), &DriverInputs::default(), 1e-3);
    /// let view = plant.view();
    /// assert!((view.map_pa - view.ambient_pa).abs() < 10.0, "the engine stands");
    /// # Ok::<(), trimwright_plant::OutOfRange>(())
    /// ```
    pub fn view(&self) -> View {
        let speed = self.crank.speed_rad_per_s;
        let torques = &self.slow.torques;
        View {
            time_s: self.time_s,
            speed_rad_per_s: speed,
            map_pa: self.manifold.pressure_pa,
            manifold_k: self.manifold.temperature_k(&self.truth.manifold, self.gas_constant),
            ambient_pa: self.slow.air.pressure_pa,
            ambient_k: self.slow.air.temperature_k,
            throttle_kg_per_s: self.slow.flows.in_kg * self.slow.per_s,
            engine_kg_per_s: self.slow.flows.out_kg * self.slow.per_s,
            injected_kg_per_s: self.slow.injected_kg * self.slow.per_s,
            film_kg: self.film.wall_kg(),
            film_x: self.slow.film.x,
            film_tau_s: self.slow.film.tau_s,
            throttle: self.slow.throttle,
            brake_nm: torques.indicated - torques.pumping - torques.rubbing - torques.accessories,
            load_nm: torques.load,
            spark_deg: self.slow.spark_deg,
            knock_index: self.slow.knock_index,
            vehicle_m_per_s: self.vehicle.speed_m_per_s,
            wheel_n: self.vehicle.wheel_n,
            distance_m: self.vehicle.distance_m,
            gear: self.gearbox.gear(),
            exhaust_lambda: self.exhaust.lambda,
            sensor_lambda: self.oxygen.reading(),
            sensor_ready: self.oxygen.ready,
            sensed_intake_s: self.exhaust.intake_s,
            exhaust_k: self.exhaust.gas_k,
            back_pressure_pa: self.slow.back_pressure_pa,
            coolant_k: self.thermal.coolant_k,
            oil_k: self.thermal.oil_k,
            wall_k: self.thermal.wall_k,
            floor_k: self.film.floor_k,
            intake_k: self.thermal.intake_k,
            supply_v: self.electrical.supply_v,
            rail_pa: self.fuel.rail_pa(),
            tank_kg: self.fuel.tank_kg(),
            tank_is_empty: self.fuel.tank_is_empty(),
            line_kg: self.fuel.line_kg(),
            injector_drop_pa: self.injector_drop_pa(),
            nitrous_kg_per_s: self.nitrous.flow_kg_per_s,
        }
    }
}
