//! Start assist: additional fuel for an engine that stumbles or stalls before the lambda sensor is ready.
//!
//! Until then only the crank shows the mixture. An engine out of gear with closed throttle whose speed falls far below the idle speed is
//! more often too lean than too rich, because a lean charge stops burning first. Each such fall adds fuel. After a start that did not last,
//! the next is tried richer if the engine stumbled or was tried leaner, else leaner: it died without having asked for fuel. After cranking
//! in vain the next is tried leaner and richer by turns; in the cold, where a wetter manifold may be enough, from the third time on. Each
//! try goes farther than the one before. With a lambda reading that shows the change to be too large all that fades and the trim takes over.

use trimwright_numerics::Real;

use crate::phase::Phase;

trimwright_numerics::parameters! {
    /// Additional fuel for an engine that stumbles or stalls before the lambda sensor is ready.
    #[cfg_attr(feature = "defmt", derive(defmt::Format))]
    pub struct StartAssistParameters<f32> "start_assist" {
        /// Speed over the idle speed below which a falling speed is a stumble.
        number slow_ratio { 0.8, 0.4..=0.98 "1", "engineering judgement" }
        /// Rate of falling speed above which it is a stumble.
        number fall_rate_rad_per_s2 { 40.0, 5.0..=300.0 "rad/s2", "engineering judgement" }
        /// Additional fuel per time of stumbling, share of fuel.
        number gain_per_s { 0.3, 0.0..=5.0 "1/s", "engineering judgement" }
        /// Change of fuel for the start after one that did not last or cranking in vain, share of fuel; the next is changed by twice that, and so on.
        number retry_step { 0.35, 0.0..=0.4 "1", "engineering judgement" }
        /// Coolant temperature below which the fuel stays unchanged for the next start after the first and the second cranking in vain.
        number cold_k { 268.0, 220.0..=320.0 "K", "engineering judgement" }
        /// Time after a start within which stalling counts as a failed start.
        number start_window_s { 20.0, 1.0..=120.0 "s", "engineering judgement" }
        /// Upper limit of the change of fuel, share; the lower one is the same ratio of fuel the other way.
        number max_share { 1.5, 0.0..=2.0 "1", "engineering judgement" }
        /// Time constant of fading without a valid lambda reading.
        number fade_open_loop_s { 60.0, 1.0..=1000.0 "s", "engineering judgement" }
        /// Time constant of fading with a lambda reading that shows the change to be too large.
        number fade_closed_loop_s { 6.0, 0.5..=100.0 "s", "engineering judgement" }
    }
}

/// Inputs of the start assist.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct StartAssistInputs {
    /// Engine phase.
    pub phase: Phase,
    /// Time since the start, s; 0 before.
    pub since_start_s: f32,
    /// Crank speed over the target idle speed.
    pub speed_ratio: f32,
    /// Rate of crank speed, rad/s^2.
    pub rate_rad_per_s2: f32,
    /// Throttle closed and out of gear, so that only the mixture slows the engine down.
    pub free: bool,
    /// Coolant temperature, K.
    pub ect_k: f32,
    /// A valid lambda reading shows as much fuel as is wanted without the change, or more; with less fuel than usual, no more than that.
    pub measured: bool,
}

/// What the engine has done since it last stood.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
enum Attempt {
    #[default]
    None,
    /// The starter has turned it.
    Cranked,
    /// It runs and has not outlasted the start window.
    Ran,
    /// It has outlasted the start window.
    Lasted,
}

/// Stage of the start assist.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub struct StartAssist {
    fuel_share: f32,
    attempt: Attempt,
    tries: u8,
}

impl StartAssist {
    /// Additional fuel, share; negative for less fuel.
    pub const fn fuel_share(&self) -> f32 {
        self.fuel_share
    }

    /// 10 ms task. Returns the additional fuel, share.
    ///
    /// ```
    /// use trimwright_control::Phase;
    /// use trimwright_control::fueling::{StartAssist, StartAssistInputs};
    /// use trimwright_control::parameters::StartAssistParameters;
    /// let parameters = StartAssistParameters::DEFAULT;
    /// let mut inputs = StartAssistInputs { phase: Phase::Running, since_start_s: 5.0, speed_ratio: 0.6, rate_rad_per_s2: -100.0,
    ///     free: true, ect_k: 300.0, measured: false };
    /// let mut assist = StartAssist::default();
    /// (0..25).for_each(|_| _ = assist.step(&parameters, &inputs, 0.01));
    /// assert!((assist.fuel_share() - 0.075).abs() < 0.005, "a quarter of a second of falling speed: 7.5 % more fuel");
    /// (inputs.speed_ratio, inputs.rate_rad_per_s2, inputs.measured) = (1.0, 0.0, true);
    /// (0..2000).for_each(|_| _ = assist.step(&parameters, &inputs, 0.01));
    /// assert!(assist.fuel_share() < 0.005, "faded after 20 s of readings");
    /// ```
    pub fn step(&mut self, parameters: &StartAssistParameters, inputs: &StartAssistInputs, dt_s: f32) -> f32 {
        let most = parameters.max_share;
        let stumbles = inputs.phase.burns()
            && inputs.free
            && !inputs.measured
            && inputs.rate_rad_per_s2 < -parameters.fall_rate_rad_per_s2
            && inputs.speed_ratio < parameters.slow_ratio;
        let fade_s =
            if inputs.measured { parameters.fade_closed_loop_s } else { parameters.fade_open_loop_s };
        self.fuel_share *= 1.0 - dt_s / (fade_s + dt_s);
        if stumbles {
            self.fuel_share += parameters.gain_per_s * dt_s;
        }
        if inputs.measured {
            self.tries = 0;
        }
        match inputs.phase {
            Phase::Stopped | Phase::Priming => {
                // A turning engine was switched off.
                let stalled = inputs.speed_ratio <= 0.0;
                let attempt = core::mem::take(&mut self.attempt);
                let richer = match attempt {
                    Attempt::Cranked if stalled => Some(self.fuel_share < 0.0),
                    Attempt::Ran if stalled => Some(
                        self.fuel_share < 0.0
                            || self.fuel_share > 0.5 * parameters.retry_step
                                && self.fuel_share < most - parameters.retry_step,
                    ),
                    _ => None,
                };
                if let Some(richer) = richer {
                    self.tries = self.tries.saturating_add(1);
                    // What is cranked in vain wets a cold manifold: the first two times that alone makes the next try another.
                    let keeps_fuel = attempt == Attempt::Cranked && inputs.ect_k < parameters.cold_k;
                    let steps = if keeps_fuel { self.tries.saturating_sub(2) } else { self.tries };
                    let step = parameters.retry_step * f32::from(steps);
                    self.fuel_share += if richer { step } else { -step };
                }
            }
            Phase::Cranking if inputs.free && self.attempt == Attempt::None => {
                self.attempt = Attempt::Cranked
            }
            Phase::Cranking => (),
            _ if inputs.since_start_s < parameters.start_window_s => self.attempt = Attempt::Ran,
            _ => self.attempt = Attempt::Lasted,
        }
        self.fuel_share = self.fuel_share.held(-most / (1.0 + most), most);
        self.fuel_share
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    const ASSIST: StartAssistParameters = StartAssistParameters::DEFAULT;

    const IDLE: StartAssistInputs = StartAssistInputs {
        phase: Phase::Running,
        since_start_s: 5.0,
        speed_ratio: 1.0,
        rate_rad_per_s2: 0.0,
        free: true,
        ect_k: 300.0,
        measured: false,
    };

    fn after(assist: &mut StartAssist, inputs: StartAssistInputs, seconds: f32) -> f32 {
        (0..(seconds * 100.0) as u32).for_each(|_| _ = assist.step(&ASSIST, &inputs, 0.01));
        assist.fuel_share
    }

    #[test]
    fn an_engine_that_runs_evenly_gets_no_additional_fuel() {
        assert_eq!(after(&mut StartAssist::default(), IDLE, 60.0), 0.0);
    }

    #[test]
    fn a_stumble_adds_fuel_only_without_a_lambda_reading() {
        let falls = StartAssistInputs { speed_ratio: 0.6, rate_rad_per_s2: -100.0, ..IDLE };
        let fallen = after(&mut StartAssist::default(), falls, 0.25);
        assert!((0.06..0.09).contains(&fallen), "{fallen}");
        assert_eq!(
            after(&mut StartAssist::default(), StartAssistInputs { measured: true, ..falls }, 0.25),
            0.0
        );
        assert_eq!(after(&mut StartAssist::default(), StartAssistInputs { free: false, ..falls }, 0.25), 0.0);
        assert_eq!(
            after(&mut StartAssist::default(), StartAssistInputs { phase: Phase::FuelCut, ..falls }, 0.25),
            0.0
        );
        assert_eq!(after(&mut StartAssist::default(), falls, 30.0), ASSIST.max_share);
    }

    const STANDS: StartAssistInputs =
        StartAssistInputs { phase: Phase::Stopped, since_start_s: 0.0, speed_ratio: 0.0, ..IDLE };

    fn stands(assist: &mut StartAssist) -> f32 {
        after(assist, STANDS, 0.02)
    }

    #[test]
    fn a_failed_start_is_retried_leaner_or_richer_where_it_stumbled_and_a_later_stall_is_not() {
        let mut even = StartAssist::default();
        after(&mut even, IDLE, 0.1);
        let once = stands(&mut even);
        assert!((once + ASSIST.retry_step).abs() < 0.01, "{once}");
        assert!((stands(&mut even) - once).abs() < 0.01, "one stall counts once");
        let mut stumbled = StartAssist::default();
        after(&mut stumbled, StartAssistInputs { speed_ratio: 0.6, rate_rad_per_s2: -100.0, ..IDLE }, 1.0);
        let asked = stumbled.fuel_share();
        assert!((stands(&mut stumbled) - asked - ASSIST.retry_step).abs() < 0.01);
        after(&mut stumbled, IDLE, 0.1);
        assert!((stands(&mut stumbled) - asked - 3.0 * ASSIST.retry_step).abs() < 0.03, "by twice that");
        let most = ASSIST.max_share;
        let mut flooded = StartAssist { fuel_share: most, attempt: Attempt::Ran, tries: 0 };
        assert!(stands(&mut flooded) < most - 0.9 * ASSIST.retry_step, "no more helps");
        let mut later = StartAssist::default();
        after(&mut later, StartAssistInputs { since_start_s: 100.0, ..IDLE }, 0.1);
        after(&mut later, StartAssistInputs { phase: Phase::Cranking, speed_ratio: 0.2, ..IDLE }, 0.1);
        assert_eq!(stands(&mut later), 0.0, "it stalls long after the start");
        let mut switched_off = StartAssist::default();
        after(&mut switched_off, IDLE, 0.1);
        after(&mut switched_off, StartAssistInputs { speed_ratio: 0.9, ..STANDS }, 0.1);
        assert_eq!(stands(&mut switched_off), 0.0);
    }

    #[test]
    fn cranking_in_vain_is_tried_again_on_the_other_side_in_the_cold_from_the_third_time_on() {
        let cranks =
            StartAssistInputs { phase: Phase::Cranking, since_start_s: 0.0, speed_ratio: 0.2, ..IDLE };
        let tried = |assist: &mut StartAssist, inputs| {
            after(assist, inputs, 0.1);
            after(assist, StartAssistInputs { ect_k: inputs.ect_k, ..STANDS }, 0.02)
        };
        let least = -ASSIST.max_share / (1.0 + ASSIST.max_share) / ASSIST.retry_step;
        for (ect_k, expected) in [(300.0, &[-1.0_f32, 1.0, -2.0][..]), (250.0, &[0.0, 0.0, -1.0, 1.0, -2.0])]
        {
            let mut assist = StartAssist::default();
            for expected in expected {
                let share = tried(&mut assist, StartAssistInputs { ect_k, ..cranks }) / ASSIST.retry_step;
                assert!((share - expected.max(least)).abs() < 0.03, "{ect_k}: {share} {expected}");
            }
        }
        let open = StartAssistInputs { free: false, ..cranks };
        assert_eq!(tried(&mut StartAssist::default(), open), 0.0, "an open throttle clears a flooded engine");
    }

    #[test]
    fn with_a_lambda_reading_it_fades() {
        let mut assist = StartAssist { fuel_share: 0.3, ..StartAssist::default() };
        assert!(after(&mut assist, StartAssistInputs { measured: true, ..IDLE }, 20.0) < 0.02);
    }

    #[test]
    fn a_stumble_is_slow_and_falling_fast() {
        let stumbles = |speed_ratio, rate_rad_per_s2| {
            let mut assist = StartAssist::default();
            after(&mut assist, StartAssistInputs { speed_ratio, rate_rad_per_s2, ..IDLE }, 0.1);
            assist.fuel_share() > 0.0
        };
        assert!(stumbles(0.6, -100.0) && !stumbles(0.6, 0.0) && !stumbles(0.9, -100.0));
        assert!(!stumbles(0.6, -ASSIST.fall_rate_rad_per_s2) && !stumbles(ASSIST.slow_ratio, -100.0));
    }

    /// By hand: 20 s of a lag of 60 s, or with a lambda reading 2 s of 6 s, leave three quarters.
    #[test]
    fn additional_fuel_fades_slowly_without_a_reading_and_fast_with_one() {
        let left = |measured, dt_s| {
            let mut assist = StartAssist { fuel_share: 0.2, ..StartAssist::default() };
            assist.step(&ASSIST, &StartAssistInputs { measured, ..IDLE }, dt_s)
        };
        assert!((left(false, 20.0) - 0.15).abs() < 1e-6 && (left(true, 2.0) - 0.15).abs() < 1e-6);
    }

    #[test]
    fn a_stall_after_the_window_of_the_start_is_no_failed_start() {
        let tried = |since_start_s| {
            let mut assist = StartAssist::default();
            assist.step(&ASSIST, &StartAssistInputs { since_start_s, ..IDLE }, 0.01);
            assist.step(&ASSIST, &STANDS, 0.01);
            assist.tries
        };
        assert_eq!((tried(ASSIST.start_window_s - 0.1), tried(ASSIST.start_window_s)), (1, 0));
    }
}
