//! Fuel of one cylinder event to open times of the injectors.
//!
//! Half of the injectors fire at a time where their number is even: pulses are twice as long, so that what is not known of
//! the opening delay counts half. The halves take turns in the order A B B A: a sensor on one bank of an engine that fires its
//! banks alternately then sees both halves, and a difference between them does not pass for an error of the mixture. Where a pulse
//! would reach into the next one, the order is A B A B.

use trimwright_numerics::Real;
use trimwright_signals::MAX_INJECTORS;

use crate::injector::InjectorParameters;
use crate::setup::Setup;

trimwright_numerics::parameters! {
    /// How injectors take turns, and how long they may be open.
    #[cfg_attr(feature = "defmt", derive(defmt::Format))]
    pub struct OpenTimeParameters<f32> "open_time" {
        /// Share of the time between firings up to which a pulse may last in the order A B B A.
        number apart { 0.8, 0.3..=0.95 "1", "engineering judgement" }
        /// Share of the time between its pulses that an injector may be open before the controller complains.
        number duty_limit { 0.85, 0.5..=1.0 "1", "common practice, no source" }
        /// Longest open time of one pulse.
        number longest_s { 0.1, 0.01..=0.5 "s", "engineering judgement" }
    }
}

/// Which injectors fire next, and how hard they work.
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

/// What the injectors work with.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Supply {
    /// Voltage, V.
    pub battery_v: f32,
    /// Pressure drop over the injectors, Pa.
    pub drop_pa: f32,
    /// Time between firings, s; 0 when unknown.
    pub interval_s: f32,
    /// By how much the injectors open later than the calibration has it, as learned, s.
    pub late_s: f32,
}

impl OpenTime {
    /// Open time of the last pulse, s.
    pub const fn open_time_s(&self) -> f32 {
        self.open_time_s
    }

    /// Injectors that opened for it.
    pub const fn injectors(&self) -> u8 {
        self.injectors
    }

    /// Share of time the injectors are open, ratio.
    pub const fn duty(&self) -> f32 {
        self.duty
    }

    /// Whether the injectors are at their limit: the mixture may be leaner than wanted.
    pub const fn limited(&self) -> bool {
        self.limited
    }

    /// Open times for `fuel_kg` of one cylinder event, s.
    ///
    /// ```
    /// use trimwright_control::open_time::{OpenTime, Supply};
    /// use trimwright_control::{Calibration, SetupAnswers};
    /// let calibration = Calibration::from_answers(&SetupAnswers::default())?;
    /// let (parameters, setup) = (calibration.parameters(), calibration.setup());
    /// let supply = Supply { battery_v: 13.8, drop_pa: 360e3, interval_s: 20e-3, late_s: 0.0 };
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
        supply: &Supply,
    ) -> [f32; MAX_INJECTORS] {
        let injectors = usize::from(setup.answers().injectors).min(MAX_INJECTORS);
        let groups = usize::from(setup.firing_groups());
        let firing = (injectors / groups).max(1);
        self.injectors = firing as u8;
        let believed_s =
            injector.open_time_s(setup, fuel_kg / firing as f32, supply.battery_v, supply.drop_pa);
        let wanted_s = if believed_s > 0.0 { believed_s + supply.late_s } else { 0.0 };
        let longest_s = parameters.longest_s;
        let period_s = if supply.interval_s > 0.0 { supply.interval_s * groups as f32 } else { longest_s };
        self.duty = wanted_s / period_s;
        self.limited = self.duty > parameters.duty_limit;
        self.open_time_s = wanted_s.held(0.0, period_s.at_most(longest_s));
        let second = self.second_half(parameters.apart * supply.interval_s);
        let mut open_time_s = [0.0; MAX_INJECTORS];
        for (index, open) in open_time_s.iter_mut().enumerate().take(injectors) {
            let mine = groups == 1 || (index % 2 == 1) == second;
            *open = if mine { self.open_time_s } else { 0.0 };
        }
        open_time_s
    }

    /// Whose turn it is.
    fn second_half(&mut self, longest_s: f32) -> bool {
        let apart = longest_s <= 0.0 || self.open_time_s < longest_s;
        self.turn = match (self.turn, apart) {
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

    const SUPPLY: Supply = Supply { battery_v: 13.5, drop_pa: 300e3, interval_s: 0.02, late_s: 0.0 };

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

    /// Which half fires, for some pulses in a row.
    fn order(fuel_kg: f32, interval_s: f32) -> [bool; 8] {
        let calibration = calibration(Firing::Chosen);
        let mut stage = OpenTime::default();
        core::array::from_fn(|_| {
            let pulses = stage.step(
                &OPEN,
                &InjectorParameters::DEFAULT,
                calibration.setup(),
                fuel_kg,
                &Supply { interval_s, ..SUPPLY },
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
        let supply = Supply { interval_s: 0.003, ..SUPPLY };
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
    fn injectors_that_open_late_are_energised_longer() {
        let calibration = calibration(Firing::All);
        let open = |late_s| {
            OpenTime::default().step(
                &OPEN,
                &InjectorParameters::DEFAULT,
                calibration.setup(),
                20e-6,
                &Supply { late_s, ..SUPPLY },
            )[0]
        };
        assert!((open(0.1e-3) - open(0.0) - 0.1e-3).abs() < 1e-7);
        assert_eq!(
            OpenTime::default().step(
                &OPEN,
                &InjectorParameters::DEFAULT,
                calibration.setup(),
                0.0,
                &Supply { late_s: 1e-4, ..SUPPLY }
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
        assert!(open_s(Supply { battery_v: 11.0, ..SUPPLY }) > open_s(SUPPLY) + 0.4e-3);
        assert!(open_s(Supply { drop_pa: 200e3, ..SUPPLY }) > open_s(SUPPLY) + 0.1e-3);
    }
}
