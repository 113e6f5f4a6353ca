//! Record of the finished engines of a fleet, with which an interrupted fleet can be resumed.
//!
//! A text file of JSON lines: the first identifies the fleet, each further one holds a finished engine with all its learners. A line
//! truncated by a crash is ignored.

use std::fs::{File, OpenOptions};
use std::io::{self, BufRead, BufReader, Write};
use std::path::Path;

use serde::{Deserialize, Serialize};
use trimwright_harness::scenario::Scenario;

use crate::fleet::{FleetEngine, FleetPlan};
use crate::learners;

/// Version of the layout.
const SCHEMA: u32 = 3;

/// Identification of a fleet. The number of engines and of parallel jobs are not part of it.
///
/// ```
/// use trimwright_control::Strategy;
/// use trimwright_harness::scenario::Scenario;
/// use trimwright_study::{fleet::FleetPlan, journal::JournalHead};
/// let plan = FleetPlan { engines: 100, seed: 1, learners: vec![Strategy::Kalman], jobs: 0 };
/// let line = serde_json::to_string(&JournalHead::of(&Scenario::load("delivery-van")?, &plan))?;
/// assert!(line.contains(r#""scenario":"delivery-van""#) && line.contains(r#""learners":["kalman"]"#));
/// # Ok::<(), Box<dyn std::error::Error>>(())
/// ```
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct JournalHead {
    schema: u32,
    program: String,
    scenario: String,
    scenario_hash: String,
    seed: u64,
    learners: Vec<String>,
}

impl JournalHead {
    /// The head of a fleet. Results of different program versions are not mixed.
    pub fn of(scenario: &Scenario, plan: &FleetPlan) -> Self {
        Self {
            schema: SCHEMA,
            program: env!("CARGO_PKG_VERSION").to_owned(),
            scenario: scenario.name.clone(),
            scenario_hash: scenario.hash(),
            seed: plan.seed,
            learners: plan.learners.iter().map(|learner| learners::name(*learner).to_owned()).collect(),
        }
    }
}

/// Error of a journal.
///
/// ```
/// use trimwright_control::Strategy;
/// use trimwright_harness::scenario::Scenario;
/// use trimwright_study::{fleet::FleetPlan, journal::{JournalHead, Journal, JournalError}};
/// let van = Scenario::load("delivery-van")?;
/// let plan = FleetPlan { engines: 100, seed: 1, learners: vec![Strategy::Kalman], jobs: 0 };
/// let home = tempfile::tempdir()?;
/// let path = home.path().join("fleet.jsonl");
/// Journal::create(&path, &JournalHead::of(&van, &plan))?;
/// let other = JournalHead::of(&van, &FleetPlan { seed: 2, ..plan });
/// let error = Journal::resume(&path, &other).map(|_| ()).expect_err("another fleet");
/// assert_eq!(error.to_string(), "it was started with another seed");
/// # Ok::<(), Box<dyn std::error::Error>>(())
/// ```
#[derive(Debug, thiserror::Error)]
pub enum JournalError {
    /// The file can't be read or written.
    #[error("{0}")]
    Io(#[from] io::Error),
    /// The file exists already.
    #[error("a fleet exists already")]
    Exists,
    /// The file belongs to another fleet.
    #[error("it was started with another {0}")]
    OtherFleet(&'static str),
    /// The file is not a journal.
    #[error("it is not a record of a fleet: {0}")]
    Unreadable(String),
}

/// A journal that is open for appending.
///
/// ```
/// use trimwright_control::Strategy;
/// use trimwright_harness::scenario::Scenario;
/// use trimwright_study::fleet::{EngineOutcome, FleetEngine, FleetPlan};
/// use trimwright_study::journal::{JournalHead, Journal};
/// let plan = FleetPlan { engines: 2, seed: 1, learners: vec![Strategy::Kalman], jobs: 1 };
/// let head = JournalHead::of(&Scenario::load("delivery-van")?, &plan);
/// let home = tempfile::tempdir()?;
/// let path = home.path().join("fleet.jsonl");
/// let outcome = EngineOutcome::Failed("truth vehicle.mass_kg".to_owned());
/// let engine = FleetEngine { index: 0, learner: Strategy::Kalman, outcome };
/// Journal::create(&path, &head)?.append(&[engine.clone()])?;
/// // The program is interrupted here.
/// let (_, done) = Journal::resume(&path, &head)?;
/// assert_eq!(done, [engine]);
/// # Ok::<(), Box<dyn std::error::Error>>(())
/// ```
#[derive(Debug)]
pub struct Journal {
    file: File,
}

impl Journal {
    /// Creates a new journal.
    ///
    /// # Errors
    /// When the file exists or can't be written.
    pub fn create(path: &Path, head: &JournalHead) -> Result<Self, JournalError> {
        match File::create_new(path) {
            Ok(file) => Self::with_head(file, head),
            Err(error) if error.kind() == io::ErrorKind::AlreadyExists => Err(JournalError::Exists),
            Err(error) => Err(error.into()),
        }
    }

    /// Creates a new journal and overwrites an existing file.
    ///
    /// # Errors
    /// When the file can't be written.
    pub fn overwrite(path: &Path, head: &JournalHead) -> Result<Self, JournalError> {
        Self::with_head(File::create(path)?, head)
    }

    fn with_head(file: File, head: &JournalHead) -> Result<Self, JournalError> {
        let mut journal = Self { file };
        journal.write_line(head)?;
        Ok(journal)
    }

    /// Opens an existing journal and returns its engines.
    ///
    /// ```
    /// # use trimwright_control::Strategy;
    /// # use trimwright_harness::scenario::Scenario;
    /// # use trimwright_study::fleet::{EngineOutcome, FleetEngine, FleetPlan};
    /// # use trimwright_study::journal::{JournalHead, Journal};
    /// # let plan = FleetPlan { engines: 2, seed: 1, learners: vec![Strategy::Kalman], jobs: 1 };
    /// # let head = JournalHead::of(&Scenario::load("delivery-van")?, &plan);
    /// # let home = tempfile::tempdir()?;
    /// # let path = home.path().join("fleet.jsonl");
    /// # let failed = |index| FleetEngine { index, learner: Strategy::Kalman, outcome: EngineOutcome::Failed(String::new()) };
    /// let mut journal = Journal::create(&path, &head)?;
    /// journal.append(&[failed(0)])?;
    /// journal.append(&[failed(1)])?;
    /// let text = std::fs::read_to_string(&path)?;
    /// std::fs::write(&path, &text[..text.len() - 9])?;
    /// let (_, done) = Journal::resume(&path, &head)?;
    /// assert_eq!(done, [failed(0)], "a truncated line is driven again");
    /// # Ok::<(), Box<dyn std::error::Error>>(())
    /// ```
    ///
    /// # Errors
    /// When the file is missing, can't be read or belongs to another fleet.
    pub fn resume(path: &Path, head: &JournalHead) -> Result<(Self, Vec<FleetEngine>), JournalError> {
        let mut lines = BufReader::new(File::open(path)?).split(b'\n');
        let first = lines.next().transpose()?.unwrap_or_default();
        let found: JournalHead =
            serde_json::from_slice(&first).map_err(|error| JournalError::Unreadable(error.to_string()))?;
        for (same, what) in [
            (found.schema == head.schema && found.program == head.program, "version of the program"),
            (found.scenario_hash == head.scenario_hash, "scenario"),
            (found.seed == head.seed, "seed"),
            (found.learners == head.learners, "learner"),
        ] {
            if !same {
                return Err(JournalError::OtherFleet(what));
            }
        }
        let mut engines: Vec<Vec<FleetEngine>> = Vec::new();
        for line in lines {
            engines.extend(serde_json::from_slice::<Vec<FleetEngine>>(&line?));
        }
        let number = |engine: &Vec<FleetEngine>| engine.first().map(|with_one| with_one.index);
        engines.sort_by_key(number);
        engines.dedup_by_key(|engine| number(engine));
        let mut file = OpenOptions::new().append(true).open(path)?;
        // Ends a line that may be truncated; an empty line is ignored.
        file.write_all(b"\n")?;
        Ok((Self { file }, engines.into_iter().flatten().collect()))
    }

    /// Appends a finished engine with all its learners.
    ///
    /// # Errors
    /// When the file can't be written.
    pub fn append(&mut self, engine: &[FleetEngine]) -> Result<(), JournalError> {
        self.write_line(&engine)
    }

    fn write_line(&mut self, value: &impl Serialize) -> Result<(), JournalError> {
        let mut line = serde_json::to_vec(value).map_err(io::Error::from)?;
        line.push(b'\n');
        // One call, so that a crash truncates at most this line.
        Ok(self.file.write_all(&line)?)
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::fleet::EngineOutcome;
    use trimwright_control::Strategy;

    fn head(seed: u64) -> JournalHead {
        let scenario = Scenario::load("delivery-van").expect("shipped");
        JournalHead::of(&scenario, &FleetPlan { engines: 9, seed, learners: vec![Strategy::Kalman], jobs: 1 })
    }

    fn engine(index: u32) -> FleetEngine {
        FleetEngine {
            index,
            learner: Strategy::Kalman,
            outcome: EngineOutcome::Failed(format!("reason {index}")),
        }
    }

    #[test]
    fn a_truncated_journal_keeps_every_whole_line() {
        let home = tempfile::tempdir().expect("a place");
        let path = home.path().join("fleet.jsonl");
        let mut journal = Journal::create(&path, &head(1)).expect("created");
        [2, 0, 1].iter().for_each(|index| journal.append(&[engine(*index)]).expect("added"));
        let whole = std::fs::read(&path).expect("bytes");
        let head_end = whole.iter().position(|byte| *byte == b'\n').expect("a line") + 1;
        for cut in head_end..=whole.len() {
            std::fs::write(&path, &whole[..cut]).expect("cut");
            let (mut journal, found) = Journal::resume(&path, &head(1)).expect("resumed");
            let kept = whole[head_end..cut].iter().filter(|byte| **byte == b'\n').count();
            // The last line may lack only its line end.
            assert!(found.len() == kept || found.len() == kept + 1, "{cut}");
            journal.append(&[engine(7)]).expect("added");
            let (_, again) = Journal::resume(&path, &head(1)).expect("resumed");
            assert_eq!(again.last(), Some(&engine(7)));
            assert_eq!(again.len(), found.len() + 1);
        }
    }

    #[test]
    fn another_fleet_is_rejected() {
        let home = tempfile::tempdir().expect("a place");
        let path = home.path().join("fleet.jsonl");
        Journal::create(&path, &head(1)).expect("created");
        assert!(matches!(Journal::resume(&path, &head(2)), Err(JournalError::OtherFleet("seed"))));
        std::fs::write(&path, "something else").expect("written");
        assert!(matches!(Journal::resume(&path, &head(1)), Err(JournalError::Unreadable(_))));
        assert!(matches!(Journal::resume(&home.path().join("none"), &head(1)), Err(JournalError::Io(_))));
    }
}
