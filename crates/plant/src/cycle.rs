//! Working cycle: intake, combustion and exhaust events of the cylinders, and trigger pulses.

use crate::combustion::{ChargeState, Ignition, nitrous_later_deg};
use crate::cylinders::{CylinderEvent, lambda_of};
use crate::distribution::in_sensor_bank;
use crate::driver_inputs::{DriverInputs, Key};
use crate::gas::RPM;
use crate::knock::knock_index;
use crate::manifold::ManifoldFlows;
use crate::plant::{MAX_EVENTS, Plant};
use crate::species::exhaust_species;
use trimwright_numerics::Real;
use trimwright_signals::Commands;

/// Manifold pressure above which the knock index is computed, Pa.
const KNOCK_FROM_PA: f64 = 60e3;
/// A charge leaner than this, liquid fuel included, is not counted as a misfire: it carries only what the wall film gives off in a fuel
/// cut (engineering judgement: no controller commands such a mixture).
const FUEL_CUT_LAMBDA: f64 = 2.5;
/// Weight of one charge in the filtered exhaust flow.
const FLOW_SHARE: f64 = 0.25;

impl Plant {
    /// Advances the cycle by this step's crank angle, with every cylinder event at its own time within the step. Returns the mean
    /// indicated torque of the step, N m.
    pub(crate) fn step_cycle(
        &mut self,
        commands: &Commands,
        inputs: &DriverInputs,
        flows: &ManifoldFlows,
        dt_s: f64,
    ) -> f64 {
        let speed = self.crank.speed_rad_per_s;
        let step_rad = speed * dt_s;
        if step_rad <= 0.0 {
            self.sums.air_kg += flows.out_kg;
            return 0.0;
        }
        let mut done_rad = 0.0;
        let mut done_kg = 0.0;
        let mut work_j = 0.0;
        let has_intermediate_pulses = self.truth.sensors.pulses_per_firing > 1;
        for _ in 0..MAX_EVENTS {
            let remaining_rad = self.interval_rad - self.crank.since_firing_rad;
            if done_rad + remaining_rad > step_rad {
                break;
            }
            if has_intermediate_pulses {
                self.stamp_intermediate_pulses(done_rad, remaining_rad, dt_s);
            }
            done_rad += remaining_rad;
            work_j += self.slow.indicated_nm * remaining_rad;
            let share_kg = flows.out_kg * remaining_rad / step_rad;
            done_kg += share_kg;
            self.sums.air_kg += share_kg;
            self.crank.since_firing_rad = 0.0;
            let time_s = self.time_s + done_rad / speed;
            self.cylinder_event(commands, inputs, time_s, 1.0 - done_rad / step_rad, dt_s);
        }
        let tail_rad = step_rad - done_rad;
        if has_intermediate_pulses {
            self.stamp_intermediate_pulses(done_rad, tail_rad, dt_s);
        }
        self.crank.since_firing_rad += tail_rad;
        self.sums.air_kg += flows.out_kg - done_kg;
        if done_rad > 0.0 {
            (work_j + self.slow.indicated_nm * tail_rad) / step_rad
        } else {
            self.slow.indicated_nm
        }
    }

    /// Time-stamps the pulses between firings that pass within `turned_rad`, after `done_rad` of this step. Not inlined: a distributor
    /// has none.
    #[inline(never)]
    fn stamp_intermediate_pulses(&mut self, done_rad: f64, turned_rad: f64, dt_s: f64) {
        let speed = self.crank.speed_rad_per_s;
        let from_rad = self.crank.since_firing_rad;
        let pulses = self.truth.sensors.pulses_per_firing;
        for pulse in 1..pulses {
            let at_rad = self.interval_rad * f64::from(pulse) / f64::from(pulses);
            if at_rad > from_rad && at_rad <= from_rad + turned_rad {
                self.stamp(self.time_s + (done_rad + at_rad - from_rad) / speed, dt_s);
            }
        }
    }

    /// Time-stamps a pulse of the trigger wheel.
    #[inline]
    fn stamp(&mut self, time_s: f64, dt_s: f64) {
        let within = (self.time_s, self.time_s + dt_s);
        let degrees_per_s = self.crank.speed_rad_per_s * 180.0 / core::f64::consts::PI;
        let lost = self.truth.faults.lost_pulses;
        let pulses = &mut self.frame.pulses_us;
        self.truth.trigger.stamp(pulses, &mut self.noise, lost, time_s, degrees_per_s, within);
    }

    /// Adds interference pulses on the trigger wire, at random times.
    #[inline]
    pub(crate) fn add_interference(&mut self, dt_s: f64) {
        let hz = self.truth.faults.extra_pulses_hz;
        if hz > 0.0 && self.noise.uniform() < hz * dt_s {
            let time_s = self.time_s + dt_s * self.noise.uniform();
            let within = (self.time_s, self.time_s + dt_s);
            self.truth.trigger.stamp(&mut self.frame.pulses_us, &mut self.noise, 0.0, time_s, 1e6, within);
        }
    }

    /// End of a firing interval: one cylinder closes its intake, another fires, a third has emptied into the exhaust. `rest` is the
    /// fraction of the step after the event. Not inlined: it runs in about one step of seven.
    #[inline(never)]
    fn cylinder_event(
        &mut self,
        commands: &Commands,
        inputs: &DriverInputs,
        time_s: f64,
        rest: f64,
        dt_s: f64,
    ) {
        let speed = self.crank.speed_rad_per_s;
        let drawn = self.intake_event(time_s, speed, rest);
        let _ = self.events.push(drawn);
        self.cylinders.push(drawn);
        self.combustion_event(commands, inputs, speed);
        self.exhaust_event(speed);

        self.stamp(time_s, dt_s);

        self.crank.firings += 1;
        self.slow.back_pressure_pa =
            self.truth.exhaust.back_pressure_pa(self.slow.air.pressure_pa, self.slow.exhaust_kg_per_s);
        self.slow.filling = self.filling.at(self.manifold.pressure_pa, self.slow.back_pressure_pa, speed);
    }

    /// Intake event: mass of air, fuel, water and nitrous oxide in the cylinder whose intake closes.
    fn intake_event(&mut self, time_s: f64, speed_rad_per_s: f64, rest: f64) -> CylinderEvent {
        let moist_kg = core::mem::take(&mut self.sums.air_kg);
        let nitrous_kg = core::mem::take(&mut self.sums.nitrous_kg);
        let cylinders = u64::from(self.truth.engine.cylinders.max(1));
        let cylinder = (self.crank.firings % cylinders) as u8;
        let share = self.shares.get(usize::from(cylinder)).copied().unwrap_or(1.0);
        let (film_kg, cylinder_film_kg) = self.film.draw(&self.truth.film, share, rest);
        let vapour_kg = core::mem::take(&mut self.sums.vapour_kg);
        let over_mean_kg = core::mem::take(&mut self.sums.vapour_over_mean_kg);
        let (fuel_kg, cylinder_fuel_kg) = (film_kg + vapour_kg, cylinder_film_kg + vapour_kg);
        self.balances.fuel_vapour_kg += vapour_kg;
        let water_kg = moist_kg * self.water_share;
        let air_kg = moist_kg - water_kg;
        // Vapour is a few percent of the fuel: its effect on ln lambda is linear.
        let lambda_share = if air_kg > 0.0 { self.stoich_afr / air_kg } else { 0.0 };
        let tank_ln = self.disturbances.tank_ln(&self.truth.disturbances);
        self.balances.air_drawn_kg += moist_kg;
        self.balances.fuel_drawn_kg += cylinder_fuel_kg;
        self.balances.fuel_in_cylinders_kg += cylinder_fuel_kg;
        CylinderEvent {
            time_s,
            cylinder,
            air_kg,
            nitrous_kg,
            fuel_kg,
            cylinder_fuel_kg,
            lambda: lambda_of(air_kg, nitrous_kg, fuel_kg, self.stoich_afr),
            map_pa: self.manifold.pressure_pa,
            manifold_k: self.manifold.temperature_k(&self.truth.manifold, self.gas_constant),
            speed_rad_per_s,
            back_pressure_pa: self.slow.back_pressure_pa,
            water_kg,
            residual: self.slow.filling.residual,
            lasting_ln: tank_ln - lambda_share * (vapour_kg - over_mean_kg),
            passing_ln: self.disturbances.charge_ln() - lambda_share * over_mean_kg,
        }
    }

    /// Combustion event: the charge burns or misfires; its work becomes the torque of the next firing interval.
    fn combustion_event(&mut self, commands: &Commands, inputs: &DriverInputs, speed_rad_per_s: f64) {
        let combustion = &self.truth.combustion;
        let charge = self.cylinders.firing();
        self.slow.indicated_nm = 0.0;
        if !charge.present {
            return;
        }
        let drawn = charge.intake;
        let fuel_kg = drawn.cylinder_fuel_kg;
        let vapour_kg = if fuel_kg > 0.0 {
            let air_fuel_ratio = (drawn.air_kg + drawn.nitrous_kg) / fuel_kg;
            let (coolant_k, firing) = (self.thermal.coolant_k, self.slow.firing);
            fuel_kg * combustion.vapour_share(&self.truth.fuel, coolant_k, firing, air_fuel_ratio)
        } else {
            0.0
        };
        let lambda = lambda_of(drawn.air_kg, drawn.nitrous_kg, vapour_kg, self.stoich_afr);
        let spark_deg = match combustion.ignition {
            Ignition::Commanded => f64::from(commands.spark_deg).held(-20.0, 60.0),
            Ignition::Distributor => {
                combustion.distributor_deg(drawn.map_pa, self.slow.air.pressure_pa, speed_rad_per_s)
            }
        };
        let mut mbt_deg = combustion.mbt_deg(drawn.map_pa, speed_rad_per_s, lambda, drawn.residual);
        if drawn.nitrous_kg > 0.0 {
            mbt_deg -= nitrous_later_deg(drawn.nitrous_kg / (drawn.air_kg + drawn.nitrous_kg));
        }
        let off_mbt_deg = spark_deg - mbt_deg;
        let state = ChargeState { lambda, off_mbt_deg, residual: drawn.residual, speed_rad_per_s };
        let burn = combustion.burn(self.efficiency.at(speed_rad_per_s), &state);
        let chance = burn.misfire > 0.0 && self.burn_noise.uniform() < burn.misfire;
        charge.misfired = inputs.key == Key::Off || chance;
        let burned = if charge.misfired { 0.0 } else { 1.0 };
        self.slow.firing += (burned - self.slow.firing) / f64::from(self.truth.engine.cylinders.max(1));

        let whole_j = fuel_kg * self.heating_value;
        let burned_kg = burned * vapour_kg * (1.0 - combustion.unburned_share);
        let released_j = burned_kg * self.heating_value * burn.released;
        let scatter = (1.0 + burn.variation * self.burn_noise.normal()).at_least(0.0);
        let work_j = released_j * burn.work_share * scatter;
        let coolant_j = released_j * self.slow.coolant_share;
        self.slow.indicated_nm = work_j / self.interval_rad;
        self.slow.spark_deg = spark_deg;
        self.sums.coolant_j += coolant_j;

        let balances = &mut self.balances;
        balances.charges += 1;
        let whole_lambda = lambda_of(drawn.air_kg, drawn.nitrous_kg, fuel_kg, self.stoich_afr);
        balances.misfires += u64::from(charge.misfired && whole_lambda < FUEL_CUT_LAMBDA);
        balances.fuel_in_cylinders_kg -= fuel_kg;
        balances.fuel_burned_kg += burned_kg;
        balances.fuel_unburned_kg += fuel_kg - burned_kg;
        let mut exhaust = exhaust_species(&self.molecule, lambda, burned_kg, vapour_kg - burned_kg);
        exhaust.hc_kg += fuel_kg - vapour_kg;
        balances.exhaust.add(&exhaust);
        balances.released_j += released_j;
        balances.unreleased_j += whole_j - released_j;
        balances.work_j += work_j;
        balances.coolant_j += coolant_j;
        balances.exhaust_j += released_j - work_j - coolant_j;

        self.slow.knock_index = 0.0;
        if drawn.map_pa > KNOCK_FROM_PA && !charge.misfired {
            self.slow.knock_index = knock_index(
                &self.end_gas,
                drawn.map_pa,
                drawn.manifold_k,
                speed_rad_per_s.max(300.0 * RPM),
                off_mbt_deg,
            );
            self.balances.knocks += u64::from(self.slow.knock_index > 1.0);
        }
    }

    /// Exhaust event: the charge enters the exhaust; those of the sensor's bank flow to the sensor.
    fn exhaust_event(&mut self, speed_rad_per_s: f64) {
        let charge = self.cylinders.take_exhausting();
        if !charge.present {
            return;
        }
        let gas = &charge.intake;
        let exhaust = &self.truth.exhaust;
        let interval_s = self.interval_rad / speed_rad_per_s.held(1.0, 1e4);
        let gas_kg = gas.air_kg + gas.water_kg + gas.nitrous_kg + gas.cylinder_fuel_kg;
        self.slow.exhaust_kg_per_s += FLOW_SHARE * (gas_kg / interval_s - self.slow.exhaust_kg_per_s);
        if !in_sensor_bank(gas.cylinder, self.truth.engine.cylinders, exhaust.banks) {
            return;
        }
        // Pressure pulses draw air in through the leak; this fades as the mean pressure in the pipe rises with flow
        // (engineering judgement).
        let ingress = (1.0 - self.slow.exhaust_kg_per_s / 0.06).held(0.0, 1.0);
        let leak_kg =
            self.truth.faults.exhaust_leak_kg_per_s * ingress * interval_s * f64::from(exhaust.banks);
        self.exhaust.push(exhaust, gas, charge.misfired, leak_kg, self.slow.air.pressure_pa, self.stoich_afr);
    }
}
