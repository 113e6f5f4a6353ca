//! Random deviations of one engine of a fleet and random errors of its owner's answers.
//!
//! | quantity | range | reason |
//! |---|---|---|
//! | filling | a smooth deviation of at most 15 % with random shape | filling is not known to the owner |
//! | injector flow | ±5 % | parts and wear |
//! | opening delay | ±0.1 ms | parts and wear |
//! | film X, film tau | ±25 % each | manifolds differ |
//! | sensor lag | ±30 % | parts and age |
//! | pipe from valves to sensor | ±25 % | mounting position of the sensor |
//! | ethanol in the tank | 0 to 5 % by volume | not declared at the pump |
//! | answered displacement | ±1 % | rounded |
//! | answered compression ratio | ±0.5 | handbook value, ageing |
//! | answered rail pressure | ±3 % | reading of the gauge |
//! | answered cam | one step wrong in 10 % of the engines | bought used |
//!
//! All are uniform within their ranges and independent. The first six are the deviations of the acceptance criteria; the others are
//! engineering judgement. They apply to the engine's nameplate, that is without the scenario's own deviations.

use rand_xoshiro::Xoshiro256PlusPlus;
use rand_xoshiro::rand_core::{Rng, SeedableRng};
use trimwright_control::Cam;
use trimwright_harness::scenario::{Deviations, Scenario};

/// Largest deviation of the filling, ratio.
const FILLING: f64 = 0.15;
/// Share of the owners with a wrong answer for the cam.
const WRONG_CAM: f64 = 0.1;

/// The random deviations of one engine; ratios unless the name has a unit.
///
/// ```
/// use trimwright_study::sample::EngineSample;
/// let fleet: Vec<EngineSample> = (0..100).map(|index| EngineSample::of(1, index)).collect();
/// assert!(fleet.iter().all(|sample| sample.deviations.injector_flow.abs() <= 0.05));
/// assert!(fleet.iter().all(|sample| (0.0..=0.05).contains(&sample.ethanol_share)));
/// let wrong_cam = fleet.iter().filter(|sample| sample.answered_cam_steps != 0).count();
/// assert!((1..30).contains(&wrong_cam), "about one owner in ten: {wrong_cam}");
/// ```
#[derive(Clone, Debug, PartialEq)]
pub struct EngineSample {
    /// Seed of all noise in the run.
    pub run_seed: u64,
    /// Deviations of the engine from its nameplate.
    pub deviations: Deviations,
    /// Relative deviation of the pipe volume between valves and sensor.
    pub pipe: f64,
    /// Ethanol in the fuel, share of volume, 0 to 0.05.
    pub ethanol_share: f64,
    /// Relative error of the answered displacement.
    pub answered_displacement: f64,
    /// Error of the answered compression ratio.
    pub answered_compression: f64,
    /// Relative error of the answered rail pressure.
    pub answered_rail_pressure: f64,
    /// Error of the answered cam, steps towards a hotter one: -1, 0 or 1.
    pub answered_cam_steps: i8,
}

impl EngineSample {
    /// The sample of engine `index` in the fleet with `seed`; depends on nothing else.
    ///
    /// ```
    /// use trimwright_study::sample::EngineSample;
    /// assert_eq!(EngineSample::of(1, 7), EngineSample::of(1, 7));
    /// assert_ne!(EngineSample::of(1, 7), EngineSample::of(1, 8));
    /// ```
    pub fn of(seed: u64, index: u32) -> Self {
        // An odd factor separates the seeds of fleets; engines of one fleet differ by their index.
        let mut sampler = Sampler::new(seed.wrapping_mul(0x9e37_79b9_7f4a_7c15) ^ u64::from(index));
        Self {
            run_seed: sampler.seed(),
            deviations: Deviations {
                filling: FILLING,
                filling_seed: sampler.seed(),
                injector_flow: sampler.within(0.05),
                opening_delay_s: sampler.within(1e-4),
                film_x: sampler.within(0.25),
                film_tau: sampler.within(0.25),
                sensor_lag: sampler.within(0.30),
            },
            pipe: sampler.within(0.25),
            ethanol_share: 0.025 + sampler.within(0.025),
            answered_displacement: sampler.within(0.01),
            answered_compression: sampler.within(0.5),
            answered_rail_pressure: sampler.within(0.03),
            answered_cam_steps: match sampler.within(1.0) {
                low if low < WRONG_CAM - 1.0 => -1,
                high if high > 1.0 - WRONG_CAM => 1,
                _ => 0,
            },
        }
    }

    /// The scenario with this engine and this owner.
    ///
    /// ```
    /// use trimwright_harness::scenario::Scenario;
    /// use trimwright_study::sample::EngineSample;
    /// let van = Scenario::load("delivery-van")?;
    /// let sampled = EngineSample::of(1, 7).scenario(&van);
    /// assert!(sampled.truth != van.truth && sampled.answers.displacement_m3 != van.answers.displacement_m3);
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

/// The cam `steps` hotter, limited to the existing ones.
fn stepped(cam: Cam, steps: i8) -> Cam {
    match (cam, steps.signum()) {
        (Cam::Mild, -1) => Cam::Stock,
        (Cam::Stock, 1) | (Cam::Hot, -1) => Cam::Mild,
        (Cam::Mild, 1) => Cam::Hot,
        (same, _) => same,
    }
}

/// Generator of random values.
pub(crate) struct Sampler(Xoshiro256PlusPlus);

impl Sampler {
    pub(crate) fn new(seed: u64) -> Self {
        Self(Xoshiro256PlusPlus::seed_from_u64(seed))
    }

    /// A seed that fits a signed 64-bit number, as in files.
    fn seed(&mut self) -> u64 {
        self.0.next_u64() >> 1
    }

    /// Uniform in -`limit` to `limit`.
    fn within(&mut self, limit: f64) -> f64 {
        limit * (2.0 * self.share() - 1.0)
    }

    /// Uniform in 0 to 1.
    pub(crate) fn share(&mut self) -> f64 {
        (self.0.next_u64() >> 11) as f64 / 9_007_199_254_740_992.0
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    type Distribution = (f64, f64, fn(&EngineSample) -> f64);

    fn all() -> Vec<EngineSample> {
        (0..4000).map(|index| EngineSample::of(3, index)).collect()
    }

    /// A uniform distribution within plus and minus `a` has mean 0 and variance a^2 / 3.
    #[test]
    fn each_quantity_is_uniform_within_its_range() {
        let distributions: [Distribution; 10] = [
            (0.0, 0.05, |sample| sample.deviations.injector_flow),
            (0.0, 1e-4, |sample| sample.deviations.opening_delay_s),
            (0.0, 0.25, |sample| sample.deviations.film_x),
            (0.0, 0.25, |sample| sample.deviations.film_tau),
            (0.0, 0.30, |sample| sample.deviations.sensor_lag),
            (0.0, 0.25, |sample| sample.pipe),
            (0.025, 0.025, |sample| sample.ethanol_share),
            (0.0, 0.01, |sample| sample.answered_displacement),
            (0.0, 0.5, |sample| sample.answered_compression),
            (0.0, 0.03, |sample| sample.answered_rail_pressure),
        ];
        let samples = all();
        let count = samples.len() as f64;
        for (mean, limit, value) in distributions {
            let values = || samples.iter().map(|sample| (value(sample) - mean) / limit);
            assert!(values().all(|value| value.abs() <= 1.0));
            assert!((values().sum::<f64>() / count).abs() < 0.05);
            assert!((values().map(|value| value * value).sum::<f64>() / count - 1.0 / 3.0).abs() < 0.02);
        }
        let wrong = samples.iter().filter(|sample| sample.answered_cam_steps != 0).count() as f64;
        assert!((wrong / count - WRONG_CAM).abs() < 0.02, "{wrong}");
    }

    #[test]
    fn neighbouring_engines_are_uncorrelated() {
        let samples = all();
        let product = |pair: &[EngineSample]| pair[0].deviations.film_x * pair[1].deviations.film_x;
        let correlation =
            samples.windows(2).map(product).sum::<f64>() / samples.len() as f64 / (0.0625 / 3.0);
        assert!(correlation.abs() < 0.06, "{correlation}");
    }

    #[test]
    fn the_scenarios_own_deviations_do_not_apply() {
        let scenario = Scenario::load("delivery-van").expect("shipped");
        let sampled = EngineSample::of(1, 0).scenario(&scenario);
        let flow = EngineSample::of(1, 0).deviations.injector_flow;
        let nameplate = scenario.nameplate.injectors.static_flow_kg_per_s;
        assert!((sampled.truth.injectors.static_flow_kg_per_s / nameplate - 1.0 - flow).abs() < 1e-12);
        assert_ne!(scenario.truth.injectors.static_flow_kg_per_s, nameplate);
        assert_eq!((sampled.truth.check(), sampled.answers.check()), (Ok(()), Ok(())));
    }

    #[test]
    fn a_cam_changes_by_steps() {
        assert_eq!([-1, 0, 1].map(|steps| stepped(Cam::Mild, steps)), [Cam::Stock, Cam::Mild, Cam::Hot]);
        assert_eq!([-1, 0, 1].map(|steps| stepped(Cam::Hot, steps)), [Cam::Mild, Cam::Hot, Cam::Hot]);
    }
}
