//! Fuel of one cylinder event to open times of the injectors.

use trimwright_numerics::Real;
use trimwright_signals::MAX_INJECTORS;

use crate::calibration::{Calibration, Firing};

/// Flow time of one injector below which all firing at once would be imprecise, s: then half of them fire in turn.
const SHORT_S: f32 = 1.2e-3;
/// Flow time above which all may fire at once again, s.
const LONG_S: f32 = 1.6e-3;
/// Share of the time between its pulses that an injector may be open before the controller complains: common practice, no source.
pub const DUTY_LIMIT: f32 = 0.85;
/// Longest open time of one pulse, s.
const LONGEST_S: f32 = 0.1;

/// Which injectors fire next, and how hard they work.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub struct OpenTime {
    alternate: bool,
    second_half: bool,
    /// Open time of the last pulse, s.
    pub open_time_s: f32,
    /// Injectors that opened for it.
    pub injectors: u8,
    /// Share of time the injectors are open.
    pub duty: f32,
    /// The injectors are at their limit: the mixture may be leaner than wanted.
    pub limited: bool,
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
}

impl OpenTime {
    /// Open times for `fuel_kg` of one cylinder event.
    pub fn step(&mut self, calibration: &Calibration, fuel_kg: f32, supply: &Supply) -> [f32; MAX_INJECTORS] {
        let injectors = usize::from(calibration.answers().injectors).min(MAX_INJECTORS);
        let in_pairs = injectors >= 2 && injectors.is_multiple_of(2);
        self.choose(calibration, fuel_kg / injectors as f32, supply, in_pairs);
        let groups = if self.alternate { 2 } else { 1 };
        let firing = (injectors / groups).max(1);
        self.injectors = firing as u8;
        let wanted_s = calibration.open_time_s(fuel_kg / firing as f32, supply.battery_v, supply.drop_pa);
        let period_s = if supply.interval_s > 0.0 { supply.interval_s * groups as f32 } else { LONGEST_S };
        self.duty = wanted_s / period_s;
        self.limited = self.duty > DUTY_LIMIT;
        self.open_time_s = wanted_s.held(0.0, period_s.min(LONGEST_S));
        let mut open_time_s = [0.0; MAX_INJECTORS];
        for (index, open) in open_time_s.iter_mut().enumerate().take(injectors) {
            let mine = !self.alternate || (index % 2 == 1) == self.second_half;
            *open = if mine { self.open_time_s } else { 0.0 };
        }
        self.second_half = !self.second_half;
        open_time_s
    }

    fn choose(&mut self, calibration: &Calibration, each_kg: f32, supply: &Supply, in_pairs: bool) {
        let flow_s = each_kg / calibration.injector_flow_kg_per_s(supply.drop_pa);
        let nearly_touching = supply.interval_s > 0.0 && flow_s + 2.0e-3 > 0.8 * supply.interval_s;
        self.alternate = in_pairs
            && match calibration.options().firing {
                Firing::All => false,
                Firing::Alternate => true,
                Firing::Chosen => nearly_touching || flow_s < if self.alternate { LONG_S } else { SHORT_S },
            };
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::calibration::Options;
    use crate::setup::SetupAnswers;

    const SUPPLY: Supply = Supply { battery_v: 13.5, drop_pa: 300e3, interval_s: 0.02 };

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
        for firing in [Firing::All, Firing::Alternate, Firing::Chosen] {
            let calibration = calibration(firing);
            let mut stage = OpenTime::default();
            for _ in 0..4 {
                let pulses = stage.step(&calibration, 40e-6, &SUPPLY);
                assert!((fuel_kg(&calibration, &pulses) / 40e-6 - 1.0).abs() < 1e-3);
            }
        }
    }

    #[test]
    fn alternate_firing_takes_turns() {
        let calibration = calibration(Firing::Alternate);
        let mut stage = OpenTime::default();
        let (one, other) =
            (stage.step(&calibration, 40e-6, &SUPPLY), stage.step(&calibration, 40e-6, &SUPPLY));
        assert!(one[..4].iter().zip(&other[..4]).all(|(one, other)| (*one > 0.0) != (*other > 0.0)));
        assert_eq!(one[4..], [0.0; 4]);
    }

    #[test]
    fn short_pulses_are_made_by_half_of_the_injectors() {
        let calibration = calibration(Firing::Chosen);
        let mut stage = OpenTime::default();
        let idle = stage.step(&calibration, 12e-6, &SUPPLY);
        assert_eq!(idle.iter().filter(|open| **open > 0.0).count(), 2);
        let load = stage.step(&calibration, 80e-6, &SUPPLY);
        assert_eq!(load.iter().filter(|open| **open > 0.0).count(), 4);
    }

    #[test]
    fn too_much_fuel_is_limited_and_flagged() {
        let mut stage = OpenTime::default();
        let supply = Supply { interval_s: 0.003, ..SUPPLY };
        let pulses = stage.step(&calibration(Firing::Chosen), 500e-6, &supply);
        assert!(stage.limited && pulses.iter().all(|open| *open <= 0.0061));
    }

    #[test]
    fn no_fuel_opens_nothing() {
        let mut stage = OpenTime::default();
        assert_eq!(stage.step(&calibration(Firing::Chosen), 0.0, &SUPPLY), [0.0; MAX_INJECTORS]);
    }
}
