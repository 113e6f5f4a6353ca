//! Fuel and air on their way into the cylinders: injectors, rail, throttle, manifold, film.

use crate::film::EVAPORATION_J_PER_KG;
use crate::fuel_system::FuelFast;
use crate::gas::PER_CYCLE_RAD;
use crate::hands::{Hands, Key};
use crate::manifold::{Moved, Surroundings};
use crate::nitrous::{JET_EVAPORATION_J_PER_KG, R_NITROUS};
use crate::plant::Plant;
use trimwright_numerics::Real;
use trimwright_signals::{Commands, MAX_INJECTORS};

impl Plant {
    /// Fuel through the injectors in this step, kg.
    pub(crate) fn inject(&mut self, commands: &Commands, hands: &Hands, dt_s: f64) -> f64 {
        let off = [0.0; MAX_INJECTORS];
        let commanded = if hands.key == Key::Off { &off } else { &commands.open_time_s };
        let drop_pa = self.injector_drop_pa();
        self.injectors.step(&self.truth.injectors, commanded, self.held.delay_s, drop_pa, dt_s)
    }

    /// Pressure over the injectors, Pa.
    #[inline]
    pub(crate) fn injector_drop_pa(&self) -> f64 {
        self.fuel.rail_pa + self.held.air.pressure_pa - self.manifold.pressure_pa
    }

    /// Rail pressure follows pump, regulator and injectors.
    pub(crate) fn supply_fuel(&mut self, injected_kg: f64, dt_s: f64) {
        let fast = FuelFast {
            pump_v: self.held.pump_v,
            health: 1.0 - self.truth.faults.weak_pump,
            injected_kg,
            manifold_gauge_pa: self.manifold.pressure_pa - self.held.air.pressure_pa,
        };
        self.fuel.step(&self.truth.fuel_system, &fast, dt_s);
    }

    /// Air through plates, bypass and leaks into the manifold, out of it into the engine; fuel onto the wall
    /// and into that air.
    pub(crate) fn breathe(&mut self, hands: &Hands, injected_kg: f64, dt_s: f64) -> Moved {
        let truth = &self.truth;
        if hands.throttle != self.held.throttle {
            self.held.throttle = hands.throttle;
            self.held.plates_m2 = self.tables.area_m2(hands.throttle);
        }
        let area_m2 =
            self.held.plates_m2 + truth.throttle.iac_m2 * self.held.iac + truth.faults.vacuum_leak_m2;
        let outside_pa = self.held.air.pressure_pa;
        let throttle = self.tables.flow(area_m2, outside_pa, self.manifold.pressure_pa, self.held.root_rt);
        let airborne_share = truth.film.air_heat_share * (1.0 - self.held.film.x);
        let turning = self.crank.speed_rad_per_s * PER_CYCLE_RAD;
        let volume =
            self.held.breath.efficiency * truth.engine.displacement_m3 * turning - self.nitrous_m3_per_s();
        let around = Surroundings {
            outside_pa,
            inflow_k: self.thermal.intake_k,
            wall_k: self.thermal.wall_k,
            evaporation_w: airborne_share * injected_kg * EVAPORATION_J_PER_KG * self.held.per_s
                + truth.nitrous.air_heat_share * self.nitrous.flow_kg_per_s * JET_EVAPORATION_J_PER_KG,
            engine_m3_per_s: volume.held(0.0, 10.0),
            gas_constant: self.gas_constant,
        };
        let before_pa = self.manifold.pressure_pa;
        let moved = self.manifold.step(&truth.manifold, throttle, &around, dt_s);
        let fall = (1.0 - self.manifold.pressure_pa / before_pa).held(0.0, 1.0);
        self.film.step(&truth.film, self.held.film, injected_kg, fall, dt_s);

        if self.nitrous.flow_kg_per_s > 0.0 {
            self.spray(dt_s);
        }
        self.gathered.intake_kg += moved.in_kg;
        self.books.air_in_kg += moved.in_kg;
        self.books.air_out_kg += moved.out_kg;
        self.books.fuel_injected_kg += injected_kg;
        self.held.injected_kg = injected_kg;
        self.held.moved = moved;
        moved
    }

    /// Nitrous oxide and the fuel of its own jet come into the manifold.
    #[inline(never)]
    fn spray(&mut self, dt_s: f64) {
        let jet_kg = self.nitrous.flow_kg_per_s * self.truth.nitrous.fuel_jet_ratio * dt_s;
        self.film.airborne_kg += jet_kg;
        self.books.fuel_jet_kg += jet_kg;
        self.gathered.nitrous_kg += self.nitrous.flow_kg_per_s * dt_s;
    }

    /// Room that nitrous oxide takes from the air in what the engine breathes, m^3/s.
    #[inline]
    fn nitrous_m3_per_s(&self) -> f64 {
        let flow = self.nitrous.flow_kg_per_s;
        if flow <= 0.0 {
            return 0.0;
        }
        let manifold_k = self.manifold.temperature_k(&self.truth.manifold, self.gas_constant);
        flow * R_NITROUS * manifold_k / self.manifold.pressure_pa
    }
}
