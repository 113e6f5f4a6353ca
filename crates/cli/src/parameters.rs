//! `trimwright parameters`: lists the controller's parameters.

use crate::size::{WIDTH, write_indented};
use crate::standard_output::json;
use crate::units_choice::units;
use crate::{Failure, print};
use clap::Args;
use std::fmt::Write;
use trimwright_control::Parameters;
use trimwright_harness::block_reader::key_of;
use trimwright_harness::error::InputError;
use trimwright_harness::keys::{self, FileKey, FileLine};
use trimwright_harness::parameters::{FINE_ADJUSTMENT, check_stage, list};
use trimwright_harness::scenario::Scenario;
use trimwright_harness::units::UnitSystem;

pub(crate) const HELP: &str = "\
The text has the form of a scenario file: a section for each stage of the controller, and above each parameter its meaning, \
its range, and the source of its default. Copy only the parameters that you change into your scenario file. All other keys \
and the units are in shared/schema/keys.md.

Examples:
  trimwright parameters
  trimwright parameters feedback
  trimwright parameters --fine --units us
  trimwright parameters --scenario my-car.toml --json | jq '.[] | select(.value != .default)'

Parameters change the mixture. On a real engine a wrong value can make it lean at high load, which destroys the engine.";

const HEAD: &str = "Parameters of the controller in the form of a scenario file. Copy those that you change.";
const FINE: &str = "Fine adjustment, try first:";

/// Options of `trimwright parameters`.
#[derive(Args, Clone, Debug)]
pub(crate) struct ParametersOptions {
    /// Only this stage of the controller
    stage: Option<String>,
    /// Values of this scenario: a name from `trimwright list` or a .toml file [default: the default values]
    #[arg(long, value_name = "SCENARIO")]
    scenario: Option<String>,
    /// Only the parameters for fine adjustment by the owner
    #[arg(long)]
    fine: bool,
    /// Print JSON instead of text, in SI units: for each its value, default and range
    #[arg(long)]
    json: bool,
    /// Units of the text
    #[arg(long, value_parser = units(), default_value = "si")]
    units: UnitSystem,
}

impl ParametersOptions {
    /// Whether a parameter of this stage and path is selected.
    fn wants(&self, stage: &str, path: &str) -> bool {
        self.stage.as_deref().is_none_or(|wanted| wanted == stage)
            && (!self.fine || FINE_ADJUSTMENT.contains(&path))
    }
}

/// Prints the selected parameters.
pub(crate) fn parameters(options: &ParametersOptions) -> Result<(), Failure> {
    if let Some(stage) = &options.stage {
        check_stage(stage).map_err(|problem| InputError::new(stage, problem))?;
    }
    let parameters = match &options.scenario {
        Some(name) => Scenario::load(name)?.parameters,
        None => Parameters::DEFAULT,
    };
    if options.json {
        let mut all = list(&parameters);
        all.retain(|one| options.wants(one.stage, &format!("{}.{}", one.stage, one.name)));
        return print(&json(&all)?);
    }
    let mut text = String::new();
    // Writing into a String can't fail.
    let _ = fill(&mut text, options, &parameters);
    print(&text)
}

fn fill(text: &mut String, options: &ParametersOptions, parameters: &Parameters) -> std::fmt::Result {
    let system = options.units;
    write_indented(text, "# ", "", HEAD)?;
    if options.stage.is_none() && !options.fine {
        write_indented(text, "# ", "", FINE)?;
        let all: Vec<_> = parameters.blocks().into_iter().flat_map(|block| block.info()).collect();
        let info = |path: &&str| all.iter().find(|info| info.path == *path);
        let keys: Vec<_> =
            FINE_ADJUSTMENT.iter().filter_map(info).filter_map(|info| key_of(info, &[])).collect();
        write_indented(text, "#   ", "", &keys.join(", "))?;
    }
    let default = Parameters::DEFAULT;
    for (block, default) in parameters.blocks().into_iter().zip(default.blocks()) {
        let keys = |block| keys::of_block(block, "calibration", &[], system);
        let keys: Vec<_> = keys(block).into_iter().zip(keys(default)).zip(block.info()).collect();
        let mut wanted = keys
            .iter()
            .filter(|(_, info)| options.wants(block.stage(), info.path))
            .map(|(pair, _)| pair)
            .peekable();
        if wanted.peek().is_some() {
            writeln!(text, "\n[calibration.{}]", block.stage())?;
        }
        wanted.try_for_each(|(key, default)| parameter(text, system, key, default))?;
    }
    Ok(())
}

fn parameter(text: &mut String, system: UnitSystem, key: &FileKey, default: &FileKey) -> std::fmt::Result {
    writeln!(text)?;
    write_indented(text, "# ", "", key.about)?;
    write_indented(text, "#   ", "allowed: ", &key.allowed(system))?;
    if key.lines != default.lines {
        write_indented(text, "#   ", "default: ", &default.value())?;
    }
    write_indented(text, "#   ", "source: ", key.source)?;
    let name = key.path.rsplit_once('.').map_or(key.path.as_str(), |(_, name)| name);
    for line in &key.lines {
        let name = if line.part.is_empty() { name.to_owned() } else { format!("{name}.{}", line.part) };
        rows(text, &name, line)?;
    }
    Ok(())
}

/// A key and its value in one or more rows.
fn rows(text: &mut String, name: &str, line: &FileLine) -> std::fmt::Result {
    let one = format!("{name} = {}", line.text());
    if !line.is_list || one.chars().count() <= WIDTH {
        return writeln!(text, "{one}");
    }
    writeln!(text, "{name} = [")?;
    let mut row = String::new();
    for item in &line.items {
        if !row.is_empty() && row.chars().count() + item.chars().count() + 4 > WIDTH {
            writeln!(text, " {row}")?;
            row.clear();
        }
        write!(row, " {item},")?;
    }
    writeln!(text, " {row}\n]")
}

#[cfg(test)]
mod tests {
    use super::*;

    fn text_of(options: &ParametersOptions, parameters: &Parameters) -> String {
        let mut text = String::new();
        fill(&mut text, options, parameters).expect("writing to a String");
        text
    }

    fn all() -> ParametersOptions {
        ParametersOptions { stage: None, scenario: None, fine: false, json: false, units: UnitSystem::Si }
    }

    /// The printed text in a scenario file sets the printed values.
    #[test]
    fn the_text_is_valid_in_a_scenario_file() {
        let mut set = Parameters::DEFAULT;
        set.feedback.hold_s = 61.5;
        set.sensors.ect_points_ohm[7].1 = 188.8;
        for units in [UnitSystem::Si, UnitSystem::Us] {
            let text = text_of(&ParametersOptions { units, ..all() }, &set);
            let home = tempfile::tempdir().expect("a place");
            let file = home.path().join("own.toml");
            let van = include_str!("../shared/scenarios/delivery-van.toml");
            std::fs::write(&file, format!("{van}\n{text}")).expect("written");
            let read = Scenario::load(file.to_str().expect("UTF-8")).map(|scenario| scenario.parameters);
            assert_eq!(read, Ok(set.clone()), "{text}");
            assert!(text.lines().all(|row| row.chars().count() <= WIDTH && row.trim_end() == row), "{text}");
        }
    }

    #[test]
    fn a_changed_value_is_shown_with_its_default() {
        let mut set = Parameters::DEFAULT;
        set.feedback.hold_s = 60.0;
        let text = text_of(&ParametersOptions { stage: Some("feedback".to_owned()), ..all() }, &set);
        assert!(text.contains("#   allowed: 0 s to 600 s\n#   default: \"10 s\"\n"), "{text}");
        assert!(text.contains("\nhold = \"60 s\"\n") && !text.contains("[calibration.sensors]"), "{text}");
        assert_eq!(text.matches("default: ").count(), 1, "{text}");
    }

    #[test]
    fn fine_adjustment_is_short() {
        let text = text_of(&ParametersOptions { fine: true, ..all() }, &Parameters::DEFAULT);
        assert_eq!(text.matches("allowed: ").count(), FINE_ADJUSTMENT.len(), "{text}");
        assert!(
            text_of(&all(), &Parameters::DEFAULT)
                .contains("#   wanted_lambda.by_load, wanted_lambda.by_throttle")
        );
    }
}
