//! All keys of scenario and engine files: allowed values, default, meaning.
//!
//! Generated from the tables that the files are read with. [`files`] makes a page for people and schemas for editors; `cargo run -p
//! trimwright-harness --example keys` writes them.

mod key;
mod page;
mod schema;
mod written;

use crate::document::inside;
use crate::faults::{self, KINDS};
use crate::measure::Measure;
use crate::scenario::{Deviations, DisturbanceScale, PASSES, SEEDS};
use crate::sizing::{INSTALLATION_ALIASES, Installation};
use crate::units::{Kind, UnitSystem};
use crate::{scenario_answers, scenario_engine};
use key::AllowedValue;
pub use key::{FileKey, of_block};
use trimwright_control::{Parameters, SetupAnswers};
use trimwright_numerics::parameters::Shape;
use trimwright_plant::Truth;
pub use written::FileLine;

/// All keys of a scenario file, by section.
pub fn scenario() -> Vec<FileKey> {
    let (parameters, system) = (Parameters::DEFAULT, UnitSystem::Si);
    let calibration =
        parameters.blocks().into_iter().flat_map(|block| of_block(block, "calibration", &[], system));
    let mut keys = vec![
        FileKey::new("title", AllowedValue::Text, "One line of description."),
        FileKey::new("about", AllowedValue::Text, "Longer description, in one or more lines."),
        FileKey::new(
            "engine",
            AllowedValue::Text,
            "The engine: a name of `trimwright list`, or an engine file.",
        ),
        FileKey::new(
            "schedule",
            AllowedValue::Text,
            "The schedule: a name of `trimwright list`, or a CSV file.",
        ),
        FileKey::new(
            "passes",
            AllowedValue::Whole(PASSES.0, PASSES.1),
            "Number of passes through the schedule while learning.",
        )
        .by_default("1"),
        FileKey::new("seed", AllowedValue::Whole(SEEDS.0, SEEDS.1), "Seed of the random numbers.")
            .by_default("1"),
    ];
    keys.extend(of_block(&SetupAnswers::DEFAULT, "", &[], system));
    keys.extend(calibration);
    keys.extend(of_block(&Installation::DEFAULT, "", INSTALLATION_ALIASES, system));
    keys.extend(of_block(&Deviations::DEFAULT, "", &[], system));
    keys.extend(of_block(&DisturbanceScale::DEFAULT, "", &[], system));
    keys.extend(fault());
    // The default is the engine file's value.
    keys.extend(truth("truth").into_iter().map(|key| FileKey { lines: Vec::new(), ..key }));
    without_default(keys, scenario_answers::REQUIRED)
}

/// Removes the default of required keys.
fn without_default(mut keys: Vec<FileKey>, required: &[&str]) -> Vec<FileKey> {
    keys.iter_mut().filter(|key| required.contains(&key.path.as_str())).for_each(|key| key.lines.clear());
    keys
}

/// Keys of a section `[[fault]]`.
fn fault() -> Vec<FileKey> {
    let time = |name: &str, range, about| {
        let wanted = AllowedValue::Quantity(Measure::quantity(Kind::Time, range));
        FileKey::new(format!("fault.{name}"), wanted, about)
    };
    vec![
        FileKey::new(
            "fault.kind",
            AllowedValue::Choice(KINDS.iter().map(|kind| kind.name).collect()),
            "Kind of fault: a name of `trimwright faults --list`.",
        ),
        FileKey::new("fault.strength", AllowedValue::Strength, "Strength; the usual one without it."),
        time("from", faults::TIMES_S, "Start, from power-up.").by_default("\"0 s\""),
        time("until", faults::TIMES_S, "End, from power-up; without it the fault stays."),
        time("every", faults::PERIODS_S, "Period of an intermittent fault."),
        time("lasting", faults::PARTS_S, "Part of each period in which the fault is present."),
    ]
}

/// All keys of an engine file.
pub fn engine() -> Vec<FileKey> {
    let mut keys = vec![
        FileKey::new("title", AllowedValue::Text, "One line of description."),
        FileKey::new("about", AllowedValue::Text, "Longer description, in one or more lines."),
    ];
    keys.extend(truth(""));
    without_default(keys, scenario_engine::REQUIRED)
}

/// Keys of an engine and its car.
fn truth(section: &str) -> Vec<FileKey> {
    let truth = Truth::mild_v8();
    let mut keys = Vec::new();
    for block in truth.blocks() {
        keys.extend(of_block(block, section, scenario_engine::ALIASES, UnitSystem::Si));
        for (place, info) in block.info().iter().enumerate() {
            let list = scenario_engine::GEAR_LISTS.iter().find(|(path, _)| *path == info.path);
            let (Some((_, name)), Some(value), Shape::List(most)) = (list, block.value(place), info.shape)
            else {
                continue;
            };
            let mut key = FileKey::of(info, value, inside(section, name), UnitSystem::Si);
            key.wanted = AllowedValue::List([1, most], Measure::of(&info.range));
            key.lines.iter_mut().for_each(|line| line.items.truncate(truth.gearbox.gears.into()));
            keys.push(key);
        }
    }
    keys
}

/// A page of all keys, and the schemas of scenario and engine files: path below `shared`, and contents.
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
