//! Injectors: static flow, opening delay, nonlinearity at short open times, part-to-part spread, deposits.

use crate::noise::Noise;
use trimwright_numerics::{Curve, Real};
use trimwright_signals::MAX_INJECTORS;

/// Voltages of the opening-delay table.
pub const VOLTAGES: usize = 5;

trimwright_numerics::parameters! {
    /// Set of injectors. They spray below the throttle plates: their pressure drop is rail over manifold.
    pub struct Injectors<f64> "injectors" {
        /// Number of injectors.
        whole count { u8 = 4, 1..=8 "1", "engineering judgement" }
        /// Static flow of one injector at the rated pressure drop.
        number static_flow_kg_per_s { 7.5e-3, 1e-4..=0.05 "kg/s", "engineering judgement" }
        /// Pressure drop at which the static flow is stated.
        number rated_drop_pa { 300e3, 50e3..=600e3 "Pa", "common practice, no source" }
        /// Supply voltages of the delay table, each at least 0.1 V above the one before.
        list delay_v { [VOLTAGES] = [6.0, 8.0, 11.0, 13.5, 16.0], 3.6..=20.0 "V", "engineering judgement" }
        /// Opening delay less closing delay at each voltage.
        list delay_s {
            [VOLTAGES] = [3.8e-3, 2.4e-3, 1.35e-3, 0.95e-3, 0.75e-3],
            0.0..=0.01 "s",
            "common practice, no source: falls in the usual band"
        }
        /// Relative change of the delay per relative change of the pressure drop from the rated one.
        number delay_pressure_slope { 0.1, -0.5..=0.5 "1", "engineering judgement" }
        /// Time scale of the nonlinear flow at short open times, 0 for none: fuel is proportional to t^2 / (t + nonlinearity).
        number nonlinearity_s { 5e-5, 0.0..=5e-4 "s", "engineering judgement" }
        /// Part-to-part spread of flow: largest relative deviation from the mean.
        number spread { 0.02, 0.0..=0.2 "1", "engineering judgement" }
        /// Fraction of each injector's flow lost to deposits.
        list clogged { [MAX_INJECTORS] = [0.0; MAX_INJECTORS], 0.0..=1.0 "1", "engineering judgement: clean" }
    }
}

impl Injectors {
    /// Static flow of one injector at a pressure drop, kg/s: `Q sqrt(dp / dp_rated)` (orifice law).
    #[inline]
    pub fn flow_kg_per_s(&self, drop_pa: f64) -> f64 {
        self.static_flow_kg_per_s * Real::sqrt((drop_pa / self.rated_drop_pa).held(0.0, 100.0))
    }

    /// Opening delay at supply voltage and pressure drop, s.
    pub fn delay_s(&self, supply_v: f64, drop_pa: f64) -> f64 {
        let base = Curve::new(self.delay_v, self.delay_s).map_or(0.0, |curve| curve.at(supply_v));
        base * (1.0 + self.delay_pressure_slope * ((drop_pa / self.rated_drop_pa).held(0.0, 3.0) - 1.0))
    }

    /// Time at full flow that delivers the same fuel as flowing for `flowing_s`: `t^2 / (t + nonlinearity)` (engineering
    /// judgement: tends to `t - nonlinearity` for long pulses and curves near zero, as published flow curves do).
    #[inline]
    fn full_flow_s(&self, flowing_s: f64) -> f64 {
        let sum = flowing_s + self.nonlinearity_s;
        if sum > 0.0 { flowing_s * flowing_s / sum } else { 0.0 }
    }

    /// Fuel mass of one pulse of the mean injector without deposits, kg.
    ///
    /// ```
    /// let injectors = trimwright_plant::Truth::mild_v8().injectors;
    /// assert_eq!(injectors.fuel_kg(0.5e-3, 13.5, 300e3), 0.0, "ends before the needle lifts");
    /// // 10 ms at full flow: 11 ms less delay and nonlinearity.
    /// assert!((injectors.fuel_kg(11e-3, 13.5, 300e3) / 75e-6 - 1.0).abs() < 1e-3);
    /// ```
    pub fn fuel_kg(&self, open_time_s: f64, supply_v: f64, drop_pa: f64) -> f64 {
        let flowing_s = (open_time_s - self.delay_s(supply_v, drop_pa)).held(0.0, 1.0);
        self.flow_kg_per_s(drop_pa) * self.full_flow_s(flowing_s)
    }

    /// Open time of the mean injector for a fuel mass, s: the inverse of [`Injectors::fuel_kg`].
    pub fn open_time_s(&self, fuel_kg: f64, supply_v: f64, drop_pa: f64) -> f64 {
        let flow = self.flow_kg_per_s(drop_pa);
        if fuel_kg <= 0.0 || flow <= 0.0 {
            return 0.0;
        }
        let full_s = fuel_kg / flow;
        let flowing_s = 0.5 * (full_s + Real::sqrt(full_s * (full_s + 4.0 * self.nonlinearity_s)));
        flowing_s + self.delay_s(supply_v, drop_pa)
    }

    /// Mean fraction of the flow left by deposits.
    pub fn mean_clear(&self) -> f64 {
        let count = usize::from(self.count).clamp(1, MAX_INJECTORS);
        self.clogged.iter().take(count).map(|lost| 1.0 - lost).sum::<f64>() / count as f64
    }
}

/// State of one injector.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
struct Needle {
    /// Energised time left, s.
    left_s: f64,
    /// Opening delay still to pass, s.
    delay_s: f64,
    /// Time for which fuel has flowed in this pulse, s.
    flowing_s: f64,
    /// Time at full flow that delivers the same fuel, s.
    delivered_s: f64,
    /// Flow over the mean as manufactured.
    manufactured: f64,
    /// Flow over the mean, deposits included.
    share: f64,
}

/// State of all injectors.
///
/// ```
/// use trimwright_plant::{InjectorState, Noise, Truth};
/// let injectors = Truth::mild_v8().injectors;
/// let mut state = InjectorState::new(&injectors, &mut Noise::new(1));
/// let mut commanded_s = [0.0; 8];
/// commanded_s[0] = 4e-3;
/// assert_eq!(state.step(&injectors, &commanded_s, 1e-3, 300e3, 1e-3), 0.0, "the needle has not opened yet");
/// assert!(state.step(&injectors, &[0.0; 8], 1e-3, 300e3, 1e-3) > 0.0);
/// assert_eq!(state.step(&injectors, &[0.0; 8], 1e-3, 0.0, 1e-3), 0.0, "no pressure, no flow");
/// ```
#[derive(Clone, Debug, PartialEq)]
pub struct InjectorState {
    needles: [Needle; MAX_INJECTORS],
    count: usize,
}

impl InjectorState {
    /// Closed injectors; the noise gives the part-to-part spread.
    pub fn new(injectors: &Injectors, noise: &mut Noise) -> Self {
        let count = usize::from(injectors.count).min(MAX_INJECTORS);
        let mut needles = [Needle::default(); MAX_INJECTORS];
        let swings: [f64; MAX_INJECTORS] = core::array::from_fn(|_| noise.symmetric());
        let mean = swings.iter().take(count).sum::<f64>() / count as f64;
        for ((needle, swing), lost) in needles.iter_mut().zip(swings).zip(injectors.clogged) {
            needle.manufactured = (1.0 + injectors.spread * (swing - mean)).held(0.0, 2.0);
            needle.share = needle.manufactured * (1.0 - lost);
        }
        Self { needles, count }
    }

    /// Takes over changed deposits.
    pub fn set_deposits(&mut self, injectors: &Injectors) {
        for (needle, lost) in self.needles.iter_mut().zip(injectors.clogged) {
            needle.share = needle.manufactured * (1.0 - lost);
        }
    }

    /// Starts the commanded pulses; an open injector is prolonged.
    fn start(&mut self, commanded_s: &[f32; MAX_INJECTORS], delay_s: f64) {
        for (needle, &command) in self.needles.iter_mut().zip(commanded_s).take(self.count) {
            if command > 0.0 {
                if needle.left_s <= 0.0 {
                    (needle.delay_s, needle.flowing_s, needle.delivered_s) = (delay_s, 0.0, 0.0);
                }
                needle.left_s = needle.left_s.max(f64::from(command).held(0.0, 1.0));
            }
        }
    }

    /// Starts the commanded pulses and returns the fuel that this pressure drop drives through the injectors in this step, kg; what the rail
    /// holds limits it elsewhere. `delay_s` is the opening delay at the present supply voltage and pressure drop.
    #[inline]
    pub fn step(
        &mut self,
        injectors: &Injectors,
        commanded_s: &[f32; MAX_INJECTORS],
        delay_s: f64,
        drop_pa: f64,
        dt_s: f64,
    ) -> f64 {
        // Most steps command no pulse: one check for all injectors.
        if commanded_s.iter().fold(false, |any, command| any | (*command > 0.0)) {
            self.start(commanded_s, delay_s);
        }
        let mut full_s = 0.0;
        for needle in self.needles.iter_mut().take(self.count) {
            if needle.left_s <= 0.0 {
                continue;
            }
            let energised = needle.left_s.min(dt_s);
            let waiting = needle.delay_s.min(energised);
            needle.left_s -= energised;
            needle.delay_s -= waiting;
            if energised > waiting {
                needle.flowing_s += energised - waiting;
                let before_s = needle.delivered_s;
                needle.delivered_s = injectors.full_flow_s(needle.flowing_s);
                full_s += needle.share * (needle.delivered_s - before_s);
            }
        }
        if full_s > 0.0 { full_s * injectors.flow_kg_per_s(drop_pa) } else { 0.0 }
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    fn injectors() -> Injectors {
        Injectors { spread: 0.0, ..crate::Truth::mild_v8().injectors }
    }

    #[test]
    fn val_flow_is_proportional_to_the_root_of_the_pressure_drop() {
        // Orifice law, flow at 30 and 40 psi over flow at 43.5 psi: shared/reference/injector_sqrt.csv.
        let injectors = Injectors { rated_drop_pa: 43.5 * 6_894.757, ..injectors() };
        for (drop_pa, ratio) in [(206_843.0, 0.830_455), (275_790.0, 0.958_927)] {
            let flow = injectors.flow_kg_per_s(drop_pa) / injectors.static_flow_kg_per_s;
            assert!((flow - ratio).abs() < 2e-6, "{flow}");
        }
    }

    proptest! {
        #[test]
        fn ident_the_mass_of_a_pulse_does_not_depend_on_the_step(
            open_s in 1e-4..0.03_f64, supply_v in 8.0..15.0_f64, drop_pa in 2e5..4e5_f64, dt_s in 2e-4..2e-3_f64
        ) {
            let injectors = injectors();
            let mut state = InjectorState::new(&injectors, &mut Noise::new(3));
            let mut commands = [0.0; MAX_INJECTORS];
            commands[0] = open_s as f32;
            let delay_s = injectors.delay_s(supply_v, drop_pa);
            let mut fuel_kg = 0.0;
            for _ in 0..400 {
                fuel_kg += state.step(&injectors, &commands, delay_s, drop_pa, dt_s);
                commands[0] = 0.0;
            }
            let want_kg = injectors.fuel_kg(f64::from(open_s as f32), supply_v, drop_pa);
            prop_assert!((fuel_kg - want_kg).abs() < 1e-12, "{fuel_kg} {want_kg}");
        }

        #[test]
        fn ident_open_time_is_the_inverse_of_fuel(
            fuel_kg in 1e-7..3e-4_f64, supply_v in 7.0..15.0_f64, drop_pa in 1e5..4e5_f64
        ) {
            let injectors = injectors();
            let open_s = injectors.open_time_s(fuel_kg, supply_v, drop_pa);
            prop_assert!((injectors.fuel_kg(open_s, supply_v, drop_pa) / fuel_kg - 1.0).abs() < 1e-9);
        }
    }

    #[test]
    fn an_open_injector_is_prolonged_without_a_second_delay() {
        let injectors = injectors();
        let mut state = InjectorState::new(&injectors, &mut Noise::new(3));
        let mut commands = [0.0; MAX_INJECTORS];
        commands[0] = 4e-3;
        let delay_s = injectors.delay_s(13.5, 3e5);
        let mut fuel_kg = 0.0;
        for step in 0..20 {
            fuel_kg += state.step(&injectors, &commands, delay_s, 3e5, 1e-3);
            commands[0] = if step == 1 { 6e-3 } else { 0.0 };
        }
        // Second command at 2 ms, 6 ms long: energised 8 ms in one piece.
        assert!((fuel_kg / injectors.fuel_kg(8e-3, 13.5, 3e5) - 1.0).abs() < 1e-6);
    }
}
