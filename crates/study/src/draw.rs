//! What is drawn by lot for one engine of a fleet.
//!
//! | what | spread | why |
//! |---|---|---|
//! | filling | a smooth deviation of at most 15 %, its shape drawn | an engine's breathing is not known to its owner |
//! | injector flow | ±5 % | parts and wear |
//! | opening delay | ±0.1 ms | parts and wear |
//! | film X, film tau | ±25 % each | manifolds differ |
//! | sensor lag | ±30 % | parts and age |
//! | pipe from valves to sensor | ±25 % | where the sensor was fitted |
//! | ethanol in the tank | 0 to 5 % by volume | the pump does not say |
//! | answered displacement | ±1 % | rounded |
//! | answered compression ratio | ±0.5 | from a handbook, after years |
//! | answered rail pressure | ±3 % | the gauge |
//! | answered cam | one step off in one engine of ten | bought used |
//!
//! All are even within their limits, and independent. The first six are the deviations by which results are measured; the others
//! are engineering judgement. They are drawn about the engine's nameplate, that is without the scenario's own deviations.

use rand_xoshiro::Xoshiro256PlusPlus;
use rand_xoshiro::rand_core::{Rng, SeedableRng};
use trimwright_control::Cam;
use trimwright_harness::scenario::{Deviations, Scenario};

/// Largest deviation of the filling.
const FILLING: f64 = 0.15;
/// Share of the owners who are wrong about the cam.
const WRONG_CAM: f64 = 0.1;

/// What was drawn for one engine; shares unless the name says otherwise.
///
/// ```
/// use trimwright_study::draw::Draw;
/// let fleet: Vec<Draw> = (0..100).map(|index| Draw::of(1, index)).collect();
/// assert!(fleet.iter().all(|draw| draw.deviations.injector_flow.abs() <= 0.05));
/// assert!(fleet.iter().all(|draw| (0.0..=0.05).contains(&draw.ethanol_share)));
/// let wrong_cam = fleet.iter().filter(|draw| draw.answered_cam_steps != 0).count();
/// assert!((1..30).contains(&wrong_cam), "about one owner in ten: {wrong_cam}");
/// ```
#[derive(Clone, Debug, PartialEq)]
pub struct Draw {
    /// Seed of all noise in the run.
    pub run_seed: u64,
    /// In what the engine differs from its nameplate.
    pub deviations: Deviations,
    /// Share by which the pipe holds more.
    pub pipe: f64,
    /// Ethanol in the fuel, share of volume.
    pub ethanol_share: f64,
    /// Share by which the answered displacement is too large.
    pub answered_displacement: f64,
    /// By how much the answered compression ratio is too high.
    pub answered_compression: f64,
    /// Share by which the answered rail pressure is too high.
    pub answered_rail_pressure: f64,
    /// Steps by which the answered cam is too hot: -1, 0 or 1.
    pub answered_cam_steps: i8,
}

impl Draw {
    /// The lot of engine `index` in the fleet of `seed`. It depends on nothing else.
    ///
    /// ```
    /// use trimwright_study::draw::Draw;
    /// assert_eq!(Draw::of(1, 7), Draw::of(1, 7));
    /// assert_ne!(Draw::of(1, 7), Draw::of(1, 8));
    /// ```
    pub fn of(seed: u64, index: u32) -> Self {
        // An odd factor spreads the fleets' seeds; engines of one fleet differ by their index.
        let mut lot = Lot::new(seed.wrapping_mul(0x9e37_79b9_7f4a_7c15) ^ u64::from(index));
        Self {
            run_seed: lot.seed(),
            deviations: Deviations {
                filling: FILLING,
                filling_seed: lot.seed(),
                injector_flow: lot.within(0.05),
                opening_delay_s: lot.within(1e-4),
                film_x: lot.within(0.25),
                film_tau: lot.within(0.25),
                sensor_lag: lot.within(0.30),
            },
            pipe: lot.within(0.25),
            ethanol_share: 0.025 + lot.within(0.025),
            answered_displacement: lot.within(0.01),
            answered_compression: lot.within(0.5),
            answered_rail_pressure: lot.within(0.03),
            answered_cam_steps: match lot.within(1.0) {
                low if low < WRONG_CAM - 1.0 => -1,
                high if high > 1.0 - WRONG_CAM => 1,
                _ => 0,
            },
        }
    }

    /// The scenario with this engine and this owner in it.
    ///
    /// ```
    /// use trimwright_harness::scenario::Scenario;
    /// use trimwright_study::draw::Draw;
    /// let van = Scenario::load("delivery-van")?;
    /// let drawn = Draw::of(1, 7).scenario(&van);
    /// assert!(drawn.truth != van.truth && drawn.answers.displacement_m3 != van.answers.displacement_m3);
    /// # Ok::<(), Box<dyn std::error::Error>>(())
    /// ```
    pub fn scenario(&self, scenario: &Scenario) -> Scenario {
        let mut truth = scenario.nameplate.clone();
        self.deviations.apply(&mut truth);
        truth.exhaust.pipe_m3 *= 1.0 + self.pipe;
        truth.fuel.ethanol_share += self.ethanol_share;
        let mut answers = scenario.answers;
        answers.displacement_m3 *= (1.0 + self.answered_displacement) as f32;
        answers.compression_ratio += self.answered_compression as f32;
        answers.rail_pressure_pa *= (1.0 + self.answered_rail_pressure) as f32;
        answers.cam = stepped(answers.cam, self.answered_cam_steps);
        Scenario { truth, answers, seed: self.run_seed, ..scenario.clone() }
    }
}

/// The cam that many steps hotter, as far as there are any.
fn stepped(cam: Cam, steps: i8) -> Cam {
    match (cam, steps.signum()) {
        (Cam::Mild, -1) => Cam::Stock,
        (Cam::Stock, 1) | (Cam::Hot, -1) => Cam::Mild,
        (Cam::Mild, 1) => Cam::Hot,
        (same, _) => same,
    }
}

/// Draws one thing after the other.
pub(crate) struct Lot(Xoshiro256PlusPlus);

impl Lot {
    pub(crate) fn new(seed: u64) -> Self {
        Self(Xoshiro256PlusPlus::seed_from_u64(seed))
    }

    /// A seed that a signed number of 64 bits can hold, as files have them.
    fn seed(&mut self) -> u64 {
        self.0.next_u64() >> 1
    }

    /// Even between plus and minus `limit`.
    fn within(&mut self, limit: f64) -> f64 {
        limit * (2.0 * self.share() - 1.0)
    }

    /// Even from 0 to 1.
    pub(crate) fn share(&mut self) -> f64 {
        (self.0.next_u64() >> 11) as f64 / 9_007_199_254_740_992.0
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    type Spread = (f64, f64, fn(&Draw) -> f64);

    fn all() -> Vec<Draw> {
        (0..4000).map(|index| Draw::of(3, index)).collect()
    }

    /// An even distribution within plus and minus `a` has mean 0 and variance a^2 / 3.
    #[test]
    fn each_spread_is_even_within_its_limits() {
        let spreads: [Spread; 10] = [
            (0.0, 0.05, |draw| draw.deviations.injector_flow),
            (0.0, 1e-4, |draw| draw.deviations.opening_delay_s),
            (0.0, 0.25, |draw| draw.deviations.film_x),
            (0.0, 0.25, |draw| draw.deviations.film_tau),
            (0.0, 0.30, |draw| draw.deviations.sensor_lag),
            (0.0, 0.25, |draw| draw.pipe),
            (0.025, 0.025, |draw| draw.ethanol_share),
            (0.0, 0.01, |draw| draw.answered_displacement),
            (0.0, 0.5, |draw| draw.answered_compression),
            (0.0, 0.03, |draw| draw.answered_rail_pressure),
        ];
        let draws = all();
        let count = draws.len() as f64;
        for (mean, limit, value) in spreads {
            let values = || draws.iter().map(|draw| (value(draw) - mean) / limit);
            assert!(values().all(|value| value.abs() <= 1.0));
            assert!((values().sum::<f64>() / count).abs() < 0.05);
            assert!((values().map(|value| value * value).sum::<f64>() / count - 1.0 / 3.0).abs() < 0.02);
        }
        let wrong = draws.iter().filter(|draw| draw.answered_cam_steps != 0).count() as f64;
        assert!((wrong / count - WRONG_CAM).abs() < 0.02, "{wrong}");
    }

    #[test]
    fn neighbours_have_nothing_in_common() {
        let draws = all();
        let product = |pair: &[Draw]| pair[0].deviations.film_x * pair[1].deviations.film_x;
        let correlation = draws.windows(2).map(product).sum::<f64>() / draws.len() as f64 / (0.0625 / 3.0);
        assert!(correlation.abs() < 0.06, "{correlation}");
    }

    #[test]
    fn the_scenarios_own_deviations_are_left_out() {
        let scenario = Scenario::load("delivery-van").expect("shipped");
        let drawn = Draw::of(1, 0).scenario(&scenario);
        let flow = Draw::of(1, 0).deviations.injector_flow;
        let nameplate = scenario.nameplate.injectors.static_flow_kg_per_s;
        assert!((drawn.truth.injectors.static_flow_kg_per_s / nameplate - 1.0 - flow).abs() < 1e-12);
        assert_ne!(scenario.truth.injectors.static_flow_kg_per_s, nameplate);
        assert_eq!((drawn.truth.check(), drawn.answers.check()), (Ok(()), Ok(())));
    }

    #[test]
    fn a_cam_has_neighbours() {
        assert_eq!([-1, 0, 1].map(|steps| stepped(Cam::Mild, steps)), [Cam::Stock, Cam::Mild, Cam::Hot]);
        assert_eq!([-1, 0, 1].map(|steps| stepped(Cam::Hot, steps)), [Cam::Mild, Cam::Hot, Cam::Hot]);
    }
}
