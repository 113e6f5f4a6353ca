//! Step of the intake side: injectors, fuel rail, throttle, manifold, wall film.

use crate::driver_inputs::{DriverInputs, Key};
use crate::film::EVAPORATION_J_PER_KG;
use crate::fuel_system::FuelStepInputs;
use crate::gas::PER_CYCLE_RAD;
use crate::manifold::{ManifoldBoundary, ManifoldFlows};
use crate::nitrous::{JET_EVAPORATION_J_PER_KG, R_NITROUS};
use crate::plant::Plant;
use trimwright_numerics::Real;
use trimwright_signals::{Commands, MAX_INJECTORS};

impl Plant {
    /// Fuel through the injectors in this step, kg: no more than the line holds.
    pub(crate) fn step_injectors(&mut self, commands: &Commands, inputs: &DriverInputs, dt_s: f64) -> f64 {
        let off = [0.0; MAX_INJECTORS];
        let commanded = if inputs.key == Key::Off { &off } else { &commands.open_time_s };
        let drop_pa = self.injector_drop_pa();
        self.injectors
            .step(&self.truth.injectors, commanded, self.slow.delay_s, drop_pa, dt_s)
            .at_most(self.fuel.line_kg())
    }

    /// Pressure drop that drives fuel through the injectors, Pa.
    #[inline]
    pub(crate) fn injector_drop_pa(&self) -> f64 {
        self.fuel.injector_drop_pa(self.manifold.pressure_pa - self.slow.air.pressure_pa)
    }

    /// Rail pressure from pump, regulator and injected fuel.
    pub(crate) fn step_fuel_system(&mut self, injected_kg: f64, dt_s: f64) {
        let fast = FuelStepInputs {
            pump_v: self.slow.pump_v,
            delivery_share: 1.0 - self.truth.faults.weak_pump,
            injected_kg,
            manifold_gauge_pa: self.manifold.pressure_pa - self.slow.air.pressure_pa,
        };
        self.fuel.step(&self.truth.fuel_system, &fast, dt_s);
    }

    /// Air through plates, bypass and leaks into the manifold and from it into the engine; injected fuel onto the wall film and
    /// into the air.
    pub(crate) fn step_intake(
        &mut self,
        inputs: &DriverInputs,
        injected_kg: f64,
        dt_s: f64,
    ) -> ManifoldFlows {
        let truth = &self.truth;
        if inputs.throttle != self.slow.throttle {
            self.slow.throttle = inputs.throttle;
            self.slow.plate_area_m2 = self.tables.area_m2(inputs.throttle);
        }
        let area_m2 =
            self.slow.plate_area_m2 + truth.throttle.iac_m2 * self.slow.iac + truth.faults.vacuum_leak_m2;
        let outside_pa = self.slow.air.pressure_pa;
        let throttle = self.tables.flow(area_m2, outside_pa, self.manifold.pressure_pa, self.slow.root_rt);
        let airborne_share = truth.film.air_heat_share * (1.0 - self.slow.film.x);
        let turning = self.crank.speed_rad_per_s * PER_CYCLE_RAD;
        let volume = self.slow.filling.efficiency
            * self.disturbances.charge_factor()
            * truth.engine.displacement_m3
            * turning
            - self.nitrous_m3_per_s();
        let boundary = ManifoldBoundary {
            outside_pa,
            inflow_k: self.thermal.intake_k,
            wall_k: self.thermal.wall_k,
            evaporation_w: airborne_share * injected_kg * EVAPORATION_J_PER_KG * self.slow.per_s
                + truth.nitrous.air_heat_share * self.nitrous.flow_kg_per_s * JET_EVAPORATION_J_PER_KG,
            engine_m3_per_s: volume.held(0.0, 10.0),
            gas_constant: self.gas_constant,
        };
        let before_pa = self.manifold.pressure_pa;
        let flows = self.manifold.step(&truth.manifold, throttle, &boundary, dt_s);
        let fall = (1.0 - self.manifold.pressure_pa / before_pa).held(0.0, 1.0);
        self.film.step(&truth.film, &self.slow.film, injected_kg, fall, dt_s);

        if self.nitrous.flow_kg_per_s > 0.0 {
            self.add_nitrous(dt_s);
        }
        self.sums.vapour_kg += self.slow.vapour_kg_per_s * dt_s;
        self.sums.vapour_over_mean_kg += self.slow.vapour_over_mean_kg_per_s * dt_s;
        self.sums.intake_kg += flows.in_kg;
        self.balances.air_in_kg += flows.in_kg;
        self.balances.air_out_kg += flows.out_kg;
        self.balances.fuel_injected_kg += injected_kg;
        self.slow.injected_kg = injected_kg;
        self.slow.flows = flows;
        flows
    }

    /// Adds nitrous oxide and the fuel of its own jet, which is fed from the rail, to the manifold.
    #[inline(never)]
    fn add_nitrous(&mut self, dt_s: f64) {
        let jet_kg = self.fuel.tap(self.nitrous.flow_kg_per_s * self.truth.nitrous.fuel_jet_ratio * dt_s);
        self.film.airborne_kg += jet_kg;
        self.balances.fuel_jet_kg += jet_kg;
        self.sums.nitrous_kg += self.nitrous.flow_kg_per_s * dt_s;
    }

    /// Volume flow of nitrous oxide, which displaces air, m^3/s.
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
