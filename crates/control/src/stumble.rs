//! Extra fuel for an engine that stumbles or dies before its oxygen sensor can tell why.
//!
//! Until the sensor is ready nothing measures the mixture but the crank: an engine out of gear with closed throttle whose speed falls far below
//! what it is to idle at gets too little fuel more often than too much, for a lean charge burns badly long before a rich one does.
//! Each such fall adds some fuel. A start that did not last may have been too lean or too rich: the next one is tried richer, the
//! one after it leaner, and so on, farther each time. With the sensor at work all that fades, and the trim does what is left to do.

use trimwright_numerics::Real;

use crate::phase::Phase;

trimwright_numerics::parameters! {
    /// Extra fuel for an engine that stumbles or dies before its oxygen sensor can tell why.
    #[cfg_attr(feature = "defmt", derive(defmt::Format))]
    pub struct StartAssistParameters<f32> "start_assist" {
        /// Speed over the wanted idle speed below which a falling speed is a stumble.
        number slow { 0.8, 0.4..=0.98 "1", "engineering judgement" }
        /// Rate of fall of speed from which it is a stumble.
        number falls_rad_per_s2 { 40.0, 5.0..=300.0 "rad/s2", "engineering judgement" }
        /// Extra fuel gained while the engine stumbles, share of the fuel.
        number gain_per_s { 0.4, 0.0..=5.0 "1/s", "engineering judgement" }
        /// By how much richer, and every other time leaner, the start after one that did not last is tried, share of the fuel.
        number try_step { 0.12, 0.0..=0.4 "1", "engineering judgement" }
        /// An engine that dies within this time after its start died of the start.
        number start_s { 20.0, 1.0..=120.0 "s", "engineering judgement" }
        /// Farthest that help for a stumbling engine may change the fuel, share.
        number most { 0.4, 0.0..=0.8 "1", "engineering judgement" }
        /// Time constant in which help for a stumbling engine fades while nothing measures the mixture.
        number fades_blind_s { 60.0, 1.0..=1000.0 "s", "engineering judgement" }
        /// Time constant in which help for a stumbling engine fades with the oxygen sensor at work.
        number fades_measured_s { 6.0, 0.5..=100.0 "s", "engineering judgement" }
    }
}

/// What is seen of the engine.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Run {
    /// What the engine is doing.
    pub phase: Phase,
    /// Time since it started, s; 0 before.
    pub since_start_s: f32,
    /// Crank speed over the wanted idle speed.
    pub speed_ratio: f32,
    /// Rate of crank speed, rad/s^2.
    pub rate_rad_per_s2: f32,
    /// The throttle is closed and no driving range engaged: nothing but its own mixture slows the engine down so quickly.
    pub free: bool,
    /// The oxygen sensor tells the mixture.
    pub measured: bool,
}

/// Extra fuel for an engine that stumbles.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub struct Stumble {
    richer: f32,
    /// It runs, and would die of its start.
    young: bool,
    tries: u8,
}

impl Stumble {
    /// Extra fuel, share; below 0 less.
    pub const fn richer(&self) -> f32 {
        self.richer
    }

    /// One 10 ms slot. Gives the extra fuel, share.
    ///
    /// ```
    /// use trimwright_control::Phase;
    /// use trimwright_control::stumble::{Run, StartAssistParameters, Stumble};
    /// let parameters = StartAssistParameters::DEFAULT;
    /// let mut run = Run { phase: Phase::Running, since_start_s: 5.0, speed_ratio: 0.6, rate_rad_per_s2: -100.0,
    ///     free: true, measured: false };
    /// let mut stumble = Stumble::default();
    /// (0..25).for_each(|_| _ = stumble.step(&parameters, &run, 0.01));
    /// assert!((stumble.richer() - 0.10).abs() < 0.005, "a quarter of a second of falling: 10 % more fuel");
    /// (run.speed_ratio, run.rate_rad_per_s2, run.measured) = (1.0, 0.0, true);
    /// (0..2000).for_each(|_| _ = stumble.step(&parameters, &run, 0.01));
    /// assert!(stumble.richer() < 0.005, "gone when the sensor has been at work for 20 s");
    /// ```
    pub fn step(&mut self, parameters: &StartAssistParameters, run: &Run, dt_s: f32) -> f32 {
        let started = run.phase.started();
        let died = !started && core::mem::take(&mut self.young);
        let stumbles = run.phase.burns()
            && run.free
            && !run.measured
            && run.rate_rad_per_s2 < -parameters.falls_rad_per_s2
            && run.speed_ratio < parameters.slow;
        let fades_s = if run.measured { parameters.fades_measured_s } else { parameters.fades_blind_s };
        self.richer *= 1.0 - dt_s / (fades_s + dt_s);
        if stumbles {
            self.richer += parameters.gain_per_s * dt_s;
        }
        if died {
            // 1, -1, 2, -2 ... times the step: each try is as far from the one before as its number.
            self.tries = self.tries.saturating_add(1);
            let step = parameters.try_step * f32::from(self.tries);
            self.richer += if self.tries % 2 == 1 { step } else { -step };
        } else if run.measured {
            self.tries = 0;
        }
        self.richer = self.richer.held(-parameters.most, parameters.most);
        if started {
            self.young = run.since_start_s < parameters.start_s;
        }
        self.richer
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    const ASSIST: StartAssistParameters = StartAssistParameters::DEFAULT;

    const IDLE: Run = Run {
        phase: Phase::Running,
        since_start_s: 5.0,
        speed_ratio: 1.0,
        rate_rad_per_s2: 0.0,
        free: true,
        measured: false,
    };

    fn after(stumble: &mut Stumble, run: Run, seconds: f32) -> f32 {
        (0..(seconds * 100.0) as u32).for_each(|_| _ = stumble.step(&ASSIST, &run, 0.01));
        stumble.richer
    }

    #[test]
    fn an_engine_that_runs_evenly_gets_nothing() {
        assert_eq!(after(&mut Stumble::default(), IDLE, 60.0), 0.0);
    }

    #[test]
    fn a_fall_below_the_idle_speed_is_answered_only_while_nothing_measures_the_mixture() {
        let falls = Run { speed_ratio: 0.6, rate_rad_per_s2: -100.0, ..IDLE };
        let fallen = after(&mut Stumble::default(), falls, 0.25);
        assert!((0.08..0.12).contains(&fallen), "{fallen}");
        assert_eq!(after(&mut Stumble::default(), Run { measured: true, ..falls }, 0.25), 0.0);
        assert_eq!(after(&mut Stumble::default(), Run { free: false, ..falls }, 0.25), 0.0);
        assert_eq!(after(&mut Stumble::default(), Run { phase: Phase::FuelCut, ..falls }, 0.25), 0.0);
        assert_eq!(after(&mut Stumble::default(), falls, 30.0), ASSIST.most);
    }

    #[test]
    fn a_start_that_did_not_last_is_tried_richer_then_leaner_and_a_later_end_is_not() {
        let stands = Run { phase: Phase::Stopped, since_start_s: 0.0, speed_ratio: 0.0, ..IDLE };
        let mut stumble = Stumble::default();
        after(&mut stumble, IDLE, 0.1);
        let once = after(&mut stumble, stands, 1.0);
        assert!((0.1..=ASSIST.try_step).contains(&once), "{once}");
        assert!(after(&mut stumble, stands, 1.0) <= once, "one death counts once");
        after(&mut stumble, IDLE, 0.1);
        assert!(after(&mut stumble, stands, 0.1) < -0.05, "it may have been too rich");
        after(&mut stumble, IDLE, 0.1);
        assert!(after(&mut stumble, stands, 0.1) > once + 0.05);
        let mut later = Stumble::default();
        after(&mut later, Run { since_start_s: 100.0, ..IDLE }, 0.1);
        assert_eq!(after(&mut later, stands, 1.0), 0.0);
    }

    #[test]
    fn with_the_sensor_at_work_it_fades() {
        let mut stumble = Stumble { richer: 0.3, ..Stumble::default() };
        assert!(after(&mut stumble, Run { measured: true, ..IDLE }, 20.0) < 0.02);
    }
}
