//! Enrichment around a start: prime pulse, cranking, after-start, and an allowance for what has not been learned yet.

use trimwright_numerics::Real;
use trimwright_numerics::parameters::along;

use crate::setup::Setup;

trimwright_numerics::parameters! {
    /// Enrichment around a start, for a throttle body with a wet manifold.
    #[cfg_attr(feature = "defmt", derive(defmt::Format))]
    pub struct EnrichmentParameters<f32> "enrichment" {
        /// Lambda while cranking against coolant temperature; only the light part of cold fuel evaporates.
        curve cranking { [8] = [(243.0, 0.30), (253.0, 0.34), (263.0, 0.42), (273.0, 0.48), (293.0, 0.60), (323.0, 0.82), (358.0, 0.93)], 220.0..=400.0 "K" => 0.2..=1.3 "1", "common practice, no source" }
        /// Cranking time after which the cranking mixture is leaned out so as not to flood the engine.
        number thinning_delay_s { 3.5, 0.5..=60.0 "s", "engineering judgement" }
        /// Rate at which the cranking mixture is leaned out, share of lambda.
        number thinning_per_s { 0.1, 0.0..=1.0 "1/s", "engineering judgement" }
        /// Duration of the leaning out.
        number thinning_s { 10.0, 0.0..=60.0 "s", "engineering judgement" }
        /// Lower limit of lambda while cranking.
        number min_cranking_lambda { 0.2, 0.1..=0.8 "1", "engineering judgement" }
        /// Upper limit of lambda while cranking.
        number max_cranking_lambda { 1.3, 0.9..=2.0 "1", "engineering judgement" }
        /// Prime pulse against coolant temperature, in stoichiometric full charges of all cylinders.
        curve prime { [8] = [(253.0, 1.5), (273.0, 0.8), (293.0, 0.35), (340.0, 0.07)], 220.0..=400.0 "K" => 0.0..=5.0 "1", "engineering judgement: the manifold that it wets grows with the engine" }
        /// Delay of the prime pulse after ignition on, for the pump to build up pressure.
        number prime_delay_s { 0.8, 0.0..=10.0 "s", "engineering judgement" }
        /// After-start enrichment right after the start against coolant temperature, ratio of fuel.
        curve after_start { [8] = [(253.0, 1.20), (273.0, 1.18), (293.0, 1.12), (350.0, 1.05)], 220.0..=400.0 "K" => 1.0..=2.0 "1", "common practice, no source" }
        /// Duration of the after-start enrichment against coolant temperature.
        curve after_start_duration_s { [8] = [(253.0, 40.0), (293.0, 22.0), (350.0, 8.0)], 220.0..=400.0 "K" => 0.5..=300.0 "s", "common practice, no source" }
        /// Enrichment after a start, in standard deviations of the learned correction, until feedback is active.
        number uncertainty_sigmas { 0.5, 0.0..=3.0 "1", "engineering judgement" }
        /// Time after the start from which the enrichment for the map's uncertainty fades.
        number uncertainty_fade_from_s { 8.0, 0.0..=15.0 "s", "engineering judgement" }
        /// Time after the start at which the enrichment for the map's uncertainty is gone.
        number uncertainty_fade_until_s { 22.0, 16.0..=300.0 "s", "engineering judgement" }
        /// Time after the start from which the enrichment for the wall film's uncertainty fades.
        number film_fade_from_s { 1.0, 0.0..=2.0 "s", "engineering judgement" }
        /// Time after the start at which the enrichment for the wall film's uncertainty is gone.
        number film_fade_until_s { 4.0, 2.5..=60.0 "s", "engineering judgement" }
        /// Lower limit of a started engine's lambda with all enrichments together.
        number min_lambda { 0.3, 0.2..=0.8 "1", "engineering judgement" }
    }
}

/// Air at standard density, kg/m3.
const STANDARD_KG_PER_M3: f32 = 1.2;

impl EnrichmentParameters {
    /// Wanted lambda while cranking; leaned out the longer the engine does not start, so as not to flood it.
    pub fn cranking_lambda(&self, ect_k: f32, cranking_s: f32) -> f32 {
        let thinned_s = (cranking_s - self.thinning_delay_s).held(0.0, self.thinning_s);
        (along(&self.cranking, ect_k) * (1.0 + thinned_s * self.thinning_per_s))
            .held(self.min_cranking_lambda, self.max_cranking_lambda)
    }

    /// Fuel of the prime pulse, kg, which wets the dry manifold before the first turn.
    pub fn prime_kg(&self, setup: &Setup, ect_k: f32) -> f32 {
        let full_charges_kg = STANDARD_KG_PER_M3 * setup.answers().displacement_m3;
        along(&self.prime, ect_k) * full_charges_kg / setup.answers().stoich_afr
    }

    /// After-start enrichment, fuel ratio of 1 or more; falls linearly to 1.
    pub fn after_start_ratio(&self, ect_k: f32, since_start_s: f32) -> f32 {
        let left = (1.0 - since_start_s / along(&self.after_start_duration_s, ect_k)).held(0.0, 1.0);
        if left == 0.0 { 1.0 } else { 1.0 + (along(&self.after_start, ect_k) - 1.0) * left }
    }

    /// Enrichment for an unlearned map and wall film, fuel ratio of 1 or more, until feedback is active: a slightly rich engine runs on
    /// where an equally lean one stalls. `variances_ln2` gives the variance of the map at the operating point and of the film's part in the
    /// fuel, ln^2.
    pub fn uncertainty_ratio(&self, since_start_s: f32, variances_ln2: impl FnOnce() -> (f32, f32)) -> f32 {
        let left =
            |from_s: f32, until_s: f32| ((until_s - since_start_s) / (until_s - from_s)).held(0.0, 1.0);
        let map_left = left(self.uncertainty_fade_from_s, self.uncertainty_fade_until_s);
        if map_left == 0.0 {
            return 1.0;
        }
        let film_left = left(self.film_fade_from_s, self.film_fade_until_s);
        let (map_ln2, film_ln2) = variances_ln2();
        let variance_ln2 = map_ln2 * map_left * map_left + film_ln2 * film_left * film_left;
        1.0 + self.uncertainty_sigmas * Real::sqrt(variance_ln2.at_least(0.0))
    }
}

/// Stage of the prime pulse: once after ignition on.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub struct Prime {
    done: bool,
}

impl Prime {
    /// Fuel of the prime pulse, kg, in the one step when it is due; else 0. An engine that already turns gets none.
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
        if self.done || (key_on_s < parameters.prime_delay_s && !turning) {
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

    const ENRICHMENT: EnrichmentParameters =
        EnrichmentParameters { uncertainty_sigmas: 1.0, ..EnrichmentParameters::DEFAULT };

    #[test]
    fn colder_engines_get_more_of_every_enrichment() {
        let calibration = Calibration::from_answers(&SetupAnswers::default()).unwrap();
        for pair in [258.0, 278.0, 298.0, 338.0].windows(2) {
            assert!(ENRICHMENT.cranking_lambda(pair[0], 0.0) < ENRICHMENT.cranking_lambda(pair[1], 0.0));
            assert!(
                ENRICHMENT.prime_kg(calibration.setup(), pair[0])
                    > ENRICHMENT.prime_kg(calibration.setup(), pair[1])
            );
            assert!(ENRICHMENT.after_start_ratio(pair[0], 1.0) > ENRICHMENT.after_start_ratio(pair[1], 1.0));
        }
        // Cold: half a gram for the whole manifold.
        let [cold_kg, hot_kg] = [253.0, 360.0].map(|ect_k| ENRICHMENT.prime_kg(calibration.setup(), ect_k));
        assert!((0.4e-3..0.7e-3).contains(&cold_kg) && hot_kg < 0.1 * cold_kg);
    }

    #[test]
    fn an_engine_that_turns_already_is_not_primed() {
        let calibration = Calibration::from_answers(&SetupAnswers::default()).unwrap();
        let kg = |turning| Prime::default().step(&ENRICHMENT, calibration.setup(), 0.9, turning, 273.0);
        assert_eq!([kg(false), kg(true)], [ENRICHMENT.prime_kg(calibration.setup(), 273.0), 0.0]);
    }

    #[test]
    fn a_learned_idle_cell_needs_no_enrichment() {
        assert!(
            ENRICHMENT.uncertainty_ratio(2.0, || (0.0144, 0.0)) > 1.1
                && ENRICHMENT.uncertainty_ratio(2.0, || (1e-4, 0.0)) < 1.02
        );
        assert_eq!(ENRICHMENT.uncertainty_ratio(22.0, || (0.0144, 0.04)), 1.0);
    }

    #[test]
    fn an_unlearned_film_enriches_until_the_wall_is_wet() {
        assert!(ENRICHMENT.uncertainty_ratio(0.0, || (0.0, 0.04)) > 1.19);
        assert_eq!(ENRICHMENT.uncertainty_ratio(4.0, || (0.0, 0.04)), 1.0);
    }

    #[test]
    fn after_start_enrichment_falls_linearly_and_ends() {
        // 20 degC: an eighth more right after the start, half of that after 11 s.
        let [start, half] = [0.0, 11.0].map(|since_s| ENRICHMENT.after_start_ratio(293.0, since_s));
        assert!((start - 1.12).abs() < 1e-6 && (half - 1.06).abs() < 1e-6);
        assert_eq!(ENRICHMENT.after_start_ratio(293.0, 25.0), 1.0);
        assert_eq!(ENRICHMENT.after_start_ratio(253.0, 41.0), 1.0);
    }

    #[test]
    fn long_cranking_is_leaned_out() {
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

    #[test]
    fn cranking_is_leaned_out_in_proportion_to_time_from_a_delay_to_an_end() {
        let ratio = |cranking_s| {
            ENRICHMENT.cranking_lambda(293.0, cranking_s) / ENRICHMENT.cranking_lambda(293.0, 0.0)
        };
        assert_eq!(ratio(ENRICHMENT.thinning_delay_s), 1.0);
        assert!((ratio(ENRICHMENT.thinning_delay_s + 2.5) - 1.25).abs() < 1e-5);
        assert_eq!(ENRICHMENT.cranking_lambda(323.0, 60.0), ENRICHMENT.max_cranking_lambda);
        let short = EnrichmentParameters { thinning_s: 1.0, ..ENRICHMENT };
        assert!((short.cranking_lambda(293.0, 60.0) / short.cranking_lambda(293.0, 0.0) - 1.1).abs() < 1e-5);
    }

    /// Map and film fade on their own, each linearly in its standard deviation, and add up as variances do.
    #[test]
    fn the_allowance_for_what_is_unknown_fades_linearly() {
        let more = |since_start_s, map_sigma: f32, film_sigma: f32| {
            let variances_ln2 = || (map_sigma * map_sigma, film_sigma * film_sigma);
            ENRICHMENT.uncertainty_ratio(since_start_s, variances_ln2) - 1.0
        };
        assert!((more(0.5, 0.12, 0.16) - 0.2).abs() < 1e-6, "all of both");
        assert!((more(8.0, 0.12, 0.0) - 0.12).abs() < 1e-6 && (more(18.5, 0.12, 0.0) - 0.03).abs() < 1e-6);
        assert!((more(1.0, 0.0, 0.16) - 0.16).abs() < 1e-6 && (more(3.25, 0.0, 0.16) - 0.04).abs() < 1e-6);
        let bold = EnrichmentParameters { uncertainty_sigmas: 2.0, ..ENRICHMENT };
        assert!((bold.uncertainty_ratio(0.0, || (0.01, 0.0)) - 1.2).abs() < 1e-6);
    }

    #[test]
    fn the_engine_is_primed_when_the_rail_had_its_time_to_fill() {
        let calibration = Calibration::from_answers(&SetupAnswers::default()).unwrap();
        let primed =
            |key_on_s| Prime::default().step(&ENRICHMENT, calibration.setup(), key_on_s, false, 293.0) > 0.0;
        assert!(primed(ENRICHMENT.prime_delay_s) && !primed(ENRICHMENT.prime_delay_s - 0.01));
    }

    /// By hand: 0.35 times the air of 5.2 l at 1.2 kg/m3, over 14.6.
    #[test]
    fn ident_a_prime_pulse_at_20_degc_is_a_third_of_the_displacement() {
        let calibration = Calibration::from_answers(&SetupAnswers::default()).unwrap();
        let prime_kg = ENRICHMENT.prime_kg(calibration.setup(), 293.0);
        assert!((prime_kg - 0.35 * 5.2e-3 * 1.2 / 14.6).abs() < 1e-9, "{prime_kg}");
    }
}
