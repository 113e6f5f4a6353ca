//! [`Truth`]: all parameters of the plant.

use crate::check::{OutOfRange, monotone, rising};
use crate::filling::FillingModel;
use crate::gas::CYCLE_RAD;
use crate::{
    Accessories, Ambient, Combustion, Crank, Distribution, Disturbances, Electrical, Exhaust, Faults,
    Filling, Film, Friction, Fuel, FuelSystem, Gearbox, Injectors, Manifold, Nitrous, OxygenSensor, Sensors,
    Thermal, ThrottleBody, Trigger, Vehicle,
};

trimwright_numerics::parameters! {
    /// Displacement, cylinders, compression.
    pub struct Engine<f64> "engine" {
        /// Swept volume of all cylinders.
        number displacement_m3 { 5.2e-3, 3e-4..=1.2e-2 "m3", "engineering judgement" }
        /// Number of cylinders, evenly firing.
        whole cylinders { u8 = 8, 2..=12 "1", "engineering judgement" }
        /// Compression ratio.
        number compression_ratio { 8.8, 6.0..=14.0 "1", "engineering judgement" }
    }
}

trimwright_numerics::blocks! {
    /// All parameters of the plant in SI units, one block per part; each part's file gives defaults, ranges and sources. The controller
    /// never sees them.
    ///
    /// ```
    /// use trimwright_plant::Truth;
    /// let truth = Truth { ambient: trimwright_plant::Ambient { altitude_m: 1500.0, ..Truth::mild_v8().ambient }, ..Truth::mild_v8() };
    /// assert!(truth.check().is_ok());
    /// let nine = Truth { injectors: trimwright_plant::Injectors { count: 9, ..truth.injectors.clone() }, ..truth };
    /// assert_eq!(nine.check().unwrap_err().to_string(), "injectors.count is 9, allowed is 1 to 8");
    /// ```
    pub struct Truth<f64>, check_combinations {
        /// Weather and place.
        ambient: Ambient,
        /// Fuel in the tank.
        fuel: Fuel,
        /// Throttle body.
        throttle: ThrottleBody,
        /// Intake manifold.
        manifold: Manifold,
        /// Displacement, cylinders, compression.
        engine: Engine,
        /// Filling efficiency.
        filling: Filling,
        /// Injectors.
        injectors: Injectors,
        /// Fuel supply from tank to rail.
        fuel_system: FuelSystem,
        /// Wall film of fuel.
        film: Film,
        /// Distribution of fuel between the cylinders.
        distribution: Distribution,
        /// Combustion: heat, work, misfire, knock.
        combustion: Combustion,
        /// Friction and accessories.
        friction: Friction,
        /// Belt-driven accessories.
        accessories: Accessories,
        /// Crank, flywheel, starter.
        crank: Crank,
        /// Torque converter or clutch, and gears.
        gearbox: Gearbox,
        /// Vehicle mass and road load.
        vehicle: Vehicle,
        /// Exhaust pipe from the valves to the oxygen sensor.
        exhaust: Exhaust,
        /// Wide-range oxygen sensor.
        oxygen_sensor: OxygenSensor,
        /// Other sensors.
        sensors: Sensors,
        /// Trigger pulses.
        trigger: Trigger,
        /// Temperatures and cooling.
        thermal: Thermal,
        /// Battery, alternator, loads.
        electrical: Electrical,
        /// Nitrous oxide.
        nitrous: Nitrous,
        /// Disturbances of the mixture.
        disturbances: Disturbances,
        /// Faults put in on purpose.
        faults: Faults,
    }
}

impl Truth {
    /// An invented delivery van, which is all defaults: 5.2 L V8 with a mild cam and a four-bore throttle body, three-speed
    /// automatic, 2300 kg, in standard air. All values are engineering judgement within the ranges of the
    /// trade; no real car is meant.
    pub const fn mild_v8() -> Self {
        Self::DEFAULT
    }

    /// Checks parameters that depend on each other.
    fn check_combinations(&self) -> Result<(), OutOfRange> {
        self.manifold.check_volume(self.engine.displacement_m3)?;
        rising(&self.filling, "speed_rad_per_s", 1.0)?;
        rising(&self.injectors, "delay_v", 0.1)?;
        for limits in ["map_limits_v", "baro_limits_v", "tp_limits_v", "frp_limits_v"] {
            rising(&self.sensors, limits, 0.0)?;
        }
        monotone(&self.sensors)
    }

    /// Dry air drawn by one cylinder per cycle in steady state, kg, at the back pressure of this flow and the truth's own
    /// outside air. 0 for a truth that [`Truth::check`] rejects.
    ///
    /// ```
    /// let truth = trimwright_plant::Truth::mild_v8();
    /// let charge_kg = truth.air_charge_kg(40e3, 330.0, 80.0);
    /// assert!(charge_kg > 0.8e-4 && charge_kg < 2.5e-4);
    /// ```
    pub fn air_charge_kg(&self, map_pa: f64, manifold_k: f64, speed_rad_per_s: f64) -> f64 {
        let Some(model) = FillingModel::new(&self.filling, self.engine.compression_ratio) else {
            return 0.0;
        };
        let water = self.ambient.water_share();
        let gas_constant = crate::ambient::moist_gas_constant(water);
        let outside_pa = self.ambient.air(self.ambient.altitude_m).pressure_pa;
        let full_kg = map_pa * self.engine.displacement_m3 / (gas_constant * manifold_k);
        let mut back_pa = outside_pa;
        let mut all_kg = 0.0;
        for _ in 0..4 {
            all_kg = full_kg * model.efficiency(map_pa, back_pa, speed_rad_per_s);
            // Exhaust is the air and its fuel.
            let flow = all_kg * (1.0 + 1.0 / self.stoich_afr()) * speed_rad_per_s / CYCLE_RAD;
            back_pa = self.exhaust.back_pressure_pa(outside_pa, flow);
        }
        all_kg * (1.0 - water) / f64::from(self.engine.cylinders.max(1))
    }

    /// Fuel mass of one pulse of the mean injector, kg, for `open_time_s` at this supply voltage and pressure drop (rail over
    /// manifold).
    ///
    /// ```
    /// let truth = trimwright_plant::Truth::mild_v8();
    /// let open_s = truth.open_time_s(20e-6, 13.8, 340e3);
    /// assert!((truth.injected_fuel_kg(open_s, 13.8, 340e3) - 20e-6).abs() < 1e-12);
    /// ```
    pub fn injected_fuel_kg(&self, open_time_s: f64, battery_v: f64, rail_over_manifold_pa: f64) -> f64 {
        self.injectors.mean_clear() * self.injectors.fuel_kg(open_time_s, battery_v, rail_over_manifold_pa)
    }

    /// Open time at which the mean injector delivers `fuel_kg`, s: the inverse of [`Truth::injected_fuel_kg`]. 0 when it
    /// cannot.
    pub fn open_time_s(&self, fuel_kg: f64, battery_v: f64, rail_over_manifold_pa: f64) -> f64 {
        let clear = self.injectors.mean_clear();
        if clear <= 0.0 {
            return 0.0;
        }
        self.injectors.open_time_s(fuel_kg / clear, battery_v, rail_over_manifold_pa)
    }

    /// Stoichiometric air-fuel ratio of the fuel in the tank, kg/kg.
    ///
    /// ```
    /// // Petrol without ethanol, CH1.87.
    /// assert!((trimwright_plant::Truth::mild_v8().stoich_afr() - 14.6).abs() < 0.1);
    /// ```
    pub fn stoich_afr(&self) -> f64 {
        self.fuel.stoich_afr()
    }
}
