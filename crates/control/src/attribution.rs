//! Which past injection does this lambda reading describe?
//!
//! The gas at the sensor left the cylinders when the exhaust mass that passed since then filled the pipe (plug flow), and
//! its fuel was injected a fixed crank angle before that. Both are sums over a ring of the past, so that the answer stays right
//! while speed and flow change; no delay has to be looked up. What the sensor shows is a lagged view of that stream, and so are
//! the expectations kept here: cell shares, applied correction and wanted mixture all go through the believed lag.

use trimwright_numerics::{Real, Ring, Weights};

use crate::base_map::CELLS;
use crate::exhaust::ExhaustParameters;
use crate::film::FILM;
use crate::refusal::Refusal;
use crate::setup::Setup;

trimwright_numerics::parameters! {
    /// What a lambda reading is taken to describe.
    #[cfg_attr(feature = "defmt", derive(defmt::Format))]
    pub struct AttributionParameters<f32> "attribution" {
        /// Share in a reading below which a cell is forgotten.
        number forgotten { 1e-3, 0.0..=0.05 "1", "engineering judgement" }
        /// Share in a reading up to which gas that teaches nothing no longer spoils it.
        number clean { 0.05, 0.001..=0.5 "1", "engineering judgement: three time constants of the sensor" }
        /// Richest wanted mixture that a reading is compared with, lambda.
        number richest { 0.3, 0.1..=0.9 "1", "engineering judgement" }
        /// Leanest wanted mixture that a reading is compared with, lambda.
        number leanest { 1.5, 1.0..=5.0 "1", "engineering judgement" }
    }
}

/// Injections remembered: at one every 20 ms this is 1.9 s.
pub const REMEMBERED: usize = 96;
/// Less exhaust than this is none, kg.
const LEAST_KG: f32 = 1e-9;
/// Cells a lagged view may cover.
const MOST_CELLS: usize = 12;

/// What was injected at one time.
#[derive(Clone, Copy, Debug, PartialEq)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub struct Injection {
    /// Cells of the map it came from.
    pub weights: Weights<f32>,
    /// Learned correction, short-term trim and dither applied, ln.
    pub applied_ln: f32,
    /// Wanted lambda, ln.
    pub wanted_ln: f32,
    /// How much the fuel of that time depended on the film's share and on its time constant: relative change of fuel by ln.
    pub film: [f32; FILM],
    /// How fast pressure and speed were moving; 1 at the end of what counts as calm.
    pub moving: f32,
    /// Time since the injection before it, s.
    pub gone_s: f32,
    /// Crank turns since the injection before it.
    pub turns: f32,
    /// Exhaust mass since the injection before it, kg, as hot as it is at usual flow.
    pub exhaust_kg: f32,
    /// Why nothing can be learned from it, if so.
    pub refusal: Option<Refusal>,
}

impl Injection {
    /// Before the engine ever ran.
    pub const NONE: Self = Self {
        weights: Weights { cells: [0; 4], shares: [0.0; 4] },
        applied_ln: 0.0,
        wanted_ln: 0.0,
        film: [0.0; FILM],
        moving: 0.0,
        gone_s: 0.0,
        turns: 0.0,
        exhaust_kg: 0.0,
        refusal: Some(Refusal::Starting),
    };
}

/// Cells as the sensor sees them: shares after its lag.
///
/// ```
/// use trimwright_control::attribution::Seen;
/// use trimwright_control::{Calibration, SetupAnswers};
/// let calibration = Calibration::from_answers(&SetupAnswers::default())?;
/// let weights = calibration.setup().weights(40e3, 150.0);
/// assert!(Seen::at_rest(&weights).iter().eq(weights.iter()));
/// # Ok::<(), trimwright_control::AnswerError>(())
/// ```
#[derive(Clone, Copy, Debug, Default, PartialEq)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub struct Seen {
    cells: [u16; MOST_CELLS],
    shares: [f32; MOST_CELLS],
    film: [f32; FILM],
}

impl Seen {
    /// The view of a sensor that has seen nothing else for long.
    pub fn at_rest(weights: &Weights<f32>) -> Self {
        let mut seen = Self::default();
        seen.add(weights, 1.0, 0.0);
        seen
    }

    /// Moves a share of the way towards these weights. What has less left than `forgotten` is, and when all places are taken the least.
    fn add(&mut self, weights: &Weights<f32>, share: f32, forgotten: f32) {
        for held in &mut self.shares {
            *held *= 1.0 - share;
            if *held < forgotten {
                *held = 0.0;
            }
        }
        for (&cell, &weight) in weights.cells.iter().zip(&weights.shares) {
            let part = weight * share;
            if part > 0.0 {
                self.put(cell, part);
            }
        }
    }

    /// Moves a share of the way towards these film shares.
    fn add_film(&mut self, film: &[f32; FILM], share: f32) {
        for (held, now) in self.film.iter_mut().zip(film) {
            *held += share * (now - *held);
        }
    }

    fn put(&mut self, cell: u16, part: f32) {
        let mut place: Option<(&mut u16, &mut f32)> = None;
        for (held, share) in self.cells.iter_mut().zip(&mut self.shares) {
            if *held == cell && *share > 0.0 {
                *share += part;
                return;
            }
            if place.as_ref().is_none_or(|(_, least)| *share < **least) {
                place = Some((held, share));
            }
        }
        if let Some((held, share)) = place {
            (*held, *share) = (cell, part);
        }
    }

    /// The pairs of cell number and share, those with a share only; after the cells of the map come those of the film.
    pub fn iter(&self) -> impl Iterator<Item = (usize, f32)> + '_ {
        let cells = self.cells.iter().map(|cell| usize::from(*cell)).zip(self.shares);
        cells.chain((CELLS..).zip(self.film)).filter(|(_, share)| *share != 0.0)
    }

    /// The same view with the film left out.
    #[must_use]
    pub const fn without_film(mut self) -> Self {
        self.film = [0.0; FILM];
        self
    }

    /// How much the film had to do with the reading: the larger of its shares.
    pub fn film(&self) -> f32 {
        self.film.iter().fold(0.0, |most, share| share.abs().at_least(most))
    }
}

/// What the reading of this instant describes.
#[derive(Clone, Copy, Debug, PartialEq)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub struct Past {
    /// Cells, after the believed lag.
    pub seen: Seen,
    /// Correction applied then, after the believed lag, ln.
    pub applied_ln: f32,
    /// Mixture wanted then, after the believed lag, ln lambda.
    pub wanted_ln: f32,
    /// How fast pressure and speed were moving then, after the believed lag.
    pub moving: f32,
    /// Time since then, s.
    pub delay_s: f32,
    /// Why nothing can be learned from it, if so: the newest reason still within the sensor's memory.
    pub refusal: Option<Refusal>,
}

/// The ring of the past and the view on it.
#[derive(Clone, Debug, PartialEq)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub struct Attribution {
    ring: Ring<Injection, REMEMBERED>,
    past: Past,
    /// Share of gas in the reading that teaches nothing.
    soiled: f32,
}

impl Default for Attribution {
    fn default() -> Self {
        let past = Past {
            seen: Seen::default(),
            applied_ln: 0.0,
            wanted_ln: 0.0,
            moving: 0.0,
            delay_s: 0.0,
            refusal: Some(Refusal::Starting),
        };
        Self { ring: Ring::filled(Injection::NONE), past, soiled: 1.0 }
    }
}

impl Attribution {
    /// What the last reading described.
    pub const fn past(&self) -> &Past {
        &self.past
    }

    /// Remembers an injection and moves the view on. Gives what the reading of this instant describes.
    ///
    /// ```
    /// use trimwright_control::attribution::{Attribution, Injection};
    /// use trimwright_control::{Calibration, SetupAnswers};
    /// let calibration = Calibration::from_answers(&SetupAnswers::default())?;
    /// let parameters = calibration.parameters();
    /// // 1500 rpm: in 20 ms half a turn and 0.4 g of exhaust; the fuel is corrected by 5 %.
    /// let (applied_ln, turns, exhaust_kg) = (0.05, 0.5, 0.4e-3);
    /// let now = Injection { applied_ln, gone_s: 0.02, turns, exhaust_kg, refusal: None, ..Injection::NONE };
    /// let mut attribution = Attribution::default();
    /// for _ in 0..96 {
    ///     attribution.step(&parameters.attribution, &parameters.exhaust, calibration.setup(), now);
    /// }
    /// // 1.7 turns at 25 a second, then 3.1 g of exhaust at 20 g/s.
    /// let past = attribution.past();
    /// assert!((past.applied_ln - 0.05).abs() < 1e-3 && (past.delay_s - (1.7 / 25.0 + 3.12e-3 / 20e-3)).abs() < 0.03);
    /// # Ok::<(), trimwright_control::AnswerError>(())
    /// ```
    pub fn step(
        &mut self,
        parameters: &AttributionParameters,
        exhaust: &ExhaustParameters,
        setup: &Setup,
        injection: Injection,
    ) -> &Past {
        self.ring.push(injection);
        let share = setup.sensor_share();
        let Some((then, delay_s)) = at_sensor(&self.ring, setup.pipe_kg(), exhaust.turns) else {
            self.past.refusal = Some(Refusal::TooLongAgo);
            self.soiled = 1.0;
            return &self.past;
        };
        let past = &mut self.past;
        past.delay_s = delay_s;
        past.seen.add(&then.weights, share, parameters.forgotten);
        past.seen.add_film(&then.film, share);
        past.moving += share * (then.moving - past.moving);
        past.applied_ln += share * (then.applied_ln - past.applied_ln);
        past.wanted_ln += share * (then.wanted_ln - past.wanted_ln);
        self.soiled *= 1.0 - share;
        if then.refusal.is_some() {
            past.refusal = then.refusal;
            self.soiled = 1.0;
        } else if self.soiled < parameters.clean {
            past.refusal = None;
        }
        past
    }
}

/// The injection whose gas is at the sensor now, and how long ago it was.
fn at_sensor(ring: &Ring<Injection, REMEMBERED>, pipe_kg: f32, turns: f32) -> Option<(&Injection, f32)> {
    let (mut kg_left, mut turns_left, mut delay_s) = (pipe_kg, turns, 0.0);
    ring.iter().find_map(|injection| {
        if kg_left >= LEAST_KG && kg_left >= injection.exhaust_kg {
            // All of it is still in the pipe. Most are, so that this is the one path that must be short.
            kg_left -= injection.exhaust_kg;
        } else {
            // The nearer of two neighbours: half of the turns between them may be missing.
            if kg_left <= 0.0 && turns_left <= 0.5 * injection.turns {
                return Some((injection, delay_s));
            }
            let in_pipe = if kg_left > 0.0 { kg_left / injection.exhaust_kg.at_least(LEAST_KG) } else { 0.0 };
            kg_left = 0.0;
            turns_left -= (1.0 - in_pipe) * injection.turns;
        }
        delay_s += injection.gone_s;
        None
    })
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::answers::SetupAnswers;
    use crate::calibration::Calibration;
    use proptest::prelude::*;

    fn injection(applied_ln: f32, turns: f32, exhaust_kg: f32) -> Injection {
        Injection { applied_ln, turns, exhaust_kg, gone_s: 0.02, refusal: None, ..Injection::NONE }
    }

    fn step(attribution: &mut Attribution, calibration: &Calibration, injection: Injection) {
        let parameters = calibration.parameters();
        attribution.step(&parameters.attribution, &parameters.exhaust, calibration.setup(), injection);
    }

    #[test]
    fn at_steady_flow_the_delay_is_cycle_time_plus_pipe_time() {
        let calibration = Calibration::from_answers(&SetupAnswers::default()).unwrap();
        let mut attribution = Attribution::default();
        let (speed_turns_per_s, flow_kg_per_s) = (12.0, 9e-3);
        for _ in 0..200 {
            step(
                &mut attribution,
                &calibration,
                injection(0.0, 0.02 * speed_turns_per_s, 0.02 * flow_kg_per_s),
            );
        }
        let expected_s = calibration.parameters().exhaust.turns / speed_turns_per_s
            + calibration.setup().pipe_kg() / flow_kg_per_s;
        assert!((attribution.past.delay_s - expected_s).abs() < 0.05, "{}", attribution.past.delay_s);
        assert_eq!(attribution.past.refusal, None);
    }

    #[test]
    fn when_the_flow_rises_gas_already_in_the_pipe_arrives_sooner() {
        let calibration = Calibration::from_answers(&SetupAnswers::default()).unwrap();
        let mut attribution = Attribution::default();
        for _ in 0..200 {
            step(&mut attribution, &calibration, injection(0.0, 0.24, 1.8e-4));
        }
        let idle_s = attribution.past.delay_s;
        for _ in 0..6 {
            step(&mut attribution, &calibration, injection(0.1, 0.48, 1.2e-3));
        }
        assert!(attribution.past.delay_s < 0.7 * idle_s);
    }

    #[test]
    fn a_refusal_lasts_as_long_as_the_sensor_remembers() {
        let calibration = Calibration::from_answers(&SetupAnswers::default()).unwrap();
        let mut attribution = Attribution::default();
        let clean = injection(0.0, 1.0, 1e-2);
        for _ in 0..100 {
            step(&mut attribution, &calibration, clean);
        }
        step(&mut attribution, &calibration, Injection { refusal: Some(Refusal::FuelCut), ..clean });
        let refused = (0..60)
            .filter(|_| {
                step(&mut attribution, &calibration, clean);
                attribution.past.refusal == Some(Refusal::FuelCut)
            })
            .count();
        assert!((8..25).contains(&refused), "{refused}");
    }

    #[test]
    fn without_flow_the_reading_describes_nothing() {
        let calibration = Calibration::from_answers(&SetupAnswers::default()).unwrap();
        let mut attribution = Attribution::default();
        for _ in 0..200 {
            step(&mut attribution, &calibration, injection(0.0, 0.0, 0.0));
        }
        assert_eq!(attribution.past.refusal, Some(Refusal::TooLongAgo));
    }

    proptest! {
        #[test]
        fn shares_never_exceed_one(places in proptest::collection::vec((0_u16..150, 0.0..1.0_f32, 0.0..1.0_f32), 1..60)) {
            let mut seen = Seen::default();
            for (corner, x, y) in places {
                let shares = [(1.0 - x) * (1.0 - y), x * (1.0 - y), (1.0 - x) * y, x * y];
                seen.add(&Weights { cells: [corner, corner + 1, corner + 14, corner + 15], shares }, 0.2, AttributionParameters::DEFAULT.forgotten);
                let sum: f32 = seen.iter().map(|(_, share)| share).sum();
                prop_assert!(sum <= 1.0 + 1e-5 && seen.iter().count() <= MOST_CELLS);
            }
        }
    }
}
