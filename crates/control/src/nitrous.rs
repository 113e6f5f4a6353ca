//! Nitrous oxide: when it may flow, and the fuel it needs.
//!
//! The gas contains 0.3635 of oxygen by mass; 1 kg of petrol CH1.87 burns with 9.296 kg of it (atom balance, shared/reference). The
//! additional fuel is flow / 9.296 times an enrichment for cooling. Nitrous can destroy an engine, and bottle and lines can hurt: fit and
//! use it as its maker and local rules say.

use trimwright_numerics::Real;

use crate::clock::LONG_S;
use crate::estimate::Estimate;
use crate::setup::Setup;

trimwright_numerics::parameters! {
    /// Nitrous oxide: window and enrichment. Its flow is a setup answer.
    #[cfg_attr(feature = "defmt", derive(defmt::Format))]
    pub struct NitrousParameters<f32> "nitrous" {
        /// Additional fuel over the stoichiometric amount, for cooling.
        number enrichment { 1.1, 1.0..=1.5 "1", "engineering judgement" }
        /// Throttle position above which it may flow.
        number min_tp { 0.85, 0.3..=1.0 "1", "engineering judgement" }
        /// Speed above the idle speed from which it may flow.
        number above_idle_rad_per_s { 170.0, 0.0..=600.0 "rad/s", "engineering judgement" }
        /// Speed below the rev limit up to which it may flow.
        number below_limit_rad_per_s { 40.0, 5.0..=400.0 "rad/s", "engineering judgement" }
        /// Coolant temperature from which it may flow.
        number min_ect_k { 340.0, 290.0..=365.0 "K", "engineering judgement" }
        /// Coolant temperature up to which it may flow.
        number max_ect_k { 378.0, 365.0..=400.0 "K", "engineering judgement" }
        /// Measured over wanted lambda above which it is shut off.
        number lean_limit { 1.08, 1.0..=1.3 "1", "engineering judgement" }
        /// Rail pressure over target below which it is shut off.
        number pressure_limit { 0.85, 0.5..=1.0 "1", "engineering judgement" }
        /// Time for which all conditions must hold before it flows.
        number steady_s { 0.2, 0.0..=5.0 "s", "engineering judgement" }
    }
}

/// Stoichiometric mass of nitrous oxide per mass of petrol CH1.87: atom balance.
const STOICH_RATIO: f32 = 9.296;
/// Upper limit of the time between firings, s; a longer one is a gap in the pulses.
const LONGEST_INTERVAL_S: f32 = 0.1;
/// Stage of the nitrous control.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub struct Nitrous {
    on: bool,
    latched_off: bool,
    enabled_s: f32,
}

/// Inputs of the nitrous control beside the sensor estimates.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct NitrousInputs {
    /// The driver has armed it.
    pub armed: bool,
    /// Crank speed, rad/s.
    pub speed_rad_per_s: f32,
    /// Lambda measured over lambda wanted, where the reading is usable.
    pub lean_ratio: Option<f32>,
    /// The engine runs with fuel.
    pub burns: bool,
    /// A trouble code is set.
    pub trouble: bool,
}

impl Nitrous {
    /// Whether the solenoids are open.
    pub const fn is_on(&self) -> bool {
        self.on
    }

    /// Whether it was shut off for a lean mixture, low pressure or an invalid signal; it stays off until disarmed.
    pub const fn latched_off(&self) -> bool {
        self.latched_off
    }

    /// 10 ms task. Returns whether the solenoids are open.
    ///
    /// ```
    /// use trimwright_control::sensing::Estimate;
    /// use trimwright_control::outputs::{Nitrous, NitrousInputs};
    /// use trimwright_control::parameters::NitrousParameters;
    /// use trimwright_control::{Calibration, SetupAnswers};
    /// let calibration = Calibration::from_answers(&SetupAnswers { nitrous: true, ..SetupAnswers::default() })?;
    /// let (mut nitrous, mut full_throttle) = (Nitrous::default(), Estimate::default());
    /// (full_throttle.tp, full_throttle.ect_k) = (1.0, 360.0);
    /// let mut half_a_second = |lean_ratio| {
    ///     let inputs = NitrousInputs { armed: true, speed_rad_per_s: 350.0, lean_ratio, burns: true, trouble: false };
    ///     for _ in 0..50 {
    ///         nitrous.step(&NitrousParameters::DEFAULT, calibration.setup(), &full_throttle, inputs, 0.01);
    ///     }
    ///     (nitrous.is_on(), nitrous.latched_off())
    /// };
    /// assert_eq!(half_a_second(Some(1.0)), (true, false));
    /// assert_eq!(half_a_second(Some(1.2)), (false, true), "20 % leaner than wanted: off");
    /// assert_eq!(half_a_second(Some(1.0)), (false, true), "and off it stays while it is armed");
    /// # Ok::<(), trimwright_control::AnswerError>(())
    /// ```
    pub fn step(
        &mut self,
        parameters: &NitrousParameters,
        setup: &Setup,
        estimate: &Estimate,
        inputs: NitrousInputs,
        dt_s: f32,
    ) -> bool {
        let answers = setup.answers();
        let NitrousInputs { armed, speed_rad_per_s, lean_ratio, burns, trouble } = inputs;
        let lean = lean_ratio.is_none_or(|ratio| ratio > parameters.lean_limit || ratio.is_nan());
        let low = estimate.rail_pa < parameters.pressure_limit * answers.rail_pressure_pa;
        let failed = lean || low || estimate.invalid.any_fuel_input() || trouble;
        if !armed {
            self.latched_off = false;
        } else if self.on && failed {
            self.latched_off = true;
        }
        let in_window = speed_rad_per_s > answers.idle_speed_rad_per_s + parameters.above_idle_rad_per_s
            && speed_rad_per_s < answers.rev_limit_rad_per_s - parameters.below_limit_rad_per_s;
        let warm = estimate.ect_k > parameters.min_ect_k && estimate.ect_k < parameters.max_ect_k;
        let enabled = answers.nitrous
            && armed
            && !self.latched_off
            && !failed
            && burns
            && estimate.tp > parameters.min_tp
            && in_window
            && warm;
        self.enabled_s = if enabled { (self.enabled_s + dt_s).at_most(LONG_S) } else { 0.0 };
        self.on = self.enabled_s > parameters.steady_s;
        self.on
    }

    /// Additional fuel of one cylinder event, kg.
    pub fn extra_kg(&self, parameters: &NitrousParameters, setup: &Setup, interval_s: f32) -> f32 {
        if self.on {
            let burns_kg_per_s = setup.answers().nitrous_flow_kg_per_s / STOICH_RATIO;
            burns_kg_per_s * parameters.enrichment * interval_s.clamp(0.0, LONGEST_INTERVAL_S)
        } else {
            0.0
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::answers::SetupAnswers;
    use crate::calibration::Calibration;

    const NITROUS: NitrousParameters = NitrousParameters::DEFAULT;

    fn calibration() -> Calibration {
        Calibration::from_answers(&SetupAnswers { nitrous: true, ..SetupAnswers::default() }).unwrap()
    }

    fn fit() -> Estimate {
        Estimate { tp: 1.0, ect_k: 360.0, map_pa: 98e3, ..Estimate::default() }
    }

    fn run(nitrous: &mut Nitrous, estimate: &Estimate, armed: bool, speed: f32, lean: Option<f32>) -> bool {
        let inputs =
            NitrousInputs { armed, speed_rad_per_s: speed, lean_ratio: lean, burns: true, trouble: false };
        run_with(&NITROUS, nitrous, estimate, inputs)
    }

    fn run_with(
        parameters: &NitrousParameters,
        nitrous: &mut Nitrous,
        estimate: &Estimate,
        inputs: NitrousInputs,
    ) -> bool {
        (0..50).for_each(|_| _ = nitrous.step(parameters, calibration().setup(), estimate, inputs, 0.01));
        nitrous.on
    }

    const FIT: NitrousInputs = NitrousInputs {
        armed: true,
        speed_rad_per_s: 350.0,
        lean_ratio: Some(1.0),
        burns: true,
        trouble: false,
    };

    #[test]
    fn it_flows_only_when_all_conditions_hold() {
        let (closed, cold) = (Estimate { tp: 0.4, ..fit() }, Estimate { ect_k: 300.0, ..fit() });
        assert!(run(&mut Nitrous::default(), &fit(), true, 350.0, Some(1.0)));
        assert!(!run(&mut Nitrous::default(), &fit(), false, 350.0, Some(1.0)));
        assert!(!run(&mut Nitrous::default(), &closed, true, 350.0, Some(1.0)));
        assert!(!run(&mut Nitrous::default(), &cold, true, 350.0, Some(1.0)));
        assert!(!run(&mut Nitrous::default(), &fit(), true, 150.0, Some(1.0)));
        assert!(!run(&mut Nitrous::default(), &fit(), true, 530.0, Some(1.0)));
        assert!(!run(&mut Nitrous::default(), &fit(), true, 350.0, None));
    }

    #[test]
    fn lean_or_low_pressure_shuts_it_off_until_disarmed() {
        let starved = Estimate { rail_pa: 200e3, ..fit() };
        for (estimate, lean) in [(fit(), Some(1.2)), (starved, Some(1.0))] {
            let mut nitrous = Nitrous::default();
            assert!(run(&mut nitrous, &fit(), true, 350.0, Some(1.0)));
            assert!(!run(&mut nitrous, &estimate, true, 350.0, lean));
            assert!(!run(&mut nitrous, &fit(), true, 350.0, Some(1.0)));
            run(&mut nitrous, &fit(), false, 350.0, Some(1.0));
            assert!(run(&mut nitrous, &fit(), true, 350.0, Some(1.0)));
        }
    }

    #[test]
    fn a_trouble_code_keeps_it_off() {
        let trouble = NitrousInputs { trouble: true, ..FIT };
        assert!(!run_with(&NITROUS, &mut Nitrous::default(), &fit(), trouble));
    }

    #[test]
    fn the_window_of_speed_throttle_and_coolant_can_be_moved() {
        let flows = |parameters: &NitrousParameters, estimate: &Estimate, speed_rad_per_s| {
            let inputs = NitrousInputs { speed_rad_per_s, ..FIT };
            run_with(parameters, &mut Nitrous::default(), estimate, inputs)
        };
        let sooner = NitrousParameters { above_idle_rad_per_s: 60.0, ..NITROUS };
        assert!(!flows(&NITROUS, &fit(), 150.0) && flows(&sooner, &fit(), 150.0));
        let later = NitrousParameters { below_limit_rad_per_s: 10.0, ..NITROUS };
        assert!(!flows(&NITROUS, &fit(), 530.0) && flows(&later, &fit(), 530.0));
        let half = NitrousParameters { min_tp: 0.4, ..NITROUS };
        let half_open = Estimate { tp: 0.5, ..fit() };
        assert!(!flows(&NITROUS, &half_open, 350.0) && flows(&half, &half_open, 350.0));
        let cool = NitrousParameters { max_ect_k: 365.0, ..NITROUS };
        let hot = Estimate { ect_k: 370.0, ..fit() };
        assert!(flows(&NITROUS, &hot, 350.0) && !flows(&cool, &hot, 350.0));
    }

    /// Atom balance: CH1.87 + 2.935 N2O -> CO2 + 0.935 H2O + 2.935 N2 with the molar masses of IUPAC 2021; 10 % rich.
    #[test]
    fn val_the_extra_fuel_burns_the_extra_oxygen() {
        let nitrous = Nitrous { on: true, ..Nitrous::default() };
        let per_s = nitrous.extra_kg(&NITROUS, calibration().setup(), 0.01) / 0.01;
        let (gas_g, petrol_g) = (2.935 * (2.0 * 14.007 + 15.999), 12.011 + 1.87 * 1.008);
        assert!((per_s / (0.03 * petrol_g / gas_g * 1.1) - 1.0).abs() < 1e-4);
    }

    #[test]
    fn at_its_limits_it_does_not_flow() {
        let answers = *calibration().answers();
        let flows = |change: fn(&mut Estimate), speed_rad_per_s, lean_ratio| {
            let mut estimate = fit();
            change(&mut estimate);
            let inputs = NitrousInputs { speed_rad_per_s, lean_ratio: Some(lean_ratio), ..FIT };
            run_with(&NITROUS, &mut Nitrous::default(), &estimate, inputs)
        };
        assert!(flows(|_| (), 350.0, NITROUS.lean_limit), "as lean as allowed");
        assert!(flows(|estimate| estimate.rail_pa = NITROUS.pressure_limit * 300e3, 350.0, 1.0));
        assert!(!flows(|estimate| estimate.rail_pa = 0.84 * 300e3, 350.0, 1.0));
        let above = answers.idle_speed_rad_per_s + NITROUS.above_idle_rad_per_s;
        let below = answers.rev_limit_rad_per_s - NITROUS.below_limit_rad_per_s;
        assert!(!flows(|_| (), above, 1.0) && flows(|_| (), above + 0.1, 1.0));
        assert!(!flows(|_| (), below, 1.0) && flows(|_| (), below - 0.1, 1.0));
        assert!(!flows(|estimate| estimate.ect_k = NITROUS.min_ect_k, 350.0, 1.0));
        assert!(!flows(|estimate| estimate.ect_k = NITROUS.max_ect_k, 350.0, 1.0));
        assert!(!flows(|estimate| estimate.tp = NITROUS.min_tp, 350.0, 1.0));
        assert!(!flows(|_| (), 350.0, f32::NAN));
    }

    /// Steps of a quarter second: all conditions for longer than half a second.
    #[test]
    fn it_flows_after_its_conditions_held_for_their_time() {
        let parameters = NitrousParameters { steady_s: 0.5, ..NITROUS };
        let mut nitrous = Nitrous::default();
        let on = core::array::from_fn(|_| {
            nitrous.step(&parameters, calibration().setup(), &fit(), FIT, 0.25);
            nitrous.is_on()
        });
        assert_eq!(on, [false, false, true, true]);
        let lean = NitrousInputs { lean_ratio: Some(1.2), ..FIT };
        assert!(!nitrous.latched_off());
        nitrous.step(&parameters, calibration().setup(), &fit(), lean, 0.25);
        assert!(!nitrous.is_on() && nitrous.latched_off());
        nitrous.step(&parameters, calibration().setup(), &fit(), NitrousInputs { armed: false, ..FIT }, 0.25);
        assert!(!nitrous.latched_off());
    }

    #[test]
    fn lean_before_it_flows_is_no_reason_to_latch() {
        let mut nitrous = Nitrous::default();
        assert!(!run_with(&NITROUS, &mut nitrous, &fit(), NitrousInputs { lean_ratio: Some(1.2), ..FIT }));
        assert!(!nitrous.latched_off() && run_with(&NITROUS, &mut nitrous, &fit(), FIT));
    }

    #[test]
    fn without_nitrous_there_is_no_extra_fuel_and_a_long_interval_is_bounded() {
        let extra_kg = |on, interval_s| {
            Nitrous { on, ..Nitrous::default() }.extra_kg(&NITROUS, calibration().setup(), interval_s)
        };
        assert_eq!(extra_kg(false, 0.01), 0.0);
        assert_eq!(extra_kg(true, 9.0), extra_kg(true, LONGEST_INTERVAL_S));
    }
}
