//! [`Plant`]: all parts and one step of them in the order of the data flow.

use crate::ambient::{Air, moist_gas_constant};
use crate::balances::Balances;
use crate::check::OutOfRange;
use crate::combustion::EfficiencyCurve;
use crate::crank::{CrankState, Torques, firing_interval_rad};
use crate::cylinders::{CylinderEvent, Cylinders};
use crate::distribution::MAX_CYLINDERS;
use crate::disturbances::DisturbancesState;
use crate::driver_inputs::{DriverInputs, GearRange, Key};
use crate::electrical::ElectricalState;
use crate::exhaust::ExhaustState;
use crate::filling::{FillingModel, FillingPoint};
use crate::film::{FilmCoefficients, FilmConditions, FilmState, Volatility};
use crate::fuel_system::{FuelSystemState, FuelTaskInputs};
use crate::gearbox::GearboxState;
use crate::injector::InjectorState;
use crate::knock::EndGas;
use crate::manifold::{ManifoldFlows, ManifoldState};
use crate::nitrous::NitrousState;
use crate::noise::Noise;
use crate::oxygen_sensor::OxygenSensorState;
use crate::round::nearest_u64;
use crate::sensors::{SensorInputs, SensorsState};
use crate::species::Molecule;
use crate::thermal::ThermalState;
use crate::throttle::FlowTables;
use crate::truth::Truth;
use crate::vehicle::VehicleState;
use heapless::Vec;
use trimwright_numerics::parameters::Problem;
use trimwright_numerics::{Real, lag};
use trimwright_signals::{Commands, Frame};

/// Most intake events in one step: 12 cylinders at the model's speed limit of 1500 rad/s in the longest step of 2 ms.
pub const MAX_EVENTS: usize = 4;
/// Shortest and longest step, s. A requested step outside is clamped.
const STEP_S: (f64, f64) = (1e-5, 2e-3);
/// Periods of the 10 ms and 100 ms tasks, s.
pub(crate) const TASK_10MS_S: f64 = 0.01;
pub(crate) const TASK_100MS_S: f64 = 0.1;

/// Stoichiometric air-fuel ratio of this trip's fuel, kg/kg.
pub(crate) fn stoich_afr_of(truth: &Truth, disturbances: &DisturbancesState) -> f64 {
    truth.stoich_afr() * Real::exp(disturbances.tank_ln(&truth.disturbances))
}
/// Tells the combustion's stream of random numbers from the others of the same seed; any number.
const BURN_STREAM: u64 = 0x6275_726e;

/// Outputs of the 10 ms and 100 ms tasks, of the last cylinder event and of the last step, constant until recomputed.
#[derive(Clone, Debug)]
pub(crate) struct SlowSignals {
    /// Step length, s.
    pub(crate) dt_s: f64,
    /// Steps per second.
    pub(crate) per_s: f64,
    /// Fraction `1 - exp(-dt/tau)` of the MAP lag per step.
    pub(crate) map_share: f64,
    /// The same of the oxygen sensor.
    pub(crate) o2_share: f64,
    /// Outside air.
    pub(crate) air: Air,
    /// Density of the outside air.
    pub(crate) density_kg_per_m3: f64,
    /// `sqrt(R T)` of the intake air, m/s.
    pub(crate) root_rt: f64,
    /// Puddles of the wall film.
    pub(crate) film: FilmCoefficients,
    /// Vapour before the fuel lands, and vapour pressures of the puddles.
    pub(crate) volatility: Volatility,
    /// Opening delay of the injectors.
    pub(crate) delay_s: f64,
    /// Voltage at the fuel pump.
    pub(crate) pump_v: f64,
    /// Opening of the idle-air valve, 0 to 1.
    pub(crate) iac: f64,
    /// Filling efficiency and residual gas.
    pub(crate) filling: FillingPoint,
    /// Exhaust back pressure.
    pub(crate) back_pressure_pa: f64,
    /// Filtered exhaust flow of the whole engine.
    pub(crate) exhaust_kg_per_s: f64,
    /// Indicated torque in the present firing interval.
    pub(crate) indicated_nm: f64,
    /// Fraction of the last charges that burned, one of each cylinder.
    pub(crate) firing: f64,
    /// Spark advance in effect.
    pub(crate) spark_deg: f64,
    /// Knock index of the last charge.
    pub(crate) knock_index: f64,
    /// Factor on the motored friction, by oil temperature.
    pub(crate) rubbing: f64,
    /// Fraction of the released heat that goes into the coolant.
    pub(crate) coolant_share: f64,
    /// Throttle opening, 0 to 1.
    pub(crate) throttle: f64,
    /// Effective area of the throttle plates.
    pub(crate) plate_area_m2: f64,
    /// Flow of fuel vapour into the manifold.
    pub(crate) vapour_kg_per_s: f64,
    /// The part of it above its mean.
    pub(crate) vapour_over_mean_kg_per_s: f64,
    /// Fuel injected in the last step.
    pub(crate) injected_kg: f64,
    /// Air through the manifold in the last step.
    pub(crate) flows: ManifoldFlows,
    /// Torques at the crank in the last step.
    pub(crate) torques: Torques,
}

/// Sums since the last task or cylinder event.
#[derive(Clone, Debug, Default)]
pub(crate) struct RunningSums {
    /// Moist air out of the manifold since the last intake event.
    pub(crate) air_kg: f64,
    /// Nitrous oxide since the last intake event.
    pub(crate) nitrous_kg: f64,
    /// Fuel vapour since the last intake event.
    pub(crate) vapour_kg: f64,
    /// The part of it above its mean.
    pub(crate) vapour_over_mean_kg: f64,
    /// Heat into the coolant since the last 100 ms task.
    pub(crate) coolant_j: f64,
    /// Air into the manifold since the last 100 ms task.
    pub(crate) intake_kg: f64,
    /// Time since the last 10 ms task.
    pub(crate) since_10ms_task_s: f64,
    /// Time since the last 100 ms task.
    pub(crate) since_100ms_task_s: f64,
}

/// Engine, fuel system, exhaust, sensors and vehicle.
///
/// ```
/// use trimwright_plant::{DriverInputs, Plant, Truth};
/// let mut plant = Plant::new(Truth::mild_v8(), 42).unwrap();
/// let frame = plant.step(&Default::default(), &DriverInputs::default(), 1e-3);
/// assert_eq!(frame.time_us, 1000);
/// assert!(!frame.switches.ignition);
/// ```
#[derive(Clone, Debug)]
pub struct Plant {
    pub(crate) truth: Truth,
    pub(crate) filling: FillingModel,
    pub(crate) tables: FlowTables,
    pub(crate) shares: [f64; MAX_CYLINDERS],
    pub(crate) stoich_afr: f64,
    pub(crate) heating_value: f64,
    pub(crate) efficiency: EfficiencyCurve,
    pub(crate) molecule: Molecule,
    pub(crate) end_gas: EndGas,
    pub(crate) water_share: f64,
    pub(crate) gas_constant: f64,
    pub(crate) fuel_vapour_pa: f64,
    pub(crate) interval_rad: f64,
    pub(crate) noise: Noise,
    pub(crate) burn_noise: Noise,
    pub(crate) manifold: ManifoldState,
    pub(crate) injectors: InjectorState,
    pub(crate) fuel: FuelSystemState,
    pub(crate) film: FilmState,
    pub(crate) cylinders: Cylinders,
    pub(crate) crank: CrankState,
    pub(crate) gearbox: GearboxState,
    pub(crate) vehicle: VehicleState,
    pub(crate) exhaust: ExhaustState,
    pub(crate) oxygen: OxygenSensorState,
    pub(crate) sensors: SensorsState,
    pub(crate) thermal: ThermalState,
    pub(crate) electrical: ElectricalState,
    pub(crate) nitrous: NitrousState,
    pub(crate) disturbances: DisturbancesState,
    pub(crate) slow: SlowSignals,
    pub(crate) sums: RunningSums,
    pub(crate) events: Vec<CylinderEvent, MAX_EVENTS>,
    pub(crate) frame: Frame,
    pub(crate) balances: Balances,
    pub(crate) time_s: f64,
}

impl Plant {
    /// A plant with the engine stopped and the vehicle standing. `seed` starts the noise generator.
    ///
    /// # Errors
    /// [`OutOfRange`] names the first parameter of the truth that is outside its range.
    pub fn new(truth: Truth, seed: u64) -> Result<Self, OutOfRange> {
        truth.check()?;
        let no_axis = OutOfRange { path: "filling.speed_rad_per_s", problem: Problem::NotRising(1) };
        let filling = FillingModel::new(&truth.filling, truth.engine.compression_ratio).ok_or(no_axis)?;
        let gearbox = GearboxState::new(&truth.gearbox).map_err(|_| no_axis)?;
        let efficiency =
            EfficiencyCurve::new(&truth.combustion, truth.engine.compression_ratio).map_err(|_| no_axis)?;
        let mut noise = Noise::new(seed);
        let air = truth.ambient.air(truth.ambient.altitude_m);
        let water_share = truth.ambient.water_share();
        let gas_constant = moist_gas_constant(water_share);
        let thermal = ThermalState::new(&truth.thermal, air.temperature_k);
        let manifold = ManifoldState::at(&truth.manifold, air.pressure_pa, thermal.intake_k, gas_constant);
        let at = FilmConditions {
            air_k: thermal.intake_k,
            floor_k: thermal.wall_k,
            runner_k: thermal.wall_k,
            pressure_pa: air.pressure_pa,
            ..FilmConditions::warm(&truth.throttle)
        };
        let volatility = truth.film.volatility(&truth.fuel, &at);
        let slow = SlowSignals {
            dt_s: 0.0,
            per_s: 0.0,
            map_share: 1.0,
            o2_share: 1.0,
            air,
            density_kg_per_m3: 1.2,
            root_rt: 300.0,
            film: truth.film.coefficients_with(&volatility, &at),
            volatility,
            delay_s: 0.0,
            pump_v: 0.0,
            iac: 0.0,
            filling: filling.at(air.pressure_pa, air.pressure_pa, 0.0),
            back_pressure_pa: air.pressure_pa,
            exhaust_kg_per_s: 0.0,
            indicated_nm: 0.0,
            firing: 0.0,
            spark_deg: 0.0,
            knock_index: 0.0,
            rubbing: truth.friction.rubbing(thermal.oil_k),
            coolant_share: truth.combustion.coolant_share,
            throttle: 0.0,
            plate_area_m2: truth.throttle.area_m2(0.0),
            vapour_kg_per_s: 0.0,
            vapour_over_mean_kg_per_s: 0.0,
            injected_kg: 0.0,
            flows: ManifoldFlows::default(),
            torques: Torques::default(),
        };
        let disturbances = DisturbancesState::new(&truth.disturbances, seed);
        let fuel_vapour_pa =
            crate::fuel_system::fuel_vapour_pa(truth.fuel.vapour_pressure_pa, truth.fuel_system.fuel_k);
        let fuel = FuelSystemState::new(
            &truth.fuel_system,
            &FuelTaskInputs {
                ambient_pa: air.pressure_pa,
                vapour_pa: fuel_vapour_pa,
                density_kg_per_m3: truth.fuel.density_kg_per_m3(),
                acceleration_m_per_s2: 0.0,
                filter_factor: 1.0,
            },
        );
        let balances = Balances {
            air_start_kg: manifold.mass_kg,
            fuel_start_kg: fuel.tank_kg() + fuel.line_kg(),
            ..Balances::default()
        };
        let plant = Self {
            filling,
            tables: FlowTables::new(&truth.throttle),
            shares: truth.distribution.shares(truth.engine.cylinders, truth.exhaust.banks),
            stoich_afr: stoich_afr_of(&truth, &disturbances),
            heating_value: truth.fuel.heating_value_j_per_kg(),
            efficiency,
            molecule: Molecule::of(&truth.fuel),
            end_gas: EndGas::new(truth.engine.compression_ratio, truth.fuel.octane),
            water_share,
            gas_constant,
            fuel_vapour_pa,
            interval_rad: firing_interval_rad(truth.engine.cylinders),
            injectors: InjectorState::new(&truth.injectors, &mut noise),
            fuel,
            film: FilmState::new(thermal.wall_k),
            cylinders: Cylinders::new(truth.engine.cylinders),
            crank: CrankState::default(),
            gearbox,
            vehicle: VehicleState::default(),
            exhaust: ExhaustState::new(thermal.coolant_k),
            oxygen: OxygenSensorState::new(thermal.coolant_k),
            sensors: SensorsState::new(&truth.sensors, air.pressure_pa),
            electrical: ElectricalState::new(&truth.electrical, thermal.bonnet_k),
            nitrous: NitrousState::new(&truth.nitrous),
            disturbances,
            sums: RunningSums {
                since_10ms_task_s: TASK_10MS_S,
                since_100ms_task_s: TASK_100MS_S,
                ..RunningSums::default()
            },
            events: Vec::new(),
            frame: Frame::default(),
            balances,
            time_s: 0.0,
            manifold,
            thermal,
            slow,
            noise,
            burn_noise: Noise::new(seed ^ BURN_STREAM),
            truth,
        };
        Ok(plant)
    }

    /// Advances the plant by `dt_s` seconds (clamped to 10 us to 2 ms) and returns the sensor frame at the end of the step.
    /// Any input is accepted: numbers are clamped to their ranges, NaN to the lower limit.
    ///
    /// ```
    /// use trimwright_plant::{DriverInputs, Key, Plant, Truth};
    /// let mut plant = Plant::new(Truth::mild_v8(), 1)?;
    /// let frame = plant.step(&Default::default(), &DriverInputs { key: Key::On, ..DriverInputs::default() }, f64::NAN);
    /// assert!(frame.switches.ignition && frame.pulses_us.is_empty());
    /// # Ok::<(), trimwright_plant::OutOfRange>(())
    /// ```
    pub fn step(&mut self, commands: &Commands, inputs: &DriverInputs, dt_s: f64) -> &Frame {
        let mut inputs = inputs.clamped();
        let dt_s = dt_s.held(STEP_S.0, STEP_S.1);
        self.events.clear();
        self.frame.pulses_us.clear();
        self.run_tasks(commands, &inputs, dt_s);
        inputs.throttle = self.gearbox.throttle_while_shifting(&self.truth.gearbox, inputs.throttle);

        let injected_kg = self.step_injectors(commands, &inputs, dt_s);
        self.step_fuel_system(injected_kg, dt_s);
        let flows = self.step_intake(&inputs, injected_kg, dt_s);
        let indicated_nm = self.step_cycle(commands, &inputs, &flows, dt_s);
        self.add_interference(dt_s);
        self.step_driveline(commands, &inputs, indicated_nm, dt_s);
        self.step_sensors(&inputs, dt_s);
        &self.frame
    }

    /// Oxygen sensor, voltages and switches at the end of the step.
    fn step_sensors(&mut self, inputs: &DriverInputs, dt_s: f64) {
        self.time_s += dt_s;
        let truth = &self.truth;
        let lambda = self.exhaust.lambda * (1.0 + truth.exhaust.sensor_bend_error);
        let o2_v = self.oxygen.step(
            &truth.oxygen_sensor,
            &self.sensors.lambda,
            &mut self.noise,
            lambda,
            self.slow.o2_share,
        );
        let sensor_inputs = SensorInputs {
            map_pa: self.manifold.pressure_pa,
            phase: (self.crank.since_firing_rad / self.interval_rad).held(0.0, 1.0),
            turning: self.crank.speed_rad_per_s > 1.0,
            throttle: inputs.throttle,
            o2_v,
            vehicle_m_per_s: self.vehicle.speed_m_per_s,
        };
        let frame = &mut self.frame;
        self.sensors.step(
            &truth.sensors,
            &truth.faults,
            &mut self.noise,
            &sensor_inputs,
            self.slow.map_share,
            frame,
        );
        frame.time_us = nearest_u64(self.time_s * 1e6);
        frame.switches.ignition = inputs.key != Key::Off;
        frame.switches.starter = inputs.key == Key::Start;
        frame.switches.o2_ready = self.oxygen.ready && inputs.key != Key::Off;
        frame.switches.ac_request = inputs.ac;
        frame.switches.in_gear = inputs.range == GearRange::Drive;
        frame.switches.nitrous_armed = inputs.nitrous_armed;
    }

    /// Frame after the last step: what the controller's pins read.
    pub fn frame(&self) -> &Frame {
        &self.frame
    }

    /// Intake events of the last step, oldest first; at most [`MAX_EVENTS`].
    pub fn events(&self) -> &[CylinderEvent] {
        &self.events
    }

    /// Running totals since the start and present contents, for mass and energy balances.
    pub fn balances(&self) -> Balances {
        let speed = self.crank.speed_rad_per_s;
        Balances {
            air_stored_kg: self.manifold.mass_kg,
            air_pending_kg: self.sums.air_kg,
            fuel_vapour_kg: self.balances.fuel_vapour_kg + self.sums.vapour_kg,
            fuel_vapour_pending_kg: self.sums.vapour_kg,
            fuel_tank_kg: self.fuel.tank_kg(),
            fuel_line_kg: self.fuel.line_kg(),
            fuel_wall_kg: self.film.wall_kg(),
            fuel_airborne_kg: self.film.airborne_kg,
            kinetic_j: 0.5 * self.truth.crank.inertia_kg_m2 * speed * speed,
            ..self.balances
        }
    }

    /// The parameters in effect.
    pub fn truth(&self) -> &Truth {
        &self.truth
    }

    /// Recomputes what depends on the step length when it has changed: fraction per step of the MAP and oxygen sensor lags.
    pub(crate) fn update_lag_shares(&mut self, dt_s: f64) {
        if dt_s != self.slow.dt_s {
            self.slow.dt_s = dt_s;
            self.slow.per_s = 1.0 / dt_s;
            self.slow.map_share = lag::share(dt_s, self.truth.sensors.map_tau_s);
            self.slow.o2_share = lag::share(dt_s, self.truth.oxygen_sensor.tau_s);
        }
    }
}
