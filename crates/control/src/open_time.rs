//! Open times of the injectors for the fuel of one cylinder event.
//!
//! An even number of injectors fires in two halves by turns: pulses are twice as long, so errors of the opening delay count half. The order
//! is A B B A: on an engine that fires its banks alternately a sensor on one bank then sees both halves, and a difference between them does
//! not look like a mixture error. When pulses would overlap, the order is A B A B.

use trimwright_numerics::Real;
use trimwright_signals::MAX_INJECTORS;

use crate::injector::InjectorParameters;
use crate::setup::Setup;

trimwright_numerics::parameters! {
    /// Order and limits of the injector pulses.
    #[cfg_attr(feature = "defmt", derive(defmt::Format))]
    pub struct OpenTimeParameters<f32> "open_time" {
        /// Pulse over firing interval up to which the order is A B B A.
        number alternate_limit { 0.8, 0.3..=0.95 "1", "engineering judgement" }
        /// Duty of an injector above which it counts as limited.
        number duty_limit { 0.85, 0.5..=1.0 "1", "common practice, no source" }
        /// Upper limit of the open time of one pulse.
        number max_open_time_s { 0.1, 0.01..=0.5 "s", "engineering judgement" }
    }
}

/// Stage of the open times.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub struct OpenTime {
    /// Place in the order of the halves, 0 to 3.
    turn: u8,
    open_time_s: f32,
    injectors: u8,
    duty: f32,
    limited: bool,
}

/// Supply of the injectors.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct InjectorSupply {
    /// Supply voltage, V.
    pub battery_v: f32,
    /// Pressure drop over the injectors, Pa.
    pub drop_pa: f32,
    /// Time between firings, s; 0 when unknown.
    pub interval_s: f32,
    /// Learned correction of the opening delay, s.
    pub delay_correction_s: f32,
}

impl OpenTime {
    /// Open time of the last pulse, s.
    pub const fn open_time_s(&self) -> f32 {
        self.open_time_s
    }

    /// Number of injectors that opened for it.
    pub const fn injectors(&self) -> u8 {
        self.injectors
    }

    /// Duty of an injector, ratio of open time to the time between its pulses.
    pub const fn duty(&self) -> f32 {
        self.duty
    }

    /// Whether the duty is limited, so that the mixture may be leaner than wanted.
    pub const fn limited(&self) -> bool {
        self.limited
    }

    /// Open times for `fuel_kg` of one cylinder event, s.
    ///
    /// ```
    /// use trimwright_control::fueling::{InjectorSupply, OpenTime};
    /// use trimwright_control::{Calibration, SetupAnswers};
    /// let calibration = Calibration::from_answers(&SetupAnswers::default())?;
    /// let (parameters, setup) = (calibration.parameters(), calibration.setup());
    /// let supply = InjectorSupply { battery_v: 13.8, drop_pa: 360e3, interval_s: 20e-3, delay_correction_s: 0.0 };
    /// let mut stage = OpenTime::default();
    /// let mut open_s = || stage.step(&parameters.open_time, &parameters.injector, setup, 12e-6, &supply);
    /// // Half of the injectors at a time, in the order B B A A: each bank meets both halves.
    /// let opened = [open_s(), open_s(), open_s(), open_s()].map(|open_s| open_s.map(|open_s| open_s > 0.0));
    /// assert_eq!(opened[0][..4], [false, true, false, true]);
    /// assert!(opened[1] == opened[0] && opened[2] == opened[3] && opened[2] != opened[1]);
    /// // Two of the four share 12 mg for about 1.7 ms, 1 ms of which it takes to open.
    /// assert!((stage.open_time_s() - 1.7e-3).abs() < 0.1e-3 && stage.duty() < 0.05);
    /// # Ok::<(), trimwright_control::AnswerError>(())
    /// ```
    pub fn step(
        &mut self,
        parameters: &OpenTimeParameters,
        injector: &InjectorParameters,
        setup: &Setup,
        fuel_kg: f32,
        supply: &InjectorSupply,
    ) -> [f32; MAX_INJECTORS] {
        let injectors = usize::from(setup.answers().injectors).min(MAX_INJECTORS);
        let groups = usize::from(setup.firing_groups());
        let firing = (injectors / groups).max(1);
        self.injectors = firing as u8;
        let needed_s = injector.open_time_s(setup, fuel_kg / firing as f32, supply.battery_v, supply.drop_pa);
        let wanted_s = if needed_s > 0.0 { needed_s + supply.delay_correction_s } else { 0.0 };
        let max_open_time_s = parameters.max_open_time_s;
        let period_s =
            if supply.interval_s > 0.0 { supply.interval_s * groups as f32 } else { max_open_time_s };
        self.duty = wanted_s / period_s;
        self.limited = self.duty > parameters.duty_limit;
        self.open_time_s = wanted_s.held(0.0, period_s.at_most(max_open_time_s));
        let second = self.second_half(parameters.alternate_limit * supply.interval_s);
        let mut open_time_s = [0.0; MAX_INJECTORS];
        for (index, open) in open_time_s.iter_mut().enumerate().take(injectors) {
            let fires = groups == 1 || (index % 2 == 1) == second;
            *open = if fires { self.open_time_s } else { 0.0 };
        }
        open_time_s
    }

    /// Whether the second half fires next.
    fn second_half(&mut self, limit_s: f32) -> bool {
        let can_alternate = limit_s <= 0.0 || self.open_time_s < limit_s;
        self.turn = match (self.turn, can_alternate) {
            (turn, true) => (turn + 1) % 4,
            (0 | 3, false) => 1,
            (_, false) => 0,
        };
        matches!(self.turn, 1 | 2)
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::answers::SetupAnswers;
    use crate::calibration::Calibration;
    use crate::options::{Firing, Options};

    const OPEN: OpenTimeParameters = OpenTimeParameters::DEFAULT;

    const SUPPLY: InjectorSupply =
        InjectorSupply { battery_v: 13.5, drop_pa: 300e3, interval_s: 0.02, delay_correction_s: 0.0 };

    fn calibration(firing: Firing) -> Calibration {
        let calibration = Calibration::from_answers(&SetupAnswers::default()).unwrap();
        calibration.with_options(Options { firing, ..Options::default() })
    }

    fn fuel_kg(calibration: &Calibration, open_time_s: &[f32]) -> f32 {
        open_time_s
            .iter()
            .map(|open| calibration.injected_fuel_kg(*open, SUPPLY.battery_v, SUPPLY.drop_pa))
            .sum()
    }

    #[test]
    fn every_pattern_gives_the_fuel_of_the_event() {
        for firing in [Firing::All, Firing::Chosen] {
            let calibration = calibration(firing);
            let mut stage = OpenTime::default();
            for _ in 0..4 {
                let pulses =
                    stage.step(&OPEN, &InjectorParameters::DEFAULT, calibration.setup(), 40e-6, &SUPPLY);
                assert!((fuel_kg(&calibration, &pulses) / 40e-6 - 1.0).abs() < 1e-3);
            }
        }
    }

    /// Whether the second half fires, for eight pulses in a row.
    fn order(fuel_kg: f32, interval_s: f32) -> [bool; 8] {
        let calibration = calibration(Firing::Chosen);
        let mut stage = OpenTime::default();
        core::array::from_fn(|_| {
            let pulses = stage.step(
                &OPEN,
                &InjectorParameters::DEFAULT,
                calibration.setup(),
                fuel_kg,
                &InjectorSupply { interval_s, ..SUPPLY },
            );
            assert_eq!(pulses.iter().filter(|open| **open > 0.0).count(), 2);
            pulses[1] > 0.0
        })
    }

    #[test]
    fn each_bank_sees_both_halves() {
        let order = order(12e-6, 0.02);
        for bank in 0..2 {
            assert_eq!(order.iter().skip(bank).step_by(2).filter(|second| **second).count(), 2, "{order:?}");
        }
    }

    #[test]
    fn long_pulses_never_fall_on_the_same_half_twice_in_a_row() {
        let order = order(80e-6, 0.006);
        assert!(order.windows(2).all(|pair| pair[0] != pair[1]), "{order:?}");
    }

    #[test]
    fn an_odd_number_of_injectors_fires_together() {
        let answers = SetupAnswers { injectors: 3, ..SetupAnswers::default() };
        let calibration = Calibration::from_answers(&answers).unwrap();
        let pulses = OpenTime::default().step(
            &OPEN,
            &InjectorParameters::DEFAULT,
            calibration.setup(),
            40e-6,
            &SUPPLY,
        );
        assert!(pulses[..3].iter().all(|open| *open > 0.0) && pulses[3..] == [0.0; 5]);
    }

    #[test]
    fn too_much_fuel_is_limited_and_flagged() {
        let mut stage = OpenTime::default();
        let supply = InjectorSupply { interval_s: 0.003, ..SUPPLY };
        let pulses = stage.step(
            &OPEN,
            &InjectorParameters::DEFAULT,
            calibration(Firing::Chosen).setup(),
            500e-6,
            &supply,
        );
        assert!(stage.limited && pulses.iter().all(|open| *open <= 0.0061));
    }

    #[test]
    fn duty_is_the_open_time_over_the_time_between_pulses_of_one_injector() {
        let mut stage = OpenTime::default();
        let supply = InjectorSupply { interval_s: 0.02, ..SUPPLY };
        let calibration = calibration(Firing::All);
        stage.step(&OPEN, &InjectorParameters::DEFAULT, calibration.setup(), 40e-6, &supply);
        let duty = stage.open_time_s() / supply.interval_s;
        assert!(duty > 0.0 && (stage.duty() - duty).abs() < 1e-6, "{} for {duty}", stage.duty());
    }

    #[test]
    fn a_later_opening_delay_lengthens_the_open_time() {
        let calibration = calibration(Firing::All);
        let open = |delay_correction_s| {
            OpenTime::default().step(
                &OPEN,
                &InjectorParameters::DEFAULT,
                calibration.setup(),
                20e-6,
                &InjectorSupply { delay_correction_s, ..SUPPLY },
            )[0]
        };
        assert!((open(0.1e-3) - open(0.0) - 0.1e-3).abs() < 1e-7);
        assert_eq!(
            OpenTime::default().step(
                &OPEN,
                &InjectorParameters::DEFAULT,
                calibration.setup(),
                0.0,
                &InjectorSupply { delay_correction_s: 1e-4, ..SUPPLY }
            )[0],
            0.0
        );
    }

    #[test]
    fn no_fuel_opens_nothing() {
        let mut stage = OpenTime::default();
        assert_eq!(
            stage.step(
                &OPEN,
                &InjectorParameters::DEFAULT,
                calibration(Firing::Chosen).setup(),
                0.0,
                &SUPPLY
            ),
            [0.0; MAX_INJECTORS]
        );
    }

    #[test]
    fn a_weak_battery_and_little_pressure_take_longer() {
        let calibration = calibration(Firing::Chosen);
        let open_s = |supply| {
            let mut stage = OpenTime::default();
            stage.step(&OPEN, &InjectorParameters::DEFAULT, calibration.setup(), 12e-6, &supply);
            stage.open_time_s
        };
        assert!(open_s(InjectorSupply { battery_v: 11.0, ..SUPPLY }) > open_s(SUPPLY) + 0.4e-3);
        assert!(open_s(InjectorSupply { drop_pa: 200e3, ..SUPPLY }) > open_s(SUPPLY) + 0.1e-3);
    }

    #[test]
    fn halves_are_every_other_injector_in_the_order_b_b_a_a() {
        let calibration = calibration(Firing::Chosen);
        let mut stage = OpenTime::default();
        let fired: [[bool; 4]; 4] = core::array::from_fn(|_| {
            let pulses = stage.step(&OPEN, &InjectorParameters::DEFAULT, calibration.setup(), 12e-6, &SUPPLY);
            assert!(stage.injectors() == 2 && !stage.limited());
            core::array::from_fn(|injector| pulses[injector] > 0.0)
        });
        let (a, b) = ([true, false, true, false], [false, true, false, true]);
        assert_eq!(fired, [b, b, a, a]);
    }

    /// 16 mg through two of four injectors of 8 g/s: 1 ms of flow and 1 ms of opening delay.
    #[test]
    fn duty_counts_to_the_next_pulse_of_the_same_injector_and_is_limited_above_its_limit() {
        let calibration = calibration(Firing::Chosen);
        let run = |parameters: &OpenTimeParameters, interval_s| {
            let mut stage = OpenTime::default();
            let supply = InjectorSupply { interval_s, ..SUPPLY };
            stage.step(parameters, &InjectorParameters::DEFAULT, calibration.setup(), 16e-6, &supply);
            stage
        };
        let stage = run(&OPEN, 0.01);
        assert!((stage.open_time_s() - 2e-3).abs() < 1e-8 && (stage.duty() - 0.1).abs() < 1e-6);
        let at_limit = OpenTimeParameters { duty_limit: stage.duty(), ..OPEN };
        assert!(!run(&at_limit, 0.01).limited() && run(&at_limit, 0.0099).limited());
        assert!(
            (run(&OPEN, 0.0).duty() - 2e-3 / OPEN.max_open_time_s).abs() < 1e-6,
            "without a known interval"
        );
    }

    #[test]
    fn a_pulse_as_long_as_the_limit_does_not_fall_on_the_same_half_again() {
        let second =
            |limit_s| OpenTime { turn: 1, open_time_s: 0.01, ..OpenTime::default() }.second_half(limit_s);
        assert!(second(0.0101) && !second(0.01) && second(0.0));
    }
}
