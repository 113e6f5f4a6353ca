//! A scenario: an engine, a schedule, what the owner answered, and in what the engine differs from those answers.
//!
//! A scenario file names an engine file and a schedule, by the name under which they come with the program or by a path that
//! starts from the scenario's own directory. Its section `[setup]` holds the owner's answers, `[deviations]` how far the
//! engine is from its nameplate, and `[truth]` whatever else is different from the engine file, under the same keys.

use crate::document::Document;
use crate::error::InputError;
use crate::scenario_source::{ENGINE_SHELF, SCENARIO_SHELF, SCHEDULE_SHELF, Source};
use crate::schedule::Schedule;
use crate::{scenario_answers, scenario_deviations, scenario_engine};
use std::fmt::Write;
use trimwright_control::SetupAnswers;
use trimwright_plant::Truth;

/// Longest learning run, all passes together, seconds: two days. Its record takes some 300 MB. Engineering judgement.
pub const LONGEST_RUN_S: f64 = 172_800.0;

/// Everything that decides what happens in a run.
#[derive(Clone, Debug, PartialEq)]
pub struct Scenario {
    /// Short name, after the file.
    pub name: String,
    /// One line about it.
    pub title: String,
    /// More about it.
    pub about: String,
    /// What the engine and the car really are.
    pub truth: Truth,
    /// What the owner answered.
    pub answers: SetupAnswers,
    /// How fast the car is to go.
    pub schedule: Schedule,
    /// How many times the schedule is driven, 1 to 100.
    pub passes: u32,
    /// Start of the random numbers.
    pub seed: u64,
}

impl Scenario {
    /// Loads a scenario that comes with the program, by name, or one from a file, by path.
    ///
    /// ```
    /// let scenario = trimwright_harness::scenario::Scenario::load("delivery-van")?;
    /// assert_eq!(scenario.schedule.name(), "udds");
    /// # Ok::<(), trimwright_harness::error::InputError>(())
    /// ```
    ///
    /// # Errors
    ///
    /// When something is missing, unknown or out of range, with file, line, key, value and what is allowed.
    pub fn load(name_or_path: &str) -> Result<Self, InputError> {
        Self::parse(&SCENARIO_SHELF.get(name_or_path, None)?)
    }

    /// Drives another schedule, shipped or from a file.
    ///
    /// # Errors
    ///
    /// When it can't be read or isn't a schedule.
    pub fn with_schedule(self, name_or_path: &str) -> Result<Self, InputError> {
        let source = SCHEDULE_SHELF.get(name_or_path, None)?;
        Ok(Self { schedule: Schedule::parse(&source.name, &source.file, &source.text)?, ..self })
    }

    /// Drives the schedule this many times.
    #[must_use]
    pub fn with_passes(self, passes: u32) -> Self {
        Self { passes, ..self }
    }

    /// Draws other random numbers.
    #[must_use]
    pub fn with_seed(self, seed: u64) -> Self {
        Self { seed, ..self }
    }

    /// Checks that all passes together aren't longer than [`LONGEST_RUN_S`].
    ///
    /// # Errors
    ///
    /// When they are; the message says how many passes are allowed.
    pub fn check_length(&self) -> Result<(), InputError> {
        let pass_s = self.schedule.duration_s();
        let most = (LONGEST_RUN_S / pass_s).floor();
        if f64::from(self.passes) <= most {
            return Ok(());
        }
        let name = self.schedule.name();
        let hours = LONGEST_RUN_S / 3600.0;
        let problem =
            format!("is too often; {name} fits {most} times into the {hours} h that a run may last");
        Err(InputError::new(&self.name, problem).key("passes").value(self.passes.to_string()))
    }

    /// Sixteen hexadecimal digits that change whenever anything changes that decides what happens in a run.
    pub fn hash(&self) -> String {
        let mut hash = Fnv::new();
        let (points, passes, seed) = (self.schedule.points(), self.passes, self.seed);
        // `Debug` prints every field, and floats in the shortest form that reads back as the same bits.
        let written = write!(hash, "{:?} {:?} {points:?} {passes} {seed}", self.truth, self.answers);
        debug_assert!(written.is_ok(), "a hash takes any text");
        format!("{:016x}", hash.0)
    }

    fn parse(source: &Source) -> Result<Self, InputError> {
        let document = Document::parse(&source.file, &source.text)?;
        let (mut title, mut about) = (String::new(), String::new());
        let (mut engine, mut schedule) = (String::new(), String::new());
        let (mut passes, mut seed) = (1_u32, 1_u64);
        document.text("title", &mut title)?;
        document.text("about", &mut about)?;
        document.text("engine", &mut engine)?;
        document.text("schedule", &mut schedule)?;
        document.whole("passes", (1, 100), &mut passes)?;
        document.whole("seed", (0, i64::MAX), &mut seed)?;
        let answers = scenario_answers::read(&document)?;
        let deviations = scenario_deviations::read(&document)?;
        // Asks for the keys of the truth, so that a slip in them is found before the engine file is opened.
        scenario_engine::read(&document, "truth", &mut Truth::mild_v8())?;
        let required = [&["title", "engine", "schedule"][..], scenario_answers::REQUIRED].concat();
        document.finish(&required)?;
        scenario_answers::check(&document, &answers)?;

        let directory = source.directory.as_deref();
        let schedule = SCHEDULE_SHELF
            .get(&schedule, directory)
            .map_err(|error| document.wrong("schedule", error.to_string()))?;
        let schedule = Schedule::parse(&schedule.name, &schedule.file, &schedule.text)?;
        let engine = ENGINE_SHELF
            .get(&engine, directory)
            .map_err(|error| document.wrong("engine", error.to_string()))?;
        let (engine_document, mut truth) = scenario_engine::parse(&engine)?;
        scenario_engine::read(&document, "truth", &mut truth)?;
        deviations.apply(&mut truth);
        truth.check().map_err(|error| {
            let field = format!("truth.{}", error.field);
            if document.gives(&field) {
                document.out_of_range(&field, error.value, error.low, error.high)
            } else {
                engine_document.out_of_range(error.field, error.value, error.low, error.high)
            }
        })?;
        Ok(Self { name: source.name.clone(), title, about, truth, answers, schedule, passes, seed })
    }
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
mod tests {
    use super::*;
    use proptest::prelude::*;
    use std::path::Path;

    const VAN: &str = include_str!("../../../shared/scenarios/delivery-van.toml");
    const ENGINE: &str = include_str!("../../../shared/engines/van-v8.toml");

    fn parse(text: &str) -> Result<Scenario, InputError> {
        Scenario::parse(&Source {
            name: "van".to_owned(),
            file: "van.toml".to_owned(),
            text: text.to_owned(),
            directory: None,
        })
    }

    fn refused(text: &str) -> String {
        parse(text).expect_err("refused").to_string()
    }

    fn van() -> Scenario {
        parse(VAN).expect("the shipped scenario")
    }

    /// FNV-1a of "", "a" and "foobar": test vectors of the algorithm's authors, from memory.
    #[test]
    fn val_hash_of_known_texts() {
        for (text, hash) in
            [("", 0xcbf2_9ce4_8422_2325), ("a", 0xaf63_dc4c_8601_ec8c), ("foobar", 0x8594_4171_f739_67e8)]
        {
            let mut fnv = Fnv::new();
            fnv.write_str(text).expect("any text");
            assert_eq!(fnv.0, hash);
        }
    }

    #[test]
    fn every_shipped_scenario_loads() {
        for shipped in crate::shipped::SCENARIOS {
            let scenario = Scenario::load(shipped.name).expect("valid");
            assert_eq!(scenario.name, shipped.name);
            assert!(!scenario.title.is_empty() && !scenario.about.is_empty());
        }
    }

    #[test]
    fn the_van_is_what_its_files_say() {
        let van = van();
        assert!((van.truth.engine.displacement_m3 - 5.2e-3).abs() < 1e-12);
        assert!((f64::from(van.answers.displacement_m3) - 318.0 * 0.0254_f64.powi(3)).abs() < 1e-8);
        let box_kg_per_s = 60.0 * 0.453_592_37 / 3600.0;
        assert!((van.truth.injectors.static_flow_kg_per_s / box_kg_per_s - 0.96).abs() < 1e-6);
        assert!((van.truth.injectors.delay_s[3] - 1.03e-3).abs() < 1e-12);
        assert!((van.truth.oxygen_sensor.tau_s - 0.0975).abs() < 1e-12);
        assert_eq!((van.truth.filling.deviation, van.truth.filling.deviation_seed), (0.15, 5));
        assert_eq!((van.passes, van.schedule.name()), (2, "udds"));
    }

    #[test]
    fn the_hash_follows_what_is_driven_and_not_how_it_is_written() {
        let van = van();
        assert_eq!(van.hash(), parse(&format!("{VAN}\n# a remark\n")).expect("valid").hash());
        assert_eq!(van.hash().len(), 16);
        let others = [
            Scenario { seed: 2, ..van.clone() }.hash(),
            Scenario { passes: 3, ..van.clone() }.hash(),
            van.clone().with_schedule("hwfet").expect("shipped").hash(),
            parse(&VAN.replace("-4 %", "-3 %")).expect("valid").hash(),
            parse(&VAN.replace("318 cu in", "317 cu in")).expect("valid").hash(),
        ];
        for (index, other) in others.iter().enumerate() {
            assert!(*other != van.hash() && !others[..index].contains(other), "{index}");
        }
    }

    #[test]
    fn faults_are_named_with_file_line_key_and_range() {
        let line = |needle: &str| VAN.lines().position(|line| line.contains(needle)).expect("there") + 1;
        assert_eq!(
            refused(&VAN.replace("\"318 cu in\"", "\"318 psi\"")),
            format!(
                "van.toml, line {}, setup.displacement = \"318 psi\": is not a volume, which is written in one of the units L, \
                 l, cu in, in3, cc, cm3, mL, m3, gal",
                line("318 cu in")
            )
        );
        assert_eq!(
            refused(&VAN.replace("compression_ratio = 8.8", "compression_ratio = 88")),
            format!(
                "van.toml, line {}, setup.compression_ratio = 88: must be between 6 and 14",
                line("compression_ratio")
            )
        );
        assert_eq!(
            refused(&VAN.replace("idle_speed", "idle_sped")),
            format!(
                "van.toml, line {}, setup.idle_sped: is not a known key; did you mean setup.idle_speed?",
                line("idle_speed")
            )
        );
        assert_eq!(
            refused(&VAN.replace("injector_flow = \"-4 %\"", "injector_flow = \"-60 %\"")),
            format!(
                "van.toml, line {}, deviations.injector_flow = \"-60 %\": must be between -50% and 50%",
                line("\"-4 %\"")
            )
        );
        assert!(
            refused(&VAN.replace("cylinders = 8", ""))
                .ends_with("setup.cylinders: is missing and has to be given")
        );
        assert!(
            refused(&VAN.replace("\"udds\"", "\"moon\""))
                .contains("schedule = \"moon\": moon: no schedule of this name")
        );
        let truth = format!("{VAN}\n[truth.vehicle]\nmass = \"90 lb\"\n");
        assert!(
            refused(&truth)
                .ends_with("truth.vehicle.mass = \"90 lb\": must be between 661.387 lb and 44092.4 lb")
        );
    }

    #[test]
    fn a_run_longer_than_two_days_is_refused() {
        let text = "time [h],speed [m/s]\n0,0\n20,0\n";
        let schedule = Schedule::parse("day", "day.csv", text).expect("valid");
        let long = Scenario { schedule, ..van() };
        assert_eq!(long.check_length(), Ok(()));
        assert_eq!(
            long.with_passes(3).check_length().expect_err("refused").to_string(),
            "van, passes = 3: is too often; day fits 2 times into the 48 h that a run may last"
        );
    }

    #[test]
    fn the_scenario_overrules_the_engine() {
        let scenario = parse(&format!("{VAN}\n[truth.ambient]\naltitude = \"5280 ft\"\n")).expect("valid");
        assert!((scenario.truth.ambient.altitude_m - 1609.344).abs() < 1e-9);
    }

    #[test]
    fn files_are_found_beside_the_scenario_and_faults_in_the_engine_are_told_of_its_file() {
        let home = tempfile::tempdir().expect("a place");
        let put = |name: &str, text: &str| std::fs::write(home.path().join(name), text).expect("written");
        put("own.toml", &VAN.replace("\"van-v8\"", "\"engine.toml\"").replace("\"udds\"", "\"trip.csv\""));
        put("engine.toml", ENGINE);
        put("trip.csv", "time [s],speed [km/h]\n0,0\n60,50\n");
        let path = home.path().join("own.toml");
        let load = || Scenario::load(path.to_str().expect("UTF-8"));
        let own = load().expect("valid");
        assert_eq!((own.name.as_str(), own.schedule.name(), own.truth), ("own", "trip", van().truth));
        put("engine.toml", &ENGINE.replace("mass = \"2300 kg\"", "mass = \"23 kg\""));
        let message = load().expect_err("refused").to_string();
        let file = Path::new("engine.toml");
        assert!(message.starts_with(&home.path().join(file).display().to_string()), "{message}");
        assert!(
            message.ends_with("vehicle.mass = \"23 kg\": must be between 300 kg and 20000 kg"),
            "{message}"
        );
    }

    proptest! {
        #![proptest_config(ProptestConfig::with_cases(200))]

        /// A shipped scenario with a piece cut out, doubled or replaced is read or refused with its file's name.
        #[test]
        fn mutated_scenarios_are_read_or_refused(at in 0..VAN.len(), length in 0..40_usize, instead in "\\PC{0,12}", double: bool) {
            let end = (at + length).min(VAN.len());
            let (Some(head), Some(piece), Some(tail)) = (VAN.get(..at), VAN.get(at..end), VAN.get(end..)) else {
                return Ok(());
            };
            let mutated = if double { format!("{head}{piece}{piece}{tail}") } else { format!("{head}{instead}{tail}") };
            match parse(&mutated) {
                Ok(scenario) => prop_assert!(scenario.truth.check().is_ok() && scenario.answers.check().is_ok()),
                Err(error) => prop_assert!(error.to_string().contains(".toml"), "{}", error),
            }
        }

        #[test]
        fn any_text_is_read_or_refused(text in any::<String>()) {
            if let Err(error) = parse(&text) {
                prop_assert!(error.to_string().starts_with("van.toml"));
            }
        }
    }
}
