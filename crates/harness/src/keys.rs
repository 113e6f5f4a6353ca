//! Every key of scenario and engine files: what may stand there, what stands there when nothing does, and what it is for.
//!
//! All of it comes from the tables that the files are read by. [`files`] makes a page for people and schemas for editors out of it;
//! `cargo run -p trimwright-harness --example keys` writes them.

mod page;
mod schema;
mod written;

use crate::block_reader::{Aliases, Scalar, key_of};
use crate::document::inside;
use crate::faults::{self, KINDS};
use crate::measure::Measure;
use crate::scenario::{Deviations, PASSES, SEEDS};
use crate::sizing::{INSTALLATION_ALIASES, Installation, System};
use crate::units::Kind;
use crate::{scenario_answers, scenario_engine};
use trimwright_control::{Parameters, SetupAnswers};
use trimwright_numerics::parameters::{Block, ParameterInfo, Shape, Value};
use trimwright_plant::Truth;
pub use written::Line;

/// A key of a file.
///
/// ```
/// use trimwright_control::Parameters;
/// use trimwright_harness::{keys, sizing::System};
/// let parameters = Parameters::DEFAULT;
/// let feedback = keys::of_block(&parameters.feedback, "calibration", &[], System::Si);
/// let keep = feedback.iter().find(|key| key.path == "calibration.feedback.keep").expect("a key");
/// assert_eq!((keep.lines[0].text().as_str(), keep.allowed(System::Si).as_str()), ("\"10 s\"", "0 s to 600 s"));
/// ```
#[derive(Clone, Debug, PartialEq)]
pub struct Key {
    /// Where it stands: its sections and itself, with dots between.
    pub path: String,
    /// A sentence about it.
    pub about: &'static str,
    /// Where its default comes from; empty when there is no more to say.
    pub source: &'static str,
    /// The present value of a block, as a file has it: one line, three for a table, none without a value.
    pub lines: Vec<Line>,
    wanted: Wanted,
}

/// What may stand at a key.
#[derive(Clone, Debug, PartialEq)]
enum Wanted {
    Text,
    Flag,
    Whole(i64, i64),
    Choice(Vec<&'static str>),
    Quantity(Measure),
    /// A strength, as its kind of fault has it.
    Strength,
    /// Least and greatest length, and each item.
    List([usize; 2], Measure),
    Curve(usize, Measure, Measure),
    Table([usize; 2], [Measure; 2], Measure),
}

impl Wanted {
    fn of<T: Scalar>(info: &ParameterInfo<T>) -> Self {
        let measure = Measure::of(&info.range);
        match info.shape {
            Shape::Number => Self::Quantity(measure),
            Shape::Whole => Self::Whole(measure.low as i64, measure.high as i64),
            Shape::Flag => Self::Flag,
            Shape::Choice(words) => Self::Choice(words.to_vec()),
            Shape::List(room) => Self::List([room; 2], measure),
            Shape::Curve(room, axis) => Self::Curve(room, Measure::of(&axis), measure),
            Shape::Table(room, axes) => Self::Table(room, axes.each_ref().map(Measure::of), measure),
        }
    }
}

impl Key {
    fn new(path: impl Into<String>, wanted: Wanted, about: &'static str) -> Self {
        Self { path: path.into(), about, source: "", lines: Vec::new(), wanted }
    }

    fn by_default(self, text: impl Into<String>) -> Self {
        Self { lines: vec![Line::new(text)], ..self }
    }

    /// A parameter with its value.
    fn of<T: Scalar>(info: &ParameterInfo<T>, value: Value<'_, T>, path: String, system: System) -> Self {
        let lines = written::value(info, value, system);
        Self { path, about: info.about, source: info.source, lines, wanted: Wanted::of(info) }
    }

    /// Its value in one line, none without one.
    ///
    /// ```
    /// use trimwright_harness::keys::scenario;
    /// let keys = scenario();
    /// let supply = keys.iter().find(|key| key.path == "setup.fuel_system").expect("a key");
    /// assert_eq!(supply.value(), "\"return\"");
    /// ```
    pub fn value(&self) -> String {
        let line = |line: &Line| match line.part {
            "" => line.text(),
            part => format!("{part} = {}", line.text()),
        };
        self.lines.iter().map(line).collect::<Vec<_>>().join(", ")
    }

    /// What may stand there, in words.
    ///
    /// ```
    /// use trimwright_harness::{keys::scenario, sizing::System};
    /// let keys = scenario();
    /// let rail = keys.iter().find(|key| key.path == "setup.rail_pressure").expect("a key");
    /// assert_eq!(["50 kPa to 600 kPa", "7.26 psi to 87 psi"], [System::Si, System::Us].map(|system| rail.allowed(system)));
    /// ```
    pub fn allowed(&self, system: System) -> String {
        match &self.wanted {
            Wanted::Text => "a text".to_owned(),
            Wanted::Flag => "true or false".to_owned(),
            Wanted::Whole(low, high) => format!("a whole number, {low} to {high}"),
            Wanted::Choice(words) => {
                words.iter().map(|word| format!("{word:?}")).collect::<Vec<_>>().join(", ")
            }
            Wanted::Quantity(measure) => measure.range(system),
            Wanted::Strength => "as the kind has it".to_owned(),
            Wanted::List([least, most], measure) => {
                let length = if least == most { most.to_string() } else { format!("{least} to {most}") };
                format!("a list of {length}, each {}", measure.range(system))
            }
            Wanted::Curve(room, axis, measure) => {
                format!("2 to {room} points [{}, {}]", axis.range(system), measure.range(system))
            }
            Wanted::Table([width, height], [x, y], measure) => format!(
                "up to {width} columns of {}, up to {height} rows of {}, values of {}",
                x.range(system),
                y.range(system),
                measure.range(system)
            ),
        }
    }
}

/// The keys of a block with its values, below `section` (`""` is the whole document).
///
/// ```
/// use trimwright_control::SetupAnswers;
/// use trimwright_harness::{keys, sizing::System};
/// let paths = keys::of_block(&SetupAnswers::default(), "", &[], System::Us);
/// assert!(paths.iter().any(|key| key.path == "setup.idle_speed" && key.value() == "\"699.96344 rpm\""));
/// ```
pub fn of_block<T: Scalar>(
    block: &dyn Block<T>,
    section: &str,
    aliases: Aliases<'_>,
    system: System,
) -> Vec<Key> {
    let key = |(place, info): (usize, &ParameterInfo<T>)| {
        let path = inside(section, key_of(info, aliases)?);
        Some(Key::of(info, block.value(place)?, path, system))
    };
    block.info().iter().enumerate().filter_map(key).collect()
}

/// All keys of a scenario file, section by section.
///
/// ```
/// use trimwright_harness::keys::scenario;
/// let keys = scenario();
/// let has = |path: &str| keys.iter().any(|key| key.path == path);
/// assert!(has("passes") && has("setup.cam") && has("calibration.feedback.keep") && has("truth.vehicle.mass"));
/// ```
pub fn scenario() -> Vec<Key> {
    let (parameters, system) = (Parameters::DEFAULT, System::Si);
    let calibration =
        parameters.blocks().into_iter().flat_map(|block| of_block(block, "calibration", &[], system));
    let mut keys = vec![
        Key::new("title", Wanted::Text, "A line about it."),
        Key::new("about", Wanted::Text, "More about it, in as many lines as it takes."),
        Key::new("engine", Wanted::Text, "The engine: a name of `trimwright list`, or an engine file."),
        Key::new("schedule", Wanted::Text, "The schedule: a name of `trimwright list`, or a CSV file."),
        Key::new(
            "passes",
            Wanted::Whole(PASSES.0, PASSES.1),
            "How many times the schedule is driven while learning.",
        )
        .by_default("1"),
        Key::new("seed", Wanted::Whole(SEEDS.0, SEEDS.1), "Start of the random numbers.").by_default("1"),
    ];
    keys.extend(of_block(&SetupAnswers::DEFAULT, "", &[], system));
    keys.extend(calibration);
    keys.extend(of_block(&Installation::DEFAULT, "", INSTALLATION_ALIASES, system));
    keys.extend(of_block(&Deviations::DEFAULT, "", &[], system));
    keys.extend(fault());
    // Without them it is as the engine file has it.
    keys.extend(truth("truth").into_iter().map(|key| Key { lines: Vec::new(), ..key }));
    without_default(keys, scenario_answers::REQUIRED)
}

/// Keys of which the required ones have no default.
fn without_default(mut keys: Vec<Key>, required: &[&str]) -> Vec<Key> {
    keys.iter_mut().filter(|key| required.contains(&key.path.as_str())).for_each(|key| key.lines.clear());
    keys
}

/// The keys of a section `[[fault]]`.
fn fault() -> Vec<Key> {
    let time = |name: &str, range, about| {
        let wanted = Wanted::Quantity(Measure::quantity(Kind::Time, range));
        Key::new(format!("fault.{name}"), wanted, about)
    };
    vec![
        Key::new(
            "fault.kind",
            Wanted::Choice(KINDS.iter().map(|kind| kind.name).collect()),
            "What is wrong: a name of `trimwright faults --list`.",
        ),
        Key::new("fault.strength", Wanted::Strength, "How much; without it as much as is usual."),
        time("from", faults::TIMES_S, "When it begins, from power-up.").by_default("\"0 s\""),
        time("until", faults::TIMES_S, "When it ends; without it, it stays."),
        time("every", faults::PERIODS_S, "Length of a period, for one that comes and goes."),
        time("lasting", faults::PARTS_S, "For how long of each period it is there."),
    ]
}

/// All keys of an engine file.
///
/// ```
/// use trimwright_harness::keys::engine;
/// assert!(engine().iter().any(|key| key.path == "gearbox.final_drive"));
/// ```
pub fn engine() -> Vec<Key> {
    let mut keys = vec![
        Key::new("title", Wanted::Text, "A line about it."),
        Key::new("about", Wanted::Text, "More about it, in as many lines as it takes."),
    ];
    keys.extend(truth(""));
    without_default(keys, scenario_engine::REQUIRED)
}

/// The keys of an engine and its car.
fn truth(section: &str) -> Vec<Key> {
    let truth = Truth::mild_v8();
    let mut keys = Vec::new();
    for block in truth.blocks() {
        keys.extend(of_block(block, section, scenario_engine::ALIASES, System::Si));
        for (place, info) in block.info().iter().enumerate() {
            let list = scenario_engine::GEAR_LISTS.iter().find(|(path, _)| *path == info.path);
            let (Some((_, name)), Some(value), Shape::List(most)) = (list, block.value(place), info.shape)
            else {
                continue;
            };
            let mut key = Key::of(info, value, inside(section, name), System::Si);
            key.wanted = Wanted::List([1, most], Measure::of(&info.range));
            key.lines.iter_mut().for_each(|line| line.items.truncate(truth.gearbox.gears.into()));
            keys.push(key);
        }
    }
    keys
}

/// A page of all keys and the schemas of scenario and engine files: path below `shared` and contents of each.
///
/// ```
/// let files = trimwright_harness::keys::files();
/// assert!(files.iter().any(|(path, text)| *path == "schema/keys.md" && text.contains("calibration.feedback")));
/// ```
pub fn files() -> [(&'static str, String); 3] {
    let (scenario, engine) = (scenario(), engine());
    [
        ("schema/keys.md", page::page(&scenario, &engine)),
        ("schema/scenario.schema.json", schema::scenario(&scenario)),
        ("schema/engine.schema.json", schema::engine(&engine)),
    ]
}

#[cfg(test)]
mod tests;
