//! Idle air: feed-forward for what is known to load the engine, feedback on speed for the rest.

use trimwright_numerics::Real;

use crate::believe::Belief;
use crate::setup::Setup;
use trimwright_numerics::parameters::along;

/// Valve duty against coolant temperature, K: cold oil drags (engineering judgement).
const BY_ECT: [(f32, f32); 5] = [(253.0, 0.75), (273.0, 0.62), (293.0, 0.52), (323.0, 0.40), (355.0, 0.30)];
/// Speed over the warm idle against coolant temperature, rad/s.
const FASTER: [(f32, f32); 4] = [(253.0, 52.0), (293.0, 31.0), (323.0, 10.0), (345.0, 0.0)];
/// Warm idle below which each fan gets so much more speed, and up to which at most, rad/s (about 50 rpm, up to 750): an alternator gives
/// little at a slow idle (common practice, no source).
const FASTER_BY_FAN: f32 = 5.0;
const SLOW_RAD_PER_S: f32 = 78.5;
/// How fast it comes and goes, rad/s^2: as fast as the air that carries it.
const FASTER_PER_S: f32 = 5.0;
/// Extra duty with the air-conditioning compressor on.
const AC_DUTY: f32 = 0.09;
/// How fast the duty for loads comes and goes, 1/s: a step of air leaves film and pressure reading behind.
const LOADS_PER_S: f32 = 0.13;
/// Extra duty for each fan.
const FAN_DUTY: f32 = 0.015;
/// Extra duty in a driving range against coolant temperature, K: the converter grips at once, and with cold oil it drags more.
const GEAR_DUTY: [(f32, f32); 2] = [(293.0, 0.12), (350.0, 0.04)];
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
/// Throttle closed this long out of gear: nothing but the idle air keeps the speed up, and feedback acts however high it is, s.
const CLOSED_S: f32 = 1.5;
/// Extra duty for each rad/s^2 by which the speed falls, up to [`CATCH_LIMIT`]: catches an engine before it is too slow.
const CATCH: f32 = 0.0005;
/// Most extra duty for a falling speed.
const CATCH_LIMIT: f32 = 0.12;
/// Time constant of the rate of speed, s.
const RATE_S: f32 = 0.06;
/// Extra duty for each rad/s above target while the throttle is open, up to [`DASHPOT_LIMIT`]: lets the speed down gently.
const DASHPOT: f32 = 0.0008;
/// Most extra duty of the dashpot.
const DASHPOT_LIMIT: f32 = 0.08;

/// Extra duty while the wall gives off more fuel than the charge should have, and the time constant in which it goes, s: a throttle let go
/// fast at speed leaves a film that only air can burn (a dashpot's oldest use: common practice, no source).
const WET_DUTY: f32 = 0.7;
const WET_S: f32 = 0.3;

/// What loads the engine.
///
/// ```
/// use trimwright_control::believe::Belief;
/// use trimwright_control::idle::{Idle, Loads};
/// use trimwright_control::{Calibration, SetupAnswers};
/// let calibration = Calibration::from_answers(&SetupAnswers::default())?;
/// let duty = |loads| {
///     let mut idle = Idle::default();
///     idle.step(&calibration, &Belief::default(), loads, 73.3, 600.0, 0.01);
///     idle.duty
/// };
/// // A driving range drags with cold oil: 12 % more duty at once.
/// let in_gear = Loads { in_gear: true, ..Loads::default() };
/// assert!((duty(in_gear) - duty(Loads::default()) - 0.12).abs() < 1e-3);
/// # Ok::<(), trimwright_control::AnswerError>(())
/// ```
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub struct Loads {
    /// Compressor clutch is, or is about to be, engaged.
    pub ac: bool,
    /// Fans that run or are about to.
    pub fans: u8,
    /// A driving range is engaged.
    pub in_gear: bool,
    /// The wall gives off as much fuel as the charge should have, or more.
    pub wet: bool,
}

/// Idle control.
///
/// ```
/// use trimwright_control::believe::Belief;
/// use trimwright_control::idle::{Idle, Loads};
/// use trimwright_control::{Calibration, SetupAnswers};
/// let calibration = Calibration::from_answers(&SetupAnswers::default())?;
/// let mut idle = Idle::default();
/// // Warm is 73.3 rad/s (700 rpm); at 20 degC the engine is to idle 31 rad/s (296 rpm) faster.
/// idle.step(&calibration, &Belief::default(), Loads::default(), 104.0, 600.0, 0.01);
/// assert!((idle.target_rad_per_s - 104.3).abs() < 0.1 && idle.active);
/// # Ok::<(), trimwright_control::AnswerError>(())
/// ```
#[derive(Clone, Copy, Debug, Default, PartialEq)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub struct Idle {
    /// What feedback had to add to the duty that is known to be needed, ratio: negative when air comes in elsewhere.
    pub integral: f32,
    pub(crate) closed_s: f32,
    pub(crate) speed_rad_per_s: f32,
    /// Rate of crank speed, lagged, rad/s^2.
    pub rate_rad_per_s2: f32,
    /// Wanted idle speed, rad/s.
    pub target_rad_per_s: f32,
    /// Duty given against a wet wall, ratio.
    pub(crate) wet: f32,
    /// Speed given for fans, rad/s.
    pub(crate) faster_rad_per_s: f32,
    /// Duty given for loads that the controller switches itself, ratio.
    pub(crate) loads: f32,
    /// Speed is being held.
    pub active: bool,
    /// Valve duty, 0 to 1.
    pub duty: f32,
}

impl Idle {
    /// One 10 ms slot.
    ///
    /// ```
    /// use trimwright_control::believe::Belief;
    /// use trimwright_control::idle::{Idle, Loads};
    /// use trimwright_control::{Calibration, SetupAnswers};
    /// let calibration = Calibration::from_answers(&SetupAnswers::default())?;
    /// let (mut idle, mut warm) = (Idle::default(), Belief::default());
    /// warm.ect_k = 360.0;
    /// // 10 rad/s too slow for two seconds: feedback adds air, and remembers some of it.
    /// (0..200).for_each(|_| idle.step(&calibration, &warm, Loads::default(), 63.3, 600.0, 0.01));
    /// assert!(idle.integral > 0.02 && idle.duty > 0.30 + idle.integral);
    /// # Ok::<(), trimwright_control::AnswerError>(())
    /// ```
    pub fn step(
        &mut self,
        setup: &Setup,
        belief: &Belief,
        loads: Loads,
        speed_rad_per_s: f32,
        since_start_s: f32,
        dt_s: f32,
    ) {
        let warm = setup.answers().idle_speed_rad_per_s;
        let faster = (SLOW_RAD_PER_S - warm).held(0.0, FASTER_BY_FAN * f32::from(loads.fans));
        let rise = FASTER_PER_S * dt_s;
        self.faster_rad_per_s += (faster - self.faster_rad_per_s).held(-rise, rise);
        self.target_rad_per_s = warm + along(&FASTER, belief.ect_k).max(self.faster_rad_per_s);
        let error = self.target_rad_per_s - speed_rad_per_s;
        let closed = belief.throttle_closed;
        self.closed_s = if closed { (self.closed_s + dt_s).min(10.0) } else { 0.0 };
        let change = speed_rad_per_s - core::mem::replace(&mut self.speed_rad_per_s, speed_rad_per_s);
        self.rate_rad_per_s2 += (change - self.rate_rad_per_s2 * dt_s) / (RATE_S + dt_s);
        let free = self.closed_s > CLOSED_S && !loads.in_gear;
        self.active = closed && since_start_s > 1.0 && (free || error > -NEAR_RAD_PER_S);
        let over = -error;
        let error = error.max(-NEAR_RAD_PER_S);
        let wanted_for_loads = if loads.ac { AC_DUTY } else { 0.0 } + FAN_DUTY * f32::from(loads.fans);
        let reach = LOADS_PER_S * dt_s;
        self.loads += (wanted_for_loads - self.loads).held(-reach, reach);
        let fast = speed_rad_per_s > 2.0 * self.target_rad_per_s;
        self.wet = if loads.wet && fast { WET_DUTY } else { self.wet - dt_s / (WET_S + dt_s) * self.wet };
        let known = along(&BY_ECT, belief.ect_k)
            + self.loads
            + self.wet
            + if loads.in_gear { along(&GEAR_DUTY, belief.ect_k) } else { 0.0 }
            + START_DUTY * (1.0 - since_start_s / 5.0).held(0.0, 1.0);
        let catch = (-CATCH * self.rate_rad_per_s2).held(0.0, CATCH_LIMIT);
        let quick = if self.active {
            let wanted = known + self.integral + GAIN * error;
            let runs_out = (wanted >= 1.0 && error > 0.0) || (wanted <= 0.0 && error < 0.0);
            if !runs_out && since_start_s > 5.0 && catch < 0.5 * CATCH_LIMIT {
                let next = self.integral + INTEGRAL_GAIN * error * dt_s;
                self.integral = next.held(-INTEGRAL_LIMIT, INTEGRAL_LIMIT);
            }
            GAIN * error + catch
        } else {
            (DASHPOT * over).held(0.0, DASHPOT_LIMIT)
        };
        self.duty = (known + self.integral + quick).held(0.0, 1.0);
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::answers::SetupAnswers;
    use crate::calibration::Calibration;

    fn duty(idle: &mut Idle, tp: f32, ect_k: f32, loads: Loads, speed: f32, seconds: f32) -> f32 {
        let calibration = Calibration::from_answers(&SetupAnswers::default()).unwrap();
        let belief = Belief { tp, throttle_closed: tp < 0.02, ect_k, ..Belief::default() };
        for _ in 0..(seconds * 100.0) as u32 {
            idle.step(&calibration, &belief, loads, speed, 100.0, 0.01);
        }
        idle.duty
    }

    #[test]
    fn known_loads_get_air_before_the_speed_drops() {
        let plain = duty(&mut Idle::default(), 0.0, 360.0, Loads::default(), 73.3, 0.01);
        let loaded = Loads { ac: true, fans: 2, in_gear: false, wet: false };
        let after = |seconds: f32| {
            let faster = 73.3 + f32::min(FASTER_PER_S * seconds, SLOW_RAD_PER_S - 73.3);
            duty(&mut Idle::default(), 0.0, 360.0, loaded, faster, seconds) - plain
        };
        assert!(after(1.2) > 0.1);
        assert!(
            (0.05..0.08).contains(&after(0.5)),
            "air comes no faster than film and pressure reading can follow"
        );
        let in_gear = Loads { in_gear: true, ..Loads::default() };
        let geared = |ect_k| {
            let at = |loads| duty(&mut Idle::default(), 0.0, ect_k, loads, 73.3, 0.01);
            at(in_gear) - at(Loads::default())
        };
        assert!((geared(360.0) - 0.04).abs() < 1e-4 && geared(283.0) > 0.1, "cold oil drags");
        assert!(duty(&mut Idle::default(), 0.0, 263.0, Loads::default(), 73.3, 0.01) > plain + 0.2);
    }

    #[test]
    fn a_slow_idle_is_faster_with_a_fan_for_the_alternator_and_not_on_top_of_the_cold_one() {
        let target = |ect_k, fans| {
            let mut idle = Idle::default();
            duty(&mut idle, 0.0, ect_k, Loads { fans, ..Loads::default() }, 75.0, 1.2);
            idle.target_rad_per_s
        };
        assert!((target(360.0, 1) - target(360.0, 0) - FASTER_BY_FAN).abs() < 1e-4);
        assert_eq!(target(263.0, 1), target(263.0, 0));
    }

    #[test]
    fn a_wall_that_gives_off_too_much_gets_air_at_speed_and_none_at_idle() {
        let wet = Loads { wet: true, ..Loads::default() };
        let more = |idle: &mut Idle, speed| {
            duty(idle, 0.0, 360.0, wet, speed, 0.05)
                - duty(&mut Idle::default(), 0.0, 360.0, Loads::default(), speed, 0.05)
        };
        let mut idle = Idle::default();
        assert!(more(&mut idle, 300.0) > 0.4 && more(&mut Idle::default(), 75.0).abs() < 1e-6);
        let after = duty(&mut idle, 0.0, 360.0, Loads::default(), 300.0, 1.0);
        let dry = duty(&mut Idle::default(), 0.0, 360.0, Loads::default(), 300.0, 1.0);
        assert!(after < dry + 0.05, "gone when the wall is dry: {after} {dry}");
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
    fn a_free_engine_that_idles_far_too_fast_is_brought_down() {
        let mut idle = Idle::default();
        let at_first = duty(&mut idle, 0.0, 360.0, Loads::default(), 160.0, 1.0);
        assert!(!idle.active);
        assert!(duty(&mut idle, 0.0, 360.0, Loads::default(), 160.0, 3.0) < at_first - 0.15 && idle.active);
        let in_gear = Loads { in_gear: true, ..Loads::default() };
        let mut coasting = Idle::default();
        duty(&mut coasting, 0.0, 360.0, in_gear, 160.0, 4.0);
        assert!(!coasting.active && coasting.integral == 0.0, "in gear the car turns it");
    }

    #[test]
    fn a_falling_speed_gets_air_before_it_is_too_low() {
        let after = |fall_per_slot: f32| {
            let mut idle = Idle::default();
            (0..20)
                .map(|slot| {
                    duty(&mut idle, 0.0, 360.0, Loads::default(), 105.0 - fall_per_slot * slot as f32, 0.01)
                })
                .last()
        };
        let slow = 105.0 - 1.5 * 19.0;
        let steady = duty(&mut Idle::default(), 0.0, 360.0, Loads::default(), slow, 0.3);
        assert!(after(1.5).is_some_and(|duty| duty > steady + 0.02), "{:?} {steady}", after(1.5));
    }

    #[test]
    fn with_an_open_throttle_it_holds_and_opens_a_dashpot() {
        let mut idle = Idle::default();
        let slow = duty(&mut idle, 0.2, 360.0, Loads::default(), 80.0, 1.0);
        let fast = duty(&mut idle, 0.2, 360.0, Loads::default(), 300.0, 1.0);
        assert!(!idle.active && idle.integral == 0.0 && fast > slow + 0.05);
    }
}
