//! 10 ms and 100 ms tasks: signals that change slowly.

use crate::driver_inputs::{DriverInputs, Key};
use crate::film::FilmConditions;
use crate::friction::Friction;
use crate::fuel_system::FuelTaskInputs;
use crate::gas::CP_AIR;
use crate::plant::{Plant, TASK_10MS_S, TASK_100MS_S};
use crate::thermal::{ThermalInputs, coolant_share_factor};
use crate::vehicle::density_kg_per_m3;
use trimwright_numerics::Real;
use trimwright_signals::Commands;

/// Tolerance in comparing a sum of steps with a task's period, s.
const TIME_TOLERANCE_S: f64 = 1e-9;
/// Time constant of the idle-air valve, s (engineering judgement).
const IAC_TAU_S: f64 = 0.06;
/// Fraction of the friction heat that goes into the coolant (engineering judgement).
const FRICTION_TO_COOLANT: f64 = 0.5;
/// Air speed of the test cell's fan on the dynamometer, m/s (engineering judgement).
const CELL_M_PER_S: f64 = 20.0;

impl Plant {
    /// Runs the tasks that are due.
    pub(crate) fn run_tasks(&mut self, commands: &Commands, inputs: &DriverInputs, dt_s: f64) {
        self.update_lag_shares(dt_s);
        if self.sums.since_100ms_task_s >= TASK_100MS_S - TIME_TOLERANCE_S {
            let elapsed_s = self.sums.since_100ms_task_s;
            self.sums.since_100ms_task_s = 0.0;
            self.task_100ms(commands, inputs, elapsed_s);
        }
        if self.sums.since_10ms_task_s >= TASK_10MS_S - TIME_TOLERANCE_S {
            let elapsed_s = self.sums.since_10ms_task_s;
            self.sums.since_10ms_task_s = 0.0;
            self.task_10ms(commands, inputs, elapsed_s);
        }
        self.sums.since_10ms_task_s += dt_s;
        self.sums.since_100ms_task_s += dt_s;
    }

    /// 10 ms task: supply voltage, fuel pump, idle-air valve, nitrous, injector delay, film coefficients, gear shifts, slow
    /// converter channels. Not inlined, as it runs in one step of ten.
    #[inline(never)]
    fn task_10ms(&mut self, commands: &Commands, inputs: &DriverInputs, elapsed_s: f64) {
        let truth = &self.truth;
        let on = inputs.key != Key::Off;
        let speed = self.crank.speed_rad_per_s;
        let supply_v = self.electrical.supply_v;

        let pump_duty = if on { f64::from(commands.pump_duty).held(0.0, 1.0) } else { 0.0 };
        let iac_duty = if on { f64::from(commands.iac_duty).held(0.0, 1.0) } else { 0.0 };
        self.slow.iac += (elapsed_s / IAC_TAU_S).held(0.0, 1.0) * (iac_duty - self.slow.iac);
        let electrical = &truth.electrical;
        let (_, starting) = truth.crank.starter(inputs.key == Key::Start, supply_v, speed);
        let share = |is: bool| if is { 1.0 } else { 0.0 };
        let load_a = share(on) * electrical.base_a
            + pump_duty * electrical.pump_a
            + f64::from(self.fans(commands)) * electrical.fan_a
            + share(on && !truth.faults.heater_dead) * electrical.heater_a
            + share(on && commands.ac_clutch) * electrical.ac_a
            + starting * electrical.starter_a;
        self.electrical.step(electrical, load_a, speed, elapsed_s);
        self.slow.pump_v = self.electrical.supply_v * pump_duty;

        let nitrous = on && commands.nitrous && inputs.nitrous_armed;
        self.nitrous.step(&truth.nitrous, nitrous, self.manifold.pressure_pa, elapsed_s);
        let injector_v = self.electrical.supply_v - electrical.wiring_v;
        self.slow.delay_s = truth.injectors.delay_s(injector_v, self.injector_drop_pa());
        let pressure_ratio = self.manifold.pressure_pa / self.slow.air.pressure_pa;
        // Without speed nothing draws.
        let drawing_m3 = if speed < 2.0 { 0.0 } else { truth.engine.displacement_m3 };
        self.slow.vapour_kg_per_s = drawing_m3 * self.disturbances.vapour_kg_per_s_per_m3(pressure_ratio);
        self.slow.vapour_over_mean_kg_per_s = drawing_m3
            * self.disturbances.vapour_over_mean_kg_per_s_per_m3(&truth.disturbances, pressure_ratio);
        self.slow.film = truth.film.coefficients_with(&self.slow.volatility, &self.film_conditions());
        self.gearbox.shift(&truth.gearbox, self.vehicle.speed_m_per_s, inputs.throttle, elapsed_s);
        let frame = &mut self.frame;
        // The output of a gauge sensor ends at no pressure.
        let pressures_pa = (self.fuel.rail_pa().at_least(0.0), self.slow.air.pressure_pa);
        self.sensors.task_10ms(
            &truth.sensors,
            &truth.faults,
            &mut self.noise,
            pressures_pa,
            injector_v,
            frame,
        );
        if speed < 2.0 {
            // No exhaust flow while the engine stands.
            self.slow.exhaust_kg_per_s = 0.0;
            self.slow.back_pressure_pa = self.slow.air.pressure_pa;
        }
    }

    /// 100 ms task: outside air, temperatures, fuel line, exhaust pipe, oxygen sensor heater, thermistors.
    #[inline(never)]
    fn task_100ms(&mut self, commands: &Commands, inputs: &DriverInputs, elapsed_s: f64) {
        let truth = &self.truth;
        self.disturbances.step(&truth.disturbances, elapsed_s);
        let speed = self.crank.speed_rad_per_s;
        let height_m = inputs.altitude_m.map(|altitude_m| altitude_m.held(-500.0, 5000.0));
        self.slow.air = truth.ambient.air(height_m.unwrap_or(truth.ambient.altitude_m));
        let ambient_k = self.slow.air.temperature_k;
        self.slow.density_kg_per_m3 = density_kg_per_m3(self.slow.air.pressure_pa, ambient_k);

        let displacement_m3 = truth.engine.displacement_m3;
        let friction_w = Friction::rubbing_nm(self.slow.rubbing, displacement_m3, speed) * speed;
        let heat = ThermalInputs {
            combustion_w: self.sums.coolant_j / elapsed_s + FRICTION_TO_COOLANT * friction_w,
            ambient_k,
            vehicle_m_per_s: if inputs.dyno_rad_per_s.is_some() {
                CELL_M_PER_S
            } else {
                self.vehicle.speed_m_per_s
            },
            fans: self.fans(commands),
            air_kg_per_s: self.sums.intake_kg / elapsed_s,
            thermostat_open: truth.faults.thermostat_open,
        };
        self.sums.coolant_j = 0.0;
        self.sums.intake_kg = 0.0;
        self.thermal.step(&truth.thermal, &heat, elapsed_s);
        self.electrical.soak(&truth.electrical, self.thermal.bonnet_k, elapsed_s);
        let (at, manifold) = (self.film_conditions(), &truth.manifold);
        let air_w_per_k = manifold.wall_w_per_k + manifold.wall_share * CP_AIR * at.air_kg_per_s;
        self.film.warm_floor(
            &truth.film,
            &self.slow.film,
            self.thermal.wall_k,
            (at.air_k, air_w_per_k),
            elapsed_s,
        );
        self.slow.volatility = truth.film.volatility(&truth.fuel, &at);
        let film_k = self.thermal.oil_k + truth.friction.film_rise_k(self.slow.rubbing, speed);
        let film_share = (elapsed_s / truth.friction.film_tau_s).held(0.0, 1.0);
        self.thermal.oil_film_k += film_share * (film_k - self.thermal.oil_film_k);
        self.slow.rubbing = truth.friction.rubbing(self.thermal.oil_film_k);
        let per_cylinder = 1.0 / f64::from(truth.engine.cylinders.max(1));
        let combustion = &truth.combustion;
        let share = combustion.coolant_share
            * coolant_share_factor(heat.air_kg_per_s * per_cylinder, displacement_m3 * per_cylinder);
        self.slow.coolant_share = share.held(0.0, 0.5);
        self.slow.root_rt = Real::sqrt(self.gas_constant * self.thermal.intake_k);

        self.fuel.task_100ms(
            &truth.fuel_system,
            &FuelTaskInputs {
                ambient_pa: self.slow.air.pressure_pa,
                vapour_pa: self.fuel_vapour_pa,
                density_kg_per_m3: truth.fuel.density_kg_per_m3(),
                acceleration_m_per_s2: self.vehicle.acceleration_m_per_s2,
                filter_factor: 1.0 + truth.faults.clogged_filter,
            },
        );
        let bank_kg_per_s = self.slow.exhaust_kg_per_s / f64::from(truth.exhaust.banks.max(1));
        let burning = self.slow.indicated_nm > 0.0;
        self.exhaust.update_temperature(&truth.exhaust, ambient_k, bank_kg_per_s, burning, elapsed_s);
        let powered = inputs.key != Key::Off && !truth.faults.heater_dead;
        let heater_v = if powered { self.electrical.supply_v } else { 0.0 };
        self.oxygen.update_heater(
            &truth.oxygen_sensor,
            &mut self.noise,
            heater_v,
            self.exhaust.gas_k,
            elapsed_s,
        );
        self.sensors.update_thermistors(&truth.sensors, self.thermal.coolant_k, self.thermal.iat_k);
    }

    /// What the wall film depends on, now.
    fn film_conditions(&self) -> FilmConditions {
        let throttle = &self.truth.throttle;
        FilmConditions {
            pressure_pa: self.manifold.pressure_pa,
            air_kg_per_s: self.slow.flows.out_kg * self.slow.per_s,
            air_k: self.manifold.temperature_k(&self.truth.manifold, self.gas_constant),
            floor_k: self.film.floor_k,
            runner_k: self.thermal.wall_k,
            bore_m: throttle.bore_m,
            bores_m2: throttle.bores_m2(),
        }
    }

    /// Number of cooling fans that run, 0 to 2.
    fn fans(&self, commands: &Commands) -> u8 {
        if self.truth.faults.fans_dead { 0 } else { u8::from(commands.fan1) + u8::from(commands.fan2) }
    }
}
