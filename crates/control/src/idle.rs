//! Idle air: feed-forward for what is known to load the engine, feedback on speed for the rest.

use trimwright_numerics::Real;

use crate::believe::Belief;
use crate::calibration::Calibration;
use crate::cuts::CLOSED_TP;
use crate::table::along;

/// Valve duty against coolant temperature, K: cold oil drags (engineering judgement).
const BY_ECT: [(f32, f32); 5] = [(253.0, 0.75), (273.0, 0.62), (293.0, 0.52), (323.0, 0.40), (355.0, 0.30)];
/// Speed over the warm idle against coolant temperature, rad/s.
const FASTER: [(f32, f32); 4] = [(253.0, 52.0), (293.0, 31.0), (323.0, 10.0), (345.0, 0.0)];
/// Extra duty with the air-conditioning compressor on.
const AC_DUTY: f32 = 0.07;
/// Extra duty for each fan.
const FAN_DUTY: f32 = 0.015;
/// Extra duty in a driving range.
const GEAR_DUTY: f32 = 0.04;
/// Extra duty right after the start, gone in 5 s: the flare that carries the engine up.
const START_DUTY: f32 = 0.12;
/// Proportional gain, duty per rad/s.
const GAIN: f32 = 0.0022;
/// Integral gain, duty per rad/s and s.
const INTEGRAL_GAIN: f32 = 0.0018;
/// Farthest the integral goes, duty.
const INTEGRAL_LIMIT: f32 = 0.25;
/// Speed above target up to which feedback acts, rad/s.
const NEAR_RAD_PER_S: f32 = 40.0;
/// Extra duty for each rad/s above target while the throttle is open, up to [`DASHPOT_LIMIT`]: lets the speed down gently.
const DASHPOT: f32 = 0.0008;
/// Most extra duty of the dashpot.
const DASHPOT_LIMIT: f32 = 0.08;

/// What loads the engine.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub struct Loads {
    /// Compressor clutch is, or is about to be, engaged.
    pub ac: bool,
    /// Fans running.
    pub fans: u8,
    /// A driving range is engaged.
    pub in_gear: bool,
}

/// Idle control.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub struct Idle {
    pub(crate) integral: f32,
    /// Wanted idle speed, rad/s.
    pub target_rad_per_s: f32,
    /// Speed is being held.
    pub active: bool,
    /// Valve duty, 0 to 1.
    pub duty: f32,
}

impl Idle {
    /// One 10 ms slot.
    pub fn step(
        &mut self,
        calibration: &Calibration,
        belief: &Belief,
        loads: Loads,
        speed_rad_per_s: f32,
        since_start_s: f32,
        dt_s: f32,
    ) {
        self.target_rad_per_s = calibration.answers().idle_speed_rad_per_s + along(&FASTER, belief.ect_k);
        let error = self.target_rad_per_s - speed_rad_per_s;
        let closed = belief.tp < CLOSED_TP && !belief.doubts.tp;
        self.active = closed && since_start_s > 1.0 && error > -NEAR_RAD_PER_S;
        let known = along(&BY_ECT, belief.ect_k)
            + if loads.ac { AC_DUTY } else { 0.0 }
            + if loads.in_gear { GEAR_DUTY } else { 0.0 }
            + FAN_DUTY * f32::from(loads.fans)
            + START_DUTY * (1.0 - since_start_s / 5.0).held(0.0, 1.0);
        let quick = if self.active {
            let wanted = known + self.integral + GAIN * error;
            let runs_out = (wanted >= 1.0 && error > 0.0) || (wanted <= 0.0 && error < 0.0);
            if !runs_out && since_start_s > 5.0 {
                let next = self.integral + INTEGRAL_GAIN * error * dt_s;
                self.integral = next.held(-INTEGRAL_LIMIT, INTEGRAL_LIMIT);
            }
            GAIN * error
        } else {
            (-DASHPOT * error).held(0.0, DASHPOT_LIMIT)
        };
        self.duty = (known + self.integral + quick).held(0.0, 1.0);
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::setup::SetupAnswers;

    fn duty(idle: &mut Idle, tp: f32, ect_k: f32, loads: Loads, speed: f32, seconds: f32) -> f32 {
        let calibration = Calibration::from_answers(&SetupAnswers::default()).unwrap();
        let belief = Belief { tp, ect_k, ..Belief::default() };
        for _ in 0..(seconds * 100.0) as u32 {
            idle.step(&calibration, &belief, loads, speed, 100.0, 0.01);
        }
        idle.duty
    }

    #[test]
    fn known_loads_get_air_before_the_speed_drops() {
        let plain = duty(&mut Idle::default(), 0.0, 360.0, Loads::default(), 73.3, 0.01);
        let loaded = Loads { ac: true, fans: 2, in_gear: true };
        assert!(duty(&mut Idle::default(), 0.0, 360.0, loaded, 73.3, 0.01) > plain + 0.1);
        assert!(duty(&mut Idle::default(), 0.0, 263.0, Loads::default(), 73.3, 0.01) > plain + 0.2);
    }

    #[test]
    fn a_slow_idle_gets_more_air_with_time_and_within_limits() {
        let mut idle = Idle::default();
        let at_once = duty(&mut idle, 0.0, 360.0, Loads::default(), 60.0, 0.01);
        assert!(duty(&mut idle, 0.0, 360.0, Loads::default(), 60.0, 2.0) > at_once + 0.03);
        assert!(duty(&mut idle, 0.0, 360.0, Loads::default(), 0.0, 500.0) <= 1.0);
        assert!(duty(&mut idle, 0.0, 360.0, Loads::default(), 90.0, 500.0) >= 0.0);
    }

    #[test]
    fn with_an_open_throttle_it_holds_and_opens_a_dashpot() {
        let mut idle = Idle::default();
        let slow = duty(&mut idle, 0.2, 360.0, Loads::default(), 80.0, 1.0);
        let fast = duty(&mut idle, 0.2, 360.0, Loads::default(), 300.0, 1.0);
        assert!(!idle.active && idle.integral == 0.0 && fast > slow + 0.05);
    }
}
