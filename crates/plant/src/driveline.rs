//! Step of the driveline: torques at the crank, coupling, gears, vehicle.

use crate::crank::Torques;
use crate::driver_inputs::{DriverInputs, GearRange, Key};
use crate::friction::Friction;
use crate::gearbox::CouplingTorques;
use crate::plant::Plant;
use crate::vehicle::Forces;
use trimwright_numerics::Real;
use trimwright_signals::Commands;

impl Plant {
    /// Torques at the crank, crank speed, and the vehicle's motion.
    pub(crate) fn step_driveline(
        &mut self,
        commands: &Commands,
        inputs: &DriverInputs,
        indicated_nm: f64,
        dt_s: f64,
    ) {
        let truth = &self.truth;
        let speed = self.crank.speed_rad_per_s;
        let displacement = truth.engine.displacement_m3;
        let coupling = match inputs.dyno_rad_per_s {
            // Speed-controlled dynamometer, limited to a torque above that of these engines.
            Some(wanted) => {
                let over = speed - wanted.held(0.0, 1000.0);
                let brake_nm = 400.0 * truth.crank.inertia_kg_m2 * over;
                CouplingTorques { engine_nm: brake_nm.held(-2000.0, 2000.0), gears_nm: 0.0 }
            }
            None => {
                let input = self.vehicle.speed_m_per_s / truth.vehicle.wheel_m * self.gearbox.overall_ratio();
                self.gearbox.couple(&truth.gearbox, inputs.range, speed, input)
            }
        };
        // On a dynamometer the engine is without its gearbox.
        let gearbox_nm =
            if inputs.dyno_rad_per_s.is_some() { 0.0 } else { self.gearbox.pump_nm(&truth.gearbox) };
        let turning = (speed / 10.0).held(0.0, 1.0);
        let supply_v = self.electrical.supply_v;
        let (starter, _) = truth.crank.starter(inputs.key == Key::Start, supply_v, speed);
        let compressor =
            if commands.ac_clutch && inputs.key != Key::Off { truth.friction.ac_nm } else { 0.0 };
        let torques = Torques {
            indicated: indicated_nm,
            starter,
            pumping: turning
                * Friction::pumping_nm(displacement, self.slow.back_pressure_pa, self.manifold.pressure_pa),
            rubbing: Friction::rubbing_nm(self.slow.rubbing, displacement, speed),
            accessories: self.electrical.belt_nm(speed)
                + compressor
                + truth.accessories.torque_nm(speed)
                + gearbox_nm,
            load: coupling.engine_nm,
        };
        let work = self.crank.step(&truth.crank, &torques, dt_s);
        self.balances.crank_indicated_j += work.indicated;
        self.balances.starter_j += work.starter;
        self.balances.pumping_j += work.pumping;
        self.balances.losses_j += work.losses;
        self.balances.load_j += work.load;

        let forces = Forces {
            drive_n: self.gearbox.wheels_nm(&truth.gearbox, coupling.gears_nm) / truth.vehicle.wheel_m,
            brake: inputs.brake,
            parked: inputs.range == GearRange::Park || inputs.dyno_rad_per_s.is_some(),
            grade: inputs.grade,
            density_kg_per_m3: self.slow.density_kg_per_m3,
        };
        self.vehicle.step(&truth.vehicle, &forces, dt_s);
        self.slow.torques = torques;
    }
}
