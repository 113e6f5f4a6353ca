//! Drives a scenario once with each fault and tells what came of it.

use crate::arguments::DEFAULT_SCENARIO;
use crate::manners::{json, waiting};
use crate::size::wrapped;
use crate::{Failure, say};
use clap::Args;
use serde_json::{Value, json};
use std::fmt::Write;
use trimwright_harness::error::InputError;
use trimwright_harness::faults::examination::{self, Examined};
use trimwright_harness::faults::high_load::Danger;
use trimwright_harness::faults::{Fault, FaultKind, KINDS, find};
use trimwright_harness::scenario::Scenario;
use trimwright_harness::units::{Kind, UnitError, parse};

pub(crate) const HELP: &str = "\
To put faults into a scenario of your own:

  [[fault]]
  kind = \"weak_pump\"     one of `trimwright faults --list`
  strength = \"60 %\"      as usual when left out
  from = \"2 min\"         from power-up, to the end
  until = \"5 min\"
  every = \"10 s\"         comes and goes
  lasting = \"2 s\"

Examples:
  trimwright faults
  trimwright faults delivery-van --only weak_pump --from \"2 min\"
  trimwright faults --list

Never try a fault on a road.";

/// Widths of the columns.
const OWNER: usize = 34;
const CONTROLLER: usize = 34;

/// Said below the table.
const CAUTIONS: &str = "A simulation: it does not show that a real engine survives any of this. A lean mixture at high load burns pistons \
    and valves within seconds; the lean guard helps only while the oxygen sensor tells the truth. Never try faults on a road: \
    an engine that stalls takes the help of brakes and steering with it. Fuel that leaks burns: look for leaks first. Repairs of fuel \
    lines and exhausts belong into licensed hands where rules say so.";

/// What was asked for.
#[derive(Args, Clone, Debug)]
pub(crate) struct Faults {
    /// Name of a scenario that comes with the program, or your own scenario file (.toml)
    #[arg(default_value = DEFAULT_SCENARIO)]
    scenario: String,
    /// Drive this speed schedule instead of thirteen minutes with idling, steady speeds and pulls
    #[arg(long, value_name = "FILE.csv")]
    schedule: Option<String>,
    /// When a fault begins, as "30 s"; wrong answers and wrong places are there from the start [default: 5 min]
    #[arg(long, value_name = "TIME")]
    from: Option<String>,
    /// Only this kind of fault
    #[arg(long, value_name = "KIND")]
    only: Option<String>,
    /// Name the kinds of faults and drive nothing
    #[arg(long)]
    list: bool,
    /// Print JSON instead of text
    #[arg(long)]
    json: bool,
}

/// Loads, drives and tells.
pub(crate) fn faults(asked: &Faults) -> Result<(), Failure> {
    if asked.list {
        return say(&if asked.json { json(&KINDS.iter().map(told).collect::<Vec<_>>())? } else { kinds() });
    }
    if let Some(name) = &asked.only
        && find(name).is_none()
    {
        let problem = "is no kind of fault; `trimwright faults --list` names them";
        return Err(InputError::new("--only", problem).value(name).into());
    }
    let from_s = match &asked.from {
        Some(text) => {
            let wrong = |error: UnitError| InputError::new("--from", error.to_string()).value(text);
            parse(Kind::Time, text).map_err(wrong)?.si.max(0.0)
        }
        None => examination::FROM_S,
    };
    let mut scenario = Scenario::load(&asked.scenario)?;
    let schedule = match &asked.schedule {
        Some(name) => {
            scenario = scenario.with_schedule(name)?.with_passes(1);
            scenario.check_length()?;
            scenario.schedule.clone()
        }
        None => examination::schedule(),
    };
    let bar = waiting("driving with one fault after the other");
    let examined = examination::examine(&scenario, &schedule, from_s, asked.only.as_deref())
        .map_err(|error| Failure::Other(error.to_string()))?;
    bar.finish_and_clear();
    if asked.json {
        return say(&json(&examined)?);
    }
    say(&table(&scenario, schedule.name(), &examined))
}

/// A kind for other programs; strengths are in SI units.
fn told(kind: &FaultKind) -> Value {
    let strength = kind.strength.as_ref().map(|strength| {
        let (low, high, usual) = (strength.low, strength.high, strength.usual);
        json!({ "unit": strength.unit, "low_si": low, "high_si": high, "usual_si": usual })
    });
    json!({ "kind": kind.name, "title": kind.title, "comes_and_goes": kind.comes_and_goes, "strength": strength })
}

/// The kinds of faults, each with its usual strength.
fn kinds() -> String {
    let mut text = "Kinds of faults (kind = \"NAME\" in a section [[fault]] of a scenario)\n".to_owned();
    for kind in KINDS {
        text.push_str(&format!("  {:<20}{}\n", kind.name, Fault::usual(kind).title()));
    }
    text.push_str(
        "\nstrength says how much; from and until when, counted from power-up; every and lasting that it comes and goes.\n",
    );
    text
}

fn table(scenario: &Scenario, schedule: &str, examined: &[Examined]) -> String {
    let mut text = String::new();
    // Writing into a String can't fail.
    let _ = fill(&mut text, scenario, schedule, examined);
    text
}

fn fill(text: &mut String, scenario: &Scenario, schedule: &str, examined: &[Examined]) -> std::fmt::Result {
    writeln!(text, "{}: one fault at a time, schedule {schedule}, seed {}\n", scenario.title, scenario.seed)?;
    writeln!(
        text,
        "{:<20} {:<OWNER$} {:<CONTROLLER$} {:>7} {:>7} {:>9} {:>9}  danger",
        "fault", "what the owner notices", "what the controller notices", "map", "at idle", "lambda", "lean",
    )?;
    for one in examined {
        let (owner, controller) = (cell(&one.owner, OWNER), cell(&one.controller, CONTROLLER));
        let load = &one.experience.high_load;
        let reached = load.danger() != Danger::NotReached;
        let at_load = |number: String| if reached { number } else { "-".to_owned() };
        for row in 0..owner.len().max(controller.len()).max(1) {
            let of = |rows: &[String]| rows.get(row).cloned().unwrap_or_default();
            let start = format!("{:<OWNER$} {:<CONTROLLER$}", of(&owner), of(&controller));
            if row > 0 {
                writeln!(text, "{:<20} {}", "", start.trim_end())?;
                continue;
            }
            writeln!(
                text,
                "{:<20} {start} {:>7} {:>7} {:>9} {:>9}  {}",
                one.fault,
                percent(one.learned_shift),
                percent(one.learned_idle_shift),
                at_load(format!("{:.3}", load.mean_lambda)),
                at_load(format!("{:.1} s", load.longest_lean_s)),
                load.danger().words(),
            )?;
        }
    }
    writeln!(
        text,
        "\nmap: what was learned against the sound car, fuel; at idle: the same there; lambda: true mean at high load; lean: longest \
         stretch above lambda 1 at high load.\n"
    )?;
    wrapped(CAUTIONS, 120).iter().try_for_each(|row| writeln!(text, "{row}"))
}

/// Notices in a column.
fn cell(notices: &[String], width: usize) -> Vec<String> {
    wrapped(&notices.join(", "), width)
}

fn percent(ratio: f64) -> String {
    if ratio.is_finite() { format!("{:+.1} %", 100.0 * ratio) } else { "-".to_owned() }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn every_kind_is_listed() {
        let text = kinds();
        assert!(KINDS.iter().all(|kind| text.contains(kind.name)));
        assert_eq!(percent(f64::NAN), "-");
        assert_eq!(percent(-0.0312), "-3.1 %");
    }
}
