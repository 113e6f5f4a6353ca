//! Result of driving a scenario, from its three drives.

use std::collections::BTreeMap;

use trimwright_control::{Calibration, LearnedMap, Refusal};
use trimwright_plant::View;

use super::recorder::{Driven, Snapshot};
use crate::cells::Cells;
use crate::mixture::Mixture;
use crate::mixture_observer::{Window, settle_s};
use crate::scenario::Scenario;
use crate::summary::{
    CostFigures, DriveFigures, Finding, LearningFigures, MixtureFigures, SCHEMA, Summary, Weight,
};
use crate::trace::TraceRow;
use crate::verdicts;

/// Rms error of the map alone below which a run counts as settled, ln.
const SETTLED_RMS: f64 = 0.02;

/// Complete result of driving a scenario.
///
/// ```
/// use trimwright_control::Options;
/// use trimwright_harness::drive::{Record, drive_with};
/// use trimwright_harness::{scenario::Scenario, schedule::Schedule};
///
/// let schedule = Schedule::parse("trip", "trip.csv", "time [s],speed [km/h]\n0,0\n20,0\n40,50\n400,50\n")?;
/// let scenario = Scenario { schedule, passes: 2, ..Scenario::load("delivery-van")? };
/// let run = drive_with(&scenario, Options::default(), Record::Figures, &mut |_| ())?;
/// assert!(run.frozen.rms() < 0.5 * run.base.rms(), "the learned map alone leaves less than half of the error");
/// # Ok::<(), Box<dyn std::error::Error>>(())
/// ```
#[derive(Clone, Debug, PartialEq)]
pub struct Run {
    /// Figures of the run.
    pub summary: Summary,
    /// Trace of the learning run; empty unless [`Everything`](super::Record::Everything) was requested.
    pub rows: Vec<TraceRow>,
    /// Convergence of the learning run, window by window.
    pub windows: Vec<Window>,
    /// Learned map over time; empty unless [`Everything`](super::Record::Everything) was requested.
    pub snapshots: Vec<Snapshot>,
    /// Calibration of the controller.
    pub calibration: Calibration,
    /// Learned map at the end.
    pub learned: LearnedMap,
    /// True correction of each cell, ln.
    pub true_correction_ln: Vec<f64>,
    /// Dwell and mean conditions of each cell.
    pub cells: Cells,
    /// Mixture error of steady events with the first calibration.
    pub base: Mixture,
    /// Mixture error of steady events with the learned map frozen.
    pub frozen: Mixture,
    /// Mixture error of all events in the last pass of the learning run.
    pub last_pass: Mixture,
}

/// Builds the result from the three drives.
pub(super) fn run_of(
    scenario: &Scenario,
    calibration: Calibration,
    learned: LearnedMap,
    base: &Driven,
    learning: Driven,
    after: Driven,
) -> Run {
    let simulated_s =
        [base, &learning, &after].map(|driven| driven.session.closed_loop().time_s()).iter().sum::<f64>();
    let wall_s = base.wall_s + learning.wall_s + after.wall_s;
    let mixture = learning.mixture;
    let state = learning.session.closed_loop().controller().state();
    let fuel_kg = learning.session.closed_loop().plant().balances().fuel_injected_kg;
    let delay_s = learned.common.delay_s;
    let true_correction_ln = mixture.cells.true_correction_ln(&scenario.truth, &calibration, delay_s);
    let fitted = mixture.fit(true_correction_ln.len(), f64::from(delay_s)).solve(calibration.parameters());
    // The fit has an opening delay of its own, which changes the true corrections it is compared with.
    let offline_fit_rms = fitted.map_or(f64::NAN, |fit| {
        let true_correction_ln = mixture.cells.true_correction_ln(
            &scenario.truth,
            &calibration,
            delay_s + fit.extra_delay_s as f32,
        );
        mixture.cells.error_rms(|cell| fit.cells[cell], &true_correction_ln)
    });
    let (cells_visited, cells_confident) = mixture.cells.count(&learned);
    let distance_km = learning.pass_distance_km.iter().sum::<f64>();
    let refusals =
        Refusal::ALL.map(|refusal| (refusal.name().to_owned(), u64::from(state.counts().of(refusal))));
    let summary = Summary {
        schema: SCHEMA,
        scenario: scenario.name.clone(),
        seed: scenario.seed,
        scenario_hash: scenario.hash(),
        mixture: MixtureFigures {
            base_map_rms: base.mixture.steady.rms(),
            learned_map_rms: after.mixture.steady.rms(),
            learned_map_lasting_rms: after.mixture.steady_lasting.rms(),
            passing_rms: after.mixture.passing.rms(),
            closed_loop_rms: mixture.all.rms(),
            p95_abs: mixture.all.p95_abs(),
            transient_rms: mixture.transient.rms(),
            cylinder_spread_rms: mixture.cylinders.rms(),
        },
        learning: LearningFigures {
            settle_s: settle_s(&mixture.windows, SETTLED_RMS),
            cells_visited,
            cells_confident,
            within_two_sigma: within_two_sigma(&mixture.cells, &learned, &true_correction_ln),
            visited_error_rms: mixture
                .cells
                .error_rms(|cell| f64::from(learned.ln.flat()[cell]), &true_correction_ln),
            offline_fit_rms,
            common_flow_ln: f64::from(learned.common.flow_ln),
            opening_delay_s: f64::from(delay_s),
            told_apart: learned.common.is_identifiable(&calibration.parameters().common_correction),
            lessons: u64::from(state.counts().lessons()),
            refusals: BTreeMap::from(refusals),
        },
        drive: DriveFigures {
            distance_km,
            pass_distance_km: learning.pass_distance_km,
            speed_error_rms_m_per_s: learning.speed_error_rms,
            fuel_kg,
            l_per_100km: (distance_km > 0.1)
                .then(|| fuel_kg / scenario.truth.fuel.density_kg_per_m3() * 1e3 / distance_km * 100.0),
            stalls: learning.session.starting().stalls(),
            crank_s: learning.session.starting().crank_s(),
        },
        driveability: None,
        cost: CostFigures { simulated_s, wall_s, times_real_time: simulated_s / wall_s },
        dtcs: state.dtcs().stored().map(|dtc| dtc.code().to_owned()).collect(),
        verdicts: tank_empty(&learning.session.closed_loop().view())
            .into_iter()
            .chain(verdicts::findings(&learning.evidence, learning.session.closed_loop().controller()))
            .collect(),
    };
    Run {
        summary,
        rows: learning.rows,
        windows: mixture.windows,
        snapshots: learning.snapshots,
        calibration,
        learned,
        true_correction_ln,
        cells: mixture.cells,
        base: base.mixture.steady.clone(),
        frozen: after.mixture.steady,
        last_pass: mixture.all,
    }
}

/// Finding when the simulated tank ran empty, which the controller can only infer from the rail pressure.
fn tank_empty(view: &View) -> Option<Finding> {
    view.tank_is_empty.then(|| Finding {
        title: "The tank is empty".to_owned(),
        weight: Weight::Act,
        evidence: vec![format!(
            "{:.2} kg are left at the end, which the pickup does not reach",
            view.tank_kg
        )],
        causes: vec!["the drive was longer than the fuel lasted".to_owned()],
        tell_apart: Vec::new(),
        check: vec!["fewer passes, or more fuel: `[truth.fuel_system] tank`".to_owned()],
    })
}

/// Share of the visited cells whose error is below two of the learner's standard deviations; NaN when none was visited.
fn within_two_sigma(cells: &Cells, learned: &LearnedMap, true_correction_ln: &[f64]) -> f64 {
    let (mut visited, mut within) = (0_u32, 0_u32);
    let all = true_correction_ln.iter().zip(cells.visited()).enumerate();
    for (cell, (true_ln, _)) in all.filter(|(_, (_, visited))| *visited) {
        visited += 1;
        let error = f64::from(learned.ln.flat()[cell]) - true_ln;
        within += u32::from(error.abs() < 2.0 * f64::from(learned.sigma_ln(cell)));
    }
    f64::from(within) / f64::from(visited)
}
