//! A shipped car with keys set in the text of its scenario.

use std::path::PathBuf;
use std::sync::LazyLock;
use std::sync::atomic::{AtomicU32, Ordering};

use trimwright_control::{Calibration, SetupAnswers};
use trimwright_harness::scenario::Scenario;
use trimwright_harness::shipped::{SCENARIOS, find};

use super::bench::Bench;

/// A scenario of each of the four engines.
static CARS: LazyLock<Vec<Car>> = LazyLock::new(|| {
    ["delivery-van", "town-coupe", "highway-pickup", "hot-cam-town"].map(Car::shipped).into()
});

/// The cars that have the part.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(crate) enum Having {
    /// All four.
    Everything,
    /// The controller sets the spark.
    Spark,
    /// Nitrous oxide.
    Nitrous,
    /// The hot cam.
    HotCam,
}

impl Having {
    pub(crate) fn cars(self) -> impl Iterator<Item = &'static Car> {
        CARS.iter().filter(move |car| {
            let answers = &car.scenario.answers;
            match self {
                Self::Everything => true,
                Self::Spark => answers.controls_spark,
                Self::Nitrous => answers.nitrous,
                Self::HotCam => answers.cam == trimwright_control::Cam::Hot,
            }
        })
    }
}

/// Value of a key.
#[derive(Clone, Copy)]
pub(crate) enum Written {
    /// The same for every car.
    Text(&'static str),
    /// Relative to the owner's answer.
    From(fn(&SetupAnswers) -> String),
}

/// A key with its stage or `setup`, and its value.
pub(crate) type Setting = (&'static str, Written);

/// A car with its warm engine.
pub(crate) struct Car {
    pub(crate) scenario: Scenario,
    pub(crate) calibration: Calibration,
    warm: LazyLock<Bench, Box<dyn FnOnce() -> Bench + Send>>,
}

impl Car {
    fn shipped(name: &'static str) -> Self {
        Self::of(Scenario::load(name).expect("shipped"), None)
    }

    /// The same car with these keys in its file; its engine is warmed up with the shipped file.
    pub(crate) fn adjusted(&'static self, settings: &[Setting]) -> Self {
        let text = find(SCENARIOS, &self.scenario.name).expect("shipped").text;
        let text = settings.iter().fold(text.to_owned(), |text, (key, written)| {
            let value = match written {
                Written::Text(value) => (*value).to_owned(),
                Written::From(value) => value(&self.scenario.answers),
            };
            set(&text, key, &value)
        });
        let file = TemporaryFile::holding(&text);
        let scenario = Scenario::load(&file.0.to_string_lossy()).unwrap_or_else(|error| panic!("{error}"));
        assert!(
            scenario.parameters != self.scenario.parameters || scenario.answers != self.scenario.answers,
            "{settings:?} changes nothing",
            settings = settings.iter().map(|(key, _)| key).collect::<Vec<_>>()
        );
        Self::of(scenario, Some(self))
    }

    fn of(scenario: Scenario, shipped: Option<&'static Self>) -> Self {
        let calibration = scenario.calibration().expect("in range");
        let warm: Box<dyn FnOnce() -> Bench + Send> = match shipped {
            Some(shipped) => {
                let calibration = calibration.clone();
                Box::new(move || shipped.warm().adjusted(calibration))
            }
            None => {
                let (truth, seed) = (scenario.truth.clone(), scenario.seed);
                let calibration = calibration.clone();
                Box::new(move || Bench::warm(truth, seed, calibration))
            }
        };
        Self { scenario, calibration, warm: LazyLock::new(warm) }
    }

    /// Its engine at a hot idle with active oxygen sensor.
    pub(crate) fn warm(&self) -> Bench {
        self.warm.clone()
    }
}

/// The text with this key set: replaced, or added in its section.
fn set(text: &str, key: &str, value: &str) -> String {
    let (section, name) = key.split_once('.').expect("a section and a key");
    if section != "setup" {
        let (head, line) = (format!("[calibration.{section}]\n"), format!("{name} = {value}\n"));
        return match text.contains(&head) {
            true => text.replace(&head, &format!("{head}{line}")),
            false => format!("{text}\n{head}{line}"),
        };
    }
    let line = |line: &str| match line.strip_prefix(name) {
        Some(rest) if rest.trim_start().starts_with('=') => format!("{name} = {value}\n"),
        _ => format!("{line}\n"),
    };
    text.lines().map(line).collect()
}

/// A file that is removed when dropped.
struct TemporaryFile(PathBuf);

impl TemporaryFile {
    fn holding(text: &str) -> Self {
        static COUNT: AtomicU32 = AtomicU32::new(0);
        let number = COUNT.fetch_add(1, Ordering::Relaxed);
        let name = format!("trimwright-adjust-{}-{number}.toml", std::process::id());
        let path = std::env::temp_dir().join(name);
        std::fs::write(&path, text).expect("a directory for temporary files");
        Self(path)
    }
}

impl Drop for TemporaryFile {
    fn drop(&mut self) {
        // An error of removing a temporary file is harmless.
        let _ = std::fs::remove_file(&self.0);
    }
}
