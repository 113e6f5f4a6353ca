//! Vehicle: point mass with road load, grade and brakes.

use crate::gas::{GRAVITY_M_PER_S2, R_DRY_AIR};
use trimwright_numerics::Real;

trimwright_numerics::parameters! {
    /// Mass, road load and brakes.
    pub struct Vehicle<f64> "vehicle" {
        /// Mass with load and trailer.
        number mass_kg { 2300.0, 300.0..=20e3 "kg", "engineering judgement" }
        /// Equivalent mass of the rotating wheels and shafts.
        number rotating_kg { 70.0, 0.0..=1000.0 "kg", "engineering judgement" }
        /// Drag coefficient times frontal area.
        number drag_m2 { 1.35, 0.2..=12.0 "m2", "engineering judgement" }
        /// Rolling resistance coefficient.
        number rolling { 0.014, 0.004..=0.05 "1", "engineering judgement" }
        /// Rolling radius of the wheel.
        number wheel_m { 0.345, 0.2..=0.7 "m", "engineering judgement" }
        /// Largest braking force over weight.
        number braking { 0.8, 0.2..=1.2 "1", "engineering judgement" }
        /// Largest driving force over weight: tyre grip times the driven axle's load fraction.
        number traction { 0.45, 0.1..=1.0 "1", "engineering judgement" }
    }
}

/// Forces and conditions of one step.
#[derive(Clone, Copy, Debug)]
pub struct Forces {
    /// Force at the driven wheels, N.
    pub drive_n: f64,
    /// Brake pedal, 0 to 1.
    pub brake: f64,
    /// The parking pawl is engaged.
    pub parked: bool,
    /// Rise over run.
    pub grade: f64,
    /// Density of the air, kg/m^3.
    pub density_kg_per_m3: f64,
}

/// Motion of the vehicle.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub struct VehicleState {
    /// Speed, m/s.
    pub speed_m_per_s: f64,
    /// Distance since the start, m.
    pub distance_m: f64,
    /// Acceleration, m/s^2.
    pub acceleration_m_per_s2: f64,
    /// Force at the driven wheels within the tyres' grip, N; negative on overrun. Brakes are not part of it.
    pub wheel_n: f64,
}

impl VehicleState {
    /// `m dv/dt = F - 1/2 rho c A v^2 - m g (f cos + sin) - brakes`. Rolling resistance and brakes hold a
    /// standing vehicle but never move it; rolling backwards is not modelled.
    ///
    /// ```
    /// use trimwright_plant::{Forces, Truth, VehicleState};
    /// let vehicle = Truth::mild_v8().vehicle;
    /// let mut state = VehicleState { speed_m_per_s: 20.0, ..VehicleState::default() };
    /// let rolling = Forces { drive_n: 0.0, brake: 0.0, parked: false, grade: 0.0, density_kg_per_m3: 1.2 };
    /// state.step(&vehicle, &rolling, 1e-3);
    /// assert!(state.acceleration_m_per_s2 < 0.0 && state.distance_m > 0.0);
    /// ```
    #[inline]
    pub fn step(&mut self, vehicle: &Vehicle, forces: &Forces, dt_s: f64) {
        let weight = vehicle.mass_kg * GRAVITY_M_PER_S2;
        let per_n = dt_s / (vehicle.mass_kg + vehicle.rotating_kg);
        let speed = self.speed_m_per_s;
        let grip = vehicle.traction * weight;
        let slope =
            if forces.grade == 0.0 { 1.0 } else { 1.0 / Real::sqrt(1.0 + forces.grade * forces.grade) };
        let drag = 0.5 * forces.density_kg_per_m3 * vehicle.drag_m2 * speed * speed;
        self.wheel_n = forces.drive_n.held(-grip, grip);
        let active = self.wheel_n - drag - weight * forces.grade * slope;
        let pawl = if forces.parked { 2.0 * weight } else { 0.0 };
        let passive = weight * (vehicle.rolling * slope + vehicle.braking * forces.brake) + pawl;
        let pushed = speed + per_n * active;
        let after = (pushed - per_n * passive).held(0.0, 150.0);
        self.distance_m += 0.5 * (speed + after) * dt_s;
        self.acceleration_m_per_s2 = (after - speed) / dt_s;
        self.speed_m_per_s = after;
    }
}

/// Density of air, kg/m^3.
pub(crate) fn density_kg_per_m3(pressure_pa: f64, temperature_k: f64) -> f64 {
    pressure_pa / (R_DRY_AIR * temperature_k)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn ident_coast_down_decelerates_by_the_road_load() {
        // Plain mechanics, worked by hand for 20 m/s.
        let vehicle = crate::Truth::mild_v8().vehicle;
        let forces = Forces { drive_n: 0.0, brake: 0.0, parked: false, grade: 0.0, density_kg_per_m3: 1.2 };
        let mut state = VehicleState { speed_m_per_s: 20.0, ..Default::default() };
        state.step(&vehicle, &forces, 1e-3);
        let road = 0.5 * 1.2 * vehicle.drag_m2 * 400.0 + vehicle.mass_kg * 9.80665 * vehicle.rolling;
        let want = -road / (vehicle.mass_kg + vehicle.rotating_kg);
        assert!((state.acceleration_m_per_s2 / want - 1.0).abs() < 1e-9);
    }

    #[test]
    fn the_brake_holds_the_vehicle_on_a_hill_and_against_creep() {
        let vehicle = crate::Truth::mild_v8().vehicle;
        let forces =
            Forces { drive_n: 1500.0, brake: 0.5, parked: false, grade: -0.15, density_kg_per_m3: 1.2 };
        let mut state = VehicleState::default();
        for _ in 0..1000 {
            state.step(&vehicle, &forces, 1e-3);
        }
        assert_eq!(state.distance_m, 0.0);
        state.step(&vehicle, &Forces { brake: 0.0, ..forces }, 1e-3);
        assert!(state.speed_m_per_s > 0.0);
    }
}
