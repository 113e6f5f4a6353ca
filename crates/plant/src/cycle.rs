//! The working cycle: intake events, firing, exhaust, and the pulses that tell of them.

use crate::combustion::Ignition;
use crate::cylinders::{CylinderEvent, lambda_of};
use crate::distribution::in_sensor_bank;
use crate::gas::RPM;
use crate::hands::{Hands, Key};
use crate::knock::knock_index;
use crate::manifold::Moved;
use crate::plant::{MAX_EVENTS, Plant};
use trimwright_numerics::Real;
use trimwright_signals::Commands;

/// Manifold pressure from which the knock index is worked out, Pa.
const KNOCK_FROM_PA: f64 = 60e3;
/// A charge leaner than this in all its fuel, liquid too, counts as one without: it drew in what a wet wall gives off in a fuel cut, and
/// nobody misses its work (engineering judgement: no controller asks for such a mixture).
const NO_FUEL_LAMBDA: f64 = 2.5;
/// Share with which one charge's gas moves the mean exhaust flow.
const FLOW_SHARE: f64 = 0.25;

impl Plant {
    /// Turns the crank through this step's angle and lets every firing on the way happen at its own time.
    /// Gives the mean indicated torque of the step, N m.
    pub(crate) fn fire(&mut self, commands: &Commands, hands: &Hands, moved: &Moved, dt_s: f64) -> f64 {
        let speed = self.crank.speed_rad_per_s;
        let way_rad = speed * dt_s;
        if way_rad <= 0.0 {
            self.gathered.air_kg += moved.out_kg;
            return 0.0;
        }
        let mut done_rad = 0.0;
        let mut done_kg = 0.0;
        let mut work_j = 0.0;
        let pulses_between = self.truth.sensors.pulses_per_firing > 1;
        for _ in 0..MAX_EVENTS {
            let to_go_rad = self.interval_rad - self.crank.since_firing_rad;
            if done_rad + to_go_rad > way_rad {
                break;
            }
            if pulses_between {
                self.pulse_between(done_rad, to_go_rad, dt_s);
            }
            done_rad += to_go_rad;
            work_j += self.held.power_nm * to_go_rad;
            let share_kg = moved.out_kg * to_go_rad / way_rad;
            done_kg += share_kg;
            self.gathered.air_kg += share_kg;
            self.crank.since_firing_rad = 0.0;
            let time_s = self.time_s + done_rad / speed;
            self.cylinder_event(commands, hands, time_s, 1.0 - done_rad / way_rad, dt_s);
        }
        let rest_rad = way_rad - done_rad;
        if pulses_between {
            self.pulse_between(done_rad, rest_rad, dt_s);
        }
        self.crank.since_firing_rad += rest_rad;
        self.gathered.air_kg += moved.out_kg - done_kg;
        if done_rad > 0.0 { (work_j + self.held.power_nm * rest_rad) / way_rad } else { self.held.power_nm }
    }

    /// Stamps the pulses between firings that pass by within `turned_rad`, after `done_rad` of this step. Kept out of line: a distributor
    /// has none.
    #[inline(never)]
    fn pulse_between(&mut self, done_rad: f64, turned_rad: f64, dt_s: f64) {
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

    /// Stamps a pulse of the trigger wheel.
    #[inline]
    fn stamp(&mut self, time_s: f64, dt_s: f64) {
        let within = (self.time_s, self.time_s + dt_s);
        let degrees_per_s = self.crank.speed_rad_per_s * 180.0 / core::f64::consts::PI;
        let lost = self.truth.faults.lost_pulses;
        let pulses = &mut self.frame.pulses_us;
        self.truth.trigger.stamp(pulses, &mut self.noise, lost, time_s, degrees_per_s, within);
    }

    /// Interference on the trigger wire: pulses that no firing made.
    #[inline]
    pub(crate) fn interfere(&mut self, dt_s: f64) {
        let hz = self.truth.faults.extra_pulses_hz;
        if hz > 0.0 && self.noise.uniform() < hz * dt_s {
            let time_s = self.time_s + dt_s * self.noise.uniform();
            let within = (self.time_s, self.time_s + dt_s);
            self.truth.trigger.stamp(&mut self.frame.pulses_us, &mut self.noise, 0.0, time_s, 1e6, within);
        }
    }

    /// One firing interval ends: a cylinder closes its intake, another fires, a third has emptied into the
    /// exhaust. `rest` is the share of the step that is still to come. Kept out of line: six steps of seven pass it by.
    #[inline(never)]
    fn cylinder_event(&mut self, commands: &Commands, hands: &Hands, time_s: f64, rest: f64, dt_s: f64) {
        let speed = self.crank.speed_rad_per_s;
        let drawn = self.intake(time_s, speed, rest);
        let _ = self.events.push(drawn);
        self.cylinders.draw(drawn);
        self.combustion(commands, hands, speed);
        self.blow_out(speed);

        self.stamp(time_s, dt_s);

        self.crank.firings += 1;
        self.held.back_pressure_pa =
            self.truth.exhaust.back_pressure_pa(self.held.air.pressure_pa, self.held.exhaust_kg_per_s);
        self.held.breath = self.filling.breath(self.manifold.pressure_pa, self.held.back_pressure_pa, speed);
    }

    /// What the closing intake valve has shut in.
    fn intake(&mut self, time_s: f64, speed_rad_per_s: f64, rest: f64) -> CylinderEvent {
        let moist_kg = core::mem::take(&mut self.gathered.air_kg);
        let nitrous_kg = core::mem::take(&mut self.gathered.nitrous_kg);
        let cylinders = u64::from(self.truth.engine.cylinders.max(1));
        let cylinder = (self.crank.firings % cylinders) as u8;
        let share = self.shares.get(usize::from(cylinder)).copied().unwrap_or(1.0);
        let (fuel_kg, cylinder_fuel_kg) = self.film.draw(&self.truth.film, share, rest);
        let water_kg = moist_kg * self.water_share;
        let air_kg = moist_kg - water_kg;
        self.books.air_drawn_kg += moist_kg;
        self.books.fuel_drawn_kg += cylinder_fuel_kg;
        self.books.fuel_waiting_kg += cylinder_fuel_kg;
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
            back_pressure_pa: self.held.back_pressure_pa,
            water_kg,
            residual: self.held.breath.residual,
        }
    }

    /// The charge whose turn it is burns, or does not; its work becomes the torque of the coming interval.
    fn combustion(&mut self, commands: &Commands, hands: &Hands, speed_rad_per_s: f64) {
        let combustion = &self.truth.combustion;
        let charge = self.cylinders.fired();
        self.held.power_nm = 0.0;
        if !charge.present {
            return;
        }
        let drawn = charge.drawn;
        let fuel_kg = drawn.cylinder_fuel_kg;
        let vapour_kg = fuel_kg * combustion.vapour_share(self.thermal.coolant_k);
        let lambda = lambda_of(drawn.air_kg, drawn.nitrous_kg, vapour_kg, self.stoich_afr);
        let spark_deg = match combustion.ignition {
            Ignition::Commanded => f64::from(commands.spark_deg).held(-20.0, 60.0),
            Ignition::Distributor => {
                combustion.distributor_deg(drawn.map_pa, self.held.air.pressure_pa, speed_rad_per_s)
            }
        };
        let off_mbt_deg =
            spark_deg - combustion.mbt_deg(drawn.map_pa, speed_rad_per_s, lambda, drawn.residual);
        let burn = combustion.burn(self.best_work_share, lambda, off_mbt_deg, drawn.residual);
        let chance = burn.misfire > 0.0 && self.noise.uniform() < burn.misfire;
        charge.misfired = hands.key == Key::Off || chance;

        let whole_j = fuel_kg * self.heating_value;
        let burned_kg = if charge.misfired { 0.0 } else { vapour_kg };
        let released_j = burned_kg * self.heating_value * burn.released;
        let scatter = 1.0 + combustion.variation_at(drawn.map_pa, drawn.residual) * self.noise.bell();
        let work_j = released_j * burn.work_share * scatter;
        let coolant_j = released_j * combustion.coolant_share;
        self.held.power_nm = work_j / self.interval_rad;
        self.held.spark_deg = spark_deg;
        self.gathered.coolant_j += coolant_j;

        let books = &mut self.books;
        books.charges += 1;
        let whole_lambda = lambda_of(drawn.air_kg, drawn.nitrous_kg, fuel_kg, self.stoich_afr);
        books.misfires += u64::from(charge.misfired && whole_lambda < NO_FUEL_LAMBDA);
        books.fuel_waiting_kg -= fuel_kg;
        books.fuel_burned_kg += burned_kg;
        books.fuel_unburned_kg += fuel_kg - burned_kg;
        books.released_j += released_j;
        books.unreleased_j += whole_j - released_j;
        books.work_j += work_j;
        books.coolant_j += coolant_j;
        books.exhaust_j += released_j - work_j - coolant_j;

        self.held.knock_index = 0.0;
        if drawn.map_pa > KNOCK_FROM_PA && !charge.misfired {
            self.held.knock_index = knock_index(
                &self.end_gas,
                drawn.map_pa,
                drawn.manifold_k,
                speed_rad_per_s.max(300.0 * RPM),
                off_mbt_deg,
            );
            self.books.knocks += u64::from(self.held.knock_index > 1.0);
        }
    }

    /// The charge whose turn it is leaves; those of the sensor's bank pass the sensor.
    fn blow_out(&mut self, speed_rad_per_s: f64) {
        let charge = self.cylinders.leaving();
        if !charge.present {
            return;
        }
        let gas = &charge.drawn;
        let exhaust = &self.truth.exhaust;
        let interval_s = self.interval_rad / speed_rad_per_s.held(1.0, 1e4);
        let gas_kg = gas.air_kg + gas.water_kg + gas.nitrous_kg + gas.cylinder_fuel_kg;
        self.held.exhaust_kg_per_s += FLOW_SHARE * (gas_kg / interval_s - self.held.exhaust_kg_per_s);
        if !in_sensor_bank(gas.cylinder, self.truth.engine.cylinders, exhaust.banks) {
            return;
        }
        // Air breathed in by the pulses fades as the mean pressure in the pipe rises with flow (engineering
        // judgement).
        let breathing = (1.0 - self.held.exhaust_kg_per_s / 0.06).held(0.0, 1.0);
        let leak_kg =
            self.truth.faults.exhaust_leak_kg_per_s * breathing * interval_s * f64::from(exhaust.banks);
        self.exhaust.push(exhaust, gas, charge.misfired, leak_kg, self.held.air.pressure_pa, self.stoich_afr);
    }
}
