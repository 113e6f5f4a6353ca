//! What a fleet has done so far, engine by engine, so that it can be interrupted at any time and go on later.
//!
//! A text file of JSON lines: the first says which fleet it is, each further one holds a finished engine
//! with all its learners. A line that was cut off by a crash is left out.

use std::fs::{File, OpenOptions};
use std::io::{self, BufRead, BufReader, Write};
use std::path::Path;

use serde::{Deserialize, Serialize};
use trimwright_harness::scenario::Scenario;

use crate::fleet::{FleetEngine, Order};
use crate::learners;

/// Version of the layout.
const SCHEMA: u32 = 3;

/// Which fleet it is. How many engines it shall have in the end and how many run at once is not part of that.
///
/// ```
/// use trimwright_control::Strategy;
/// use trimwright_harness::scenario::Scenario;
/// use trimwright_study::{fleet::Order, journal::Head};
/// let order = Order { engines: 100, seed: 1, learners: vec![Strategy::Kalman], jobs: 0 };
/// let line = serde_json::to_string(&Head::of(&Scenario::load("delivery-van")?, &order))?;
/// assert!(line.contains(r#""scenario":"delivery-van""#) && line.contains(r#""learners":["kalman"]"#));
/// # Ok::<(), Box<dyn std::error::Error>>(())
/// ```
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct Head {
    schema: u32,
    program: String,
    scenario: String,
    scenario_hash: String,
    seed: u64,
    learners: Vec<String>,
}

impl Head {
    /// The head of this fleet. Results of another version of the program are not mixed with those of this one.
    ///
    /// ```
    /// use trimwright_control::Strategy;
    /// use trimwright_harness::scenario::Scenario;
    /// use trimwright_study::{fleet::Order, journal::Head};
    /// let van = Scenario::load("delivery-van")?;
    /// let order = Order { engines: 100, seed: 1, learners: vec![Strategy::Kalman], jobs: 0 };
    /// let reseeded = van.clone().with_seed(2);
    /// assert_eq!(Head::of(&van, &order), Head::of(&van, &Order { engines: 200, ..order.clone() }));
    /// assert_ne!(Head::of(&van, &order), Head::of(&reseeded, &order), "another scenario, another fleet");
    /// # Ok::<(), Box<dyn std::error::Error>>(())
    /// ```
    pub fn of(scenario: &Scenario, order: &Order) -> Self {
        Self {
            schema: SCHEMA,
            program: env!("CARGO_PKG_VERSION").to_owned(),
            scenario: scenario.name.clone(),
            scenario_hash: scenario.hash(),
            seed: order.seed,
            learners: order.learners.iter().map(|learner| learners::name(*learner).to_owned()).collect(),
        }
    }
}

/// Why there is no going on.
///
/// ```
/// use trimwright_control::Strategy;
/// use trimwright_harness::scenario::Scenario;
/// use trimwright_study::{fleet::Order, journal::{Head, Journal, JournalError}};
/// let van = Scenario::load("delivery-van")?;
/// let order = Order { engines: 100, seed: 1, learners: vec![Strategy::Kalman], jobs: 0 };
/// let home = tempfile::tempdir()?;
/// let path = home.path().join("fleet.jsonl");
/// Journal::begin(&path, &Head::of(&van, &order))?;
/// let other = Head::of(&van, &Order { seed: 2, ..order });
/// let error = Journal::resume(&path, &other).map(|_| ()).expect_err("not that fleet");
/// assert_eq!(error.to_string(), "it was started with another seed");
/// # Ok::<(), Box<dyn std::error::Error>>(())
/// ```
#[derive(Debug, thiserror::Error)]
pub enum JournalError {
    /// The file can't be read or written.
    #[error("{0}")]
    Io(#[from] io::Error),
    /// A fleet is begun where there is one.
    #[error("a fleet exists already")]
    There,
    /// The file is of another fleet.
    #[error("it was started with another {0}")]
    Other(&'static str),
    /// The file is none of this kind.
    #[error("it is not a record of a fleet: {0}")]
    Unreadable(String),
}

/// A journal that is open for more.
///
/// ```
/// use trimwright_control::Strategy;
/// use trimwright_harness::scenario::Scenario;
/// use trimwright_study::fleet::{Ended, FleetEngine, Order};
/// use trimwright_study::journal::{Head, Journal};
/// let order = Order { engines: 2, seed: 1, learners: vec![Strategy::Kalman], jobs: 1 };
/// let head = Head::of(&Scenario::load("delivery-van")?, &order);
/// let home = tempfile::tempdir()?;
/// let path = home.path().join("fleet.jsonl");
/// let ended = Ended::Failed("truth vehicle.mass_kg".to_owned());
/// let engine = FleetEngine { index: 0, learner: Strategy::Kalman, ended };
/// Journal::begin(&path, &head)?.add(&[engine.clone()])?;
/// // The machine is switched off here, and on again.
/// let (_, done) = Journal::resume(&path, &head)?;
/// assert_eq!(done, [engine]);
/// # Ok::<(), Box<dyn std::error::Error>>(())
/// ```
#[derive(Debug)]
pub struct Journal {
    file: File,
}

impl Journal {
    /// Begins a new one where there is none.
    ///
    /// ```
    /// # use trimwright_control::Strategy;
    /// # use trimwright_harness::scenario::Scenario;
    /// # use trimwright_study::{fleet::Order, journal::{Head, Journal}};
    /// # let order = Order { engines: 2, seed: 1, learners: vec![Strategy::Kalman], jobs: 1 };
    /// # let home = tempfile::tempdir()?;
    /// # let path = home.path().join("fleet.jsonl");
    /// let head = Head::of(&Scenario::load("delivery-van")?, &order);
    /// Journal::begin(&path, &head)?;
    /// let text = std::fs::read_to_string(&path)?;
    /// assert!(text.lines().count() == 1 && text.contains("delivery-van"), "the head, and no engine yet");
    /// assert!(Journal::begin(&path, &head).is_err(), "one that is there is left as it is");
    /// # Ok::<(), Box<dyn std::error::Error>>(())
    /// ```
    ///
    /// # Errors
    /// When the file is there already or can't be written.
    pub fn begin(path: &Path, head: &Head) -> Result<Self, JournalError> {
        match File::create_new(path) {
            Ok(file) => Self::headed(file, head),
            Err(error) if error.kind() == io::ErrorKind::AlreadyExists => Err(JournalError::There),
            Err(error) => Err(error.into()),
        }
    }

    /// Begins a new one; what was there is gone.
    ///
    /// ```
    /// # use trimwright_control::Strategy;
    /// # use trimwright_harness::scenario::Scenario;
    /// # use trimwright_study::{fleet::Order, journal::{Head, Journal}};
    /// # let order = Order { engines: 2, seed: 1, learners: vec![Strategy::Kalman], jobs: 1 };
    /// # let home = tempfile::tempdir()?;
    /// # let path = home.path().join("fleet.jsonl");
    /// let head = Head::of(&Scenario::load("delivery-van")?, &order);
    /// std::fs::write(&path, "something old")?;
    /// Journal::begin_anew(&path, &head)?;
    /// assert!(!std::fs::read_to_string(&path)?.contains("old"));
    /// # Ok::<(), Box<dyn std::error::Error>>(())
    /// ```
    ///
    /// # Errors
    /// When the file can't be written.
    pub fn begin_anew(path: &Path, head: &Head) -> Result<Self, JournalError> {
        Self::headed(File::create(path)?, head)
    }

    fn headed(file: File, head: &Head) -> Result<Self, JournalError> {
        let mut journal = Self { file };
        journal.put(head)?;
        Ok(journal)
    }

    /// Opens one that is there and gives the engines in it.
    ///
    /// ```
    /// # use trimwright_control::Strategy;
    /// # use trimwright_harness::scenario::Scenario;
    /// # use trimwright_study::fleet::{Ended, FleetEngine, Order};
    /// # use trimwright_study::journal::{Head, Journal};
    /// # let order = Order { engines: 2, seed: 1, learners: vec![Strategy::Kalman], jobs: 1 };
    /// # let head = Head::of(&Scenario::load("delivery-van")?, &order);
    /// # let home = tempfile::tempdir()?;
    /// # let path = home.path().join("fleet.jsonl");
    /// # let failed = |index| FleetEngine { index, learner: Strategy::Kalman, ended: Ended::Failed(String::new()) };
    /// let mut journal = Journal::begin(&path, &head)?;
    /// journal.add(&[failed(0)])?;
    /// journal.add(&[failed(1)])?;
    /// let text = std::fs::read_to_string(&path)?;
    /// std::fs::write(&path, &text[..text.len() - 9])?;
    /// let (_, done) = Journal::resume(&path, &head)?;
    /// assert_eq!(done, [failed(0)], "a line that a crash cut off is driven again");
    /// # Ok::<(), Box<dyn std::error::Error>>(())
    /// ```
    ///
    /// # Errors
    /// When the file is not there, can't be read or is of another fleet.
    pub fn resume(path: &Path, head: &Head) -> Result<(Self, Vec<FleetEngine>), JournalError> {
        let mut lines = BufReader::new(File::open(path)?).split(b'\n');
        let first = lines.next().transpose()?.unwrap_or_default();
        let there: Head =
            serde_json::from_slice(&first).map_err(|error| JournalError::Unreadable(error.to_string()))?;
        for (same, what) in [
            (there.schema == head.schema && there.program == head.program, "version of the program"),
            (there.scenario_hash == head.scenario_hash, "scenario"),
            (there.seed == head.seed, "seed"),
            (there.learners == head.learners, "learner"),
        ] {
            if !same {
                return Err(JournalError::Other(what));
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
        // Ends a line that may have been cut off; an empty line is no engine.
        file.write_all(b"\n")?;
        Ok((Self { file }, engines.into_iter().flatten().collect()))
    }

    /// Adds a finished engine with all its learners.
    ///
    /// ```
    /// # use trimwright_control::Strategy;
    /// # use trimwright_harness::scenario::Scenario;
    /// # use trimwright_study::fleet::{Ended, FleetEngine, Order};
    /// # use trimwright_study::journal::{Head, Journal};
    /// # let order = Order { engines: 2, seed: 1, learners: vec![Strategy::Kalman], jobs: 1 };
    /// # let head = Head::of(&Scenario::load("delivery-van")?, &order);
    /// # let home = tempfile::tempdir()?;
    /// # let path = home.path().join("fleet.jsonl");
    /// let ended = Ended::Failed("truth vehicle.mass_kg".to_owned());
    /// let mut journal = Journal::begin(&path, &head)?;
    /// journal.add(&[FleetEngine { index: 5, learner: Strategy::Kalman, ended }])?;
    /// let text = std::fs::read_to_string(&path)?;
    /// assert!(text.lines().nth(1).is_some_and(|line| line.contains(r#""index":5"#)));
    /// # Ok::<(), Box<dyn std::error::Error>>(())
    /// ```
    ///
    /// # Errors
    /// When the file can't be written.
    pub fn add(&mut self, engine: &[FleetEngine]) -> Result<(), JournalError> {
        self.put(&engine)
    }

    fn put(&mut self, value: &impl Serialize) -> Result<(), JournalError> {
        let mut line = serde_json::to_vec(value).map_err(io::Error::from)?;
        line.push(b'\n');
        // One call, so that a crash cuts off at most this line.
        Ok(self.file.write_all(&line)?)
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::fleet::Ended;
    use trimwright_control::Strategy;

    fn head(seed: u64) -> Head {
        let scenario = Scenario::load("delivery-van").expect("shipped");
        Head::of(&scenario, &Order { engines: 9, seed, learners: vec![Strategy::Kalman], jobs: 1 })
    }

    fn engine(index: u32) -> FleetEngine {
        FleetEngine { index, learner: Strategy::Kalman, ended: Ended::Failed(format!("reason {index}")) }
    }

    #[test]
    fn cut_off_anywhere_it_keeps_every_whole_line() {
        let home = tempfile::tempdir().expect("a place");
        let path = home.path().join("fleet.jsonl");
        let mut journal = Journal::begin(&path, &head(1)).expect("begun");
        [2, 0, 1].iter().for_each(|index| journal.add(&[engine(*index)]).expect("added"));
        let whole = std::fs::read(&path).expect("bytes");
        let head_end = whole.iter().position(|byte| *byte == b'\n').expect("a line") + 1;
        for cut in head_end..=whole.len() {
            std::fs::write(&path, &whole[..cut]).expect("cut");
            let (mut journal, there) = Journal::resume(&path, &head(1)).expect("goes on");
            let kept = whole[head_end..cut].iter().filter(|byte| **byte == b'\n').count();
            // The last line may be whole but for its end.
            assert!(there.len() == kept || there.len() == kept + 1, "{cut}");
            journal.add(&[engine(7)]).expect("added");
            let (_, again) = Journal::resume(&path, &head(1)).expect("goes on");
            assert_eq!(again.last(), Some(&engine(7)));
            assert_eq!(again.len(), there.len() + 1);
        }
    }

    #[test]
    fn another_fleet_is_refused() {
        let home = tempfile::tempdir().expect("a place");
        let path = home.path().join("fleet.jsonl");
        Journal::begin(&path, &head(1)).expect("begun");
        assert!(matches!(Journal::resume(&path, &head(2)), Err(JournalError::Other("seed"))));
        std::fs::write(&path, "something else").expect("written");
        assert!(matches!(Journal::resume(&path, &head(1)), Err(JournalError::Unreadable(_))));
        assert!(matches!(Journal::resume(&home.path().join("none"), &head(1)), Err(JournalError::Io(_))));
    }
}
