//! `trimwright size`: prints the sizing of fuel system, wiring and cooling.

use crate::failure::Failure;
use crate::scenario_choice::DEFAULT_SCENARIO;
use crate::standard_output::{json, print};
use crate::units_choice::units;
use clap::Args;
use std::fmt::Write;
use trimwright_harness::scenario::Scenario;
use trimwright_harness::sizing::{self, Limit, Line, Sizing};
use trimwright_harness::units::UnitSystem;
use trimwright_live::wrapped;

pub(crate) const HELP: &str = "\
Uses the ratings of the parts and the section [installation] of the scenario: power, hottest fuel, pickup and strainer, \
hose and clamps, wires, location of the oxygen sensor. Each line shows its formula with numbers, its limit, what to change \
and the source. ok: within the limit; tight: within, but near it; not enough, too much, wrong: to be changed.

Examples:
  trimwright size
  trimwright size hot-cam-town --units us
  trimwright size my-car.toml --json

A calculation is no proof. Fuel under pressure, raised cars, welding and nitrous can injure people: follow the makers' \
instructions and local rules, and have licensed people do what requires it.";

/// Options of `trimwright size`.
#[derive(Args, Clone, Debug)]
pub(crate) struct SizeOptions {
    /// Name of a scenario that comes with the program, or your own scenario file (.toml)
    #[arg(default_value = DEFAULT_SCENARIO)]
    scenario: String,
    /// Print JSON instead of text, in SI units; each value has its unit beside it
    #[arg(long)]
    json: bool,
    /// Units of the text
    #[arg(long, value_parser = units(), default_value = "si")]
    units: UnitSystem,
}

/// Largest number of characters in a row.
pub(crate) const WIDTH: usize = 100;
const INDENT: &str = "                ";

/// Computes the sizing and prints it.
pub(crate) fn size(options: &SizeOptions) -> Result<(), Failure> {
    let scenario = Scenario::load(&options.scenario)?;
    // The answers were checked when the scenario was loaded.
    let system = if options.json { UnitSystem::Si } else { options.units };
    let sizing = sizing::size(&scenario, system).map_err(|error| Failure::Other(error.to_string()))?;
    if options.json {
        return print(&json(&sizing)?);
    }
    print(&text(&scenario, &sizing))
}

fn text(scenario: &Scenario, sizing: &Sizing) -> String {
    let mut text = String::new();
    // Writing into a String can't fail.
    let _ = fill(&mut text, scenario, sizing);
    text
}

fn fill(text: &mut String, scenario: &Scenario, sizing: &Sizing) -> std::fmt::Result {
    writeln!(text, "{}: sizing", scenario.title)?;
    let mut part = "";
    for line in &sizing.lines {
        if line.part != part {
            part = line.part;
            writeln!(text, "\n{}", capitalized(part))?;
        }
        let limit = line.limit.map(|limit| limit_of(line, limit)).unwrap_or_default();
        let value = line.word.map_or_else(|| with_unit(line.value, line.unit), str::to_owned);
        let row = format!("  {:<12}  {:<41} {value:>12}  {limit}", line.verdict.words(), line.what);
        writeln!(text, "{}", row.trim_end())?;
        write_indented(text, INDENT, "= ", &line.formula)?;
        write_indented(text, INDENT, "-> ", &line.change)?;
        write_indented(text, INDENT, "source: ", &line.source)?;
    }
    writeln!(text, "\nCautions")?;
    for caution in &sizing.cautions {
        write_indented(text, "  ", "* ", caution)?;
    }
    Ok(())
}

fn limit_of(line: &Line, limit: Limit) -> String {
    match limit {
        Limit::AtMost(most) => format!("at most {}", with_unit(most, line.unit)),
        Limit::AtLeast(least) => format!("at least {}", with_unit(least, line.unit)),
        Limit::Between(low, high) => format!("{} to {}", number(low), with_unit(high, line.unit)),
    }
}

fn with_unit(value: f64, unit: &str) -> String {
    if unit.is_empty() { number(value) } else { format!("{} {unit}", number(value)) }
}

/// Four significant digits without trailing zeros.
fn number(value: f64) -> String {
    let rounded: f64 = format!("{value:.3e}").parse().unwrap_or(f64::NAN);
    format!("{}", rounded + 0.0)
}

/// Writes text in indented rows; continuation rows are aligned behind `mark`.
pub(crate) fn write_indented(text: &mut String, indent: &str, mark: &str, words: &str) -> std::fmt::Result {
    for (index, row) in wrapped(words, WIDTH - indent.len() - mark.len()).iter().enumerate() {
        let mark = if index == 0 { mark.to_owned() } else { " ".repeat(mark.len()) };
        writeln!(text, "{indent}{mark}{row}")?;
    }
    Ok(())
}

fn capitalized(words: &str) -> String {
    let mut letters = words.chars();
    letters.next().map_or_else(String::new, |first| first.to_uppercase().chain(letters).collect())
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_sizing_shows_each_line_with_its_formula_and_source_and_the_cautions() {
        let scenario = Scenario::load("delivery-van").expect("shipped");
        let sizing = sizing::size(&scenario, UnitSystem::Si).expect("allowed answers");
        let text = text(&scenario, &sizing);
        for line in &sizing.lines {
            assert!(text.contains(line.what), "{}", line.what);
        }
        assert!(text.contains("Cautions") && text.contains("= ") && text.contains("source: "));
        assert!(text.contains(" yes\n") && text.contains(" straight\n"), "{text}");
        assert!(text.lines().all(|row| row.chars().count() <= 100 && row.trim_end() == row), "{text}");
    }

    #[test]
    fn rows_break_between_words() {
        assert_eq!(wrapped("one two  three", 7), ["one two", "three"]);
        assert_eq!(wrapped("unbreakable", 3), ["unbreakable"]);
        assert!(wrapped(" ", 3).is_empty());
    }
}
