//! Attribution: which past injection does the present lambda reading describe?
//!
//! Gas reaches the sensor when the exhaust mass that followed it has filled the pipe (plug flow). Its fuel was injected a fixed crank angle
//! before it left the cylinder. Both are sums over a ring of past injections, so the delay stays right while speed and flow change; there
//! is no delay table. The sensor shows a lagged view of that gas stream, so the cell shares, the applied correction and the wanted lambda
//! pass through the same first-order lag here.

use trimwright_numerics::{Real, Ring, Weights};

use crate::base_map::CELLS;
use crate::exhaust::ExhaustParameters;
use crate::film::FILM;
use crate::refusal::Refusal;
use crate::setup::Setup;

trimwright_numerics::parameters! {
    /// Attribution of a lambda reading to past injections.
    #[cfg_attr(feature = "defmt", derive(defmt::Format))]
    pub struct AttributionParameters<f32> "attribution" {
        /// Share of a cell in the lagged reading below which the cell is dropped.
        number min_share { 1e-3, 0.0..=0.05 "1", "engineering judgement" }
        /// Remaining share of rejected injections in the lagged reading below which the reading is usable again.
        number valid_below_share { 0.05, 0.001..=0.5 "1", "engineering judgement: three time constants of the sensor" }
        /// Lower limit of the wanted lambda that a reading is compared with.
        number richest { 0.3, 0.1..=0.9 "1", "engineering judgement" }
        /// Upper limit of the wanted lambda that a reading is compared with.
        number leanest { 1.5, 1.0..=5.0 "1", "engineering judgement" }
    }
}

/// Number of injections in the ring: 96 of 20 ms each are 1.9 s.
pub const HISTORY: usize = 96;
/// Exhaust mass below which there is no flow, kg.
const MIN_KG: f32 = 1e-9;
/// Most cells that a lagged reading may contain.
const MAX_CELLS: usize = 12;

/// One entry of the ring: what was injected in 20 ms.
#[derive(Clone, Copy, Debug, PartialEq)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub struct Injection {
    /// Cells of the map and their shares.
    pub weights: Weights<f32>,
    /// Correction applied: learned, short-term trim and dither, ln of fuel.
    pub applied_ln: f32,
    /// Wanted lambda, ln.
    pub wanted_ln: f32,
    /// Sensitivity of that fuel to the film's share and time constant: relative change of fuel by ln.
    pub film: [f32; FILM],
    /// Rate of change of pressure and speed, relative to the limit of steady running.
    pub movement: f32,
    /// Time since the previous entry, s.
    pub elapsed_s: f32,
    /// Crank turns since the previous entry.
    pub turns: f32,
    /// Exhaust mass since the previous entry, kg, corrected for gas temperature.
    pub exhaust_kg: f32,
    /// Why nothing may be learned from it; `None` when it may.
    pub refusal: Option<Refusal>,
}

impl Injection {
    /// The entry before the engine has run.
    pub const NONE: Self = Self {
        weights: Weights { cells: [0; 4], shares: [0.0; 4] },
        applied_ln: 0.0,
        wanted_ln: 0.0,
        film: [0.0; FILM],
        movement: 0.0,
        elapsed_s: 0.0,
        turns: 0.0,
        exhaust_kg: 0.0,
        refusal: Some(Refusal::Starting),
    };
}

/// Shares of the map cells in a lambda reading, after the sensor's lag.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub struct LaggedShares {
    cells: [u16; MAX_CELLS],
    shares: [f32; MAX_CELLS],
    film: [f32; FILM],
}

impl LaggedShares {
    /// The shares of a sensor that has seen only this operating point for long.
    pub fn settled(weights: &Weights<f32>) -> Self {
        let mut shares = Self::default();
        shares.add(weights, 1.0, 0.0);
        shares
    }

    /// Lag step towards these weights by `share`. Drops cells below `min_share`; when all places are taken the smallest is replaced.
    fn add(&mut self, weights: &Weights<f32>, share: f32, min_share: f32) {
        for held in &mut self.shares {
            *held *= 1.0 - share;
            if *held < min_share {
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

    /// Lag step of the film sensitivities by `share`.
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

    /// Pairs of cell number and share, those not 0; the film's properties follow after the cells of the map.
    pub fn iter(&self) -> impl Iterator<Item = (usize, f32)> + '_ {
        let cells = self.cells.iter().map(|cell| usize::from(*cell)).zip(self.shares);
        cells.chain((CELLS..).zip(self.film)).filter(|(_, share)| *share != 0.0)
    }

    /// The same shares without the film.
    #[must_use]
    pub const fn without_film(mut self) -> Self {
        self.film = [0.0; FILM];
        self
    }

    /// Largest film sensitivity in the reading, absolute value.
    pub fn film(&self) -> f32 {
        self.film.iter().fold(0.0, |most, share| share.abs().at_least(most))
    }
}

/// What the present lambda reading describes; every value after the sensor's lag.
#[derive(Clone, Copy, Debug, PartialEq)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
#[non_exhaustive]
pub struct Attributed {
    /// Cells and their shares.
    pub shares: LaggedShares,
    /// Correction applied then, ln of fuel.
    pub applied_ln: f32,
    /// Lambda wanted then, ln.
    pub wanted_ln: f32,
    /// Rate of change of pressure and speed then, relative to the limit of steady running.
    pub movement: f32,
    /// Time since that injection, s.
    pub delay_s: f32,
    /// Why nothing may be learned from it; `None` when it may. The newest reason holds until its share in the reading has decayed.
    pub refusal: Option<Refusal>,
}

/// The ring of past injections and the lagged view of it.
#[derive(Clone, Debug, PartialEq)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub struct Attribution {
    ring: Ring<Injection, HISTORY>,
    past: Attributed,
    /// Remaining share of rejected injections in the lagged reading.
    rejected_share: f32,
}

impl Default for Attribution {
    fn default() -> Self {
        let past = Attributed {
            shares: LaggedShares::default(),
            applied_ln: 0.0,
            wanted_ln: 0.0,
            movement: 0.0,
            delay_s: 0.0,
            refusal: Some(Refusal::Starting),
        };
        Self { ring: Ring::filled(Injection::NONE), past, rejected_share: 1.0 }
    }
}

impl Attribution {
    /// Result of the last step.
    pub const fn latest(&self) -> &Attributed {
        &self.past
    }

    /// 20 ms task: stores the injection and returns what the present lambda reading describes.
    ///
    /// ```
    /// use trimwright_control::learning::{Attribution, Injection};
    /// use trimwright_control::{Calibration, SetupAnswers};
    /// let calibration = Calibration::from_answers(&SetupAnswers::default())?;
    /// let parameters = calibration.parameters();
    /// // 1500 rpm: in 20 ms half a turn and 0.4 g of exhaust; the fuel is corrected by 5 %.
    /// let (applied_ln, turns, exhaust_kg) = (0.05, 0.5, 0.4e-3);
    /// let now = Injection { applied_ln, elapsed_s: 0.02, turns, exhaust_kg, refusal: None, ..Injection::NONE };
    /// let mut attribution = Attribution::default();
    /// for _ in 0..96 {
    ///     attribution.step(&parameters.attribution, &parameters.exhaust, calibration.setup(), now);
    /// }
    /// // 1.7 turns at 25 a second, then 3.1 g of exhaust at 20 g/s.
    /// let past = attribution.latest();
    /// assert!((past.applied_ln - 0.05).abs() < 1e-3 && (past.delay_s - (1.7 / 25.0 + 3.12e-3 / 20e-3)).abs() < 0.03);
    /// # Ok::<(), trimwright_control::AnswerError>(())
    /// ```
    pub fn step(
        &mut self,
        parameters: &AttributionParameters,
        exhaust: &ExhaustParameters,
        setup: &Setup,
        injection: Injection,
    ) -> &Attributed {
        let stands = injection.turns <= 0.0;
        self.ring.push(injection);
        let share = setup.sensor_share();
        // Of a crank that stands, or is not seen to turn, no gas arrives that can be attributed.
        let at_sensor = at_sensor(&self.ring, setup.pipe_kg(), exhaust.turns).filter(|_| !stands);
        let Some((then, delay_s)) = at_sensor else {
            self.past.refusal = Some(Refusal::TooLongAgo);
            self.rejected_share = 1.0;
            return &self.past;
        };
        let past = &mut self.past;
        past.delay_s = delay_s;
        past.shares.add(&then.weights, share, parameters.min_share);
        past.shares.add_film(&then.film, share);
        past.movement += share * (then.movement - past.movement);
        past.applied_ln += share * (then.applied_ln - past.applied_ln);
        past.wanted_ln += share * (then.wanted_ln - past.wanted_ln);
        self.rejected_share *= 1.0 - share;
        if then.refusal.is_some() {
            past.refusal = then.refusal;
            self.rejected_share = 1.0;
        } else if self.rejected_share < parameters.valid_below_share {
            past.refusal = None;
        }
        past
    }
}

/// The injection whose gas is at the sensor now, and its age, s.
fn at_sensor(ring: &Ring<Injection, HISTORY>, pipe_kg: f32, turns: f32) -> Option<(&Injection, f32)> {
    let (mut kg_left, mut turns_left, mut delay_s) = (pipe_kg, turns, 0.0);
    ring.iter().find_map(|injection| {
        if kg_left >= MIN_KG && kg_left >= injection.exhaust_kg {
            // All of it is still in the pipe: the usual case, kept short.
            kg_left -= injection.exhaust_kg;
        } else {
            // The nearer of two neighbours: up to half of the turns between them may be missing.
            if kg_left <= 0.0 && turns_left <= 0.5 * injection.turns {
                return Some((injection, delay_s));
            }
            let in_pipe = if kg_left > 0.0 { kg_left / injection.exhaust_kg.at_least(MIN_KG) } else { 0.0 };
            kg_left = 0.0;
            turns_left -= (1.0 - in_pipe) * injection.turns;
        }
        delay_s += injection.elapsed_s;
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
        Injection { applied_ln, turns, exhaust_kg, elapsed_s: 0.02, refusal: None, ..Injection::NONE }
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
    fn a_refusal_lasts_as_long_as_the_sensor_lag() {
        let calibration = Calibration::from_answers(&SetupAnswers::default()).unwrap();
        let mut attribution = Attribution::default();
        let clean = injection(0.0, 1.0, 1e-2);
        for _ in 0..100 {
            step(&mut attribution, &calibration, clean);
        }
        step(&mut attribution, &calibration, Injection { refusal: Some(Refusal::FuelCut), ..clean });
        let rejected = (0..60)
            .filter(|_| {
                step(&mut attribution, &calibration, clean);
                attribution.past.refusal == Some(Refusal::FuelCut)
            })
            .count();
        assert!((8..25).contains(&rejected), "{rejected}");
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

    #[test]
    fn of_a_crank_that_has_stopped_nothing_arrives_although_the_ring_is_full() {
        let calibration = Calibration::from_answers(&SetupAnswers::default()).unwrap();
        let mut attribution = Attribution::default();
        (0..200).for_each(|_| step(&mut attribution, &calibration, injection(0.0, 1.0, 1e-2)));
        assert_eq!(attribution.past.refusal, None);
        step(&mut attribution, &calibration, injection(0.0, 0.0, 0.0));
        assert_eq!(attribution.past.refusal, Some(Refusal::TooLongAgo));
    }

    #[test]
    fn ident_at_steady_running_the_reading_is_that_of_every_injection() {
        let calibration = Calibration::from_answers(&SetupAnswers::default()).unwrap();
        let mut attribution = Attribution::default();
        let weights = Weights { cells: [30, 31, 44, 45], shares: [0.4, 0.3, 0.2, 0.1] };
        let (wanted_ln, movement, film) = (-0.05, 0.5, [0.2, -0.3]);
        let now = Injection { weights, wanted_ln, movement, film, ..injection(0.1, 1.0, 1e-2) };
        (0..200).for_each(|_| step(&mut attribution, &calibration, now));
        let past = attribution.latest();
        assert!((past.applied_ln - 0.1).abs() < 1e-5 && (past.wanted_ln + 0.05).abs() < 1e-5);
        assert!((past.movement - 0.5).abs() < 1e-4);
        let expected = [(30, 0.4), (31, 0.3), (44, 0.2), (45, 0.1), (CELLS, 0.2), (CELLS + 1, -0.3)];
        assert!(
            past.shares.iter().zip(expected).all(|(is, want)| is.0 == want.0 && (is.1 - want.1).abs() < 1e-4)
        );
        assert!((past.shares.film() - 0.3).abs() < 1e-4, "the larger of both");
        let alone = past.shares.without_film();
        assert!(alone.film() == 0.0 && alone.iter().count() == 4);
    }

    /// A quarter of the reading each time: after two steps 1 - 0.75 squared, after two without it 0.75 squared of that.
    #[test]
    fn shares_of_a_cell_add_up_and_decay_until_they_are_dropped() {
        let only =
            |cell| Weights { cells: [cell, cell + 1, cell + 14, cell + 15], shares: [1.0, 0.0, 0.0, 0.0] };
        let mut lagged = LaggedShares::default();
        (0..2).for_each(|_| lagged.add(&only(7), 0.25, 0.0));
        assert!(lagged.iter().eq([(7, 0.4375)]));
        lagged.add(&only(90), 0.25, 0.0);
        assert!(lagged.iter().eq([(7, 0.328_125), (90, 0.25)]));
        let (mut at_limit, mut below) = (lagged, lagged);
        at_limit.add(&only(90), 0.5, 0.164_062_5);
        below.add(&only(90), 0.5, 0.1641);
        assert!(at_limit.iter().eq([(7, 0.164_062_5), (90, 0.5)]), "a cell at the limit is kept");
        assert!(below.iter().eq([(90, 0.5)]));
    }

    #[test]
    fn when_all_places_are_taken_a_new_cell_replaces_the_smallest_share() {
        let four =
            |cell| Weights { cells: [cell, cell + 1, cell + 14, cell + 15], shares: [0.4, 0.3, 0.2, 0.1] };
        let mut lagged = LaggedShares::default();
        [0, 40, 80].into_iter().for_each(|cell| lagged.add(&four(cell), 0.5, 0.0));
        assert_eq!(lagged.iter().count(), MAX_CELLS);
        let mut same = lagged;
        same.add(&Weights { cells: [80, 120, 121, 122], shares: [1.0, 0.0, 0.0, 0.0] }, 0.5, 0.0);
        assert_eq!(same.iter().count(), MAX_CELLS, "cells without a share take no place");
        lagged.add(&Weights { cells: [120, 121, 134, 135], shares: [1.0, 0.0, 0.0, 0.0] }, 0.5, 0.0);
        assert!(lagged.iter().any(|(cell, _)| cell == 120) && lagged.iter().all(|(cell, _)| cell != 15));
    }

    /// By hand: 5 kg are the two newest injections and half of the third; of its half turn, the half after the pipe counts, then
    /// the fourth's: a quarter and a half of the one turn. The fifth is within half of its turns.
    #[test]
    fn the_gas_at_the_sensor_is_found_by_mass_then_by_turns() {
        let mut ring = Ring::filled(Injection::NONE);
        (1..10).for_each(|place| ring.push(injection(10.0 - place as f32, 0.5, 2.0)));
        ring.push(injection(0.0, 1.0, 2.0));
        let found = |pipe_kg, turns| {
            at_sensor(&ring, pipe_kg, turns)
                .map(|(then, delay_s)| (then.applied_ln, (delay_s / 0.02).round()))
        };
        assert_eq!(found(5.0, 1.0), Some((4.0, 4.0)));
        assert_eq!(found(5.0, 1.01), Some((5.0, 5.0)));
        assert_eq!(found(0.0, 0.0), Some((0.0, 0.0)));
        assert_eq!((found(0.0, 0.5), found(0.0, 0.51)), (Some((0.0, 0.0)), Some((1.0, 1.0))));
        assert_eq!(found(6.0, 0.0), Some((3.0, 3.0)));
        assert_eq!(found(4.0, 0.75), Some((3.0, 3.0)));
        assert_eq!(found(1e6, 1.0), None);
    }

    #[test]
    fn an_engine_that_turns_without_flow_moves_gas_by_its_turns_alone() {
        let mut ring = Ring::filled(Injection::NONE);
        (0..10).for_each(|age| ring.push(injection(9.0 - age as f32, 0.5, 0.0)));
        assert_eq!(at_sensor(&ring, 0.0, 1.0).map(|(then, _)| then.applied_ln), Some(2.0));
        assert!(at_sensor(&ring, 1.0, 1.0).is_none());
    }

    #[test]
    fn a_reading_is_usable_again_when_the_rejected_share_is_below_its_limit() {
        let calibration = Calibration::from_answers(&SetupAnswers::default()).unwrap();
        let mut attribution = Attribution::default();
        let clean = injection(0.0, 1.0, 1e-2);
        (0..100).for_each(|_| step(&mut attribution, &calibration, clean));
        (attribution.rejected_share, attribution.past.refusal) = (0.5, Some(Refusal::FuelCut));
        let after = |valid_below_share| {
            let mut attribution = attribution.clone();
            let parameters = AttributionParameters { valid_below_share, ..AttributionParameters::DEFAULT };
            let exhaust = &calibration.parameters().exhaust;
            attribution.step(&parameters, exhaust, calibration.setup(), clean).refusal
        };
        let left = 0.5 * (1.0 - calibration.setup().sensor_share());
        assert_eq!((after(left), after(1.001 * left)), (Some(Refusal::FuelCut), None));
    }

    proptest! {
        #[test]
        fn shares_never_exceed_one(places in proptest::collection::vec((0_u16..150, 0.0..1.0_f32, 0.0..1.0_f32), 1..60)) {
            let mut lagged = LaggedShares::default();
            for (corner, x, y) in places {
                let shares = [(1.0 - x) * (1.0 - y), x * (1.0 - y), (1.0 - x) * y, x * y];
                lagged.add(&Weights { cells: [corner, corner + 1, corner + 14, corner + 15], shares }, 0.2, AttributionParameters::DEFAULT.min_share);
                let sum: f32 = lagged.iter().map(|(_, share)| share).sum();
                prop_assert!(sum <= 1.0 + 1e-5 && lagged.iter().count() <= MAX_CELLS);
            }
        }
    }
}
