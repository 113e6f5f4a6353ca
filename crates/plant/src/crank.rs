//! Crankshaft: speed, angle, starter.

use crate::gas::CYCLE_RAD;
use trimwright_numerics::Real;

trimwright_numerics::parameters! {
    /// Crank, flywheel and starter.
    pub struct Crank<f64> "crank" {
        /// Inertia of crankshaft, flywheel and the engine side of the coupling.
        number inertia_kg_m2 { 0.40, 0.03..=2.0 "kg m2", "engineering judgement" }
        /// Stall torque of the starter at the crank with 12 V.
        number starter_nm { 240.0, 20.0..=600.0 "N m", "engineering judgement" }
        /// Crank speed at which the starter's torque is zero.
        number starter_free_rad_per_s { 36.0, 15.0..=80.0 "rad/s", "engineering judgement" }
    }
}

impl Crank {
    /// Starter torque, N m, and its current over the stall current: linear characteristic of a direct-current motor with a
    /// one-way clutch.
    #[inline]
    pub(crate) fn starter(&self, engaged: bool, supply_v: f64, speed_rad_per_s: f64) -> (f64, f64) {
        if !engaged {
            return (0.0, 0.0);
        }
        let slow = (1.0 - speed_rad_per_s / self.starter_free_rad_per_s).held(0.0, 1.0);
        (self.starter_nm * slow * (supply_v / 12.0).held(0.0, 1.2), 0.15 + 0.85 * slow)
    }
}

/// Torques at the crank in one step, N m.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub(crate) struct Torques {
    /// Indicated torque, without pumping.
    pub(crate) indicated: f64,
    pub(crate) starter: f64,
    /// Pumping torque.
    pub(crate) pumping: f64,
    /// Rubbing friction, opposed to the motion.
    pub(crate) rubbing: f64,
    /// Alternator, compressor, other accessories and the gearbox's pump, opposed to the motion.
    pub(crate) accessories: f64,
    /// Torque into the coupling or dynamometer.
    pub(crate) load: f64,
}

/// Work at the crank in one step, J.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub(crate) struct Work {
    pub(crate) indicated: f64,
    pub(crate) starter: f64,
    pub(crate) pumping: f64,
    pub(crate) losses: f64,
    pub(crate) load: f64,
}

/// Speed, angle and count of firings.
#[derive(Clone, Debug, Default, PartialEq)]
pub(crate) struct CrankState {
    pub(crate) speed_rad_per_s: f64,
    /// Angle since the last firing, rad.
    pub(crate) since_firing_rad: f64,
    /// Firings since the start.
    pub(crate) firings: u64,
}

impl CrankState {
    /// Step of `J dw/dt = sum of torques`. Friction stops the crank but never reverses it. Work uses the mean speed of the step,
    /// so that it equals the change of kinetic energy to rounding.
    #[inline]
    pub(crate) fn step(&mut self, crank: &Crank, torques: &Torques, dt_s: f64) -> Work {
        let before = self.speed_rad_per_s;
        let driving = torques.indicated + torques.starter - torques.pumping - torques.load;
        let slowing = torques.rubbing + torques.accessories;
        let per_nm = dt_s / crank.inertia_kg_m2;
        let coasting = before + per_nm * driving;
        let after = (coasting - per_nm * slowing).held(0.0, 1500.0);
        self.speed_rad_per_s = after;
        let step_rad = 0.5 * (before + after) * dt_s;
        let kinetic = 0.5 * crank.inertia_kg_m2 * (after * after - before * before);
        Work {
            indicated: torques.indicated * step_rad,
            starter: torques.starter * step_rad,
            pumping: torques.pumping * step_rad,
            losses: driving * step_rad - kinetic,
            load: torques.load * step_rad,
        }
    }
}

/// Crank angle between two firings, rad.
pub(crate) fn firing_interval_rad(cylinders: u8) -> f64 {
    CYCLE_RAD / f64::from(cylinders.max(1))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn friction_stops_the_crank_and_does_not_reverse_it() {
        let crank = crate::Truth::mild_v8().crank;
        let mut state = CrankState { speed_rad_per_s: 50.0, ..Default::default() };
        let torques = Torques { rubbing: 60.0, ..Default::default() };
        let mut lost_j = 0.0;
        for _ in 0..2000 {
            lost_j += state.step(&crank, &torques, 1e-3).losses;
        }
        assert_eq!(state.speed_rad_per_s, 0.0);
        // All kinetic energy went into friction.
        assert!((lost_j / (0.5 * crank.inertia_kg_m2 * 2500.0) - 1.0).abs() < 1e-9, "{lost_j}");
    }

    #[test]
    fn the_starter_has_no_torque_above_its_free_speed() {
        let crank = crate::Truth::mild_v8().crank;
        assert_eq!(crank.starter(true, 10.0, crank.starter_free_rad_per_s + 1.0).0, 0.0);
        assert_eq!(crank.starter(false, 12.0, 0.0), (0.0, 0.0));
        assert_eq!(crank.starter(true, 12.0, 0.0), (crank.starter_nm, 1.0));
    }
}
