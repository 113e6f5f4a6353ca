//! Many engines, drawn by lot, each driven as the scenario says.

use std::sync::Mutex;
use std::sync::atomic::{AtomicBool, Ordering};

use rayon::prelude::*;
use serde::{Deserialize, Serialize};
use trimwright_control::parameters::LearnerParameters;
use trimwright_control::{RPM_POINTS, Strategy};
use trimwright_harness::drive::{Record, Run, drive_learners};
use trimwright_harness::scenario::Scenario;

use crate::draw::Draw;
use crate::learners::{self, LEARNERS};

/// Which engines are driven, and with what.
///
/// ```
/// use trimwright_control::Strategy;
/// use trimwright_harness::scenario::Scenario;
/// use trimwright_study::fleet::Order;
/// use trimwright_study::journal::Head;
/// let van = Scenario::load("delivery-van")?;
/// let night = Order { engines: 200, seed: 1, learners: vec![Strategy::Kalman], jobs: 0 };
/// let longer = Order { engines: 500, jobs: 1, ..night.clone() };
/// assert_eq!(Head::of(&van, &night), Head::of(&van, &longer), "a fleet may grow");
/// # Ok::<(), Box<dyn std::error::Error>>(())
/// ```
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Order {
    /// How many engines, numbered from 0.
    pub engines: u32,
    /// Seed of the lots.
    pub seed: u64,
    /// How lessons are taken: each engine is driven with one learner after the other.
    pub learners: Vec<Strategy>,
    /// How many run at once; 0 for as many as the machine has cores.
    pub jobs: usize,
}

/// What came of one engine; the meaning of each figure is that of the same name in the summary of a run. `None`: could not be
/// measured.
///
/// ```
/// use trimwright_control::Strategy;
/// use trimwright_harness::{scenario::Scenario, schedule::Schedule};
/// use trimwright_study::fleet::{FleetEngine, Order};
/// let trip = "time [s],speed [km/h]\n0,0\n10,0\n20,30\n50,30\n";
/// let schedule = Schedule::parse("trip", "trip.csv", trip)?;
/// let scenario = Scenario { schedule, passes: 1, ..Scenario::load("delivery-van")? };
/// let order = Order { engines: 1, seed: 1, learners: vec![Strategy::Kalman], jobs: 1 };
/// let engines = FleetEngine::drive(&scenario, &order, 0);
/// let figures = engines[0].figures().ok_or("not driven")?;
/// assert!(figures.fuel_kg > 0.02 && figures.stalls == 0);
/// assert_eq!(figures.settle_s, None, "not within 2 % in less than a minute");
/// # Ok::<(), Box<dyn std::error::Error>>(())
/// ```
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct Figures {
    /// rms mixture error of the first calibration, steady.
    pub base_map_rms: Option<f64>,
    /// rms mixture error of the learned map alone, steady.
    pub learned_map_rms: Option<f64>,
    /// rms mixture error of everything in the last pass.
    pub closed_loop_rms: Option<f64>,
    /// 95th percentile of the same.
    pub p95_abs: Option<f64>,
    /// rms mixture error of what was not steady.
    pub transient_rms: Option<f64>,
    /// Time until the map alone stayed within 2 %; `None` when it did not within the drive.
    pub settle_s: Option<f64>,
    /// Cells visited.
    pub cells_visited: u64,
    /// Cells that the learner is sure of.
    pub cells_confident: u64,
    /// Share of the visited cells whose error is below two of the learner's standard deviations.
    pub within_two_sigma: Option<f64>,
    /// rms error left in the visited cells; `None` also when one of them has no right correction at all, because its corner of the map lies
    /// where this engine cannot run.
    pub visited_error_rms: Option<f64>,
    /// The same for the fit made afterwards.
    pub offline_fit_rms: Option<f64>,
    /// Visited cells at the end of their authority although the right correction is inside it, there and in the cells next to them, by more
    /// than two of the learner's standard deviations.
    pub cells_run_away: u64,
    /// Visited cells whose right correction is beyond the authority.
    pub cells_beyond_authority: u64,
    /// Lessons taken.
    pub lessons: u64,
    /// Times the engine died.
    pub stalls: u64,
    /// Distance driven while learning.
    pub distance_km: f64,
    /// Fuel injected while learning.
    pub fuel_kg: f64,
    /// Trouble codes, parted by blanks.
    pub dtcs: String,
}

impl Figures {
    /// The figures of a run.
    ///
    /// ```
    /// use trimwright_control::Options;
    /// use trimwright_harness::drive::{Record, drive_with};
    /// use trimwright_harness::{scenario::Scenario, schedule::Schedule};
    /// use trimwright_study::fleet::Figures;
    /// let trip = "time [s],speed [km/h]\n0,0\n10,0\n20,30\n50,30\n";
    /// let schedule = Schedule::parse("trip", "trip.csv", trip)?;
    /// let scenario = Scenario { schedule, passes: 1, ..Scenario::load("delivery-van")? };
    /// let run = drive_with(&scenario, Options::default(), Record::Figures, &mut |_| ())?;
    /// let figures = Figures::of(&run);
    /// assert_eq!(figures.distance_km, run.summary.drive.distance_km);
    /// assert!(run.summary.learning.settle_s.is_nan() && figures.settle_s.is_none());
    /// # Ok::<(), Box<dyn std::error::Error>>(())
    /// ```
    pub fn of(run: &Run) -> Self {
        let (mixture, learning, drive) = (&run.summary.mixture, &run.summary.learning, &run.summary.drive);
        let measured = |value: f64| value.is_finite().then_some(value);
        let (cells_run_away, cells_beyond_authority) = at_the_end(run);
        Self {
            base_map_rms: measured(mixture.base_map_rms),
            learned_map_rms: measured(mixture.learned_map_rms),
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

    /// What the learner left in the visited cells over what the fit made afterwards left.
    ///
    /// ```
    /// # use trimwright_control::Options;
    /// # use trimwright_harness::drive::{Record, drive_with};
    /// # use trimwright_harness::{scenario::Scenario, schedule::Schedule};
    /// use trimwright_study::fleet::Figures;
    /// # let trip = "time [s],speed [km/h]\n0,0\n10,0\n20,30\n";
    /// # let schedule = Schedule::parse("trip", "trip.csv", trip)?;
    /// # let scenario = Scenario { schedule, passes: 1, ..Scenario::load("delivery-van")? };
    /// # let run = drive_with(&scenario, Options::default(), Record::Figures, &mut |_| ())?;
    /// let short_trip = Figures::of(&run);
    /// assert_eq!(short_trip.over_offline_fit(), None, "no cell was visited for long");
    /// let long = Figures { visited_error_rms: Some(0.012), offline_fit_rms: Some(0.008), ..short_trip };
    /// assert!(long.over_offline_fit().is_some_and(|ratio| (ratio - 1.5).abs() < 1e-12));
    /// # Ok::<(), Box<dyn std::error::Error>>(())
    /// ```
    pub fn over_offline_fit(&self) -> Option<f64> {
        Some(self.left_in_visited()? / self.offline_fit_rms?).filter(|ratio| !ratio.is_nan())
    }

    /// rms error left in the visited cells for comparing engines: more than any where it could not be measured although cells were visited.
    ///
    /// ```
    /// # use trimwright_harness::{drive::drive, scenario::Scenario, schedule::Schedule};
    /// # let trip = "time [s],speed [km/h]\n0,0\n10,0\n20,30\n40,30\n";
    /// # let schedule = Schedule::parse("trip", "trip.csv", trip)?;
    /// # let scenario = Scenario { schedule, passes: 1, ..Scenario::load("delivery-van")? };
    /// # let run = drive(&scenario, &mut |_| ())?;
    /// use trimwright_study::fleet::Figures;
    /// let short_trip = Figures::of(&run);
    /// assert_eq!(short_trip.left_in_visited(), None, "no cell was visited for long");
    /// let odd = Figures { cells_visited: 40, ..short_trip };
    /// assert_eq!(odd.left_in_visited(), Some(f64::INFINITY), "it does not slip out of the quantiles");
    /// # Ok::<(), Box<dyn std::error::Error>>(())
    /// ```
    pub fn left_in_visited(&self) -> Option<f64> {
        self.visited_error_rms.or((self.cells_visited > 0).then_some(f64::INFINITY))
    }
}

/// Visited cells at the end of their authority that should not be, and those that would have to go beyond it. A reading between
/// breakpoints speaks of the cells about it together: where one that had lessons would have to go beyond its authority, its neighbours
/// bear what it may not, and may end there too. Nor has a cell run away that is as near to what is right as it claims to be: within two of its
/// standard deviations.
fn at_the_end(run: &Run) -> (u64, u64) {
    let common_ln = run.learned.common.flow_ln;
    let LearnerParameters { authority_ln, prior_sigma_ln, .. } = run.calibration.parameters().learner;
    let needed: Vec<bool> = (run.true_correction_ln.iter())
        .map(|right| (right - f64::from(common_ln)).abs() >= f64::from(authority_ln))
        .collect();
    let had_lessons = |cell: usize| run.learned.sigma_ln(cell) < prior_sigma_ln;
    let (mut run_away, mut beyond) = (0, 0);
    let cells = run.learned.ln.flat().iter().zip(run.cells.visited()).enumerate();
    for (cell, (learned, _)) in cells.filter(|(_, (_, visited))| *visited) {
        let bears = |other: usize| needed[other] && had_lessons(other) && are_near(cell, other);
        let near = (0..needed.len()).any(bears);
        beyond += u64::from(needed[cell]);
        let off_ln = (f64::from(*learned) - run.true_correction_ln[cell]).abs();
        let sure = off_ln > 2.0 * f64::from(run.learned.sigma_ln(cell));
        run_away += u64::from((learned - common_ln).abs() >= authority_ln && !near && sure);
    }
    (run_away, beyond)
}

/// Whether two cells are the same or corners of the same field.
fn are_near(one: usize, other: usize) -> bool {
    let [row, column] = [usize::div_euclid, usize::rem_euclid]
        .map(|part| part(one, RPM_POINTS).abs_diff(part(other, RPM_POINTS)));
    row <= 1 && column <= 1
}

/// How an engine ended.
///
/// ```
/// use trimwright_control::Strategy;
/// use trimwright_harness::scenario::Scenario;
/// use trimwright_study::fleet::{Ended, FleetEngine, Order};
/// let mut van = Scenario::load("delivery-van")?;
/// van.nameplate.vehicle.mass_kg = -1.0;
/// let order = Order { engines: 1, seed: 1, learners: vec![Strategy::Kalman], jobs: 1 };
/// let ended = &FleetEngine::drive(&van, &order, 0)[0].ended;
/// assert!(matches!(ended, Ended::Failed(reason) if reason.contains("vehicle.mass_kg")));
/// # Ok::<(), Box<dyn std::error::Error>>(())
/// ```
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub enum Ended {
    /// It was driven.
    Driven(Box<Figures>),
    /// It could not be driven, and why.
    Failed(String),
}

/// One engine of the fleet with one of the learners.
///
/// ```
/// use trimwright_control::Strategy;
/// use trimwright_study::fleet::{Ended, FleetEngine};
/// let ended = Ended::Failed("truth vehicle.mass_kg".to_owned());
/// let engine = FleetEngine { index: 12, learner: Strategy::NormalisedGradient, ended };
/// let line = serde_json::to_string(&engine)?;
/// assert!(line.contains(r#""index":12,"learner":"gradient""#), "as a journal holds it: {line}");
/// assert_eq!(serde_json::from_str::<FleetEngine>(&line)?, engine);
/// # Ok::<(), Box<dyn std::error::Error>>(())
/// ```
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct FleetEngine {
    /// Its number in the fleet.
    pub index: u32,
    /// The learner.
    #[serde(with = "learners")]
    pub learner: Strategy,
    /// What came of it.
    pub ended: Ended,
}

impl FleetEngine {
    /// Draws engine `index`, drives it with each of the learners and takes the figures.
    ///
    /// ```
    /// use trimwright_control::Strategy;
    /// use trimwright_harness::{scenario::Scenario, schedule::Schedule};
    /// use trimwright_study::fleet::{FleetEngine, Order};
    /// let trip = "time [s],speed [km/h]\n0,0\n10,0\n20,30\n40,30\n";
    /// let schedule = Schedule::parse("trip", "trip.csv", trip)?;
    /// let scenario = Scenario { schedule, passes: 1, ..Scenario::load("delivery-van")? };
    /// let learners = vec![Strategy::Integral, Strategy::Kalman];
    /// let order = Order { engines: 10, seed: 1, learners, jobs: 1 };
    /// let engines = FleetEngine::drive(&scenario, &order, 7);
    /// assert_eq!(engines.len(), 2, "one engine, two learners");
    /// assert!(engines.iter().all(|engine| engine.index == 7 && engine.failure().is_none()));
    /// # Ok::<(), Box<dyn std::error::Error>>(())
    /// ```
    pub fn drive(scenario: &Scenario, order: &Order, index: u32) -> Vec<Self> {
        let drawn = Draw::of(order.seed, index).scenario(scenario);
        let runs = drive_learners(&drawn, &order.learners, Record::Figures, &mut |_| ());
        let ended = |place: usize| match &runs {
            Ok(runs) => Ended::Driven(Box::new(Figures::of(&runs[place]))),
            Err(error) => Ended::Failed(error.to_string()),
        };
        let engine =
            |(place, learner): (usize, &Strategy)| Self { index, learner: *learner, ended: ended(place) };
        order.learners.iter().enumerate().map(engine).collect()
    }

    /// Its figures, when it was driven.
    ///
    /// ```
    /// use trimwright_control::Strategy;
    /// use trimwright_study::fleet::{Ended, FleetEngine};
    /// let ended = Ended::Failed("truth vehicle.mass_kg".to_owned());
    /// let engine = FleetEngine { index: 0, learner: Strategy::Kalman, ended };
    /// assert_eq!(engine.figures(), None, "an engine that did not run has none");
    /// ```
    pub fn figures(&self) -> Option<&Figures> {
        match &self.ended {
            Ended::Driven(figures) => Some(figures),
            Ended::Failed(_) => None,
        }
    }

    /// Why it could not be driven, when it could not.
    ///
    /// ```
    /// use trimwright_control::Strategy;
    /// use trimwright_study::fleet::{Ended, FleetEngine};
    /// let ended = Ended::Failed("truth vehicle.mass_kg".to_owned());
    /// let engine = FleetEngine { index: 0, learner: Strategy::Kalman, ended };
    /// assert_eq!(engine.failure(), Some("truth vehicle.mass_kg"));
    /// ```
    pub fn failure(&self) -> Option<&str> {
        match &self.ended {
            Ended::Driven(_) => None,
            Ended::Failed(reason) => Some(reason),
        }
    }
}

/// The order of the kept table, with so many engines: every learner, seed 1.
pub fn all_learners(engines: u32) -> Order {
    Order { engines, seed: 1, learners: LEARNERS.map(|(_, learner)| learner).to_vec(), jobs: 0 }
}

/// The first four engines of the kept table.
pub fn few(scenario: &Scenario) -> Vec<FleetEngine> {
    let order = all_learners(4);
    (0..order.engines).into_par_iter().flat_map(|index| FleetEngine::drive(scenario, &order, index)).collect()
}

/// The engines with this learner.
///
/// ```
/// use trimwright_control::Strategy;
/// use trimwright_study::fleet::{Ended, FleetEngine, with};
/// let engine = |index, learner| FleetEngine { index, learner, ended: Ended::Failed("no sensor".to_owned()) };
/// let fleet = [engine(0, Strategy::Integral), engine(0, Strategy::Kalman), engine(1, Strategy::Kalman)];
/// let indices: Vec<u32> = with(&fleet, Strategy::Kalman).iter().map(|engine| engine.index).collect();
/// assert_eq!(indices, [0, 1]);
/// ```
pub fn with(engines: &[FleetEngine], learner: Strategy) -> Vec<&FleetEngine> {
    engines.iter().filter(|engine| engine.learner == learner).collect()
}

/// Drives the engines of the order that are not among `done`, and gives all of them in the order of their numbers. Every finished
/// engine is handed to `each`, with all learners; when that gives an error, or `stop` becomes true, those under way are finished and
/// no other begun.
///
/// ```
/// use std::{convert::Infallible, sync::atomic::AtomicBool};
/// use trimwright_control::Strategy;
/// use trimwright_harness::{scenario::Scenario, schedule::Schedule};
/// use trimwright_study::fleet::{Order, drive};
/// let trip = "time [s],speed [km/h]\n0,0\n10,0\n20,30\n40,30\n";
/// let schedule = Schedule::parse("trip", "trip.csv", trip)?;
/// let scenario = Scenario { schedule, passes: 1, ..Scenario::load("delivery-van")? };
/// let order = Order { engines: 3, seed: 1, learners: vec![Strategy::Kalman], jobs: 0 };
/// let (stop, mut heard) = (AtomicBool::new(false), 0);
/// let engines = drive(&scenario, &order, Vec::new(), &stop, |engine| {
///     heard += engine.len();
///     Ok::<_, Infallible>(())
/// })?;
/// assert_eq!((heard, engines[2].index), (3, 2), "all were told of, and stand in their order");
/// # Ok::<(), Box<dyn std::error::Error>>(())
/// ```
///
/// # Errors
/// The first error of `each`, or the reason why no threads could be had.
pub fn drive<E: Send>(
    scenario: &Scenario,
    order: &Order,
    done: Vec<FleetEngine>,
    stop: &AtomicBool,
    each: impl FnMut(&[FleetEngine]) -> Result<(), E> + Send,
) -> Result<Vec<FleetEngine>, FleetError<E>> {
    let mut had = vec![false; order.engines as usize];
    let mut engines: Vec<FleetEngine> =
        done.into_iter().filter(|engine| engine.index < order.engines).collect();
    for engine in &engines {
        had[engine.index as usize] = true;
    }
    let left: Vec<u32> = (0..order.engines).filter(|index| !had[*index as usize]).collect();
    let each = Mutex::new((each, None));
    let one = |index: &u32| {
        if stop.load(Ordering::Relaxed) {
            return Vec::new();
        }
        let driven = FleetEngine::drive(scenario, order, *index);
        let mut each = each.lock().unwrap_or_else(std::sync::PoisonError::into_inner);
        if let (call, failed @ None) = &mut *each
            && let Err(error) = call(&driven)
        {
            *failed = Some(error);
            stop.store(true, Ordering::Relaxed);
        }
        driven
    };
    let pool = rayon::ThreadPoolBuilder::new().num_threads(order.jobs).build();
    let pool = pool.map_err(|error| FleetError::Threads(error.to_string()))?;
    let more: Vec<Vec<FleetEngine>> = pool.install(|| left.par_iter().with_max_len(1).map(one).collect());
    let (_, failed) = each.into_inner().unwrap_or_else(std::sync::PoisonError::into_inner);
    if let Some(error) = failed {
        return Err(FleetError::Each(error));
    }
    engines.extend(more.into_iter().flatten());
    // The sort keeps the learners of an engine in their order.
    engines.sort_by_key(|engine| engine.index);
    Ok(engines)
}

/// Why a fleet came to no result.
///
/// ```
/// use std::sync::atomic::AtomicBool;
/// use trimwright_control::Strategy;
/// use trimwright_harness::{scenario::Scenario, schedule::Schedule};
/// use trimwright_study::fleet::{FleetError, Order, drive};
/// let trip = "time [s],speed [km/h]\n0,0\n10,0\n20,30\n";
/// let schedule = Schedule::parse("trip", "trip.csv", trip)?;
/// let scenario = Scenario { schedule, passes: 1, ..Scenario::load("delivery-van")? };
/// let order = Order { engines: 3, seed: 1, learners: vec![Strategy::Kalman], jobs: 1 };
/// let stop = AtomicBool::new(false);
/// let ended = drive(&scenario, &order, Vec::new(), &stop, |_| Err("the disk is full"));
/// assert!(matches!(ended, Err(FleetError::Each("the disk is full"))));
/// # Ok::<(), Box<dyn std::error::Error>>(())
/// ```
#[derive(Debug, thiserror::Error)]
pub enum FleetError<E> {
    /// What was to be done with each engine failed.
    #[error("{0}")]
    Each(E),
    /// The machine gave no threads.
    #[error("no threads to work with: {0}")]
    Threads(String),
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::columns::values;
    use crate::journal::{Head, Journal};
    use crate::parquet;
    use std::convert::Infallible;
    use trimwright_harness::schedule::Schedule;

    /// Long enough for the engine to get warm and learn something.
    fn short() -> Scenario {
        let text = "time [s],speed [km/h]\n0,0\n20,0\n35,50\n400,50\n410,0\n";
        let schedule = Schedule::parse("trip", "trip.csv", text).expect("a schedule");
        Scenario { schedule, passes: 1, ..Scenario::load("delivery-van").expect("shipped") }
    }

    fn order(jobs: usize) -> Order {
        Order { engines: 4, seed: 11, learners: LEARNERS.map(|(_, learner)| learner).to_vec(), jobs }
    }

    fn bytes(engines: &[FleetEngine]) -> Vec<u8> {
        parquet::to_bytes(&values(engines, 11), &[]).expect("written")
    }

    #[test]
    fn the_result_depends_on_neither_jobs_nor_interruptions() {
        let scenario = short();
        let go = AtomicBool::new(false);
        let straight = drive(&scenario, &order(1), Vec::new(), &go, |_| Ok::<_, Infallible>(()));
        let straight = straight.expect("driven");
        assert_eq!(straight.len(), 4 * LEARNERS.len());
        assert!(
            straight.iter().all(|engine| engine.figures().is_some_and(|figures| figures.distance_km > 0.5))
        );
        let kalman = with(&straight, Strategy::Kalman);
        assert_eq!(kalman.iter().map(|engine| engine.index).collect::<Vec<_>>(), [0, 1, 2, 3]);
        assert_ne!(kalman[0].figures(), kalman[1].figures());
        let figures =
            |learner| with(&straight, learner).into_iter().map(FleetEngine::figures).collect::<Vec<_>>();
        assert_ne!(figures(Strategy::Integral), figures(Strategy::Kalman));

        let home = tempfile::tempdir().expect("a place");
        let (path, head) = (home.path().join("fleet.jsonl"), Head::of(&scenario, &order(2)));
        let mut journal = Journal::begin(&path, &head).expect("begun");
        let stop = AtomicBool::new(false);
        let partial = drive(&scenario, &order(2), Vec::new(), &stop, |engine| {
            stop.store(true, Ordering::Relaxed);
            journal.add(engine)
        });
        let partial = partial.expect("stopped in good order");
        assert!([3, 6].contains(&partial.len()), "{} engines with learners", partial.len());

        let (mut journal, done) = Journal::resume(&path, &head).expect("goes on");
        assert_eq!(done, partial);
        let whole = drive(&scenario, &order(2), done, &go, |engine| journal.add(engine)).expect("driven");
        assert_eq!(whole, straight);
        assert_eq!(bytes(&whole), bytes(&straight));
    }

    #[test]
    fn cells_are_near_when_a_reading_can_speak_of_both() {
        let row = RPM_POINTS;
        assert!([0, 1, row, row + 1].iter().all(|other| are_near(0, *other)));
        assert!([2, 2 * row, row - 1, row + 2].iter().all(|other| !are_near(0, *other)));
    }

    #[test]
    fn an_engine_that_fails_is_told_of_and_the_others_go_on() {
        let mut scenario = short();
        // At the edge of its range, so that about half of the lots go beyond it.
        scenario.nameplate.oxygen_sensor.tau_s = 2.0;
        let engines =
            drive(&scenario, &order(2), Vec::new(), &AtomicBool::new(false), |_| Ok::<_, Infallible>(()));
        let engines = engines.expect("driven");
        let failed: Vec<&str> = engines.iter().filter_map(FleetEngine::failure).collect();
        assert!([3, 6, 9].contains(&failed.len()), "an engine fails with every learner: {failed:?}");
        assert!(failed.iter().all(|reason| reason.contains("oxygen_sensor.tau_s")), "{failed:?}");
        assert_eq!(engines.len(), 4 * LEARNERS.len());
    }

    #[test]
    fn when_an_engine_cannot_be_noted_the_fleet_ends() {
        let told =
            drive(&short(), &order(1), Vec::new(), &AtomicBool::new(false), |_| Err("the disk is full"));
        assert!(matches!(told, Err(FleetError::Each("the disk is full"))));
    }
}
