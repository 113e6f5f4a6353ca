//! Drives of many randomly sampled engines.

use std::sync::Mutex;
use std::sync::atomic::{AtomicBool, Ordering};

use rayon::prelude::*;
use serde::{Deserialize, Serialize};
use trimwright_control::parameters::LearnerParameters;
use trimwright_control::{RPM_POINTS, Strategy};
use trimwright_harness::drive::{Record, Run, drive_learners};
use trimwright_harness::scenario::Scenario;

use crate::learners::{self, LEARNERS};
use crate::sample::EngineSample;

/// Engines and learners of a fleet.
///
/// ```
/// use trimwright_control::Strategy;
/// use trimwright_harness::scenario::Scenario;
/// use trimwright_study::fleet::FleetPlan;
/// use trimwright_study::journal::JournalHead;
/// let van = Scenario::load("delivery-van")?;
/// let night = FleetPlan { engines: 200, seed: 1, learners: vec![Strategy::Kalman], jobs: 0 };
/// let longer = FleetPlan { engines: 500, jobs: 1, ..night.clone() };
/// assert_eq!(JournalHead::of(&van, &night), JournalHead::of(&van, &longer), "the number of engines may grow");
/// # Ok::<(), Box<dyn std::error::Error>>(())
/// ```
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct FleetPlan {
    /// Number of engines.
    pub engines: u32,
    /// Seed of the samples.
    pub seed: u64,
    /// Learners with which each engine is driven.
    pub learners: Vec<Strategy>,
    /// Number of engines driven in parallel; 0 for one per core.
    pub jobs: usize,
}

/// Results of one engine; each figure has the meaning of the same name in the summary of a run. `None` when not measured.
///
/// ```
/// use trimwright_control::Strategy;
/// use trimwright_harness::{scenario::Scenario, schedule::Schedule};
/// use trimwright_study::fleet::{FleetEngine, FleetPlan};
/// let trip = "time [s],speed [km/h]\n0,0\n10,0\n20,30\n50,30\n";
/// let schedule = Schedule::parse("trip", "trip.csv", trip)?;
/// let scenario = Scenario { schedule, passes: 1, ..Scenario::load("delivery-van")? };
/// let plan = FleetPlan { engines: 1, seed: 1, learners: vec![Strategy::Kalman], jobs: 1 };
/// let engines = FleetEngine::drive(&scenario, &plan, 0);
/// let figures = engines[0].figures().ok_or("not driven")?;
/// assert!(figures.fuel_kg > 0.02 && figures.stalls == 0);
/// assert_eq!(figures.settle_s, None, "not settled in less than a minute");
/// # Ok::<(), Box<dyn std::error::Error>>(())
/// ```
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct Figures {
    /// Mixture error of the first calibration, steady events, rms, ln.
    pub base_map_rms: Option<f64>,
    /// Mixture error of the learned map alone, steady events, rms, ln.
    pub learned_map_rms: Option<f64>,
    /// The same without the disturbances that pass, ln: what a slow map could know.
    pub learned_map_lasting_rms: Option<f64>,
    /// Mixture error of all events of the last pass, rms, ln.
    pub closed_loop_rms: Option<f64>,
    /// 95 % quantile of the absolute mixture error of the last pass, ln.
    pub p95_abs: Option<f64>,
    /// Mixture error of transient events, rms, ln.
    pub transient_rms: Option<f64>,
    /// Time until the map alone stayed within 2 %, s; `None` when it did not within the drive.
    pub settle_s: Option<f64>,
    /// Number of visited cells.
    pub cells_visited: u64,
    /// Number of visited cells with a standard deviation below 1 %.
    pub cells_confident: u64,
    /// Share of the visited cells whose error is below two standard deviations of the learner.
    pub within_two_sigma: Option<f64>,
    /// Learned minus true correction in the visited cells, rms, ln; `None` also when a visited cell has no true correction because the engine
    /// cannot run there.
    pub visited_error_rms: Option<f64>,
    /// The same for the offline fit.
    pub offline_fit_rms: Option<f64>,
    /// Number of visited cells saturated at the authority limit although the true correction is inside it, there and in the neighbouring
    /// cells, by more than two standard deviations of the learner.
    pub cells_run_away: u64,
    /// Number of visited cells whose true correction is outside the authority limit.
    pub cells_beyond_authority: u64,
    /// Number of accepted lessons.
    pub lessons: u64,
    /// Number of stalls.
    pub stalls: u64,
    /// Distance driven while learning, km.
    pub distance_km: f64,
    /// Fuel injected while learning, kg.
    pub fuel_kg: f64,
    /// Trouble codes, separated by blanks.
    pub dtcs: String,
}

impl Figures {
    /// The figures of a run.
    pub fn of(run: &Run) -> Self {
        let (mixture, learning, drive) = (&run.summary.mixture, &run.summary.learning, &run.summary.drive);
        let measured = |value: f64| value.is_finite().then_some(value);
        let (cells_run_away, cells_beyond_authority) = saturated_cells(run);
        Self {
            base_map_rms: measured(mixture.base_map_rms),
            learned_map_rms: measured(mixture.learned_map_rms),
            learned_map_lasting_rms: measured(mixture.learned_map_lasting_rms),
            closed_loop_rms: measured(mixture.closed_loop_rms),
            p95_abs: measured(mixture.p95_abs),
            transient_rms: measured(mixture.transient_rms),
            settle_s: measured(learning.settle_s),
            cells_visited: learning.cells_visited as u64,
            cells_confident: learning.cells_confident as u64,
            within_two_sigma: measured(learning.within_two_sigma),
            visited_error_rms: measured(learning.visited_error_rms),
            offline_fit_rms: measured(learning.offline_fit_rms),
            cells_run_away,
            cells_beyond_authority,
            lessons: learning.lessons,
            stalls: u64::from(drive.stalls),
            distance_km: drive.distance_km,
            fuel_kg: drive.fuel_kg,
            dtcs: run.summary.dtcs.join(" "),
        }
    }

    /// Error of the learner in the visited cells divided by that of the offline fit.
    pub fn over_offline_fit(&self) -> Option<f64> {
        Some(self.visited_error()? / self.offline_fit_rms?).filter(|ratio| !ratio.is_nan())
    }

    /// [`Figures::visited_error_rms`] for quantiles over engines; infinite when cells were visited but it was not measured.
    ///
    /// ```
    /// # use trimwright_harness::{drive::drive, scenario::Scenario, schedule::Schedule};
    /// # let trip = "time [s],speed [km/h]\n0,0\n10,0\n20,30\n40,30\n";
    /// # let schedule = Schedule::parse("trip", "trip.csv", trip)?;
    /// # let scenario = Scenario { schedule, passes: 1, ..Scenario::load("delivery-van")? };
    /// # let run = drive(&scenario, &mut |_| ())?;
    /// use trimwright_study::fleet::Figures;
    /// let short_trip = Figures::of(&run);
    /// assert_eq!(short_trip.visited_error(), None, "no cell was visited for long");
    /// let unmeasured = Figures { cells_visited: 40, ..short_trip };
    /// assert_eq!(unmeasured.visited_error(), Some(f64::INFINITY), "it counts in the quantiles");
    /// # Ok::<(), Box<dyn std::error::Error>>(())
    /// ```
    pub fn visited_error(&self) -> Option<f64> {
        self.visited_error_rms.or((self.cells_visited > 0).then_some(f64::INFINITY))
    }
}

/// Counts visited cells that are wrongly saturated at their authority limit, and visited cells whose true correction is outside it.
///
/// A saturated cell is not counted when its true error is within two of its standard deviations, nor when it or a neighbouring cell with
/// lessons needs a correction outside the authority limit: readings between breakpoints move neighbours together.
fn saturated_cells(run: &Run) -> (u64, u64) {
    let common_ln = run.learned.common.flow_ln;
    let LearnerParameters { authority_ln, prior_sigma_ln, .. } = run.calibration.parameters().learner;
    let beyond_authority: Vec<bool> = (run.true_correction_ln.iter())
        .map(|truth| (truth - f64::from(common_ln)).abs() >= f64::from(authority_ln))
        .collect();
    let had_lessons = |cell: usize| run.learned.sigma_ln(cell) < prior_sigma_ln;
    let (mut saturated, mut beyond) = (0, 0);
    let cells = run.learned.ln.flat().iter().zip(run.cells.visited()).enumerate();
    for (cell, (learned, _)) in cells.filter(|(_, (_, visited))| *visited) {
        let explains = |other: usize| beyond_authority[other] && had_lessons(other) && are_near(cell, other);
        let near = (0..beyond_authority.len()).any(explains);
        beyond += u64::from(beyond_authority[cell]);
        let error_ln = (f64::from(*learned) - run.true_correction_ln[cell]).abs();
        let significant = error_ln > 2.0 * f64::from(run.learned.sigma_ln(cell));
        saturated += u64::from((learned - common_ln).abs() >= authority_ln && !near && significant);
    }
    (saturated, beyond)
}

/// Whether two cells are identical or neighbours, also diagonally.
fn are_near(one: usize, other: usize) -> bool {
    let [row, column] = [usize::div_euclid, usize::rem_euclid]
        .map(|part| part(one, RPM_POINTS).abs_diff(part(other, RPM_POINTS)));
    row <= 1 && column <= 1
}

/// Result of one engine.
///
/// ```
/// use trimwright_control::Strategy;
/// use trimwright_harness::scenario::Scenario;
/// use trimwright_study::fleet::{EngineOutcome, FleetEngine, FleetPlan};
/// let mut van = Scenario::load("delivery-van")?;
/// van.nameplate.vehicle.mass_kg = -1.0;
/// let plan = FleetPlan { engines: 1, seed: 1, learners: vec![Strategy::Kalman], jobs: 1 };
/// let outcome = &FleetEngine::drive(&van, &plan, 0)[0].outcome;
/// assert!(matches!(outcome, EngineOutcome::Failed(reason) if reason.contains("vehicle.mass_kg")));
/// # Ok::<(), Box<dyn std::error::Error>>(())
/// ```
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub enum EngineOutcome {
    /// Figures of the drive.
    Driven(Box<Figures>),
    /// Reason why it could not be driven.
    Failed(String),
}

/// One engine of the fleet with one of the learners.
///
/// ```
/// use trimwright_control::Strategy;
/// use trimwright_study::fleet::{EngineOutcome, FleetEngine};
/// let outcome = EngineOutcome::Failed("truth vehicle.mass_kg".to_owned());
/// let engine = FleetEngine { index: 12, learner: Strategy::NormalisedGradient, outcome };
/// let line = serde_json::to_string(&engine)?;
/// assert!(line.contains(r#""index":12,"learner":"gradient""#), "one line of a journal: {line}");
/// assert_eq!(serde_json::from_str::<FleetEngine>(&line)?, engine);
/// # Ok::<(), Box<dyn std::error::Error>>(())
/// ```
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct FleetEngine {
    /// Number in the fleet, from 0.
    pub index: u32,
    /// The learner.
    #[serde(with = "learners")]
    pub learner: Strategy,
    /// Result.
    #[serde(rename = "ended")]
    pub outcome: EngineOutcome,
}

impl FleetEngine {
    /// Samples engine `index`, drives it with each learner and returns the figures.
    ///
    /// ```
    /// use trimwright_control::Strategy;
    /// use trimwright_harness::{scenario::Scenario, schedule::Schedule};
    /// use trimwright_study::fleet::{FleetEngine, FleetPlan};
    /// let trip = "time [s],speed [km/h]\n0,0\n10,0\n20,30\n40,30\n";
    /// let schedule = Schedule::parse("trip", "trip.csv", trip)?;
    /// let scenario = Scenario { schedule, passes: 1, ..Scenario::load("delivery-van")? };
    /// let learners = vec![Strategy::Integral, Strategy::Kalman];
    /// let plan = FleetPlan { engines: 10, seed: 1, learners, jobs: 1 };
    /// let engines = FleetEngine::drive(&scenario, &plan, 7);
    /// assert_eq!(engines.len(), 2, "one engine, two learners");
    /// assert!(engines.iter().all(|engine| engine.index == 7 && engine.failure().is_none()));
    /// # Ok::<(), Box<dyn std::error::Error>>(())
    /// ```
    pub fn drive(scenario: &Scenario, plan: &FleetPlan, index: u32) -> Vec<Self> {
        let sampled = EngineSample::of(plan.seed, index).scenario(scenario);
        let runs = drive_learners(&sampled, &plan.learners, Record::Figures, &mut |_| ());
        let outcome = |place: usize| match &runs {
            Ok(runs) => EngineOutcome::Driven(Box::new(Figures::of(&runs[place]))),
            Err(error) => EngineOutcome::Failed(error.to_string()),
        };
        let engine =
            |(place, learner): (usize, &Strategy)| Self { index, learner: *learner, outcome: outcome(place) };
        plan.learners.iter().enumerate().map(engine).collect()
    }

    /// Figures of an engine that was driven.
    pub fn figures(&self) -> Option<&Figures> {
        match &self.outcome {
            EngineOutcome::Driven(figures) => Some(figures),
            EngineOutcome::Failed(_) => None,
        }
    }

    /// Reason why an engine could not be driven.
    pub fn failure(&self) -> Option<&str> {
        match &self.outcome {
            EngineOutcome::Driven(_) => None,
            EngineOutcome::Failed(reason) => Some(reason),
        }
    }
}

/// The plan of the versioned table with this number of engines: all learners, seed 1.
pub fn table_plan(engines: u32) -> FleetPlan {
    FleetPlan { engines, seed: 1, learners: LEARNERS.map(|(_, learner)| learner).to_vec(), jobs: 0 }
}

/// The first four engines of the versioned table.
pub fn first_engines(scenario: &Scenario) -> Vec<FleetEngine> {
    let plan = table_plan(4);
    (0..plan.engines).into_par_iter().flat_map(|index| FleetEngine::drive(scenario, &plan, index)).collect()
}

/// The engines driven with this learner.
///
/// ```
/// use trimwright_control::Strategy;
/// use trimwright_study::fleet::{EngineOutcome, FleetEngine, with_learner};
/// let engine = |index, learner| FleetEngine { index, learner, outcome: EngineOutcome::Failed("no sensor".to_owned()) };
/// let fleet = [engine(0, Strategy::Integral), engine(0, Strategy::Kalman), engine(1, Strategy::Kalman)];
/// let indices: Vec<u32> = with_learner(&fleet, Strategy::Kalman).iter().map(|engine| engine.index).collect();
/// assert_eq!(indices, [0, 1]);
/// ```
pub fn with_learner(engines: &[FleetEngine], learner: Strategy) -> Vec<&FleetEngine> {
    engines.iter().filter(|engine| engine.learner == learner).collect()
}

/// Drives the engines of the plan that are not in `done`, and returns all in ascending order. `each` is called with every finished
/// engine and all its learners; when it fails or `stop` becomes true, engines in progress are finished and no other is started.
///
/// ```
/// use std::{convert::Infallible, sync::atomic::AtomicBool};
/// use trimwright_control::Strategy;
/// use trimwright_harness::{scenario::Scenario, schedule::Schedule};
/// use trimwright_study::fleet::{FleetPlan, drive};
/// let trip = "time [s],speed [km/h]\n0,0\n10,0\n20,30\n40,30\n";
/// let schedule = Schedule::parse("trip", "trip.csv", trip)?;
/// let scenario = Scenario { schedule, passes: 1, ..Scenario::load("delivery-van")? };
/// let plan = FleetPlan { engines: 3, seed: 1, learners: vec![Strategy::Kalman], jobs: 0 };
/// let (stop, mut reported) = (AtomicBool::new(false), 0);
/// let engines = drive(&scenario, &plan, Vec::new(), &stop, |engine| {
///     reported += engine.len();
///     Ok::<_, Infallible>(())
/// })?;
/// assert_eq!((reported, engines[2].index), (3, 2), "all were reported and are sorted");
/// # Ok::<(), Box<dyn std::error::Error>>(())
/// ```
///
/// # Errors
/// The first error of `each`, or the error of creating threads.
pub fn drive<E: Send>(
    scenario: &Scenario,
    plan: &FleetPlan,
    done: Vec<FleetEngine>,
    stop: &AtomicBool,
    each: impl FnMut(&[FleetEngine]) -> Result<(), E> + Send,
) -> Result<Vec<FleetEngine>, FleetError<E>> {
    let mut is_done = vec![false; plan.engines as usize];
    let mut engines: Vec<FleetEngine> =
        done.into_iter().filter(|engine| engine.index < plan.engines).collect();
    for engine in &engines {
        is_done[engine.index as usize] = true;
    }
    let remaining: Vec<u32> = (0..plan.engines).filter(|index| !is_done[*index as usize]).collect();
    let each = Mutex::new((each, None));
    let one = |index: &u32| {
        if stop.load(Ordering::Relaxed) {
            return Vec::new();
        }
        let driven = FleetEngine::drive(scenario, plan, *index);
        let mut each = each.lock().unwrap_or_else(std::sync::PoisonError::into_inner);
        if let (call, failed @ None) = &mut *each
            && let Err(error) = call(&driven)
        {
            *failed = Some(error);
            stop.store(true, Ordering::Relaxed);
        }
        driven
    };
    let pool = rayon::ThreadPoolBuilder::new().num_threads(plan.jobs).build();
    let pool = pool.map_err(|error| FleetError::Threads(error.to_string()))?;
    let more: Vec<Vec<FleetEngine>> =
        pool.install(|| remaining.par_iter().with_max_len(1).map(one).collect());
    let (_, failed) = each.into_inner().unwrap_or_else(std::sync::PoisonError::into_inner);
    if let Some(error) = failed {
        return Err(FleetError::Each(error));
    }
    engines.extend(more.into_iter().flatten());
    // The sort is stable: it keeps the order of the learners of an engine.
    engines.sort_by_key(|engine| engine.index);
    Ok(engines)
}

/// Error of driving a fleet.
///
/// ```
/// use std::sync::atomic::AtomicBool;
/// use trimwright_control::Strategy;
/// use trimwright_harness::{scenario::Scenario, schedule::Schedule};
/// use trimwright_study::fleet::{FleetError, FleetPlan, drive};
/// let trip = "time [s],speed [km/h]\n0,0\n10,0\n20,30\n";
/// let schedule = Schedule::parse("trip", "trip.csv", trip)?;
/// let scenario = Scenario { schedule, passes: 1, ..Scenario::load("delivery-van")? };
/// let plan = FleetPlan { engines: 3, seed: 1, learners: vec![Strategy::Kalman], jobs: 1 };
/// let stop = AtomicBool::new(false);
/// let outcome = drive(&scenario, &plan, Vec::new(), &stop, |_| Err("the disk is full"));
/// assert!(matches!(outcome, Err(FleetError::Each("the disk is full"))));
/// # Ok::<(), Box<dyn std::error::Error>>(())
/// ```
#[derive(Debug, thiserror::Error)]
pub enum FleetError<E> {
    /// The callback for finished engines failed.
    #[error("{0}")]
    Each(E),
    /// Threads could not be created.
    #[error("threads can't be created: {0}")]
    Threads(String),
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::columns::values;
    use crate::journal::{Journal, JournalHead};
    use crate::parquet;
    use std::convert::Infallible;
    use trimwright_harness::schedule::Schedule;

    /// Long enough to warm up and learn.
    fn short() -> Scenario {
        let text = "time [s],speed [km/h]\n0,0\n20,0\n35,50\n400,50\n410,0\n";
        let schedule = Schedule::parse("trip", "trip.csv", text).expect("a schedule");
        Scenario { schedule, passes: 1, ..Scenario::load("delivery-van").expect("shipped") }
    }

    fn plan(jobs: usize) -> FleetPlan {
        FleetPlan { engines: 4, seed: 11, learners: LEARNERS.map(|(_, learner)| learner).to_vec(), jobs }
    }

    fn bytes(engines: &[FleetEngine]) -> Vec<u8> {
        parquet::to_bytes(&values(engines, 11), &[]).expect("written")
    }

    #[test]
    fn the_result_depends_on_neither_jobs_nor_interruptions() {
        let scenario = short();
        let go = AtomicBool::new(false);
        let uninterrupted = drive(&scenario, &plan(1), Vec::new(), &go, |_| Ok::<_, Infallible>(()));
        let uninterrupted = uninterrupted.expect("driven");
        assert_eq!(uninterrupted.len(), 4 * LEARNERS.len());
        assert!(
            uninterrupted
                .iter()
                .all(|engine| engine.figures().is_some_and(|figures| figures.distance_km > 0.5))
        );
        let kalman = with_learner(&uninterrupted, Strategy::Kalman);
        assert_eq!(kalman.iter().map(|engine| engine.index).collect::<Vec<_>>(), [0, 1, 2, 3]);
        assert_ne!(kalman[0].figures(), kalman[1].figures());
        let figures = |learner| {
            with_learner(&uninterrupted, learner).into_iter().map(FleetEngine::figures).collect::<Vec<_>>()
        };
        assert_ne!(figures(Strategy::Integral), figures(Strategy::Kalman));

        let home = tempfile::tempdir().expect("a place");
        let (path, head) = (home.path().join("fleet.jsonl"), JournalHead::of(&scenario, &plan(2)));
        let mut journal = Journal::create(&path, &head).expect("created");
        let stop = AtomicBool::new(false);
        let partial = drive(&scenario, &plan(2), Vec::new(), &stop, |engine| {
            stop.store(true, Ordering::Relaxed);
            journal.append(engine)
        });
        let partial = partial.expect("stopped");
        assert!([3, 6].contains(&partial.len()), "{} engines with_learner learners", partial.len());

        let (mut journal, done) = Journal::resume(&path, &head).expect("resumed");
        assert_eq!(done, partial);
        let whole = drive(&scenario, &plan(2), done, &go, |engine| journal.append(engine)).expect("driven");
        assert_eq!(whole, uninterrupted);
        assert_eq!(bytes(&whole), bytes(&uninterrupted));
    }

    #[test]
    fn cells_are_near_when_a_reading_affects_both() {
        let row = RPM_POINTS;
        assert!([0, 1, row, row + 1].iter().all(|other| are_near(0, *other)));
        assert!([2, 2 * row, row - 1, row + 2].iter().all(|other| !are_near(0, *other)));
    }

    #[test]
    fn a_failing_engine_is_reported_and_the_others_continue() {
        let mut scenario = short();
        // At the limit of its range, so that about half of the samples exceed it.
        scenario.nameplate.oxygen_sensor.tau_s = 2.0;
        let engines =
            drive(&scenario, &plan(2), Vec::new(), &AtomicBool::new(false), |_| Ok::<_, Infallible>(()));
        let engines = engines.expect("driven");
        let failed: Vec<&str> = engines.iter().filter_map(FleetEngine::failure).collect();
        assert!([3, 6, 9].contains(&failed.len()), "an engine fails with_learner every learner: {failed:?}");
        assert!(failed.iter().all(|reason| reason.contains("oxygen_sensor.tau_s")), "{failed:?}");
        assert_eq!(engines.len(), 4 * LEARNERS.len());
    }

    #[test]
    fn an_error_of_the_callback_ends_the_fleet() {
        let result =
            drive(&short(), &plan(1), Vec::new(), &AtomicBool::new(false), |_| Err("the disk is full"));
        assert!(matches!(result, Err(FleetError::Each("the disk is full"))));
    }
}
