//! Extra fuel around a start: prime pulse, cranking, after-start.
//!
//! Engineering judgement throughout: common practice in kind, values for a wet throttle-body manifold.

use trimwright_numerics::Real;

use crate::setup::Setup;
use trimwright_numerics::parameters::along;

/// Lambda asked for while cranking against coolant temperature, K: only the light part of cold fuel becomes vapour.
const CRANKING: [(f32, f32); 5] = [(253.0, 0.58), (273.0, 0.66), (293.0, 0.75), (323.0, 0.85), (358.0, 0.92)];
/// Prime pulse against coolant temperature: fuel for this many full charges at standard density, ratio.
const PRIME: [(f32, f32); 4] = [(253.0, 4.0), (273.0, 2.2), (293.0, 1.2), (340.0, 0.3)];
/// After-start enrichment right after the start against coolant temperature, ratio of fuel.
const AFTER_START: [(f32, f32); 4] = [(253.0, 1.25), (273.0, 1.18), (293.0, 1.12), (350.0, 1.05)];
/// Time in which it is gone against coolant temperature, s.
const AFTER_START_S: [(f32, f32); 3] = [(253.0, 40.0), (293.0, 22.0), (350.0, 8.0)];
/// A map that does not know the idle may well be this many of its standard deviations too lean (engineering judgement).
const UNSURE_SIGMAS: f32 = 1.0;
/// Time since the start over which the allowance for that falls, s: to where the trim has taken over.
const UNSURE_S: (f32, f32) = (8.0, 22.0);
/// The same for the film: until the wall is wet.
const WETTED_S: (f32, f32) = (1.0, 4.0);
/// Longest cranking without a start before the fuel is thinned out again, s.
const FLOODING_S: f32 = 4.0;

/// Lambda asked for while cranking; it gets leaner the longer the engine does not start, so as not to flood it.
///
/// ```
/// use trimwright_control::enrichment::cranking_lambda;
/// // At -10 degC a third more fuel than at 50 degC: only the light part of it becomes vapour.
/// assert!(cranking_lambda(263.0, 1.0) < 0.75 * cranking_lambda(323.0, 1.0));
/// // The engine won't start: leaner, before the plugs get wet.
/// assert!(cranking_lambda(263.0, 9.0) > 1.4 * cranking_lambda(263.0, 1.0));
/// ```
pub fn cranking_lambda(ect_k: f32, cranking_s: f32) -> f32 {
    (along(&CRANKING, ect_k) * (1.0 + (cranking_s - FLOODING_S).held(0.0, 10.0) * 0.1)).held(0.3, 1.3)
}

/// Fuel that wets the dry manifold before the first turn, kg.
///
/// ```
/// use trimwright_control::enrichment::prime_kg;
/// use trimwright_control::{Calibration, SetupAnswers};
/// let calibration = Calibration::from_answers(&SetupAnswers::default())?;
/// let [cold_kg, hot_kg] = [253.0, 360.0].map(|ect_k| prime_kg(&calibration, ect_k));
/// assert!((0.15e-3..0.3e-3).contains(&cold_kg) && hot_kg < 0.1 * cold_kg);
/// # Ok::<(), trimwright_control::AnswerError>(())
/// ```
pub fn prime_kg(setup: &Setup, ect_k: f32) -> f32 {
    let full_charge_kg = 1.2 * setup.cylinder_m3();
    along(&PRIME, ect_k) * full_charge_kg / setup.answers().stoich_afr
}

/// Fuel over the warm-up's own share after a start, ratio from 1 up: falls in a straight line.
///
/// ```
/// use trimwright_control::enrichment::after_start;
/// // 20 degC: an eighth more right after the start, half of that after 11 s, nothing after 22 s.
/// let [at_once, later, at_last] = [0.0, 11.0, 22.0].map(|since_start_s| after_start(293.0, since_start_s));
/// assert!((at_once - 1.12).abs() < 1e-6 && (later - 1.06).abs() < 1e-6 && at_last == 1.0);
/// ```
pub fn after_start(ect_k: f32, since_start_s: f32) -> f32 {
    let left = (1.0 - since_start_s / along(&AFTER_START_S, ect_k)).held(0.0, 1.0);
    1.0 + (along(&AFTER_START, ect_k) - 1.0) * left
}

/// Fuel for what is not known yet, ratio from 1 up: until the trim is allowed to correct it, a little rich runs on where as much
/// lean stalls. `variances_ln2` gives the variance of the map where the engine runs, and that of the film's part in the fuel, which
/// counts only while a dry wall is wetted; a map that has learned adds nothing to speak of.
///
/// ```
/// use trimwright_control::enrichment::unsure;
/// // Two seconds after the start: a new map (standard deviation 12 %), one that knows its idle (1 %).
/// let new = unsure(2.0, || (0.12 * 0.12, 0.0));
/// let known = unsure(2.0, || (0.01 * 0.01, 0.0));
/// assert!((new - 1.12).abs() < 1e-6 && (known - 1.01).abs() < 1e-6);
/// assert_eq!(unsure(30.0, || (0.12 * 0.12, 0.0)), 1.0, "the trim has taken over");
/// ```
pub fn unsure(since_start_s: f32, variances_ln2: impl FnOnce() -> (f32, f32)) -> f32 {
    let left = |(from_s, to_s): (f32, f32)| ((to_s - since_start_s) / (to_s - from_s)).held(0.0, 1.0);
    let map_left = left(UNSURE_S);
    if map_left == 0.0 {
        return 1.0;
    }
    let film_left = left(WETTED_S);
    let (map_ln2, film_ln2) = variances_ln2();
    let variance_ln2 = map_ln2 * map_left * map_left + film_ln2 * film_left * film_left;
    1.0 + UNSURE_SIGMAS * Real::sqrt(variance_ln2.max(0.0))
}

/// Primes once after the key is turned.
///
/// ```
/// use trimwright_control::enrichment::Prime;
/// use trimwright_control::{Calibration, SetupAnswers};
/// let calibration = Calibration::from_answers(&SetupAnswers::default())?;
/// let mut prime = Prime::default();
/// let mut key_on_for = |seconds| prime.step(&calibration, seconds, false, 293.0) > 0.0;
/// // It waits for the pump, and comes once.
/// assert_eq!([0.5, 0.9, 1.0].map(&mut key_on_for), [false, true, false]);
/// // Key off and on again.
/// assert_eq!([0.0, 0.9].map(&mut key_on_for), [false, true]);
/// # Ok::<(), trimwright_control::AnswerError>(())
/// ```
#[derive(Clone, Copy, Debug, Default, PartialEq)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub struct Prime {
    done: bool,
}

/// The prime pulse waits this long for the pump, s.
const PRIME_AFTER_S: f32 = 0.8;

impl Prime {
    /// The prime fuel, kg, at the one step when it is due; else 0.
    ///
    /// ```
    /// use trimwright_control::enrichment::{Prime, prime_kg};
    /// use trimwright_control::{Calibration, SetupAnswers};
    /// let calibration = Calibration::from_answers(&SetupAnswers::default())?;
    /// let kg = |turning| Prime::default().step(&calibration, 0.9, turning, 273.0);
    /// assert_eq!(kg(false), prime_kg(&calibration, 273.0));
    /// assert_eq!(kg(true), 0.0, "the starter was quicker: cranking has its own fuel");
    /// # Ok::<(), trimwright_control::AnswerError>(())
    /// ```
    pub fn step(&mut self, setup: &Setup, key_on_s: f32, turning: bool, ect_k: f32) -> f32 {
        if key_on_s <= 0.0 {
            self.done = false;
        }
        if self.done || (key_on_s < PRIME_AFTER_S && !turning) {
            return 0.0;
        }
        self.done = true;
        if turning { 0.0 } else { prime_kg(setup, ect_k) }
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::answers::SetupAnswers;
    use crate::calibration::Calibration;

    #[test]
    fn colder_engines_get_more_everywhere() {
        let calibration = Calibration::from_answers(&SetupAnswers::default()).unwrap();
        for pair in [258.0, 278.0, 298.0, 338.0].windows(2) {
            assert!(cranking_lambda(pair[0], 0.0) < cranking_lambda(pair[1], 0.0));
            assert!(prime_kg(&calibration, pair[0]) > prime_kg(&calibration, pair[1]));
            assert!(after_start(pair[0], 1.0) > after_start(pair[1], 1.0));
        }
    }

    #[test]
    fn a_map_that_knows_the_idle_starts_without_allowance() {
        assert!(unsure(2.0, || (0.0144, 0.0)) > 1.1 && unsure(2.0, || (1e-4, 0.0)) < 1.02);
        assert_eq!(unsure(22.0, || (0.0144, 0.04)), 1.0);
    }

    #[test]
    fn a_film_that_is_not_known_counts_until_the_wall_is_wet() {
        assert!(unsure(0.0, || (0.0, 0.04)) > 1.19);
        assert_eq!(unsure(4.0, || (0.0, 0.04)), 1.0);
    }

    #[test]
    fn after_start_enrichment_ends() {
        assert_eq!(after_start(293.0, 25.0), 1.0);
        assert_eq!(after_start(253.0, 41.0), 1.0);
    }

    #[test]
    fn long_cranking_is_thinned_out() {
        assert!(cranking_lambda(293.0, 10.0) > 1.3 * cranking_lambda(293.0, 1.0));
    }

    #[test]
    fn the_engine_is_primed_once_a_key_turn() {
        let calibration = Calibration::from_answers(&SetupAnswers::default()).unwrap();
        let mut prime = Prime::default();
        let mut pulses = |key_on: bool| {
            (1..3000)
                .filter(|ms| {
                    let key_on_s = if key_on { *ms as f32 * 1e-3 } else { 0.0 };
                    prime.step(&calibration, key_on_s, false, 293.0) > 0.0
                })
                .count()
        };
        assert_eq!([pulses(true), pulses(true), pulses(false), pulses(true)], [1, 0, 0, 1]);
    }
}
