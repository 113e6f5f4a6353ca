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
use crate::learned_map::{Common, LearnedMap};
use crate::setup::Setup;

trimwright_numerics::parameters! {
    /// How flow and opening delay are drawn from what cells have in common.
    #[cfg_attr(feature = "defmt", derive(defmt::Format))]
    pub struct CommonCorrectionParameters<f32> "common_correction" {
        /// Farthest the common flow correction may go.
        number flow_authority_ln { 0.25, 0.0..=0.3 "ln", "engineering judgement; the range is what the kept image holds" }
        /// Farthest the common opening delay may go from the believed one.
        number delay_authority_s { 0.25e-3, 0.0..=0.32e-3 "s", "engineering judgement; the range is what the kept image holds" }
        /// Standard deviation of the flow correction before any lesson.
        number flow_prior_sigma_ln { 0.08, 0.005..=0.3 "ln", "engineering judgement: parts, fuel and answers together" }
        /// Standard deviation of the opening delay before any lesson.
        number delay_prior_sigma_s { 0.08e-3, 0.005e-3..=0.3e-3 "s", "engineering judgement" }
        /// Share of the cells that are as good as independent, for neighbours tell the same.
        number independent { 0.2, 0.01..=1.0 "1", "engineering judgement: an engine's filling deviates smoothly" }
        /// Standard deviation over that before any lesson, below which delay and flow have been told apart.
        number told_apart { 0.6, 0.1..=1.0 "1", "engineering judgement" }
        /// Farthest the opening delay moves in one round over the cells, for the mixture is off by what it moved until a cell's turn comes.
        number round_s { 3e-6, 0.0..=100e-6 "s", "engineering judgement: 0.3 % at an idle pulse of 1 ms" }
        /// Weight of the flow beside that of well known neighbours when a cell's correction is expected.
        number flow_weight { 0.5, 0.01..=10.0 "1", "engineering judgement" }
        /// Least flow time of a cell over its usual one that a late opening is taken to leave.
        number least_flow_time { 0.3, 0.05..=1.0 "1", "engineering judgement" }
    }
}

impl Common {
    /// Before any lesson.
    pub const fn new(parameters: &CommonCorrectionParameters) -> Self {
        Self {
            flow_ln: 0.0,
            delay_s: 0.0,
            flow_sigma_ln: parameters.flow_prior_sigma_ln,
            delay_sigma_s: parameters.delay_prior_sigma_s,
        }
    }

    /// Whether pulses long and short enough were seen to tell a delay from a flow that is off. If not, `delay_s` is only the
    /// likeliest of many pairs that explain the same corrections.
    pub fn told_apart(&self, parameters: &CommonCorrectionParameters) -> bool {
        self.delay_sigma_s < parameters.told_apart * parameters.delay_prior_sigma_s
            && self.flow_sigma_ln < parameters.told_apart * parameters.flow_prior_sigma_ln
    }
}

/// Goes round the cells, one at each call, and draws the common causes from them after each round.
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
    /// Takes the next cell: lets it follow what is expected by as much as it is not known itself, then counts it. `prior_sigma_ln` is
    /// the standard deviation of a cell before any lesson.
    ///
    /// ```
    /// use trimwright_control::common::Round;
    /// use trimwright_control::{CELLS, Calibration, SetupAnswers};
    /// let calibration = Calibration::from_answers(&SetupAnswers::default())?;
    /// let parameters = calibration.parameters();
    /// let (common, injector) = (&parameters.common_correction, &parameters.injector);
    /// let (mut map, mut round) = (parameters.blank_map(), Round::default());
    /// // Every cell was taught to give 6 % more: the injectors are smaller than answered.
    /// map.ln.flat_mut().fill(0.06);
    /// map.variance.flat_mut().fill(1e-4);
    /// (0..20 * CELLS).for_each(|_| round.step(common, 0.12, injector, calibration.setup(), &mut map));
    /// assert!((map.common.flow_ln - 0.06).abs() < 0.01 && map.common.delay_s.abs() < 0.02e-3);
    /// # Ok::<(), trimwright_control::AnswerError>(())
    /// ```
    pub fn step(
        &mut self,
        parameters: &CommonCorrectionParameters,
        prior_sigma_ln: f32,
        injector: &InjectorParameters,
        setup: &Setup,
        map: &mut LearnedMap,
    ) {
        let cell = usize::from(self.cell);
        let (rate, prior) = (injector.delay_rate_per_s(setup, cell), prior_sigma_ln * prior_sigma_ln);
        let expected = from_neighbours(map, cell, prior, parameters.flow_weight);
        let unknown = unknown(map, cell, prior);
        if let (Some(ln), Some(held)) =
            (map.ln.flat_mut().get_mut(cell), self.expected_ln.flat_mut().get_mut(cell))
        {
            let was_expected = core::mem::replace(held, expected);
            let rate = rate / (1.0 + map.common.delay_s * rate).at_least(parameters.least_flow_time);
            let [flow_moved, delay_moved] = self.moved;
            // What a map learned before this power-up has its expectations in it.
            let expected_moved = if self.looked { expected - was_expected } else { 0.0 };
            *ln += unknown * (flow_moved + expected_moved) - (1.0 - unknown) * delay_moved * rate;
            let deviation = (*ln - map.common.flow_ln - unknown * expected) / prior;
            let weight = (1.0 - unknown) / prior;
            let terms = [weight, weight * rate, weight * rate * rate, deviation, deviation * rate];
            for (sum, term) in self.sums.iter_mut().zip(terms) {
                *sum += parameters.independent * term;
            }
        }
        self.cell += 1;
        if usize::from(self.cell) >= CELLS {
            let before = map.common;
            map.common = self.drawn(parameters, &before);
            let moved = [map.common.flow_ln - before.flow_ln, map.common.delay_s - before.delay_s];
            (self.cell, self.sums, self.moved, self.looked) = (0, [0.0; 5], moved, true);
        }
    }

    /// The causes that explain the sums best, by two normal equations.
    fn drawn(&self, parameters: &CommonCorrectionParameters, before: &Common) -> Common {
        let (flow_sigma_ln, delay_sigma_s) = (parameters.flow_prior_sigma_ln, parameters.delay_prior_sigma_s);
        let [w, wr, wrr, y, yr] = self.sums;
        let flow_prior = 1.0 / (flow_sigma_ln * flow_sigma_ln);
        let delay_prior = 1.0 / (delay_sigma_s * delay_sigma_s);
        let (a, b, c) = (w + flow_prior, wr, wrr + delay_prior);
        let (p, q) = (y - flow_prior * before.flow_ln, yr - delay_prior * before.delay_s);
        let determinant = a * c - b * b;
        if !(determinant > 0.0 && p.is_finite() && q.is_finite()) {
            return *before;
        }
        let flow_ln = before.flow_ln + (c * p - b * q) / determinant;
        let moved_s = ((a * q - b * p) / determinant).held(-parameters.round_s, parameters.round_s);
        let delay_s = before.delay_s + moved_s;
        let (most_ln, most_s) = (parameters.flow_authority_ln, parameters.delay_authority_s);
        Common {
            flow_ln: flow_ln.held(-most_ln, most_ln),
            delay_s: delay_s.held(-most_s, most_s),
            flow_sigma_ln: Real::sqrt(c / determinant),
            delay_sigma_s: Real::sqrt(a / determinant),
        }
    }
}

/// Share of a cell's correction that no lesson has told, 0 to 1; `prior` is the variance before any.
fn unknown(map: &LearnedMap, cell: usize, prior: f32) -> f32 {
    let variance = map.variance.flat().get(cell).copied().unwrap_or(f32::MAX);
    (variance / prior).held(0.0, 1.0)
}

/// By how much a cell is expected to deviate from the flow, ln, as its neighbours do.
fn from_neighbours(map: &LearnedMap, cell: usize, prior: f32, flow_weight: f32) -> f32 {
    let column = cell % RPM_POINTS;
    let next = [
        (column > 0).then(|| cell.wrapping_sub(1)),
        (column + 1 < RPM_POINTS).then_some(cell + 1),
        Some(cell.wrapping_sub(RPM_POINTS)),
        Some(cell + RPM_POINTS),
    ];
    let (mut sum, mut weights) = (0.0, flow_weight);
    for neighbour in next.into_iter().flatten() {
        if let Some(ln) = map.ln.flat().get(neighbour) {
            let known = 1.0 - unknown(map, neighbour, prior);
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
    use crate::parameters::Parameters;

    const COMMON: CommonCorrectionParameters = CommonCorrectionParameters::DEFAULT;

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
        let mut map = Parameters::DEFAULT.blank_map();
        for cell in (0..CELLS).filter(|cell| known(*cell)) {
            map.ln.flat_mut()[cell] = flow_ln + Real::ln(1.0 + late_s * calibration.delay_rate_per_s(cell));
            map.variance.flat_mut()[cell] = 1e-4;
        }
        map
    }

    fn step(round: &mut Round, calibration: &Calibration, map: &mut LearnedMap) {
        let Parameters { common_correction, learner, injector, .. } = calibration.parameters();
        round.step(common_correction, learner.prior_sigma_ln, injector, calibration.setup(), map);
    }

    /// Rounds of a controller that began with a map that had learned nothing.
    fn rounds(calibration: &Calibration, map: &mut LearnedMap, count: usize) {
        let mut round = Round::default();
        (0..CELLS).for_each(|_| step(&mut round, calibration, &mut Parameters::DEFAULT.blank_map()));
        (0..count * CELLS).for_each(|_| step(&mut round, calibration, map));
    }

    #[test]
    fn ident_flow_and_delay_come_out_of_a_map_that_has_nothing_else() {
        let calibration = calibration();
        let mut map = taught(&calibration, 0.06, -0.07e-3, |_| true);
        rounds(&calibration, &mut map, 100);
        assert!((map.common.flow_ln - 0.06).abs() < 0.01, "{:?}", map.common);
        assert!((map.common.delay_s + 0.07e-3).abs() < 0.005e-3, "{:?}", map.common);
        assert!(map.common.told_apart(&COMMON));
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
        (0..2 * CELLS).for_each(|_| step(&mut powered_up, &calibration, &mut map));
        let moved = map.ln.flat().iter().zip(before.ln.flat()).map(|(now, then)| (now - then).abs());
        assert!(moved.fold(0.0, f32::max) < 1e-3);
    }

    #[test]
    fn long_pulses_alone_do_not_tell_delay_from_flow() {
        let calibration = calibration();
        let mut map = taught(&calibration, 0.08, 0.05e-3, |cell| calibration.delay_rate_per_s(cell) < 220.0);
        rounds(&calibration, &mut map, 20);
        assert!(!map.common.told_apart(&COMMON), "{:?}", map.common);
    }

    #[test]
    fn authority_bounds_both() {
        let calibration = calibration();
        let mut map = taught(&calibration, 3.0, 3e-3, |_| true);
        rounds(&calibration, &mut map, 500);
        assert!(
            map.common.flow_ln <= COMMON.flow_authority_ln && map.common.delay_s <= COMMON.delay_authority_s
        );
    }

    #[test]
    fn a_map_that_learned_nothing_stays_as_it_is() {
        let calibration = calibration();
        let mut map = Parameters::DEFAULT.blank_map();
        rounds(&calibration, &mut map, 5);
        assert!(map.ln.flat().iter().all(|ln| *ln == 0.0) && map.common.delay_s == 0.0);
    }
}
