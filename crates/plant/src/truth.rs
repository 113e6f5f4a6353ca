//! What the plant really is.

use crate::check::{OutOfRange, within};
use crate::distribution::MAX_CYLINDERS;
use crate::filling::FillingModel;
use crate::gas::CYCLE_RAD;
use crate::{
    Ambient, Combustion, Crank, Distribution, Electrical, Exhaust, Faults, Filling, Film, Friction, Fuel,
    FuelSystem, Gearbox, Injectors, Manifold, Nitrous, OxygenSensor, Sensors, Thermal, ThrottleBody, Trigger,
    Vehicle,
};

/// Size of the engine.
#[derive(Clone, Debug, PartialEq)]
pub struct Engine {
    /// Swept volume of all cylinders, m^3, 3e-4 to 1.2e-2.
    pub displacement_m3: f64,
    /// Number of cylinders, evenly firing, 2 to 12.
    pub cylinders: u8,
    /// Compression ratio, 6 to 14.
    pub compression_ratio: f64,
}

/// All parameters of the plant, part by part, in SI units. The controller never sees any of it.
///
/// ```
/// use trimwright_plant::Truth;
/// let truth = Truth { ambient: trimwright_plant::Ambient { altitude_m: 1500.0, ..Truth::mild_v8().ambient }, ..Truth::mild_v8() };
/// assert!(truth.check().is_ok());
/// ```
#[derive(Clone, Debug, PartialEq)]
pub struct Truth {
    /// Weather and place.
    pub ambient: Ambient,
    /// What the tank holds.
    pub fuel: Fuel,
    /// Throttle body.
    pub throttle: ThrottleBody,
    /// Intake manifold.
    pub manifold: Manifold,
    /// Size of the engine.
    pub engine: Engine,
    /// What the cylinders breathe.
    pub filling: Filling,
    /// Injectors.
    pub injectors: Injectors,
    /// Tank to rail.
    pub fuel_system: FuelSystem,
    /// Wall film of fuel.
    pub film: Film,
    /// Fuel between the cylinders.
    pub distribution: Distribution,
    /// Charge to work.
    pub combustion: Combustion,
    /// Losses at the crank.
    pub friction: Friction,
    /// Crank, flywheel, starter.
    pub crank: Crank,
    /// Coupling and gears.
    pub gearbox: Gearbox,
    /// The car.
    pub vehicle: Vehicle,
    /// Pipe from valves to sensor.
    pub exhaust: Exhaust,
    /// Wide-range oxygen sensor.
    pub oxygen_sensor: OxygenSensor,
    /// Other sensors.
    pub sensors: Sensors,
    /// Distributor pulses.
    pub trigger: Trigger,
    /// Heat and cooling.
    pub thermal: Thermal,
    /// Battery, alternator, loads.
    pub electrical: Electrical,
    /// Nitrous oxide.
    pub nitrous: Nitrous,
    /// What is broken.
    pub faults: Faults,
}

impl Truth {
    /// Checks every parameter.
    ///
    /// ```
    /// let mut truth = trimwright_plant::Truth::mild_v8();
    /// truth.injectors.count = 9;
    /// let error = truth.check().unwrap_err();
    /// assert_eq!((error.field, error.value, error.high), ("injectors.count", 9.0, 8.0));
    /// ```
    ///
    /// # Errors
    /// [`OutOfRange`] names the first field outside its range.
    pub fn check(&self) -> Result<(), OutOfRange> {
        self.ambient.check()?;
        self.fuel.check()?;
        self.throttle.check()?;
        within("engine.displacement_m3", self.engine.displacement_m3, 3e-4, 1.2e-2)?;
        within("engine.cylinders", f64::from(self.engine.cylinders), 2.0, MAX_CYLINDERS as f64)?;
        within("engine.compression_ratio", self.engine.compression_ratio, 6.0, 14.0)?;
        self.manifold.check(self.engine.displacement_m3)?;
        self.filling.check()?;
        self.injectors.check()?;
        self.fuel_system.check()?;
        self.film.check()?;
        self.distribution.check()?;
        self.combustion.check()?;
        self.friction.check()?;
        self.crank.check()?;
        self.gearbox.check()?;
        self.vehicle.check()?;
        self.exhaust.check()?;
        self.oxygen_sensor.check()?;
        self.sensors.check()?;
        self.trigger.check()?;
        self.thermal.check()?;
        self.electrical.check()?;
        self.nitrous.check()?;
        self.faults.check()
    }

    /// Dry air that one cylinder draws in steady state, kg, at the back pressure that this flow makes, in the
    /// truth's own outside air. 0 for a truth that [`Truth::check`] refuses.
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

    /// Fuel that one injector of the mean gives in a pulse of `open_time_s` at a supply voltage and a
    /// pressure drop (rail over manifold), kg.
    ///
    /// ```
    /// let truth = trimwright_plant::Truth::mild_v8();
    /// let open_s = truth.open_time_s(20e-6, 13.8, 340e3);
    /// assert!((truth.injected_fuel_kg(open_s, 13.8, 340e3) - 20e-6).abs() < 1e-12);
    /// ```
    pub fn injected_fuel_kg(&self, open_time_s: f64, battery_v: f64, rail_over_manifold_pa: f64) -> f64 {
        self.injectors.mean_clear() * self.injectors.fuel_kg(open_time_s, battery_v, rail_over_manifold_pa)
    }

    /// Pulse length at which one injector of the mean gives `fuel_kg`, s: the inverse of
    /// [`Truth::injected_fuel_kg`]. 0 when no pulse can.
    pub fn open_time_s(&self, fuel_kg: f64, battery_v: f64, rail_over_manifold_pa: f64) -> f64 {
        let clear = self.injectors.mean_clear();
        if clear <= 0.0 {
            return 0.0;
        }
        self.injectors.open_time_s(fuel_kg / clear, battery_v, rail_over_manifold_pa)
    }

    /// Mass of dry air per mass of the tank's fuel at stoichiometric.
    ///
    /// ```
    /// // Petrol without ethanol, CH1.87.
    /// assert!((trimwright_plant::Truth::mild_v8().stoich_afr() - 14.6).abs() < 0.1);
    /// ```
    pub fn stoich_afr(&self) -> f64 {
        self.fuel.stoich_afr()
    }
}
