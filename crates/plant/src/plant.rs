//! The whole plant and its step.

use crate::ambient::{Air, moist_gas_constant};
use crate::books::Books;
use crate::check::OutOfRange;
use crate::crank::{CrankState, Torques, firing_interval_rad};
use crate::cylinders::{CylinderEvent, Cylinders};
use crate::distribution::MAX_CYLINDERS;
use crate::electrical::ElectricalState;
use crate::exhaust::ExhaustState;
use crate::filling::{Breath, FillingModel};
use crate::film::{FilmCoefficients, FilmState};
use crate::fuel_system::FuelSystemState;
use crate::gearbox::GearboxState;
use crate::hands::{Hands, Key, Range};
use crate::injector::InjectorState;
use crate::knock::EndGas;
use crate::manifold::{ManifoldState, Moved};
use crate::nitrous::NitrousState;
use crate::noise::Noise;
use crate::oxygen_sensor::OxygenSensorState;
use crate::round::nearest_u64;
use crate::sensors::{Sensed, SensorsState};
use crate::thermal::ThermalState;
use crate::throttle::FlowTables;
use crate::truth::Truth;
use crate::vehicle::VehicleState;
use heapless::Vec;
use trimwright_numerics::parameters::Problem;
use trimwright_numerics::{Real, lag};
use trimwright_signals::{Commands, Frame};

/// Most intake events of one step: 12 cylinders at the speed limit of the model in the longest step.
pub const MAX_EVENTS: usize = 4;
/// Shortest and longest step, s.
const STEP_S: (f64, f64) = (1e-5, 2e-3);
/// Steps from which the slots of 10 ms and 100 ms are counted.
pub(crate) const SLOT_S: f64 = 0.01;
pub(crate) const SLOW_SLOT_S: f64 = 0.1;

/// Values worked out in slots, at events or in the last step, and held until they are next.
#[derive(Clone, Debug)]
pub(crate) struct Held {
    pub(crate) dt_s: f64,
    pub(crate) per_s: f64,
    pub(crate) map_share: f64,
    pub(crate) o2_share: f64,
    pub(crate) air: Air,
    pub(crate) density_kg_per_m3: f64,
    pub(crate) root_rt: f64,
    pub(crate) film: FilmCoefficients,
    pub(crate) delay_s: f64,
    pub(crate) pump_v: f64,
    pub(crate) iac: f64,
    pub(crate) breath: Breath,
    pub(crate) back_pressure_pa: f64,
    pub(crate) exhaust_kg_per_s: f64,
    pub(crate) power_nm: f64,
    pub(crate) spark_deg: f64,
    pub(crate) knock_index: f64,
    pub(crate) rubbing: f64,
    pub(crate) throttle: f64,
    pub(crate) plates_m2: f64,
    pub(crate) injected_kg: f64,
    pub(crate) moved: Moved,
    pub(crate) torques: Torques,
}

/// Sums since the last slot or event.
#[derive(Clone, Debug, Default)]
pub(crate) struct Gathered {
    pub(crate) air_kg: f64,
    pub(crate) nitrous_kg: f64,
    pub(crate) coolant_j: f64,
    pub(crate) intake_kg: f64,
    pub(crate) slot_s: f64,
    pub(crate) slow_slot_s: f64,
}

/// Engine, fuel system, exhaust, sensors and car.
///
/// ```
/// use trimwright_plant::{Hands, Plant, Truth};
/// let mut plant = Plant::new(Truth::mild_v8(), 42).unwrap();
/// let frame = plant.step(&Default::default(), &Hands::default(), 1e-3);
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
    pub(crate) best_work_share: f64,
    pub(crate) end_gas: EndGas,
    pub(crate) water_share: f64,
    pub(crate) gas_constant: f64,
    pub(crate) fuel_vapour_pa: f64,
    pub(crate) interval_rad: f64,
    pub(crate) noise: Noise,
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
    pub(crate) held: Held,
    pub(crate) gathered: Gathered,
    pub(crate) events: Vec<CylinderEvent, MAX_EVENTS>,
    pub(crate) frame: Frame,
    pub(crate) books: Books,
    pub(crate) time_s: f64,
}

impl Plant {
    /// A plant at rest with the engine stopped.
    ///
    /// # Errors
    /// [`OutOfRange`] when a parameter of the truth is outside its range.
    pub fn new(truth: Truth, seed: u64) -> Result<Self, OutOfRange> {
        truth.check()?;
        let no_axis = OutOfRange { path: "filling.speed_rad_per_s", problem: Problem::NotRising(1) };
        let filling = FillingModel::new(&truth.filling, truth.engine.compression_ratio).ok_or(no_axis)?;
        let gearbox = GearboxState::new(&truth.gearbox).ok_or(no_axis)?;
        let mut noise = Noise::new(seed);
        let air = truth.ambient.air(truth.ambient.altitude_m);
        let water_share = truth.ambient.water_share();
        let gas_constant = moist_gas_constant(water_share);
        let thermal = ThermalState::new(&truth.thermal, air.temperature_k);
        let manifold = ManifoldState::at(&truth.manifold, air.pressure_pa, thermal.intake_k, gas_constant);
        let held = Held {
            dt_s: 0.0,
            per_s: 0.0,
            map_share: 1.0,
            o2_share: 1.0,
            air,
            density_kg_per_m3: 1.2,
            root_rt: 300.0,
            film: truth.film.coefficients(air.pressure_pa, 0.0, thermal.wall_k),
            delay_s: 0.0,
            pump_v: 0.0,
            iac: 0.0,
            breath: filling.breath(air.pressure_pa, air.pressure_pa, 0.0),
            back_pressure_pa: air.pressure_pa,
            exhaust_kg_per_s: 0.0,
            power_nm: 0.0,
            spark_deg: 0.0,
            knock_index: 0.0,
            rubbing: truth.friction.rubbing(thermal.oil_k),
            throttle: 0.0,
            plates_m2: truth.throttle.area_m2(0.0),
            injected_kg: 0.0,
            moved: Moved::default(),
            torques: Torques::default(),
        };
        let books = Books { air_start_kg: manifold.mass_kg, ..Books::default() };
        let plant = Self {
            filling,
            tables: FlowTables::new(&truth.throttle),
            shares: truth.distribution.shares(truth.engine.cylinders, truth.exhaust.banks),
            stoich_afr: truth.stoich_afr(),
            heating_value: truth.fuel.heating_value_j_per_kg(),
            best_work_share: truth.combustion.best_work_share(truth.engine.compression_ratio),
            end_gas: EndGas::new(truth.engine.compression_ratio, truth.fuel.octane),
            water_share,
            gas_constant,
            fuel_vapour_pa: crate::fuel_system::fuel_vapour_pa(
                truth.fuel.vapour_pressure_pa,
                truth.fuel_system.fuel_k,
            ),
            interval_rad: firing_interval_rad(truth.engine.cylinders),
            injectors: InjectorState::new(&truth.injectors, &mut noise),
            fuel: FuelSystemState::new(&truth.fuel_system),
            film: FilmState::default(),
            cylinders: Cylinders::new(truth.engine.cylinders),
            crank: CrankState::default(),
            gearbox,
            vehicle: VehicleState::default(),
            exhaust: ExhaustState::new(thermal.coolant_k),
            oxygen: OxygenSensorState::new(thermal.coolant_k),
            sensors: SensorsState::new(&truth.sensors, air.pressure_pa),
            electrical: ElectricalState::new(&truth.electrical),
            nitrous: NitrousState::new(&truth.nitrous),
            gathered: Gathered { slot_s: SLOT_S, slow_slot_s: SLOW_SLOT_S, ..Gathered::default() },
            events: Vec::new(),
            frame: Frame::default(),
            books,
            time_s: 0.0,
            manifold,
            thermal,
            held,
            noise,
            truth,
        };
        Ok(plant)
    }

    /// Moves everything by `dt_s` (held within 10 us to 2 ms) under these commands and hands, and gives what
    /// the controller's pins read at the end. Takes any input: numbers are held in their ranges, NaN counts
    /// as the lower end.
    ///
    /// ```
    /// use trimwright_plant::{Hands, Key, Plant, Truth};
    /// let mut plant = Plant::new(Truth::mild_v8(), 1)?;
    /// let frame = plant.step(&Default::default(), &Hands { key: Key::On, ..Hands::default() }, f64::NAN);
    /// assert!(frame.switches.ignition && frame.pulses_us.is_empty());
    /// # Ok::<(), trimwright_plant::OutOfRange>(())
    /// ```
    pub fn step(&mut self, commands: &Commands, hands: &Hands, dt_s: f64) -> &Frame {
        let mut hands = hands.held();
        let dt_s = dt_s.held(STEP_S.0, STEP_S.1);
        self.events.clear();
        self.frame.pulses_us.clear();
        self.slots(commands, &hands, dt_s);
        hands.throttle = self.gearbox.lift(&self.truth.gearbox, hands.throttle);

        let injected_kg = self.inject(commands, &hands, dt_s);
        self.supply_fuel(injected_kg, dt_s);
        let moved = self.breathe(&hands, injected_kg, dt_s);
        let indicated_nm = self.fire(commands, &hands, &moved, dt_s);
        self.interfere(dt_s);
        self.turn(commands, &hands, indicated_nm, dt_s);
        self.sense(&hands, dt_s);
        &self.frame
    }

    /// Everything on the wires at the end of the step.
    fn sense(&mut self, hands: &Hands, dt_s: f64) {
        self.time_s += dt_s;
        let truth = &self.truth;
        let lambda = self.exhaust.lambda * (1.0 + truth.exhaust.bend);
        let o2_v = self.oxygen.step(
            &truth.oxygen_sensor,
            &self.sensors.lambda,
            &mut self.noise,
            lambda,
            self.held.o2_share,
        );
        let sensed = Sensed {
            map_pa: self.manifold.pressure_pa,
            phase: (self.crank.since_firing_rad / self.interval_rad).held(0.0, 1.0),
            turning: self.crank.speed_rad_per_s > 1.0,
            throttle: hands.throttle,
            o2_v,
            vehicle_m_per_s: self.vehicle.speed_m_per_s,
        };
        let frame = &mut self.frame;
        self.sensors.step(
            &truth.sensors,
            &truth.faults,
            &mut self.noise,
            &sensed,
            self.held.map_share,
            frame,
        );
        frame.time_us = nearest_u64(self.time_s * 1e6);
        frame.switches.ignition = hands.key != Key::Off;
        frame.switches.starter = hands.key == Key::Start;
        frame.switches.o2_ready = self.oxygen.ready && hands.key != Key::Off;
        frame.switches.ac_request = hands.ac;
        frame.switches.in_gear = hands.range == Range::Drive;
        frame.switches.nitrous_armed = hands.nitrous_armed;
    }

    /// What the controller's pins read after the last step.
    pub fn frame(&self) -> &Frame {
        &self.frame
    }

    /// Intake events of the last step, oldest first.
    pub fn events(&self) -> &[CylinderEvent] {
        &self.events
    }

    /// Running totals for mass and energy balances, and what is where now.
    pub fn books(&self) -> Books {
        let speed = self.crank.speed_rad_per_s;
        Books {
            air_stored_kg: self.manifold.mass_kg,
            air_pending_kg: self.gathered.air_kg,
            fuel_wall_kg: self.film.wall_kg,
            fuel_airborne_kg: self.film.airborne_kg,
            kinetic_j: 0.5 * self.truth.crank.inertia_kg_m2 * speed * speed,
            ..self.books
        }
    }

    /// The truth that this plant was made of.
    pub fn truth(&self) -> &Truth {
        &self.truth
    }

    /// Works out the lag shares again when the length of the step has changed.
    pub(crate) fn lags(&mut self, dt_s: f64) {
        if dt_s != self.held.dt_s {
            self.held.dt_s = dt_s;
            self.held.per_s = 1.0 / dt_s;
            self.held.map_share = lag::share(dt_s, self.truth.sensors.map_tau_s);
            self.held.o2_share = lag::share(dt_s, self.truth.oxygen_sensor.tau_s);
        }
    }
}
