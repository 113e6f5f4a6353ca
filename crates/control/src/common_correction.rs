//! Corrections that all cells share: fuel scale and opening delay. Also the smooth expectation of a cell from its neighbours.
//!
//! Injectors that deliver more or less than rated, another fuel or a wrong displacement shift all cells alike, by `s`. Injectors that open
//! later than the calibration says by `d` cost each cell `d / tau` of its fuel, `tau` being its flow time; `d` is added to every open time.
//! The cells keep what remains; the authority of a cell counts from `s`.
//!
//! Volumetric efficiency deviates smoothly, so a cell is expected at `e = s + sum k_j (y_j - s) / (sum k_j + 1/2)` over the neighbours on
//! both axes, with `k = 1 - P / P0` for how well a neighbour is known. A change of the expectation moves the cell by its unlearned share
//! `P_i / P0` (prior mean of a Gaussian).
//!
//! `s` and `d` are estimated from the cells. With the prior variance `P0` of a cell, its variance now `P_i` and its correction `y_i`, the
//! lessons alone said `s + (y_i - s - (e_i - s) P_i / P0) P0 / (P0 - P_i)`, with variance `P0^2 / (P0 - P_i)` (Gaussian update undone;
//! empirical Bayes, e.g. Gelman et al., Bayesian Data Analysis, 3rd ed., section 5.4, from memory). The unlearned share is exact for the
//! Kalman learner; a fixed gain leaves more unlearned, and `s` and `d` come out somewhat small.
//!
//! The change of `s` and `d` follows from the normal equations `sum w_i [1, r_i] [1, r_i]^T` with `w_i = (P0 - P_i) / P0^2` and `r_i = 1 /
//! tau_i`, and the right side `sum [1, r_i] (y_i - s - (e_i - s) P_i / P0) / P0`.

use trimwright_numerics::{Grid, Real};

use crate::base_map::{CELLS, MAP_POINTS, RPM_POINTS};
use crate::injector::InjectorParameters;
use crate::learned_map::{CommonCorrection, LearnedMap};
use crate::setup::Setup;

trimwright_numerics::parameters! {
    /// Estimate of fuel scale and opening delay from all cells.
    #[cfg_attr(feature = "defmt", derive(defmt::Format))]
    pub struct CommonCorrectionParameters<f32> "common_correction" {
        /// Limit of the common fuel scale, either way.
        number flow_authority_ln { 0.25, 0.0..=0.3 "ln", "engineering judgement; the range is that of the persistence image" }
        /// Limit of the common opening delay correction, either way.
        number delay_authority_s { 0.25e-3, 0.0..=0.32e-3 "s", "engineering judgement; the range is that of the persistence image" }
        /// Standard deviation of the fuel scale before any lesson.
        number flow_prior_sigma_ln { 0.08, 0.005..=0.3 "ln", "engineering judgement: parts, fuel and answers together" }
        /// Standard deviation of the opening delay correction before any lesson.
        number delay_prior_sigma_s { 0.08e-3, 0.005e-3..=0.3e-3 "s", "engineering judgement" }
        /// Share of the cells that count as statistically independent; neighbours repeat each other.
        number independent_share { 0.2, 0.01..=1.0 "1", "engineering judgement: an engine's filling deviates smoothly" }
        /// Posterior over prior standard deviation below which fuel scale and opening delay count as separated.
        number identifiable_ratio { 0.6, 0.1..=1.0 "1", "engineering judgement" }
        /// Largest change of the opening delay in one pass over the cells; until a cell is visited its mixture is off by that change.
        number max_step_s { 3e-6, 0.0..=100e-6 "s", "engineering judgement: 0.3 % at an idle pulse of 1 ms" }
        /// Weight of the common fuel scale, beside fully known neighbours, in the expectation of a cell.
        number flow_weight { 0.5, 0.01..=10.0 "1", "engineering judgement" }
        /// Lower limit of a cell's flow time over its nominal one when the opening delay is corrected.
        number min_flow_time_ratio { 0.3, 0.05..=1.0 "1", "engineering judgement" }
    }
}

impl CommonCorrection {
    /// Values before any lesson.
    pub const fn new(parameters: &CommonCorrectionParameters) -> Self {
        Self {
            flow_ln: 0.0,
            delay_s: 0.0,
            flow_sigma_ln: parameters.flow_prior_sigma_ln,
            delay_sigma_s: parameters.delay_prior_sigma_s,
        }
    }

    /// True when fuel scale and opening delay can be separated: both posterior standard deviations are below 0.6 (by default) of the prior. When false,
    /// `delay_s` is only the likeliest of many pairs.
    pub fn is_identifiable(&self, parameters: &CommonCorrectionParameters) -> bool {
        self.delay_sigma_s < parameters.identifiable_ratio * parameters.delay_prior_sigma_s
            && self.flow_sigma_ln < parameters.identifiable_ratio * parameters.flow_prior_sigma_ln
    }
}

/// Visits one cell per call; after a full pass re-estimates fuel scale and opening delay by weighted least squares.
#[derive(Clone, Debug, PartialEq)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub struct CommonEstimator {
    cell: u16,
    /// Sums of `w`, `w r`, `w r^2`, and of the deviations without and with `r`.
    sums: [f32; 5],
    /// Change of fuel scale and opening delay in the last pass.
    last_change: [f32; 2],
    /// Expected deviation of each cell from the fuel scale in the last pass, ln.
    expected_ln: Grid<f32, RPM_POINTS, MAP_POINTS>,
    has_previous_pass: bool,
}

impl Default for CommonEstimator {
    fn default() -> Self {
        Self {
            cell: 0,
            sums: [0.0; 5],
            last_change: [0.0; 2],
            expected_ln: Grid::filled(0.0),
            has_previous_pass: false,
        }
    }
}

impl CommonEstimator {
    /// 20 ms task: visits the next cell. Moves it with its expectation by its unlearned share, then adds it to the sums. `prior_sigma_ln`
    /// is the standard deviation of a cell before any lesson.
    ///
    /// ```
    /// use trimwright_control::learning::CommonEstimator;
    /// use trimwright_control::{CELLS, Calibration, SetupAnswers};
    /// let calibration = Calibration::from_answers(&SetupAnswers::default())?;
    /// let parameters = calibration.parameters();
    /// let (common, injector) = (&parameters.common_correction, &parameters.injector);
    /// let (mut map, mut estimator) = (parameters.blank_map(), CommonEstimator::default());
    /// // Every cell has learned 6 % more: the injectors are smaller than answered.
    /// map.ln.flat_mut().fill(0.06);
    /// map.variance.flat_mut().fill(1e-4);
    /// (0..20 * CELLS).for_each(|_| estimator.step(common, 0.12, injector, calibration.setup(), &mut map));
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
        let expected = expected_from_neighbours(map, cell, prior, parameters.flow_weight);
        let prior_share = prior_share(map, cell, prior);
        if let (Some(ln), Some(held)) =
            (map.ln.flat_mut().get_mut(cell), self.expected_ln.flat_mut().get_mut(cell))
        {
            let was_expected = core::mem::replace(held, expected);
            let rate = rate / (1.0 + map.common.delay_s * rate).at_least(parameters.min_flow_time_ratio);
            let [flow_moved, delay_moved] = self.last_change;
            // A map from before this power-up already contains its expectations.
            let expected_moved = if self.has_previous_pass { expected - was_expected } else { 0.0 };
            *ln += prior_share * (flow_moved + expected_moved) - (1.0 - prior_share) * delay_moved * rate;
            let deviation = (*ln - map.common.flow_ln - prior_share * expected) / prior;
            let weight = (1.0 - prior_share) / prior;
            let terms = [weight, weight * rate, weight * rate * rate, deviation, deviation * rate];
            for (sum, term) in self.sums.iter_mut().zip(terms) {
                *sum += parameters.independent_share * term;
            }
        }
        self.cell += 1;
        if usize::from(self.cell) >= CELLS {
            let before = map.common;
            map.common = self.solve(parameters, &before);
            let change = [map.common.flow_ln - before.flow_ln, map.common.delay_s - before.delay_s];
            (self.cell, self.sums, self.last_change, self.has_previous_pass) = (0, [0.0; 5], change, true);
        }
    }

    /// Solves the two normal equations.
    fn solve(&self, parameters: &CommonCorrectionParameters, before: &CommonCorrection) -> CommonCorrection {
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
        let change_s = ((a * q - b * p) / determinant).held(-parameters.max_step_s, parameters.max_step_s);
        let delay_s = before.delay_s + change_s;
        let (most_ln, most_s) = (parameters.flow_authority_ln, parameters.delay_authority_s);
        CommonCorrection {
            flow_ln: flow_ln.held(-most_ln, most_ln),
            delay_s: delay_s.held(-most_s, most_s),
            flow_sigma_ln: Real::sqrt(c / determinant),
            delay_sigma_s: Real::sqrt(a / determinant),
        }
    }
}

/// Unlearned share of a cell's correction, 0 to 1; `prior` is the variance before any lesson.
fn prior_share(map: &LearnedMap, cell: usize, prior: f32) -> f32 {
    let variance = map.variance.flat().get(cell).copied().unwrap_or(f32::MAX);
    (variance / prior).held(0.0, 1.0)
}

/// Expected deviation of a cell from the fuel scale, ln: weighted mean of its neighbours.
fn expected_from_neighbours(map: &LearnedMap, cell: usize, prior: f32, flow_weight: f32) -> f32 {
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
            let learned_share = 1.0 - prior_share(map, neighbour, prior);
            sum += learned_share * (ln - map.common.flow_ln);
            weights += learned_share;
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

    /// A map in which `known` cells were learned well, each to the value that scale and delay give.
    fn learned_map(
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

    fn step(estimator: &mut CommonEstimator, calibration: &Calibration, map: &mut LearnedMap) {
        let Parameters { common_correction, learner, injector, .. } = calibration.parameters();
        estimator.step(common_correction, learner.prior_sigma_ln, injector, calibration.setup(), map);
    }

    /// Passes of a controller that started with an empty map.
    fn passes(calibration: &Calibration, map: &mut LearnedMap, count: usize) {
        let mut estimator = CommonEstimator::default();
        (0..CELLS).for_each(|_| step(&mut estimator, calibration, &mut Parameters::DEFAULT.blank_map()));
        (0..count * CELLS).for_each(|_| step(&mut estimator, calibration, map));
    }

    #[test]
    fn ident_scale_and_delay_are_recovered_from_a_map_made_of_them() {
        let calibration = calibration();
        let mut map = learned_map(&calibration, 0.06, -0.07e-3, |_| true);
        passes(&calibration, &mut map, 100);
        assert!((map.common.flow_ln - 0.06).abs() < 0.01, "{:?}", map.common);
        assert!((map.common.delay_s + 0.07e-3).abs() < 0.005e-3, "{:?}", map.common);
        assert!(map.common.is_identifiable(&COMMON));
        // The cells keep only what is left.
        assert!(map.ln.flat().iter().all(|ln| (ln - 0.06).abs() < 0.025), "{:?}", map.ln);
    }

    #[test]
    fn ident_the_total_correction_of_a_known_cell_stays_while_scale_and_delay_change() {
        let calibration = calibration();
        let before = learned_map(&calibration, 0.03, 0.06e-3, |_| true);
        let mut after = before.clone();
        passes(&calibration, &mut after, 100);
        for cell in 0..CELLS {
            let late = 1.0 + after.common.delay_s * calibration.delay_rate_per_s(cell);
            let total = after.ln.flat()[cell] + Real::ln(late);
            assert!((total - before.ln.flat()[cell]).abs() < 0.01, "{cell}: {total}");
        }
    }

    #[test]
    fn cells_that_were_never_visited_follow_and_known_ones_stay() {
        let calibration = calibration();
        let mut map = learned_map(&calibration, 0.10, 0.0, |cell| cell.is_multiple_of(2));
        passes(&calibration, &mut map, 100);
        assert!((map.ln.flat()[60] - 0.10).abs() < 0.01 && (map.ln.flat()[61] - 0.10).abs() < 0.03);
    }

    #[test]
    fn an_unlearned_cell_follows_its_neighbours_and_not_distant_cells() {
        let calibration = calibration();
        let near = 5 * RPM_POINTS + 5;
        let mut map = learned_map(&calibration, 0.0, 0.0, |cell| cell % RPM_POINTS > 6);
        map.ln.flat_mut()[near - 1] = -0.08;
        map.variance.flat_mut()[near - 1] = 1e-4;
        passes(&calibration, &mut map, 3);
        let off = |cell: usize| map.ln.flat()[cell] - map.common.flow_ln;
        assert!(off(near) < -0.03 && off(near - 1) < -0.07, "{} {}", off(near), off(near - 1));
        assert!(off(near - 3).abs() < 0.01, "{}", off(near - 3));
    }

    #[test]
    fn ident_a_power_up_applies_no_expectation_twice() {
        let calibration = calibration();
        let mut map = learned_map(&calibration, -0.05, 0.0, |cell| cell % 5 == 0);
        map.ln.flat_mut()[40] = 0.05;
        passes(&calibration, &mut map, 60);
        let before = map.clone();
        let mut powered_up = CommonEstimator::default();
        (0..2 * CELLS).for_each(|_| step(&mut powered_up, &calibration, &mut map));
        let moved = map.ln.flat().iter().zip(before.ln.flat()).map(|(now, then)| (now - then).abs());
        assert!(moved.fold(0.0, f32::max) < 1e-3);
    }

    #[test]
    fn long_pulses_alone_do_not_separate_delay_from_scale() {
        let calibration = calibration();
        let mut map =
            learned_map(&calibration, 0.08, 0.05e-3, |cell| calibration.delay_rate_per_s(cell) < 220.0);
        passes(&calibration, &mut map, 20);
        assert!(!map.common.is_identifiable(&COMMON), "{:?}", map.common);
    }

    #[test]
    fn authority_bounds_both() {
        let calibration = calibration();
        let mut map = learned_map(&calibration, 3.0, 3e-3, |_| true);
        passes(&calibration, &mut map, 500);
        assert!(
            map.common.flow_ln <= COMMON.flow_authority_ln && map.common.delay_s <= COMMON.delay_authority_s
        );
    }

    #[test]
    fn a_map_that_learned_nothing_stays_as_it_is() {
        let calibration = calibration();
        let mut map = Parameters::DEFAULT.blank_map();
        passes(&calibration, &mut map, 5);
        assert!(map.ln.flat().iter().all(|ln| *ln == 0.0) && map.common.delay_s == 0.0);
    }

    #[test]
    fn only_when_both_are_known_well_enough_do_they_count_as_separated() {
        let (flow, delay) = (COMMON.flow_prior_sigma_ln, COMMON.delay_prior_sigma_s);
        let separated = |flow_sigma_ln, delay_sigma_s| {
            let common = CommonCorrection { flow_sigma_ln, delay_sigma_s, ..CommonCorrection::new(&COMMON) };
            common.is_identifiable(&COMMON)
        };
        assert!(separated(0.5 * flow, 0.5 * delay));
        assert!(!separated(0.5 * flow, delay) && !separated(flow, 0.5 * delay));
        let limit = COMMON.identifiable_ratio;
        assert!(!separated(limit * flow, 0.5 * delay) && !separated(0.5 * flow, limit * delay));
    }

    /// Sums of a map that is known well.
    fn sums(flow_change_ln: f64, delay_change_s: f64, before: &CommonCorrection) -> [f32; 5] {
        let (w, wr, wrr) = (2000.0, 6e5, 2e8);
        let [flow_prior, delay_prior] =
            [COMMON.flow_prior_sigma_ln, COMMON.delay_prior_sigma_s].map(|sigma| f64::from(sigma).powi(-2));
        let y =
            (w + flow_prior) * flow_change_ln + wr * delay_change_s + flow_prior * f64::from(before.flow_ln);
        let yr = wr * flow_change_ln
            + (wrr + delay_prior) * delay_change_s
            + delay_prior * f64::from(before.delay_s);
        [w, wr, wrr, y, yr].map(|sum| sum as f32)
    }

    fn solved(sums: [f32; 5], before: &CommonCorrection) -> CommonCorrection {
        CommonEstimator { sums, ..CommonEstimator::default() }.solve(&COMMON, before)
    }

    /// The two normal equations with the priors, made from a solution; the covariance is the inverse of their matrix.
    #[test]
    fn ident_the_normal_equations_are_solved() {
        let before = CommonCorrection { flow_ln: 0.05, delay_s: -0.04e-3, ..CommonCorrection::new(&COMMON) };
        let after = solved(sums(0.01, 2e-6, &before), &before);
        assert!((after.flow_ln - 0.06).abs() < 1e-5, "{after:?}");
        assert!((after.delay_s + 0.038e-3).abs() < 1e-8, "{after:?}");
        let (a, b, c) = (2000.0 + 156.25, 6e5, 2e8 + 1.5625e8);
        let determinant: f64 = a * c - b * b;
        assert!((f64::from(after.flow_sigma_ln) / (c / determinant).sqrt() - 1.0).abs() < 1e-4);
        assert!((f64::from(after.delay_sigma_s) / (a / determinant).sqrt() - 1.0).abs() < 1e-4);
    }

    #[test]
    fn scale_and_delay_stop_at_their_authority_and_the_delay_moves_in_steps() {
        let before = CommonCorrection::new(&COMMON);
        for sign in [1.0, -1.0_f32] {
            let far = f64::from(sign);
            let after = solved(sums(far, far * 50e-6, &before), &before);
            assert_eq!(after.flow_ln, sign * COMMON.flow_authority_ln);
            assert_eq!(after.delay_s, sign * COMMON.max_step_s);
            let near = CommonCorrection { delay_s: sign * (COMMON.delay_authority_s - 1e-6), ..before };
            let after = solved(sums(0.0, far * 50e-6, &near), &near);
            assert_eq!(after.delay_s, sign * COMMON.delay_authority_s);
        }
    }

    #[test]
    fn sums_that_are_no_numbers_or_have_no_solution_change_nothing() {
        let before = CommonCorrection { flow_ln: 0.05, delay_s: -0.04e-3, ..CommonCorrection::new(&COMMON) };
        let sound = sums(0.01, 2e-6, &before);
        for (place, value) in [(0, f32::NAN), (1, 1e9), (3, f32::INFINITY), (4, f32::INFINITY)] {
            let mut spoiled = sound;
            spoiled[place] = value;
            assert_eq!(solved(spoiled, &before), before, "place {place}");
        }
    }

    /// By hand: a cell known by three quarters follows fuel scale and expectation by a quarter, and gives three quarters of what the
    /// opening delay took over.
    #[test]
    fn a_visited_cell_moves_by_its_unlearned_share_and_is_summed_up() {
        let calibration = calibration();
        let prior_sigma_ln = calibration.parameters().learner.prior_sigma_ln;
        let prior = prior_sigma_ln * prior_sigma_ln;
        let mut map = Parameters::DEFAULT.blank_map();
        (map.common.flow_ln, map.common.delay_s) = (0.02, 0.2e-3);
        for (cell, ln, unlearned) in [(0, 0.04, 0.25), (1, 0.05, 0.0), (RPM_POINTS, 0.08, 0.5)] {
            (map.ln.flat_mut()[cell], map.variance.flat_mut()[cell]) = (ln, unlearned * prior);
        }
        let mut estimator = CommonEstimator {
            last_change: [0.01, 2e-6],
            has_previous_pass: true,
            ..CommonEstimator::default()
        };
        estimator.expected_ln.flat_mut()[0] = 0.003;
        step(&mut estimator, &calibration, &mut map);
        let expected_ln = (0.03 + 0.5 * 0.06) / (COMMON.flow_weight + 1.5);
        let nominal = calibration.delay_rate_per_s(0);
        let rate = nominal / (1.0 + 0.2e-3 * nominal);
        let ln = 0.04 + 0.25 * (0.01 + expected_ln - 0.003) - 0.75 * 2e-6 * rate;
        assert!((map.ln.flat()[0] - ln).abs() < 1e-6, "{} {ln}", map.ln.flat()[0]);
        let (weight, deviation) = (0.75 / prior, (ln - 0.02 - 0.25 * expected_ln) / prior);
        let terms = [weight, weight * rate, weight * rate * rate, deviation, deviation * rate];
        for (sum, term) in estimator.sums.into_iter().zip(terms) {
            assert!((sum / (COMMON.independent_share * term) - 1.0).abs() < 1e-4, "{sum} {term}");
        }
        assert_eq!(estimator.cell, 1);
    }

    /// At the edge of the map the cell before or after in memory is at the other end of another row.
    #[test]
    fn neighbours_are_the_four_cells_beside_and_none_across_an_edge() {
        let prior = 0.0144;
        let expected_ln = |cell, neighbour| {
            let mut map = Parameters::DEFAULT.blank_map();
            map.common.flow_ln = 0.02;
            (map.ln.flat_mut()[neighbour], map.variance.flat_mut()[neighbour]) = (0.08, 0.0);
            expected_from_neighbours(&map, cell, prior, 0.5)
        };
        let middle = 3 * RPM_POINTS + 5;
        for neighbour in [middle - 1, middle + 1, middle - RPM_POINTS, middle + RPM_POINTS] {
            assert!((expected_ln(middle, neighbour) - 0.06 / 1.5).abs() < 1e-6, "{neighbour}");
        }
        assert_eq!(expected_ln(middle, middle + 2), 0.0);
        let (first, last) = (2 * RPM_POINTS, 2 * RPM_POINTS - 1);
        assert_eq!([expected_ln(first, last), expected_ln(last, first)], [0.0; 2]);
        assert!(expected_ln(first, first + 1) > 0.03 && expected_ln(last, last - 1) > 0.03);
    }
}
