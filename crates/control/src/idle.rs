//! Idle speed control: feed-forward for known loads, feedback of speed for the rest.

use trimwright_numerics::Real;
use trimwright_numerics::parameters::along;

use crate::clock::LONG_S;
use crate::estimate::Estimate;
use crate::setup::Setup;

trimwright_numerics::parameters! {
    /// Idle speed control. The warm idle speed is a setup answer.
    #[cfg_attr(feature = "defmt", derive(defmt::Format))]
    pub struct IdleParameters<f32> "idle" {
        /// Duty of the idle air valve against coolant temperature.
        curve duty { [8] = [(253.0, 0.75), (273.0, 0.62), (293.0, 0.52), (323.0, 0.40), (355.0, 0.30)], 200.0..=420.0 "K" => 0.0..=1.0 "1", "engineering judgement" }
        /// Increase of the target speed against coolant temperature.
        curve cold_faster_rad_per_s { [8] = [(253.0, 52.0), (293.0, 31.0), (323.0, 10.0), (345.0, 0.0)], 200.0..=420.0 "K" => 0.0..=150.0 "rad/s", "engineering judgement" }
        /// Increase of the target speed with the compressor on or about to be; the largest increase counts.
        number ac_faster_rad_per_s { 0.0, 0.0..=60.0 "rad/s", "engineering judgement: air alone carries it" }
        /// Increase of the target speed for each fan that runs or is about to; the largest increase counts.
        number fan_faster_rad_per_s { 5.0, 0.0..=30.0 "rad/s", "common practice, no source: an alternator gives little at a slow idle" }
        /// Upper limit of the target speed that fans may ask for.
        number fan_max_rad_per_s { 78.5, 45.0..=200.0 "rad/s", "common practice, no source: an alternator gives little at a slow idle" }
        /// Slew limit of the target-speed increase for fan and compressor load.
        number target_slew_rad_per_s2 { 5.0, 0.1..=100.0 "rad/s2", "engineering judgement" }
        /// Additional duty with the compressor on.
        number ac_duty { 0.09, 0.0..=0.5 "1", "engineering judgement" }
        /// Additional duty for each fan.
        number fan_duty { 0.015, 0.0..=0.3 "1", "engineering judgement" }
        /// Slew limit of the duty for compressor and fans; faster air would outrun film and pressure reading.
        number load_slew_per_s { 0.13, 0.01..=10.0 "1/s", "engineering judgement" }
        /// Additional duty in a driving range against coolant temperature, for the drag of the converter.
        curve gear_duty { [4] = [(293.0, 0.12), (350.0, 0.04)], 200.0..=420.0 "K" => 0.0..=0.5 "1", "engineering judgement" }
        /// Additional duty right after the start.
        number start_duty { 0.12, 0.0..=0.7 "1", "engineering judgement" }
        /// Time in which the additional duty of the start fades.
        number start_s { 5.0, 0.1..=60.0 "s", "engineering judgement" }
        /// Proportional gain, duty per speed.
        number gain_s_per_rad { 0.0022, 0.0..=0.05 "s/rad", "engineering judgement" }
        /// Integral gain, duty per speed and time.
        number integral_gain_per_rad { 0.0018, 0.0..=0.05 "1/rad", "engineering judgement" }
        /// Limit of the integral term, duty.
        number integral_limit { 0.25, 0.0..=1.0 "1", "engineering judgement" }
        /// Time after the start before which the integral term is frozen.
        number integral_after_s { 5.0, 0.0..=60.0 "s", "engineering judgement" }
        /// Time after the start before which feedback is off.
        number active_after_s { 1.0, 0.0..=60.0 "s", "engineering judgement" }
        /// Speed above the target up to which feedback acts.
        number feedback_range_rad_per_s { 40.0, 5.0..=200.0 "rad/s", "engineering judgement" }
        /// Time with closed throttle out of gear after which feedback acts at any speed.
        number closed_throttle_s { 1.5, 0.0..=9.0 "s", "engineering judgement" }
        /// Derivative gain, duty per rate of falling speed.
        number derivative_gain_s2_per_rad { 0.0005, 0.0..=0.02 "s2/rad", "engineering judgement" }
        /// Upper limit of the derivative term, duty.
        number derivative_limit { 0.12, 0.0..=0.5 "1", "engineering judgement" }
        /// Time constant of the rate of speed.
        number rate_s { 0.06, 0.005..=1.0 "s", "engineering judgement" }
        /// Dashpot: additional duty per speed above the target while the throttle is open, so that the speed falls gently.
        number dashpot_s_per_rad { 0.0008, 0.0..=0.02 "s/rad", "engineering judgement" }
        /// Upper limit of the dashpot, duty.
        number dashpot_limit { 0.08, 0.0..=0.5 "1", "engineering judgement" }
        /// Additional duty while the wall film delivers more fuel than wanted, as after a throttle closed fast at speed.
        number wet_duty { 0.7, 0.0..=1.0 "1", "common practice, no source: the purpose of a dashpot" }
        /// Time constant with which that duty fades.
        number wet_s { 0.3, 0.01..=5.0 "s", "common practice, no source: the purpose of a dashpot" }
    }
}

/// Loads of an idling engine.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub struct Loads {
    /// The compressor clutch is engaged or about to be.
    pub ac: bool,
    /// Fans that run or are about to.
    pub fans: u8,
    /// A driving range is engaged.
    pub in_gear: bool,
    /// The wall film delivers as much fuel as wanted or more.
    pub wet: bool,
}

/// Stage of the idle speed control.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub struct Idle {
    integral: f32,
    closed_throttle_s: f32,
    speed_rad_per_s: f32,
    rate_rad_per_s2: f32,
    target_rad_per_s: f32,
    /// Additional duty for a wet wall, ratio.
    wet_duty: f32,
    /// Increase of the target speed for fans and compressor, rad/s.
    faster_rad_per_s: f32,
    /// Duty for compressor and fans, ratio.
    loads: f32,
    active: bool,
    duty: f32,
}

impl Idle {
    /// Valve duty, 0 to 1.
    pub const fn duty(&self) -> f32 {
        self.duty
    }

    /// Integral term of the duty, ratio; negative when unmetered air comes in.
    pub const fn integral(&self) -> f32 {
        self.integral
    }

    /// Rate of crank speed, lagged, rad/s^2.
    pub const fn rate_rad_per_s2(&self) -> f32 {
        self.rate_rad_per_s2
    }

    /// Target idle speed, rad/s.
    pub const fn target_rad_per_s(&self) -> f32 {
        self.target_rad_per_s
    }

    /// Whether feedback of speed is active.
    pub const fn is_active(&self) -> bool {
        self.active
    }

    /// 10 ms task. Returns the valve duty, 0 to 1.
    ///
    /// ```
    /// use trimwright_control::sensing::Estimate;
    /// use trimwright_control::outputs::{Idle, Loads};
    /// use trimwright_control::parameters::IdleParameters;
    /// use trimwright_control::{Calibration, SetupAnswers};
    /// let calibration = Calibration::from_answers(&SetupAnswers::default())?;
    /// let (parameters, setup) = (&calibration.parameters().idle, calibration.setup());
    /// let mut idle = Idle::default();
    /// // Warm is 73.3 rad/s (700 rpm); at 20 degC the engine is to idle 31 rad/s (296 rpm) faster.
    /// idle.step(parameters, setup, &Estimate::default(), Loads::default(), 94.0, 600.0, 0.01);
    /// assert!((idle.target_rad_per_s() - 104.3).abs() < 0.1 && idle.is_active());
    /// // 10 rad/s too slow for two seconds: feedback adds air, part of it in the integral term.
    /// (0..200).for_each(|_| _ = idle.step(parameters, setup, &Estimate::default(), Loads::default(), 94.0, 600.0, 0.01));
    /// assert!(idle.integral() > 0.02 && idle.duty() > 0.52 + idle.integral());
    /// # Ok::<(), trimwright_control::AnswerError>(())
    /// ```
    #[expect(clippy::too_many_arguments, reason = "its inputs come from many stages")]
    pub fn step(
        &mut self,
        parameters: &IdleParameters,
        setup: &Setup,
        estimate: &Estimate,
        loads: Loads,
        speed_rad_per_s: f32,
        since_start_s: f32,
        dt_s: f32,
    ) -> f32 {
        let warm = setup.answers().idle_speed_rad_per_s;
        let for_fans = parameters.fan_faster_rad_per_s * f32::from(loads.fans);
        let faster = (parameters.fan_max_rad_per_s - warm).held(0.0, for_fans);
        let faster = if loads.ac { faster.at_least(parameters.ac_faster_rad_per_s) } else { faster };
        let rise = parameters.target_slew_rad_per_s2 * dt_s;
        self.faster_rad_per_s += (faster - self.faster_rad_per_s).held(-rise, rise);
        let cold = along(&parameters.cold_faster_rad_per_s, estimate.ect_k);
        self.target_rad_per_s = warm + cold.at_least(self.faster_rad_per_s);
        let error = self.target_rad_per_s - speed_rad_per_s;
        let closed = estimate.throttle_closed;
        self.closed_throttle_s = if closed { (self.closed_throttle_s + dt_s).at_most(LONG_S) } else { 0.0 };
        let change = speed_rad_per_s - core::mem::replace(&mut self.speed_rad_per_s, speed_rad_per_s);
        self.rate_rad_per_s2 += (change - self.rate_rad_per_s2 * dt_s) / (parameters.rate_s + dt_s);
        let free = self.closed_throttle_s > parameters.closed_throttle_s && !loads.in_gear;
        let near = -parameters.feedback_range_rad_per_s;
        self.active = closed && since_start_s > parameters.active_after_s && (free || error > near);
        let over = -error;
        let error = error.at_least(near);
        let for_ac = if loads.ac { parameters.ac_duty } else { 0.0 };
        let wanted_for_loads = for_ac + parameters.fan_duty * f32::from(loads.fans);
        let slew = parameters.load_slew_per_s * dt_s;
        self.loads += (wanted_for_loads - self.loads).held(-slew, slew);
        let fast = speed_rad_per_s > 2.0 * self.target_rad_per_s;
        self.wet_duty = if loads.wet && fast {
            parameters.wet_duty
        } else {
            self.wet_duty - dt_s / (parameters.wet_s + dt_s) * self.wet_duty
        };
        let known = along(&parameters.duty, estimate.ect_k)
            + self.loads
            + self.wet_duty
            + if loads.in_gear { along(&parameters.gear_duty, estimate.ect_k) } else { 0.0 }
            + parameters.start_duty * (1.0 - since_start_s / parameters.start_s).held(0.0, 1.0);
        let derivative = (-parameters.derivative_gain_s2_per_rad * self.rate_rad_per_s2)
            .held(0.0, parameters.derivative_limit);
        let feedback = if self.active {
            let proportional = parameters.gain_s_per_rad * error;
            let wanted = known + self.integral + proportional;
            let runs_out = (wanted >= 1.0 && error > 0.0) || (wanted <= 0.0 && error < 0.0);
            let settled =
                since_start_s > parameters.integral_after_s && derivative < 0.5 * parameters.derivative_limit;
            if !runs_out && settled {
                let next = self.integral + parameters.integral_gain_per_rad * error * dt_s;
                self.integral = next.held(-parameters.integral_limit, parameters.integral_limit);
            }
            proportional + derivative
        } else {
            (parameters.dashpot_s_per_rad * over).held(0.0, parameters.dashpot_limit)
        };
        self.duty = (known + self.integral + feedback).held(0.0, 1.0);
        self.duty
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::answers::SetupAnswers;
    use crate::calibration::Calibration;

    const IDLE: IdleParameters = IdleParameters::DEFAULT;

    fn duty(idle: &mut Idle, tp: f32, ect_k: f32, loads: Loads, speed: f32, seconds: f32) -> f32 {
        duty_with(
            &IDLE,
            idle,
            Estimate { tp, throttle_closed: tp < 0.02, ect_k, ..Estimate::default() },
            loads,
            speed,
            seconds,
        )
    }

    fn duty_with(
        parameters: &IdleParameters,
        idle: &mut Idle,
        estimate: Estimate,
        loads: Loads,
        speed: f32,
        seconds: f32,
    ) -> f32 {
        let calibration = Calibration::from_answers(&SetupAnswers::default()).unwrap();
        for _ in 0..(seconds * 100.0) as u32 {
            idle.step(parameters, calibration.setup(), &estimate, loads, speed, 100.0, 0.01);
        }
        idle.duty
    }

    #[test]
    fn with_the_compressor_on_it_idles_faster_where_that_is_asked_for() {
        let target = |ac_faster_rad_per_s, ac, ect_k| {
            let parameters = IdleParameters { ac_faster_rad_per_s, ..IDLE };
            let (mut idle, loads) = (Idle::default(), Loads { ac, fans: 1, ..Loads::default() });
            duty_with(&parameters, &mut idle, Estimate { ect_k, ..Estimate::default() }, loads, 75.0, 4.0);
            idle.target_rad_per_s
        };
        assert_eq!(target(0.0, true, 360.0), target(0.0, false, 360.0));
        assert_eq!(target(10.0, false, 360.0), target(0.0, false, 360.0));
        assert!((target(10.0, true, 360.0) - 83.3).abs() < 1e-3, "{}", target(10.0, true, 360.0));
        assert_eq!(target(10.0, true, 263.0), target(0.0, true, 263.0), "a cold idle is fast enough");
    }

    #[test]
    fn known_loads_get_air_before_the_speed_drops() {
        let plain = duty(&mut Idle::default(), 0.0, 360.0, Loads::default(), 73.3, 0.01);
        let loaded = Loads { ac: true, fans: 2, in_gear: false, wet: false };
        let after = |seconds: f32| {
            let faster =
                73.3 + f32::min(IDLE.target_slew_rad_per_s2 * seconds, IDLE.fan_max_rad_per_s - 73.3);
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
        assert!((target(360.0, 1) - target(360.0, 0) - IDLE.fan_faster_rad_per_s).abs() < 1e-4);
        assert_eq!(target(263.0, 1), target(263.0, 0));
    }

    #[test]
    fn a_wet_wall_adds_air_at_speed_and_none_at_idle() {
        let wet = Loads { wet: true, ..Loads::default() };
        let more = |idle: &mut Idle, speed| {
            duty(idle, 0.0, 360.0, wet, speed, 0.05)
                - duty(&mut Idle::default(), 0.0, 360.0, Loads::default(), speed, 0.05)
        };
        let mut idle = Idle::default();
        assert!(more(&mut idle, 300.0) > 0.4 && more(&mut Idle::default(), 75.0).abs() < 1e-6);
        let after = duty(&mut idle, 0.0, 360.0, Loads::default(), 300.0, 1.0);
        let dry = duty(&mut Idle::default(), 0.0, 360.0, Loads::default(), 300.0, 1.0);
        assert!(after < dry + 0.05, "faded when the wall is dry: {after} {dry}");
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
        let after = |fall_per_step: f32| {
            let mut idle = Idle::default();
            (0..20)
                .map(|step| {
                    duty(&mut idle, 0.0, 360.0, Loads::default(), 105.0 - fall_per_step * step as f32, 0.01)
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

    /// A warm engine at rest on its idle speed of 73 rad/s, long after the start.
    #[derive(Clone, Copy)]
    struct At {
        ect_k: f32,
        closed: bool,
        loads: Loads,
        speed: f32,
        since_start_s: f32,
        dt_s: f32,
    }

    const AT: At = At {
        ect_k: 360.0,
        closed: true,
        loads: Loads { ac: false, fans: 0, in_gear: false, wet: false },
        speed: 73.0,
        since_start_s: 100.0,
        dt_s: 0.01,
    };

    fn step(idle: &mut Idle, parameters: &IdleParameters, at: At) -> f32 {
        let answers = SetupAnswers { idle_speed_rad_per_s: 73.0, ..SetupAnswers::default() };
        let calibration = Calibration::from_answers(&answers).unwrap();
        let estimate = Estimate { ect_k: at.ect_k, throttle_closed: at.closed, ..Estimate::default() };
        idle.step(parameters, calibration.setup(), &estimate, at.loads, at.speed, at.since_start_s, at.dt_s)
    }

    /// An idle controller that has been at this speed for long.
    fn settled(speed: f32) -> Idle {
        Idle { speed_rad_per_s: speed, closed_throttle_s: LONG_S, target_rad_per_s: 73.0, ..Idle::default() }
    }

    fn is_near(is: f32, expected: f32) -> bool {
        (is - expected).abs() < 1e-6
    }

    /// By hand: 0.30 when warm, 0.0022 s/rad and 0.0018 1/rad times 5 rad/s too slow.
    #[test]
    fn the_duty_is_feed_forward_proportional_and_integral_part() {
        let mut idle = settled(68.0);
        assert!(is_near(
            step(&mut idle, &IDLE, At { speed: 68.0, ..AT }),
            0.30 + 0.0022 * 5.0 + 0.0018 * 5.0 * 0.01
        ));
        assert!(idle.is_active() && is_near(idle.integral(), 0.0018 * 5.0 * 0.01));
        assert!(is_near(idle.duty(), step(&mut idle.clone(), &IDLE, At { speed: 68.0, dt_s: 0.0, ..AT })));
        assert_eq!(idle.target_rad_per_s(), 73.0);
        let mut fast = settled(78.0);
        assert!(is_near(
            step(&mut fast, &IDLE, At { speed: 78.0, ..AT }),
            0.30 - 0.0022 * 5.0 - 0.0018 * 5.0 * 0.01
        ));
    }

    /// By hand: 1.4 rad/s more in 10 ms moves a lag of 60 ms by a seventh of 140 rad/s2, the next by a seventh of the rest.
    #[test]
    fn the_rate_is_the_lagged_change_of_the_speed() {
        let mut idle = settled(73.0);
        step(&mut idle, &IDLE, At { speed: 74.4, ..AT });
        assert!((idle.rate_rad_per_s2() - 20.0).abs() < 1e-3);
        step(&mut idle, &IDLE, At { speed: 75.8, ..AT });
        assert!((idle.rate_rad_per_s2() - 20.0 - 120.0 / 7.0).abs() < 1e-3);
    }

    #[test]
    fn fans_raise_the_target_slowly_and_up_to_the_speed_an_alternator_needs() {
        let mut idle = settled(73.0);
        let at = At { loads: Loads { fans: 2, ..AT.loads }, ..AT };
        step(&mut idle, &IDLE, at);
        assert!((idle.target_rad_per_s() - 73.05).abs() < 1e-4, "5 rad/s2 for 10 ms");
        (0..300).for_each(|_| _ = step(&mut idle, &IDLE, at));
        assert_eq!(idle.target_rad_per_s(), 78.5);
        step(&mut idle, &IDLE, AT);
        assert!((idle.target_rad_per_s() - 78.45).abs() < 1e-4, "and back as slowly");
    }

    #[test]
    fn air_for_a_load_comes_and_goes_at_its_rate() {
        let open = At { closed: false, ..AT };
        let loaded = At { loads: Loads { ac: true, fans: 2, ..AT.loads }, ..open };
        let mut idle = settled(73.0);
        assert!(is_near(step(&mut idle, &IDLE, loaded), 0.30 + 0.13 * 0.01));
        (0..200).for_each(|_| _ = step(&mut idle, &IDLE, loaded));
        assert!(is_near(idle.duty(), 0.30 + 0.09 + 2.0 * 0.015));
        assert!(is_near(step(&mut idle, &IDLE, open), 0.30 + 0.12 - 0.13 * 0.01));
    }

    #[test]
    fn additional_air_after_a_start_fades_linearly() {
        let more =
            |since_start_s| step(&mut settled(73.0), &IDLE, At { since_start_s, closed: false, ..AT }) - 0.30;
        assert!(is_near(more(0.0), 0.12) && is_near(more(2.5), 0.06) && is_near(more(5.0), 0.0));
    }

    /// By hand: wet at more than twice the target; then 10 ms of a lag of 0.3 s take 0.01 / 0.31.
    #[test]
    fn a_wet_wall_counts_above_twice_the_target_speed_and_fades() {
        let wet = At { loads: Loads { wet: true, ..AT.loads }, closed: false, ..AT };
        let mut idle = settled(100.0);
        step(&mut idle, &IDLE, At { speed: 100.0, ..wet });
        assert_eq!(idle.wet_duty, 0.0);
        step(&mut idle, &IDLE, At { speed: 146.0, ..wet });
        assert_eq!(idle.wet_duty, 0.0);
        step(&mut idle, &IDLE, At { speed: 146.5, ..wet });
        assert_eq!(idle.wet_duty, IDLE.wet_duty);
        step(&mut idle, &IDLE, At { speed: 146.5, closed: false, ..AT });
        assert!(is_near(idle.wet_duty, 0.7 - 0.7 * 0.01 / 0.31));
    }

    #[test]
    fn feedback_begins_after_the_start_with_a_closed_throttle_near_the_target_or_out_of_gear() {
        let active = |at: At, closed_throttle_s| {
            let mut idle = Idle { closed_throttle_s, ..settled(at.speed) };
            step(&mut idle, &IDLE, At { dt_s: 0.25, ..at });
            idle.is_active()
        };
        assert!(active(AT, 0.0) && !active(At { closed: false, ..AT }, 0.0));
        assert!(!active(At { since_start_s: IDLE.active_after_s, ..AT }, 0.0));
        assert!(active(At { since_start_s: 1.1, ..AT }, 0.0));
        // 40 rad/s above the target it is near no more.
        assert!(active(At { speed: 112.5, ..AT }, 0.0) && !active(At { speed: 113.0, ..AT }, 0.0));
        assert!(active(At { speed: 113.0, ..AT }, 1.5) && !active(At { speed: 113.0, ..AT }, 1.25));
        let in_gear = Loads { in_gear: true, ..AT.loads };
        assert!(!active(At { speed: 113.0, loads: in_gear, ..AT }, 9.0));
    }

    #[test]
    fn the_integral_waits_after_a_start_and_while_the_speed_falls() {
        let moved = |since_start_s, rate_rad_per_s2| {
            let mut idle = Idle { rate_rad_per_s2, ..settled(70.0) };
            step(&mut idle, &IDLE, At { speed: 70.0, since_start_s, dt_s: 1e-4, ..AT });
            idle.integral() != 0.0
        };
        assert!(moved(5.1, 0.0) && !moved(IDLE.integral_after_s, 0.0));
        // Half of the derivative's limit of 0.12 is a fall of 120 rad/s2.
        assert!(moved(100.0, -115.0) && !moved(100.0, -125.0));
    }

    #[test]
    fn at_an_end_of_the_duty_the_integral_moves_only_back() {
        let moved = |integral, speed, wet_duty| {
            let mut idle = Idle { integral, wet_duty, ..settled(speed) };
            step(&mut idle, &IDLE, At { speed, dt_s: 1e-3, ..AT });
            ((idle.integral() - integral) * 1e6).round()
        };
        // 5 rad/s too slow or too fast move it by 9e-6 in 1 ms.
        assert_eq!([moved(0.0, 68.0, 0.5), moved(0.0, 78.0, 0.5)], [9.0, -9.0]);
        assert_eq!([moved(0.0, 68.0, 0.9), moved(0.0, 78.0, 0.9)], [0.0, -9.0]);
        let wide = IdleParameters { integral_limit: 1.0, ..IDLE };
        let moved = |integral, speed| {
            let mut idle = Idle { integral, ..settled(speed) };
            step(&mut idle, &wide, At { speed, dt_s: 1e-3, ..AT });
            ((idle.integral() - integral) * 1e6).round()
        };
        assert_eq!([moved(-0.4, 78.0), moved(-0.4, 68.0)], [0.0, 9.0]);
    }

    #[test]
    fn a_falling_speed_gets_air_in_proportion_up_to_a_limit() {
        let more = |rate_rad_per_s2| {
            let mut idle = Idle { rate_rad_per_s2, ..settled(73.0) };
            step(&mut idle, &IDLE, At { dt_s: 0.0, ..AT }) - 0.30
        };
        assert!(is_near(more(-100.0), 0.05) && is_near(more(-900.0), 0.12) && is_near(more(100.0), 0.0));
    }

    #[test]
    fn a_dashpot_opens_in_proportion_to_the_speed_above_the_target_up_to_a_limit() {
        let more = |speed| step(&mut settled(speed), &IDLE, At { speed, closed: false, ..AT }) - 0.30;
        assert!(is_near(more(123.0), 0.04) && is_near(more(400.0), 0.08) && is_near(more(60.0), 0.0));
    }

    /// By hand: 0.30 and 0.695 of known air, and 0.011 for 5 rad/s, are more than all.
    #[test]
    fn the_proportional_part_counts_for_the_end_of_the_duty() {
        let mut idle = Idle { wet_duty: 0.695, ..settled(68.0) };
        step(&mut idle, &IDLE, At { speed: 68.0, dt_s: 1e-5, ..AT });
        assert_eq!(idle.integral(), 0.0);
    }
}
