//! What cells have in common: a flow that is off everywhere, injectors that open later or sooner than believed, and what neighbours share.
//!
//! An injector that gives more or less than its rating, another fuel or a displacement that was answered wrong move all cells alike, by
//! `s`. Injectors that open later than believed by `d` starve each cell by `d / tau`, where `tau` is how long they flow there; `d` is
//! added to every open time, so that a cell has nothing to do with it. What is left to the cells is what the filling has of
//! its own; the authority of a cell is counted from `s`.
//!
//! An engine's filling deviates smoothly, so a cell is expected to stand where its neighbours do: at
//! `e = s + sum k_j (y_j - s) / (sum k_j + 1/2)` over the next cells on both axes, with `k = 1 - P / P0` for how well one is known. What
//! was expected wrongly is taken back by as much as the cell is not known itself, `P_i / P0` (prior mean of a Gaussian).
//!
//! Both are drawn from the cells. With the prior variance `P0` of a cell's own deviation, its variance now `P_i` and its correction
//! `y_i`, the lessons alone said `s + (y_i - s - (e_i - s) P_i / P0) P0 / (P0 - P_i)`, which scatters with `P0^2 / (P0 - P_i)` about what
//! cells have in common (Gaussian update undone; empirical Bayes, e.g. Gelman et al., Bayesian Data Analysis, 3rd ed., section 5.4, from
//! memory). That `P_i / P0` is the share which no lesson has told is exact for the Kalman learner; after a fixed gain more is untold, and
//! the causes are drawn somewhat small.
//! A change of `s` and `d` then follows from the normal equations `sum w_i [1, r_i] [1, r_i]^T` with `w_i = (P0 - P_i) / P0^2`
//! and `r_i = 1 / tau_i`, and the right side `sum [1, r_i] (y_i - s - (e_i - s) P_i / P0) / P0`.

use trimwright_numerics::{Grid, Real};

use crate::base_map::{CELLS, MAP_POINTS, RPM_POINTS};
use crate::injector::InjectorParameters;
use crate::learner::{LearnedMap, PRIOR_SIGMA_LN};
use crate::setup::Setup;

/// Farthest the common flow correction may go, ln (engineering judgement).
///
/// ```
/// use trimwright_control::common::{FLOW_AUTHORITY_LN, Round};
/// use trimwright_control::{CELLS, Calibration, LearnedMap, SetupAnswers};
/// let calibration = Calibration::from_answers(&SetupAnswers::default())?;
/// let (mut map, mut round) = (LearnedMap::default(), Round::default());
/// // However much more all cells ask for, the injectors are not believed to be off by more than this.
/// map.ln.flat_mut().fill(2.0);
/// map.variance.flat_mut().fill(1e-4);
/// (0..5 * CELLS).for_each(|_| round.step(&calibration, &mut map));
/// assert_eq!(map.common.flow_ln, FLOW_AUTHORITY_LN);
/// # Ok::<(), trimwright_control::AnswerError>(())
/// ```
pub const FLOW_AUTHORITY_LN: f32 = 0.25;
/// Farthest the common opening delay may go from the believed one, s (engineering judgement).
///
/// ```
/// use trimwright_control::common::{DELAY_AUTHORITY_S, DELAY_PRIOR_SIGMA_S};
/// use trimwright_control::{Calibration, SetupAnswers};
/// let calibration = Calibration::from_answers(&SetupAnswers::default())?;
/// // Three times what parts are expected to scatter by, and yet less than the believed delay.
/// assert!(DELAY_AUTHORITY_S > 3.0 * DELAY_PRIOR_SIGMA_S);
/// assert!(DELAY_AUTHORITY_S < calibration.opening_delay_s(16.0));
/// # Ok::<(), trimwright_control::AnswerError>(())
/// ```
pub const DELAY_AUTHORITY_S: f32 = 0.25e-3;
/// Standard deviation of the flow correction before any lesson, ln (engineering judgement: parts, fuel and answers together).
///
/// ```
/// use trimwright_control::LearnedMap;
/// use trimwright_control::common::FLOW_PRIOR_SIGMA_LN;
/// // Before any lesson: injectors, fuel and answers together are expected within some 8 %.
/// assert_eq!(LearnedMap::default().common.flow_sigma_ln, FLOW_PRIOR_SIGMA_LN);
/// ```
pub const FLOW_PRIOR_SIGMA_LN: f32 = 0.08;
/// Standard deviation of the opening delay before any lesson, s (engineering judgement).
///
/// ```
/// use trimwright_control::LearnedMap;
/// use trimwright_control::common::DELAY_PRIOR_SIGMA_S;
/// assert_eq!(LearnedMap::default().common.delay_sigma_s, DELAY_PRIOR_SIGMA_S, "before any lesson");
/// ```
pub const DELAY_PRIOR_SIGMA_S: f32 = 0.08e-3;
/// Share of the cells that are as good as independent: an engine's filling deviates smoothly, and neighbours tell the same
/// (engineering judgement).
const INDEPENDENT: f32 = 0.2;
/// Standard deviation over that of before any lesson, below which delay and flow have been told apart.
const TOLD_APART: f32 = 0.6;
/// Farthest the opening delay moves in one round, s: the cells are converted one after the other, and meanwhile the mixture is off by
/// what the delay moved, 0.3 % at an idle pulse of 1 ms.
const ROUND_S: f32 = 3e-6;
/// Weight of the flow beside that of the neighbours when a cell's correction is expected, in cells that are well known (engineering
/// judgement).
const FLOW_WEIGHT: f32 = 0.5;

/// What is known of the common causes.
///
/// ```
/// use trimwright_control::common::Round;
/// use trimwright_control::{CELLS, Calibration, LearnedMap, SetupAnswers};
/// let calibration = Calibration::from_answers(&SetupAnswers::default())?;
/// let (mut map, mut round) = (LearnedMap::default(), Round::default());
/// // Every cell was taught to give 6 % more: the injectors are smaller than answered.
/// map.ln.flat_mut().fill(0.06);
/// map.variance.flat_mut().fill(1e-4);
/// (0..20 * CELLS).for_each(|_| round.step(&calibration, &mut map));
/// assert!((map.common.flow_ln - 0.06).abs() < 0.01 && map.common.delay_s.abs() < 0.02e-3);
/// # Ok::<(), trimwright_control::AnswerError>(())
/// ```
#[derive(Clone, Copy, Debug, PartialEq)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub struct Common {
    /// ln of right fuel over believed fuel that all cells share.
    pub flow_ln: f32,
    /// Opening delay over the believed one, s.
    pub delay_s: f32,
    /// Standard deviation of `flow_ln`, ln.
    pub flow_sigma_ln: f32,
    /// Standard deviation of `delay_s`, s.
    pub delay_sigma_s: f32,
}

impl Default for Common {
    fn default() -> Self {
        Self {
            flow_ln: 0.0,
            delay_s: 0.0,
            flow_sigma_ln: FLOW_PRIOR_SIGMA_LN,
            delay_sigma_s: DELAY_PRIOR_SIGMA_S,
        }
    }
}

impl Common {
    /// Whether pulses long and short enough were seen to tell a delay from a flow that is off. If not, `delay_s` is only the
    /// likeliest of many pairs that explain the same corrections.
    ///
    /// ```
    /// use trimwright_control::common::Round;
    /// use trimwright_control::{CELLS, Calibration, LearnedMap, SetupAnswers};
    /// let calibration = Calibration::from_answers(&SetupAnswers::default())?;
    /// let told_apart = |known: fn(f32) -> bool| {
    ///     let (mut map, mut round) = (LearnedMap::default(), Round::default());
    ///     for cell in (0..CELLS).filter(|cell| known(calibration.delay_rate_per_s(*cell))) {
    ///         map.variance.flat_mut()[cell] = 1e-4;
    ///     }
    ///     (0..CELLS).for_each(|_| round.step(&calibration, &mut map));
    ///     map.common.told_apart()
    /// };
    /// // Long pulses alone can't tell late injectors from small ones: all look alike.
    /// assert!(told_apart(|_| true) && !told_apart(|rate_per_s| rate_per_s < 220.0));
    /// # Ok::<(), trimwright_control::AnswerError>(())
    /// ```
    pub fn told_apart(&self) -> bool {
        self.delay_sigma_s < TOLD_APART * DELAY_PRIOR_SIGMA_S
            && self.flow_sigma_ln < TOLD_APART * FLOW_PRIOR_SIGMA_LN
    }
}

/// Goes round the cells, one at each call, and draws the common causes from them after each round.
///
/// ```
/// use trimwright_control::common::Round;
/// use trimwright_control::{CELLS, Calibration, LearnedMap, SetupAnswers};
/// let calibration = Calibration::from_answers(&SetupAnswers::default())?;
/// let (mut map, mut round) = (LearnedMap::default(), Round::default());
/// (0..CELLS).for_each(|_| round.step(&calibration, &mut map));
/// // The driver has visited the left half of the map only: what is off there is expected on the right too.
/// for cell in (0..CELLS).filter(|cell| cell % 14 < 7) {
///     (map.ln.flat_mut()[cell], map.variance.flat_mut()[cell]) = (0.08, 1e-4);
/// }
/// (0..20 * CELLS).for_each(|_| round.step(&calibration, &mut map));
/// assert!(map.ln.flat()[6 * 14 + 12] > 0.05);
/// # Ok::<(), trimwright_control::AnswerError>(())
/// ```
#[derive(Clone, Debug, PartialEq)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub struct Round {
    cell: u16,
    /// Sums of `w`, `w r`, `w r^2`, and of the deviations without and with `r`.
    sums: [f32; 5],
    /// By how much the last round moved flow and delay.
    moved: [f32; 2],
    /// What each cell was last expected to deviate from the flow by, ln, once a round has looked.
    expected_ln: Grid<f32, RPM_POINTS, MAP_POINTS>,
    looked: bool,
}

impl Default for Round {
    fn default() -> Self {
        Self { cell: 0, sums: [0.0; 5], moved: [0.0; 2], expected_ln: Grid::filled(0.0), looked: false }
    }
}

impl Round {
    /// Takes the next cell: lets it follow what is expected by as much as it is not known itself, then counts it.
    ///
    /// ```
    /// use trimwright_control::common::Round;
    /// use trimwright_control::{CELLS, Calibration, LearnedMap, SetupAnswers};
    /// let calibration = Calibration::from_answers(&SetupAnswers::default())?;
    /// let (mut map, mut round) = (LearnedMap::default(), Round::default());
    /// map.ln.flat_mut().fill(-0.05);
    /// map.variance.flat_mut().fill(1e-4);
    /// (1..CELLS).for_each(|_| round.step(&calibration, &mut map));
    /// assert_eq!(map.common.flow_ln, 0.0, "one cell is still missing");
    /// round.step(&calibration, &mut map);
    /// assert!(map.common.flow_ln < -0.04);
    /// # Ok::<(), trimwright_control::AnswerError>(())
    /// ```
    pub fn step(&mut self, injector: &InjectorParameters, setup: &Setup, map: &mut LearnedMap) {
        let cell = usize::from(self.cell);
        let (rate, prior) = (injector.delay_rate_per_s(setup, cell), PRIOR_SIGMA_LN * PRIOR_SIGMA_LN);
        let (unknown, expected) = (unknown(map, cell), from_neighbours(map, cell));
        if let (Some(ln), Some(held)) =
            (map.ln.flat_mut().get_mut(cell), self.expected_ln.flat_mut().get_mut(cell))
        {
            let was_expected = core::mem::replace(held, expected);
            let rate = rate / (1.0 + map.common.delay_s * rate).max(0.3);
            let [flow_moved, delay_moved] = self.moved;
            // What a map learned before this power-up has its expectations in it.
            let expected_moved = if self.looked { expected - was_expected } else { 0.0 };
            *ln += unknown * (flow_moved + expected_moved) - (1.0 - unknown) * delay_moved * rate;
            let deviation = (*ln - map.common.flow_ln - unknown * expected) / prior;
            let weight = (1.0 - unknown) / prior;
            let terms = [weight, weight * rate, weight * rate * rate, deviation, deviation * rate];
            for (sum, term) in self.sums.iter_mut().zip(terms) {
                *sum += INDEPENDENT * term;
            }
        }
        self.cell += 1;
        if usize::from(self.cell) >= CELLS {
            let before = map.common;
            map.common = self.drawn(&before);
            let moved = [map.common.flow_ln - before.flow_ln, map.common.delay_s - before.delay_s];
            (self.cell, self.sums, self.moved, self.looked) = (0, [0.0; 5], moved, true);
        }
    }

    /// The causes that explain the sums best, by two normal equations.
    fn drawn(&self, before: &Common) -> Common {
        let [w, wr, wrr, y, yr] = self.sums;
        let flow_prior = 1.0 / (FLOW_PRIOR_SIGMA_LN * FLOW_PRIOR_SIGMA_LN);
        let delay_prior = 1.0 / (DELAY_PRIOR_SIGMA_S * DELAY_PRIOR_SIGMA_S);
        let (a, b, c) = (w + flow_prior, wr, wrr + delay_prior);
        let (p, q) = (y - flow_prior * before.flow_ln, yr - delay_prior * before.delay_s);
        let determinant = a * c - b * b;
        if !(determinant > 0.0 && p.is_finite() && q.is_finite()) {
            return *before;
        }
        let flow_ln = before.flow_ln + (c * p - b * q) / determinant;
        let delay_s = before.delay_s + ((a * q - b * p) / determinant).held(-ROUND_S, ROUND_S);
        Common {
            flow_ln: flow_ln.held(-FLOW_AUTHORITY_LN, FLOW_AUTHORITY_LN),
            delay_s: delay_s.held(-DELAY_AUTHORITY_S, DELAY_AUTHORITY_S),
            flow_sigma_ln: Real::sqrt(c / determinant),
            delay_sigma_s: Real::sqrt(a / determinant),
        }
    }
}

/// Share of a cell's correction that no lesson has told, 0 to 1.
fn unknown(map: &LearnedMap, cell: usize) -> f32 {
    let variance = map.variance.flat().get(cell).copied().unwrap_or(f32::MAX);
    (variance / (PRIOR_SIGMA_LN * PRIOR_SIGMA_LN)).held(0.0, 1.0)
}

/// By how much a cell is expected to deviate from the flow, ln, as its neighbours do.
fn from_neighbours(map: &LearnedMap, cell: usize) -> f32 {
    let column = cell % RPM_POINTS;
    let next = [
        (column > 0).then(|| cell.wrapping_sub(1)),
        (column + 1 < RPM_POINTS).then_some(cell + 1),
        Some(cell.wrapping_sub(RPM_POINTS)),
        Some(cell + RPM_POINTS),
    ];
    let (mut sum, mut weights) = (0.0, FLOW_WEIGHT);
    for neighbour in next.into_iter().flatten() {
        if let Some(ln) = map.ln.flat().get(neighbour) {
            let known = 1.0 - unknown(map, neighbour);
            sum += known * (ln - map.common.flow_ln);
            weights += known;
        }
    }
    sum / weights
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::answers::SetupAnswers;
    use crate::calibration::Calibration;

    fn calibration() -> Calibration {
        Calibration::from_answers(&SetupAnswers::default()).unwrap()
    }

    /// A map in which `known` cells were learned well, each to what flow and delay make of it.
    fn taught(
        calibration: &Calibration,
        flow_ln: f32,
        late_s: f32,
        known: impl Fn(usize) -> bool,
    ) -> LearnedMap {
        let mut map = LearnedMap::default();
        for cell in (0..CELLS).filter(|cell| known(*cell)) {
            map.ln.flat_mut()[cell] = flow_ln + Real::ln(1.0 + late_s * calibration.delay_rate_per_s(cell));
            map.variance.flat_mut()[cell] = 1e-4;
        }
        map
    }

    /// Rounds of a controller that began with a map that had learned nothing.
    fn rounds(calibration: &Calibration, map: &mut LearnedMap, count: usize) {
        let mut round = Round::default();
        (0..CELLS).for_each(|_| {
            round.step(&calibration.parameters().injector, calibration, &mut LearnedMap::default())
        });
        (0..count * CELLS).for_each(|_| round.step(&calibration.parameters().injector, calibration, map));
    }

    #[test]
    fn ident_flow_and_delay_come_out_of_a_map_that_has_nothing_else() {
        let calibration = calibration();
        let mut map = taught(&calibration, 0.06, -0.07e-3, |_| true);
        rounds(&calibration, &mut map, 100);
        assert!((map.common.flow_ln - 0.06).abs() < 0.01, "{:?}", map.common);
        assert!((map.common.delay_s + 0.07e-3).abs() < 0.005e-3, "{:?}", map.common);
        assert!(map.common.told_apart());
        // The cells keep only what is left.
        assert!(map.ln.flat().iter().all(|ln| (ln - 0.06).abs() < 0.025), "{:?}", map.ln);
    }

    #[test]
    fn ident_what_a_known_cell_asks_for_stays_while_the_causes_move() {
        let calibration = calibration();
        let before = taught(&calibration, 0.03, 0.06e-3, |_| true);
        let mut after = before.clone();
        rounds(&calibration, &mut after, 100);
        for cell in 0..CELLS {
            let late = 1.0 + after.common.delay_s * calibration.delay_rate_per_s(cell);
            let asked = after.ln.flat()[cell] + Real::ln(late);
            assert!((asked - before.ln.flat()[cell]).abs() < 0.01, "{cell}: {asked}");
        }
    }

    #[test]
    fn cells_that_were_never_visited_follow_and_known_ones_stay() {
        let calibration = calibration();
        let mut map = taught(&calibration, 0.10, 0.0, |cell| cell.is_multiple_of(2));
        rounds(&calibration, &mut map, 100);
        assert!((map.ln.flat()[60] - 0.10).abs() < 0.01 && (map.ln.flat()[61] - 0.10).abs() < 0.03);
    }

    #[test]
    fn an_unknown_cell_stands_by_its_neighbours_and_not_by_those_farther_away() {
        let calibration = calibration();
        let near = 5 * RPM_POINTS + 5;
        let mut map = taught(&calibration, 0.0, 0.0, |cell| cell % RPM_POINTS > 6);
        map.ln.flat_mut()[near - 1] = -0.08;
        map.variance.flat_mut()[near - 1] = 1e-4;
        rounds(&calibration, &mut map, 3);
        let off = |cell: usize| map.ln.flat()[cell] - map.common.flow_ln;
        assert!(off(near) < -0.03 && off(near - 1) < -0.07, "{} {}", off(near), off(near - 1));
        assert!(off(near - 3).abs() < 0.01, "{}", off(near - 3));
    }

    #[test]
    fn ident_a_power_up_takes_no_expectation_twice() {
        let calibration = calibration();
        let mut map = taught(&calibration, -0.05, 0.0, |cell| cell % 5 == 0);
        map.ln.flat_mut()[40] = 0.05;
        rounds(&calibration, &mut map, 60);
        let before = map.clone();
        let mut powered_up = Round::default();
        (0..2 * CELLS)
            .for_each(|_| powered_up.step(&calibration.parameters().injector, &calibration, &mut map));
        let moved = map.ln.flat().iter().zip(before.ln.flat()).map(|(now, then)| (now - then).abs());
        assert!(moved.fold(0.0, f32::max) < 1e-3);
    }

    #[test]
    fn long_pulses_alone_do_not_tell_delay_from_flow() {
        let calibration = calibration();
        let mut map = taught(&calibration, 0.08, 0.05e-3, |cell| calibration.delay_rate_per_s(cell) < 220.0);
        rounds(&calibration, &mut map, 20);
        assert!(!map.common.told_apart(), "{:?}", map.common);
    }

    #[test]
    fn authority_bounds_both() {
        let calibration = calibration();
        let mut map = taught(&calibration, 3.0, 3e-3, |_| true);
        rounds(&calibration, &mut map, 500);
        assert!(map.common.flow_ln <= FLOW_AUTHORITY_LN && map.common.delay_s <= DELAY_AUTHORITY_S);
    }

    #[test]
    fn a_map_that_learned_nothing_stays_as_it_is() {
        let calibration = calibration();
        let mut map = LearnedMap::default();
        rounds(&calibration, &mut map, 5);
        assert!(map.ln.flat().iter().all(|ln| *ln == 0.0) && map.common.delay_s == 0.0);
    }
}
