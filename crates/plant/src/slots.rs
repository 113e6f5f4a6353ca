//! What changes slowly, worked out every 10 ms or 100 ms.

use crate::friction::motored_fmep_pa;
use crate::fuel_system::FuelSlow;
use crate::gas::CYCLE_RAD;
use crate::hands::{Hands, Key};
use crate::plant::{Plant, SLOT_S, SLOW_SLOT_S};
use crate::thermal::Heat;
use crate::vehicle::density_kg_per_m3;
use trimwright_numerics::Real;
use trimwright_signals::Commands;

/// Slack in comparing sums of steps with a slot's length, s.
const SLACK_S: f64 = 1e-9;
/// Time constant of the idle-air valve, s (engineering judgement).
const IAC_TAU_S: f64 = 0.06;
/// Share of friction's heat that ends in the coolant (engineering judgement).
const FRICTION_TO_COOLANT: f64 = 0.5;
/// Air that the fan of a test cell blows at the car on the dynamometer, m/s (engineering judgement).
const CELL_M_PER_S: f64 = 20.0;

impl Plant {
    /// Runs the slots that are due.
    pub(crate) fn slots(&mut self, commands: &Commands, hands: &Hands, dt_s: f64) {
        self.lags(dt_s);
        if self.gathered.slow_slot_s >= SLOW_SLOT_S - SLACK_S {
            let past_s = self.gathered.slow_slot_s;
            self.gathered.slow_slot_s = 0.0;
            self.slow_slot(commands, hands, past_s);
        }
        if self.gathered.slot_s >= SLOT_S - SLACK_S {
            let past_s = self.gathered.slot_s;
            self.gathered.slot_s = 0.0;
            self.slot(commands, hands, past_s);
        }
        self.gathered.slot_s += dt_s;
        self.gathered.slow_slot_s += dt_s;
    }

    /// Supply voltage, pump, nitrous, film coefficients, injector delay, idle-air valve, gears, slow
    /// converter channels: every 10 ms. Kept out of line, as the next.
    #[inline(never)]
    fn slot(&mut self, commands: &Commands, hands: &Hands, past_s: f64) {
        let truth = &self.truth;
        let on = hands.key != Key::Off;
        let speed = self.crank.speed_rad_per_s;
        let supply_v = self.electrical.supply_v;

        let pump_duty = if on { f64::from(commands.pump_duty).held(0.0, 1.0) } else { 0.0 };
        let iac_duty = if on { f64::from(commands.iac_duty).held(0.0, 1.0) } else { 0.0 };
        self.held.iac += (past_s / IAC_TAU_S).held(0.0, 1.0) * (iac_duty - self.held.iac);
        let electrical = &truth.electrical;
        let (_, starting) = truth.crank.starter(hands.key == Key::Start, supply_v, speed);
        let share = |is: bool| if is { 1.0 } else { 0.0 };
        let load_a = share(on) * electrical.base_a
            + pump_duty * electrical.pump_a
            + f64::from(self.fans(commands)) * electrical.fan_a
            + share(on && !truth.faults.heater_dead) * electrical.heater_a
            + share(on && commands.ac_clutch) * electrical.ac_a
            + starting * electrical.starter_a;
        self.electrical.step(electrical, load_a, speed, past_s);
        self.held.pump_v = self.electrical.supply_v * pump_duty;

        let nitrous = on && commands.nitrous && hands.nitrous_armed;
        self.nitrous.step(&truth.nitrous, nitrous, self.manifold.pressure_pa, past_s);
        let injector_v = self.electrical.supply_v - electrical.wiring_v;
        self.held.delay_s = truth.injectors.delay_s(injector_v, self.injector_drop_pa());
        self.held.film = truth.film.coefficients(self.manifold.pressure_pa, speed, self.thermal.wall_k);
        self.gearbox.shift(&truth.gearbox, self.vehicle.speed_m_per_s, hands.throttle, past_s);
        let frame = &mut self.frame;
        let pressures_pa = (self.fuel.rail_pa, self.held.air.pressure_pa);
        self.sensors.slow(&truth.sensors, &truth.faults, &mut self.noise, pressures_pa, injector_v, frame);
        if speed < 2.0 {
            // A standing engine passes no gas on.
            self.held.exhaust_kg_per_s = 0.0;
            self.held.back_pressure_pa = self.held.air.pressure_pa;
        }
    }

    /// Outside air, heat, fuel line, exhaust pipe, sensor heater, thermistors: every 100 ms.
    #[inline(never)]
    fn slow_slot(&mut self, commands: &Commands, hands: &Hands, past_s: f64) {
        let truth = &self.truth;
        let speed = self.crank.speed_rad_per_s;
        let height_m = hands.altitude_m.map(|altitude_m| altitude_m.held(-500.0, 5000.0));
        self.held.air = truth.ambient.air(height_m.unwrap_or(truth.ambient.altitude_m));
        let ambient_k = self.held.air.temperature_k;
        self.held.density_kg_per_m3 = density_kg_per_m3(self.held.air.pressure_pa, ambient_k);

        let friction_w = motored_fmep_pa(speed) * truth.engine.displacement_m3 / CYCLE_RAD * speed;
        let heat = Heat {
            combustion_w: self.gathered.coolant_j / past_s + FRICTION_TO_COOLANT * friction_w,
            ambient_k,
            vehicle_m_per_s: if hands.dyno_rad_per_s.is_some() {
                CELL_M_PER_S
            } else {
                self.vehicle.speed_m_per_s
            },
            fans: self.fans(commands),
            air_kg_per_s: self.gathered.intake_kg / past_s,
            thermostat_open: truth.faults.thermostat_open,
        };
        self.gathered.coolant_j = 0.0;
        self.gathered.intake_kg = 0.0;
        self.thermal.step(&truth.thermal, &heat, past_s);
        self.held.rubbing = truth.friction.rubbing(self.thermal.oil_k);
        self.held.root_rt = Real::sqrt(self.gas_constant * self.thermal.intake_k);

        self.fuel.slow(
            &truth.fuel_system,
            &FuelSlow {
                ambient_pa: self.held.air.pressure_pa,
                vapour_pa: self.fuel_vapour_pa,
                density_kg_per_m3: truth.fuel.density_kg_per_m3(),
                acceleration_m_per_s2: self.vehicle.acceleration_m_per_s2,
                filter_factor: 1.0 + truth.faults.clogged_filter,
            },
        );
        let bank_kg_per_s = self.held.exhaust_kg_per_s / f64::from(truth.exhaust.banks.max(1));
        let burning = self.held.power_nm > 0.0;
        self.exhaust.warm(&truth.exhaust, ambient_k, bank_kg_per_s, burning, past_s);
        let powered = hands.key != Key::Off && !truth.faults.heater_dead;
        let heater_v = if powered { self.electrical.supply_v } else { 0.0 };
        self.oxygen.warm(&truth.oxygen_sensor, &mut self.noise, heater_v, self.exhaust.gas_k, past_s);
        self.sensors.warm(&truth.sensors, self.thermal.coolant_k, self.thermal.iat_k);
    }

    /// Fans that turn.
    fn fans(&self, commands: &Commands) -> u8 {
        if self.truth.faults.fans_dead { 0 } else { u8::from(commands.fan1) + u8::from(commands.fan2) }
    }
}
