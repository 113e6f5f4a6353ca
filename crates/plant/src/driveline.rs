//! From the crank to the road.

use crate::crank::Torques;
use crate::friction::Friction;
use crate::gearbox::Coupled;
use crate::hands::{Hands, Key, Range};
use crate::plant::Plant;
use crate::vehicle::Forces;
use trimwright_numerics::Real;
use trimwright_signals::Commands;

impl Plant {
    /// Torques at the crank, its speed, the gears and the car.
    pub(crate) fn turn(&mut self, commands: &Commands, hands: &Hands, indicated_nm: f64, dt_s: f64) {
        let truth = &self.truth;
        let speed = self.crank.speed_rad_per_s;
        let displacement = truth.engine.displacement_m3;
        let coupled = match hands.dyno_rad_per_s {
            // A dynamometer is stiff against speed, up to a torque that any of these engines stays below.
            Some(wanted) => {
                let over = speed - wanted.held(0.0, 1000.0);
                let brake_nm = 400.0 * truth.crank.inertia_kg_m2 * over;
                Coupled { engine_nm: brake_nm.held(-2000.0, 2000.0), gears_nm: 0.0 }
            }
            None => {
                let input = self.vehicle.speed_m_per_s / truth.vehicle.wheel_m * self.gearbox.overall_ratio();
                self.gearbox.couple(&truth.gearbox, hands.range, speed, input)
            }
        };
        let turning = (speed / 10.0).held(0.0, 1.0);
        let supply_v = self.electrical.supply_v;
        let (starter, _) = truth.crank.starter(hands.key == Key::Start, supply_v, speed);
        let compressor = if commands.ac_clutch && hands.key != Key::Off { truth.friction.ac_nm } else { 0.0 };
        let torques = Torques {
            indicated: indicated_nm,
            starter,
            pumping: turning
                * Friction::pumping_nm(displacement, self.held.back_pressure_pa, self.manifold.pressure_pa),
            rubbing: Friction::rubbing_nm(self.held.rubbing, displacement, speed),
            accessories: self.electrical.belt_nm(speed) + compressor,
            load: coupled.engine_nm,
        };
        let work = self.crank.step(&truth.crank, &torques, dt_s);
        self.books.crank_indicated_j += work.indicated;
        self.books.starter_j += work.starter;
        self.books.pumping_j += work.pumping;
        self.books.losses_j += work.losses;
        self.books.load_j += work.load;

        let wheels_nm = coupled.gears_nm * self.gearbox.overall_ratio() * truth.gearbox.efficiency;
        let forces = Forces {
            drive_n: wheels_nm / truth.vehicle.wheel_m,
            brake: hands.brake,
            parked: hands.range == Range::Park || hands.dyno_rad_per_s.is_some(),
            grade: hands.grade,
            density_kg_per_m3: self.held.density_kg_per_m3,
        };
        self.vehicle.step(&truth.vehicle, &forces, dt_s);
        self.held.torques = torques;
    }
}
