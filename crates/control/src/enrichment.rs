//! Extra fuel around a start: prime pulse, cranking, after-start, and an allowance for what is not known yet.

use trimwright_numerics::Real;
use trimwright_numerics::parameters::along;

use crate::setup::Setup;

trimwright_numerics::parameters! {
    /// Extra fuel around a start, for a wet throttle-body manifold.
    #[cfg_attr(feature = "defmt", derive(defmt::Format))]
    pub struct EnrichmentParameters<f32> "enrichment" {
        /// Lambda while cranking against coolant temperature: only the light part of cold fuel becomes vapour.
        curve cranking { [8] = [(253.0, 0.58), (273.0, 0.66), (293.0, 0.75), (323.0, 0.85), (358.0, 0.92)], 220.0..=400.0 "K" => 0.2..=1.3 "1", "common practice, no source" }
        /// Longest cranking without a start before the fuel is thinned out again.
        number flooding_s { 4.0, 0.5..=60.0 "s", "engineering judgement" }
        /// How fast cranking fuel is thinned out when the engine does not start, share of lambda.
        number thinning_per_s { 0.1, 0.0..=1.0 "1/s", "engineering judgement" }
        /// Time for which cranking fuel is thinned out further when the engine does not start.
        number thinning_s { 10.0, 0.0..=60.0 "s", "engineering judgement" }
        /// Richest lambda while cranking.
        number cranking_richest { 0.3, 0.1..=0.8 "1", "engineering judgement" }
        /// Leanest lambda while cranking.
        number cranking_leanest { 1.3, 0.9..=2.0 "1", "engineering judgement" }
        /// Prime pulse against coolant temperature: fuel for so many full charges of one cylinder.
        curve prime { [8] = [(253.0, 4.0), (273.0, 2.2), (293.0, 1.2), (340.0, 0.3)], 220.0..=400.0 "K" => 0.0..=20.0 "1", "common practice, no source" }
        /// Time by which the prime pulse waits for the pump.
        number prime_after_s { 0.8, 0.0..=10.0 "s", "engineering judgement" }
        /// After-start enrichment right after the start against coolant temperature, ratio of fuel.
        curve after_start { [8] = [(253.0, 1.25), (273.0, 1.18), (293.0, 1.12), (350.0, 1.05)], 220.0..=400.0 "K" => 1.0..=2.0 "1", "common practice, no source" }
        /// Time in which the after-start enrichment is gone, against coolant temperature.
        curve after_start_lasts_s { [8] = [(253.0, 40.0), (293.0, 22.0), (350.0, 8.0)], 220.0..=400.0 "K" => 0.5..=300.0 "s", "common practice, no source" }
        /// Standard deviations of a map that does not know the idle yet by which fuel is added after a start.
        number unsure_sigmas { 1.0, 0.0..=3.0 "1", "engineering judgement" }
        /// Time since the start from which the allowance for an unknown map falls.
        number unsure_from_s { 8.0, 0.0..=15.0 "s", "engineering judgement" }
        /// Time since the start at which the allowance for an unknown map is gone: the trim has taken over.
        number unsure_until_s { 22.0, 16.0..=300.0 "s", "engineering judgement" }
        /// Time since the start from which the allowance for an unknown wall film falls.
        number wetted_from_s { 1.0, 0.0..=2.0 "s", "engineering judgement" }
        /// Time since the start at which the allowance for an unknown wall film is gone: the wall is wet.
        number wetted_until_s { 4.0, 2.5..=60.0 "s", "engineering judgement" }
        /// Richest lambda that all enrichment together makes.
        number richest { 0.5, 0.2..=0.8 "1", "engineering judgement" }
    }
}

/// Air at standard density, kg/m3.
const STANDARD_KG_PER_M3: f32 = 1.2;

impl EnrichmentParameters {
    /// Lambda asked for while cranking; it gets leaner the longer the engine does not start, so as not to flood it.
    ///
    /// ```
    /// use trimwright_control::enrichment::EnrichmentParameters;
    /// let lambda = |ect_k, cranking_s| EnrichmentParameters::DEFAULT.cranking_lambda(ect_k, cranking_s);
    /// // At -10 degC a third more fuel than at 50 degC: only the light part of it becomes vapour.
    /// assert!(lambda(263.0, 1.0) < 0.75 * lambda(323.0, 1.0));
    /// // The engine won't start: leaner, before the plugs get wet.
    /// assert!(lambda(263.0, 9.0) > 1.4 * lambda(263.0, 1.0));
    /// ```
    pub fn cranking_lambda(&self, ect_k: f32, cranking_s: f32) -> f32 {
        let thinned_s = (cranking_s - self.flooding_s).held(0.0, self.thinning_s);
        (along(&self.cranking, ect_k) * (1.0 + thinned_s * self.thinning_per_s))
            .held(self.cranking_richest, self.cranking_leanest)
    }

    /// Fuel that wets the dry manifold before the first turn, kg.
    pub fn prime_kg(&self, setup: &Setup, ect_k: f32) -> f32 {
        let full_charge_kg = STANDARD_KG_PER_M3 * setup.cylinder_m3();
        along(&self.prime, ect_k) * full_charge_kg / setup.answers().stoich_afr
    }

    /// Fuel over the warm-up's own share after a start, ratio from 1 up: falls in a straight line.
    ///
    /// ```
    /// use trimwright_control::enrichment::EnrichmentParameters;
    /// // 20 degC: an eighth more right after the start, half of that after 11 s, nothing after 22 s.
    /// let fuel = [0.0, 11.0, 22.0].map(|since_s| EnrichmentParameters::DEFAULT.after_start_ratio(293.0, since_s));
    /// assert!((fuel[0] - 1.12).abs() < 1e-6 && (fuel[1] - 1.06).abs() < 1e-6 && fuel[2] == 1.0);
    /// ```
    pub fn after_start_ratio(&self, ect_k: f32, since_start_s: f32) -> f32 {
        let left = (1.0 - since_start_s / along(&self.after_start_lasts_s, ect_k)).held(0.0, 1.0);
        if left == 0.0 { 1.0 } else { 1.0 + (along(&self.after_start, ect_k) - 1.0) * left }
    }

    /// Fuel for what is not known yet, ratio from 1 up: until the trim is allowed to correct it, a little rich runs on where as much
    /// lean stalls. `variances_ln2` gives the variance of the map where the engine runs, and that of the film's part in the fuel, which
    /// counts only while a dry wall is wetted; a map that has learned adds nothing to speak of.
    ///
    /// ```
    /// use trimwright_control::enrichment::EnrichmentParameters;
    /// let unsure = |since_s, sigma_ln| EnrichmentParameters::DEFAULT.unsure_ratio(since_s, || (sigma_ln * sigma_ln, 0.0));
    /// // Two seconds after the start: a new map (standard deviation 12 %), one that knows its idle (1 %).
    /// assert!((unsure(2.0, 0.12_f32) - 1.12).abs() < 1e-6 && (unsure(2.0, 0.01) - 1.01).abs() < 1e-6);
    /// assert_eq!(unsure(30.0, 0.12), 1.0, "the trim has taken over");
    /// ```
    pub fn unsure_ratio(&self, since_start_s: f32, variances_ln2: impl FnOnce() -> (f32, f32)) -> f32 {
        let left =
            |from_s: f32, until_s: f32| ((until_s - since_start_s) / (until_s - from_s)).held(0.0, 1.0);
        let map_left = left(self.unsure_from_s, self.unsure_until_s);
        if map_left == 0.0 {
            return 1.0;
        }
        let film_left = left(self.wetted_from_s, self.wetted_until_s);
        let (map_ln2, film_ln2) = variances_ln2();
        let variance_ln2 = map_ln2 * map_left * map_left + film_ln2 * film_left * film_left;
        1.0 + self.unsure_sigmas * Real::sqrt(variance_ln2.at_least(0.0))
    }
}

/// Primes once after the key is turned.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub struct Prime {
    done: bool,
}

impl Prime {
    /// The prime fuel, kg, at the one step when it is due; else 0. An engine that turns already gets none: cranking has its own fuel.
    ///
    /// ```
    /// use trimwright_control::enrichment::{EnrichmentParameters, Prime};
    /// use trimwright_control::{Calibration, SetupAnswers};
    /// let calibration = Calibration::from_answers(&SetupAnswers::default())?;
    /// let (parameters, setup) = (&EnrichmentParameters::DEFAULT, calibration.setup());
    /// let mut prime = Prime::default();
    /// let mut key_on_for = |seconds| prime.step(parameters, setup, seconds, false, 293.0) > 0.0;
    /// // It waits for the pump, and comes once.
    /// assert_eq!([0.5, 0.9, 1.0].map(&mut key_on_for), [false, true, false]);
    /// // Key off and on again.
    /// assert_eq!([0.0, 0.9].map(&mut key_on_for), [false, true]);
    /// # Ok::<(), trimwright_control::AnswerError>(())
    /// ```
    pub fn step(
        &mut self,
        parameters: &EnrichmentParameters,
        setup: &Setup,
        key_on_s: f32,
        turning: bool,
        ect_k: f32,
    ) -> f32 {
        if key_on_s <= 0.0 {
            self.done = false;
        }
        if self.done || (key_on_s < parameters.prime_after_s && !turning) {
            return 0.0;
        }
        self.done = true;
        if turning { 0.0 } else { parameters.prime_kg(setup, ect_k) }
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::answers::SetupAnswers;
    use crate::calibration::Calibration;

    const ENRICHMENT: EnrichmentParameters = EnrichmentParameters::DEFAULT;

    #[test]
    fn colder_engines_get_more_everywhere() {
        let calibration = Calibration::from_answers(&SetupAnswers::default()).unwrap();
        for pair in [258.0, 278.0, 298.0, 338.0].windows(2) {
            assert!(ENRICHMENT.cranking_lambda(pair[0], 0.0) < ENRICHMENT.cranking_lambda(pair[1], 0.0));
            assert!(
                ENRICHMENT.prime_kg(calibration.setup(), pair[0])
                    > ENRICHMENT.prime_kg(calibration.setup(), pair[1])
            );
            assert!(ENRICHMENT.after_start_ratio(pair[0], 1.0) > ENRICHMENT.after_start_ratio(pair[1], 1.0));
        }
        // Cold: 0.15 to 0.3 g for the whole manifold.
        let [cold_kg, hot_kg] = [253.0, 360.0].map(|ect_k| ENRICHMENT.prime_kg(calibration.setup(), ect_k));
        assert!((0.15e-3..0.3e-3).contains(&cold_kg) && hot_kg < 0.1 * cold_kg);
    }

    #[test]
    fn an_engine_that_turns_already_is_not_primed() {
        let calibration = Calibration::from_answers(&SetupAnswers::default()).unwrap();
        let kg = |turning| Prime::default().step(&ENRICHMENT, calibration.setup(), 0.9, turning, 273.0);
        assert_eq!([kg(false), kg(true)], [ENRICHMENT.prime_kg(calibration.setup(), 273.0), 0.0]);
    }

    #[test]
    fn a_map_that_knows_the_idle_starts_without_allowance() {
        assert!(
            ENRICHMENT.unsure_ratio(2.0, || (0.0144, 0.0)) > 1.1
                && ENRICHMENT.unsure_ratio(2.0, || (1e-4, 0.0)) < 1.02
        );
        assert_eq!(ENRICHMENT.unsure_ratio(22.0, || (0.0144, 0.04)), 1.0);
    }

    #[test]
    fn a_film_that_is_not_known_counts_until_the_wall_is_wet() {
        assert!(ENRICHMENT.unsure_ratio(0.0, || (0.0, 0.04)) > 1.19);
        assert_eq!(ENRICHMENT.unsure_ratio(4.0, || (0.0, 0.04)), 1.0);
    }

    #[test]
    fn after_start_enrichment_ends() {
        assert_eq!(ENRICHMENT.after_start_ratio(293.0, 25.0), 1.0);
        assert_eq!(ENRICHMENT.after_start_ratio(253.0, 41.0), 1.0);
    }

    #[test]
    fn long_cranking_is_thinned_out() {
        assert!(ENRICHMENT.cranking_lambda(293.0, 10.0) > 1.3 * ENRICHMENT.cranking_lambda(293.0, 1.0));
    }

    #[test]
    fn the_engine_is_primed_once_a_key_turn() {
        let calibration = Calibration::from_answers(&SetupAnswers::default()).unwrap();
        let mut prime = Prime::default();
        let mut pulses = |key_on: bool| {
            (1..3000)
                .filter(|ms| {
                    let key_on_s = if key_on { *ms as f32 * 1e-3 } else { 0.0 };
                    prime.step(&ENRICHMENT, calibration.setup(), key_on_s, false, 293.0) > 0.0
                })
                .count()
        };
        assert_eq!([pulses(true), pulses(true), pulses(false), pulses(true)], [1, 0, 0, 1]);
    }
}
