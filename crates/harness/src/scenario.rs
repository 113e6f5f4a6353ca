//! Scenario: engine, schedule, the owner's answers, and the engine's deviations from them.
//!
//! A scenario file names an engine file and a schedule, by a name that ships with the program or by a path relative to the scenario's
//! directory. Section `[setup]` holds the owner's answers, `[calibration]` controller parameters by stage, `[deviations]` the engine's
//! deviations from its nameplate, `[disturbances]` the scale of what no map can know, and `[truth]` any other difference from the engine file, with the engine file's keys.

use crate::document::Document;
use crate::error::InputError;
use crate::faults::Fault;
pub use crate::scenario_deviations::Deviations;
pub use crate::scenario_disturbances::DisturbanceScale;
use crate::scenario_source::{ENGINE_FILES, SCENARIO_FILES, SCHEDULE_FILES, Source};
use crate::schedule::{LONGEST_RUN_S, Schedule};
use crate::sizing::{self, Installation};
use crate::units::{Kind, Unit};
use crate::{
    block_reader, faults, scenario_answers, scenario_deviations, scenario_disturbances, scenario_engine,
    sensor_curves,
};
use std::fmt::Write;
use trimwright_control::{Calibration, CalibrationError, Parameters, SetupAnswers};
use trimwright_numerics::parameters::Problem;
use trimwright_plant::Truth;

/// Range of the number of passes.
pub(crate) const PASSES: (i64, i64) = (1, 100);
/// Range of the seed.
pub(crate) const SEEDS: (i64, i64) = (0, i64::MAX);

/// Everything that determines a run.
///
/// ```
/// use trimwright_harness::scenario::Scenario;
/// let van = Scenario::load("delivery-van")?;
/// let share = van.truth.injectors.static_flow_kg_per_s / van.nameplate.injectors.static_flow_kg_per_s;
/// assert!((share - 0.96).abs() < 1e-9, "its injectors flow 4 % less than the box says");
/// assert_eq!(van.answers.cylinders, 8);
/// # Ok::<(), trimwright_harness::error::InputError>(())
/// ```
#[derive(Clone, Debug, PartialEq)]
pub struct Scenario {
    /// Short name, from the file name.
    pub name: String,
    /// One line of description.
    pub title: String,
    /// Longer description.
    pub about: String,
    /// True engine and car.
    pub truth: Truth,
    /// The same without the deviations: the nominal values of a fleet.
    pub nameplate: Truth,
    /// The owner's setup answers.
    pub answers: SetupAnswers,
    /// The controller's parameters.
    pub parameters: Parameters,
    /// Installation of the parts.
    pub installation: Installation,
    /// Injected faults.
    pub faults: Vec<Fault>,
    /// Schedule to drive.
    pub schedule: Schedule,
    /// Number of passes through the schedule, 1 to 100.
    pub passes: u32,
    /// Seed of the random numbers.
    pub seed: u64,
}

impl Scenario {
    /// Loads a scenario by the name of a shipped one, or from a file by path.
    ///
    /// ```
    /// let scenario = trimwright_harness::scenario::Scenario::load("delivery-van")?;
    /// assert_eq!(scenario.schedule.name(), "udds");
    /// # Ok::<(), trimwright_harness::error::InputError>(())
    /// ```
    ///
    /// # Errors
    ///
    /// When a key is missing, unknown or out of range; the error names file, line, key, value and what is allowed.
    pub fn load(name_or_path: &str) -> Result<Self, InputError> {
        Self::parse(&SCENARIO_FILES.get(name_or_path, None)?)
    }

    /// Sets the schedule, shipped or from a file.
    ///
    /// # Errors
    ///
    /// When it can't be read, is no schedule, or does not begin at standstill.
    pub fn with_schedule(self, name_or_path: &str) -> Result<Self, InputError> {
        let source = SCHEDULE_FILES.get(name_or_path, None)?;
        Ok(Self { schedule: driven(&source)?, ..self })
    }

    /// Sets the number of passes.
    #[must_use]
    pub fn with_passes(self, passes: u32) -> Self {
        Self { passes, ..self }
    }

    /// Sets the seed.
    #[must_use]
    pub fn with_seed(self, seed: u64) -> Self {
        Self { seed, ..self }
    }

    /// Scales the disturbances: 0 switches them off.
    #[must_use]
    pub fn with_disturbances(mut self, all: f64) -> Self {
        for truth in [&mut self.truth, &mut self.nameplate] {
            DisturbanceScale { all, ..DisturbanceScale::DEFAULT }.apply(truth);
        }
        self
    }

    /// Checks that all passes together are not longer than [`LONGEST_RUN_S`], and that every fault begins before the end.
    ///
    /// # Errors
    ///
    /// When they are longer, with the number of passes allowed; when a fault begins too late.
    pub fn check_length(&self) -> Result<(), InputError> {
        self.check_faults(|key, problem, fault| {
            InputError::new(&self.name, problem).key(key).value(written_s(fault.from_s))
        })?;
        let pass_s = self.schedule.duration_s();
        let most = (LONGEST_RUN_S / pass_s).floor();
        if f64::from(self.passes) <= most {
            return Ok(());
        }
        let name = self.schedule.name();
        let hours = LONGEST_RUN_S / 3600.0;
        let problem = format!("is too many; {name} fits {most} times into the {hours} h that a run may last");
        Err(InputError::new(&self.name, problem).key("passes").value(self.passes.to_string()))
    }

    /// Checks that every fault begins before the end of the drive; `wrong` makes the error for a key.
    fn check_faults(&self, wrong: impl Fn(&str, String, &Fault) -> InputError) -> Result<(), InputError> {
        let lasts_s = self.schedule.duration_s() * f64::from(self.passes);
        let mut numbered = self.faults.iter().enumerate();
        match numbered.find(|(_, fault)| fault.from_s >= lasts_s) {
            Some((index, fault)) => {
                let problem =
                    format!("must be before the end of the drive, which lasts {}", written_s(lasts_s));
                Err(wrong(&format!("fault.{}.from", index + 1), problem, fault))
            }
            None => Ok(()),
        }
    }

    /// The controller's calibration from these answers and parameters.
    ///
    /// # Errors
    ///
    /// When one of them is out of its range, which loading excludes.
    pub fn calibration(&self) -> Result<Calibration, CalibrationError> {
        Calibration::new(&self.answers, self.parameters.clone())
    }

    /// Hash of everything that determines a run: 16 hexadecimal digits.
    pub fn hash(&self) -> String {
        let mut hash = Fnv::new();
        let (points, passes, seed) = (self.schedule.points(), self.passes, self.seed);
        // `Debug` prints every field, and floats in the shortest form that reads back as the same bits.
        let written = write!(hash, "{:?} {:?} {points:?} {passes} {seed}", self.truth, self.answers)
            .and_then(|()| self.faults.iter().try_for_each(|fault| write!(hash, " {fault:?}")))
            // Default parameters are left out, so that new ones do not change the hash.
            .and_then(|()| match self.parameters == Parameters::DEFAULT {
                true => Ok(()),
                false => write!(hash, " {:?}", self.parameters),
            });
        debug_assert!(written.is_ok(), "a hash accepts any text");
        format!("{:016x}", hash.0)
    }

    fn parse(source: &Source) -> Result<Self, InputError> {
        let document = Document::parse(&source.file, &source.text)?;
        let (mut title, mut about) = (String::new(), String::new());
        let (mut engine, mut schedule) = (String::new(), String::new());
        let (mut passes, mut seed) = (1_u32, 1_u64);
        document.text("title", &mut title)?;
        document.lines("about", &mut about)?;
        document.text("engine", &mut engine)?;
        document.text("schedule", &mut schedule)?;
        document.whole("passes", PASSES, &mut passes)?;
        document.whole("seed", SEEDS, &mut seed)?;
        let answers = scenario_answers::read(&document)?;
        let mut parameters = Parameters::DEFAULT;
        for block in parameters.blocks_mut() {
            block_reader::read(&document, "calibration", block, &[])?;
        }
        sensor_curves::check(&document, "calibration", &parameters.sensors)?;
        let deviations = scenario_deviations::read(&document)?;
        let disturbances = scenario_disturbances::read(&document)?;
        let installation = sizing::read(&document)?;
        let faults = faults::read(&document)?;
        // Registers the keys of the truth, so that a misspelled one is found before the engine file is opened.
        scenario_engine::read(&document, "truth", &mut Truth::mild_v8())?;
        let required = [&["title", "engine", "schedule"][..], scenario_answers::REQUIRED].concat();
        document.finish(&required)?;
        scenario_answers::check(&document, &answers)?;
        faults::check(&document, &faults, &answers)?;

        let directory = source.directory.as_deref();
        let schedule = SCHEDULE_FILES
            .get(&schedule, directory)
            .map_err(|error| document.wrong("schedule", error.about(&schedule)))?;
        let schedule = driven(&schedule)?;
        let engine = ENGINE_FILES
            .get(&engine, directory)
            .map_err(|error| document.wrong("engine", error.about(&engine)))?;
        let (engine_document, mut truth) = scenario_engine::parse(&engine)?;
        scenario_engine::read(&document, "truth", &mut truth)?;
        let check = |truth: &Truth| {
            truth.check().map_err(|error| {
                let field = format!("truth.{}", error.path);
                let given = document.gives(&field);
                let (source, field) =
                    if given { (&document, field.as_str()) } else { (&engine_document, error.path) };
                match error.problem {
                    Problem::Outside(value, range) => source.out_of_range(field, value, range.min, range.max),
                    Problem::NotRising(_) => source.wrong(field, error.to_string()),
                }
            })
        };
        check(&truth)?;
        disturbances.apply(&mut truth);
        let nameplate = truth.clone();
        deviations.apply(&mut truth);
        check(&truth)?;
        let scenario = Self {
            name: source.name.clone(),
            title,
            about,
            truth,
            nameplate,
            answers,
            parameters,
            installation,
            faults,
            schedule,
            passes,
            seed,
        };
        scenario.check_faults(|key, problem, _| document.wrong(key, problem))?;
        Ok(scenario)
    }
}

/// Reads a schedule to be driven.
fn driven(source: &Source) -> Result<Schedule, InputError> {
    let schedule = Schedule::parse(&source.name, &source.file, &source.text)?;
    schedule.check_start(&source.file)?;
    Ok(schedule)
}

/// A time in seconds for a message.
fn written_s(time_s: f64) -> String {
    Unit::find(Kind::Time, "s").map_or_else(|| time_s.to_string(), |seconds| seconds.show(time_s))
}

/// FNV-1a with 64 bits, after Fowler, Noll and Vo.
struct Fnv(u64);

impl Fnv {
    const fn new() -> Self {
        Self(0xcbf2_9ce4_8422_2325)
    }
}

impl Write for Fnv {
    fn write_str(&mut self, text: &str) -> std::fmt::Result {
        for byte in text.bytes() {
            self.0 = (self.0 ^ u64::from(byte)).wrapping_mul(0x0000_0100_0000_01b3);
        }
        Ok(())
    }
}

#[cfg(test)]
mod tests;
