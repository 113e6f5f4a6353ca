//! Crankshaft: speed, angle, starter.

use crate::gas::CYCLE_RAD;
use trimwright_numerics::Real;

trimwright_numerics::parameters! {
    /// Crank, flywheel and starter.
    pub struct Crank<f64> "crank" {
        /// Inertia of crankshaft, flywheel and the engine side of the coupling.
        number inertia_kg_m2 { 0.40, 0.03..=2.0 "kg m2", "engineering judgement" }
        /// Stall torque of the starter at the crank with 12 V at its terminals.
        number starter_nm { 360.0, 20.0..=800.0 "N m", "engineering judgement" }
        /// Crank speed at which the starter's torque is zero with 12 V at its terminals.
        number starter_free_rad_per_s { 24.0, 15.0..=80.0 "rad/s", "engineering judgement" }
    }
}

/// Voltage at which stall torque, stall current and free speed of a starter are stated, V.
const STARTER_V: f64 = 12.0;
/// Current of a starter at its free speed over its stall current (engineering judgement).
const STARTER_FREE_CURRENT: f64 = 0.1;

impl Crank {
    /// Starter torque, N m, and its current over the stall current at 12 V: a direct-current motor of constant field with a one-way
    /// clutch. What the voltage exceeds the back voltage, which is proportional to the speed, drives the current.
    ///
    /// ```
    /// let crank = trimwright_plant::Truth::mild_v8().crank;
    /// assert_eq!(crank.starter(true, 12.0, 0.0), (crank.starter_nm, 1.0), "stalled");
    /// assert_eq!(crank.starter(true, 6.0, crank.starter_free_rad_per_s).0, 0.0, "half the voltage, half the free speed");
    /// ```
    #[inline]
    pub fn starter(&self, engaged: bool, supply_v: f64, speed_rad_per_s: f64) -> (f64, f64) {
        if !engaged {
            return (0.0, 0.0);
        }
        let voltage = (supply_v / STARTER_V).held(0.0, 1.5);
        let back = (speed_rad_per_s / self.starter_free_rad_per_s).held(0.0, voltage);
        (self.starter_nm * (voltage - back), voltage - (1.0 - STARTER_FREE_CURRENT) * back)
    }
}

/// Torques at the crank in one step, N m.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub struct Torques {
    /// Indicated torque, without pumping.
    pub indicated: f64,
    /// Starter torque.
    pub starter: f64,
    /// Pumping torque.
    pub pumping: f64,
    /// Rubbing friction, opposed to the motion.
    pub rubbing: f64,
    /// Alternator, compressor, other accessories and the gearbox's pump, opposed to the motion.
    pub accessories: f64,
    /// Torque into the coupling or dynamometer.
    pub load: f64,
}

/// Work at the crank in one step, J.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub struct Work {
    /// Indicated work.
    pub indicated: f64,
    /// Work of the starter.
    pub starter: f64,
    /// Pumping work.
    pub pumping: f64,
    /// Work against rubbing friction and accessories.
    pub losses: f64,
    /// Work into the coupling or dynamometer.
    pub load: f64,
}

/// Speed, angle and count of firings.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct CrankState {
    /// Crank speed, rad/s; 0 to 1500.
    pub speed_rad_per_s: f64,
    /// Angle since the last firing, rad.
    pub since_firing_rad: f64,
    /// Firings since the start.
    pub firings: u64,
}

impl CrankState {
    /// Step of `J dw/dt = sum of torques`. Friction stops the crank but never reverses it. Work uses the mean speed of the step,
    /// so that it equals the change of kinetic energy to rounding.
    #[inline]
    pub fn step(&mut self, crank: &Crank, torques: &Torques, dt_s: f64) -> Work {
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
    }

    #[test]
    fn ident_the_starter_gives_no_more_than_it_takes_less_the_heat_of_its_winding() {
        let truth = crate::Truth::mild_v8();
        let (crank, stall_a) = (truth.crank, truth.electrical.starter_a);
        for (supply_v, speed) in [(12.0, 0.0), (12.0, 12.0), (11.0, 18.0), (9.0, 10.0), (7.5, 4.0)] {
            let (torque_nm, current) = crank.starter(true, supply_v, speed);
            let current_a = current * stall_a;
            let left_w = supply_v * current_a - current_a * current_a * STARTER_V / stall_a;
            assert!(
                torque_nm * speed <= left_w + 1e-6,
                "{supply_v} V {speed}: {} W of {left_w}",
                torque_nm * speed
            );
        }
    }
}
