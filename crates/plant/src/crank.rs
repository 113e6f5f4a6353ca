//! Crank: speed, angle, starter.

use crate::gas::CYCLE_RAD;
use trimwright_numerics::Real;

trimwright_numerics::parameters! {
    /// Crank, flywheel and starter.
    pub struct Crank<f64> "crank" {
        /// Inertia of crank, flywheel and the half of the coupling that turns with it.
        number inertia_kg_m2 { 0.40, 0.03..=2.0 "kg m2", "engineering judgement" }
        /// Starter torque at the crank with the engine locked and 12 V.
        number starter_nm { 240.0, 20.0..=600.0 "N m", "engineering judgement" }
        /// Crank speed at which the starter gives nothing.
        number starter_free_rad_per_s { 36.0, 15.0..=80.0 "rad/s", "engineering judgement" }
    }
}

impl Crank {
    /// Starter torque and the share of its stall current: a series of straight lines of a direct-current
    /// motor, through a one-way clutch.
    #[inline]
    pub(crate) fn starter(&self, engaged: bool, supply_v: f64, speed_rad_per_s: f64) -> (f64, f64) {
        if !engaged {
            return (0.0, 0.0);
        }
        let slow = (1.0 - speed_rad_per_s / self.starter_free_rad_per_s).held(0.0, 1.0);
        (self.starter_nm * slow * (supply_v / 12.0).held(0.0, 1.2), 0.15 + 0.85 * slow)
    }
}

/// Torques at the crank in one step, N m, each positive in its usual direction.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub(crate) struct Torques {
    /// Indicated work by the gas above intake and exhaust pressure.
    pub(crate) indicated: f64,
    pub(crate) starter: f64,
    /// Exhaust less intake pressure.
    pub(crate) pumping: f64,
    /// Rubbing, which only ever slows down.
    pub(crate) rubbing: f64,
    /// Alternator and compressor, which only ever slow down.
    pub(crate) accessories: f64,
    /// What the coupling or the dynamometer takes.
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

/// Where the crank is.
#[derive(Clone, Debug, Default, PartialEq)]
pub(crate) struct CrankState {
    pub(crate) speed_rad_per_s: f64,
    /// Angle since the last firing, rad.
    pub(crate) since_firing_rad: f64,
    /// Firings so far.
    pub(crate) firings: u64,
}

impl CrankState {
    /// Moves the crank; `J dw/dt = sum of torques`. Friction stops it but never turns it back. Work is booked
    /// with the mean speed of the step, so that it equals the change of kinetic energy to rounding.
    #[inline]
    pub(crate) fn step(&mut self, crank: &Crank, torques: &Torques, dt_s: f64) -> Work {
        let before = self.speed_rad_per_s;
        let driving = torques.indicated + torques.starter - torques.pumping - torques.load;
        let slowing = torques.rubbing + torques.accessories;
        let per_nm = dt_s / crank.inertia_kg_m2;
        let coasting = before + per_nm * driving;
        let after = (coasting - per_nm * slowing).held(0.0, 1500.0);
        self.speed_rad_per_s = after;
        let way_rad = 0.5 * (before + after) * dt_s;
        // Angle uses the speed before, as the events of the step did.
        let kinetic = 0.5 * crank.inertia_kg_m2 * (after * after - before * before);
        Work {
            indicated: torques.indicated * way_rad,
            starter: torques.starter * way_rad,
            pumping: torques.pumping * way_rad,
            losses: driving * way_rad - kinetic,
            load: torques.load * way_rad,
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
    fn the_starter_lets_go_at_its_free_speed() {
        let crank = crate::Truth::mild_v8().crank;
        assert_eq!(crank.starter(true, 10.0, crank.starter_free_rad_per_s + 1.0).0, 0.0);
        assert_eq!(crank.starter(false, 12.0, 0.0), (0.0, 0.0));
        assert_eq!(crank.starter(true, 12.0, 0.0), (crank.starter_nm, 1.0));
    }
}
