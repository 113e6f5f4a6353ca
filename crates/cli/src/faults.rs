//! `trimwright faults`: drives a scenario once with each fault and prints the effects.

use crate::failure::Failure;
use crate::progress::waiting;
use crate::scenario_choice::DEFAULT_SCENARIO;
use crate::size::{WIDTH, write_indented};
use crate::standard_output::{json, print};
use clap::Args;
use serde_json::{Value, json};
use std::fmt::Write;
use trimwright_harness::error::InputError;
use trimwright_harness::faults::examination::{self, Examined};
use trimwright_harness::faults::high_load::Danger;
use trimwright_harness::faults::{Fault, FaultKind, KINDS, named};
use trimwright_harness::scenario::Scenario;
use trimwright_harness::units::{Kind, parse};
use trimwright_live::wrapped;

pub(crate) const HELP: &str = "\
To set faults in a scenario of your own:

  [[fault]]
  kind = \"weak_pump\"     one of `trimwright faults --list`
  strength = \"60 %\"      default: the usual strength
  from = \"2 min\"         from power-up, to the end
  until = \"5 min\"
  every = \"10 s\"         period of an intermittent fault
  lasting = \"2 s\"        duration in each period

Examples:
  trimwright faults
  trimwright faults delivery-van --only weak_pump --from \"2 min\"
  trimwright faults --list

Never try a fault on a road.";

/// Indentation of the symptoms below a fault.
const INDENT: &str = "    ";

/// Explanation above the table.
const COLUMNS: &str = "\
map      difference of the learned map to that of the fault-free car, share of fuel
at idle  the same at idle speed
lambda   true mean at high load; - when not reached
lean     longest stretch leaner than lambda 1 there
danger   to the engine: LEAN or KNOCKS at high load
Below each: what the owner notices and what the controller notices, compared with the fault-free car. The controller rejects \
readings for the reasons named.";

/// Cautions below the table.
const CAUTIONS: &str = "A simulation: it does not show that a real engine survives any of this. A lean mixture at high load burns pistons \
    and valves within seconds; the lean guard works only with a correct oxygen sensor. Never try faults on a road: \
    a stalled engine has no brake and steering assist. LeakRun fuel burns: check for leaks first. Have fuel lines and exhausts \
    repaired by licensed people where rules require it.";

/// Options of `trimwright faults`.
#[derive(Args, Clone, Debug)]
pub(crate) struct FaultsOptions {
    /// Name of a scenario that comes with the program, or your own scenario file (.toml)
    #[arg(default_value = DEFAULT_SCENARIO)]
    scenario: String,
    /// Drive this speed schedule instead of thirteen minutes with idling, steady speeds and pulls
    #[arg(long, value_name = "FILE.csv")]
    schedule: Option<String>,
    /// Begin of the faults, as "30 s"; wrong answers and locations are present from the start [default: 5 min]
    #[arg(long, value_name = "TIME", allow_hyphen_values = true)]
    from: Option<String>,
    /// Only this kind of fault
    #[arg(long, value_name = "KIND")]
    only: Option<String>,
    /// List the kinds of faults without driving
    #[arg(long)]
    list: bool,
    /// Print JSON instead of text
    #[arg(long)]
    json: bool,
}

/// Drives with each fault and prints the table.
pub(crate) fn faults(options: &FaultsOptions) -> Result<(), Failure> {
    if options.list {
        return print(&if options.json {
            json(&KINDS.iter().map(to_json).collect::<Vec<_>>())?
        } else {
            kinds_text()
        });
    }
    let only = options
        .only
        .as_deref()
        .map(|name| named(name).map_err(|problem| InputError::new("--only", problem).value(name)));
    let only = only.transpose()?;
    let mut scenario = Scenario::load(&options.scenario)?;
    let schedule = match &options.schedule {
        Some(name) => {
            scenario = scenario.with_schedule(name)?;
            scenario.schedule.clone()
        }
        None => examination::schedule(),
    };
    scenario = Scenario { schedule: schedule.clone(), ..scenario }.with_passes(1);
    scenario.check_length()?;
    let from_s = match (&options.from, only) {
        (None, Some(kind)) if !kind.is_timed => 0.0,
        (from, _) => begin_s(from.as_deref(), schedule.duration_s())?,
    };
    let bar = waiting("driving with each fault");
    let examined = examination::examine(&scenario, &schedule, from_s, options.only.as_deref())
        .map_err(|error| Failure::Other(error.to_string()))?;
    bar.finish_and_clear();
    if options.json {
        return print(&json(&examined)?);
    }
    print(&table(&scenario, schedule.name(), &examined))
}

/// Begin of the faults on a drive of this length, s.
fn begin_s(from: Option<&str>, duration_s: f64) -> Result<f64, InputError> {
    let wrong = |text: &str, problem: String| InputError::new("--from", problem).value(text);
    let late = format!("must be from 0 s to before the end of the drive, which lasts {duration_s} s");
    match from {
        Some(text) => {
            let from_s = parse(Kind::Time, text).map_err(|error| wrong(text, error.to_string()))?.si;
            if (0.0..duration_s).contains(&from_s) { Ok(from_s) } else { Err(wrong(text, late)) }
        }
        None if examination::FROM_S < duration_s => Ok(examination::FROM_S),
        None => Err(wrong(&format!("{} s when not given", examination::FROM_S), late)),
    }
}

/// A kind of fault as JSON, strengths in SI units.
fn to_json(kind: &FaultKind) -> Value {
    let strength = kind.strength.as_ref().map(|strength| {
        let (low, high, usual) = (strength.low, strength.high, strength.usual);
        json!({ "unit": strength.unit, "low_si": low, "high_si": high, "usual_si": usual })
    });
    json!({ "kind": kind.name, "title": kind.title, "comes_and_goes": kind.is_timed, "strength": strength })
}

/// The kinds of faults, each with its usual strength.
fn kinds_text() -> String {
    let mut text = "Kinds of faults (kind = \"NAME\" in a section [[fault]] of a scenario)\n".to_owned();
    for kind in KINDS {
        text.push_str(&format!("  {:<20}{}\n", kind.name, Fault::usual(kind).title()));
    }
    text.push_str(
        "\nstrength: size of the fault; from, until: begin and end since power-up;\nevery, lasting: period and duration of an intermittent fault.\n",
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
    let heading =
        format!("{}: one fault at a time, schedule {schedule}, seed {}", scenario.title, scenario.seed);
    wrapped(&heading, WIDTH).iter().try_for_each(|row| writeln!(text, "{row}"))?;
    writeln!(text)?;
    for row in COLUMNS.lines() {
        wrapped_as_is(row).iter().try_for_each(|row| writeln!(text, "{row}"))?;
    }
    writeln!(text, "\n{:<20} {:>8} {:>8} {:>8} {:>8}  danger", "fault", "map", "at idle", "lambda", "lean")?;
    for one in examined {
        let load = &one.experience.high_load;
        let reached = load.danger() != Danger::NotReached;
        let at_load = |number: String| if reached { number } else { "-".to_owned() };
        writeln!(
            text,
            "{:<20} {:>8} {:>8} {:>8} {:>8}  {}",
            one.fault,
            percent(one.learned_shift),
            percent(one.learned_idle_shift),
            at_load(format!("{:.3}", load.mean_lambda)),
            at_load(format!("{:.1} s", load.longest_lean_s)),
            load.danger().words(),
        )?;
        write_indented(text, INDENT, "owner: ", &joined_symptoms(&one.owner))?;
        write_indented(text, INDENT, "controller: ", &joined_symptoms(&one.controller))?;
    }
    writeln!(text)?;
    wrapped(CAUTIONS, WIDTH).iter().try_for_each(|row| writeln!(text, "{row}"))
}

/// A row as it is if it fits, else wrapped.
fn wrapped_as_is(row: &str) -> Vec<String> {
    if row.chars().count() <= WIDTH { vec![row.to_owned()] } else { wrapped(row, WIDTH) }
}

/// Symptoms in one text; refusals are listed once at the end.
fn joined_symptoms(notices: &[String]) -> String {
    const REFUSALS: &str = "refusals: ";
    let refusals: Vec<&str> = notices.iter().filter_map(|notice| notice.strip_prefix(REFUSALS)).collect();
    let others = notices.iter().filter(|notice| !notice.starts_with(REFUSALS)).cloned();
    let refusals = (!refusals.is_empty()).then(|| format!("{REFUSALS}{}", refusals.join(", ")));
    others.chain(refusals).collect::<Vec<_>>().join("; ")
}

fn percent(ratio: f64) -> String {
    if ratio.is_finite() { format!("{:+.1} %", 100.0 * ratio) } else { "-".to_owned() }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn every_kind_is_listed() {
        let text = kinds_text();
        assert!(KINDS.iter().all(|kind| text.contains(kind.name)));
        assert_eq!(percent(f64::NAN), "-");
        assert_eq!(percent(-0.0312), "-3.1 %");
        assert!(text.contains("fuel pump delivers less by 60 %"), "{text}");
        assert!(text.lines().all(|row| row.chars().count() <= WIDTH), "{text}");
    }

    #[test]
    fn refusals_are_listed_once_and_rows_fit_the_screen() {
        let notices =
            ["P0171", "refusals: authority", "learns nothing", "refusals: starting"].map(str::to_owned);
        assert_eq!(joined_symptoms(&notices), "P0171; learns nothing; refusals: authority, starting");
        let van = Scenario::load("tired-van").expect("shipped");
        let one = Examined {
            fault: "wrong_injector_flow".to_owned(),
            title: String::new(),
            owner: vec!["idles at 1149 instead of 686 rpm".to_owned(); 9],
            controller: notices.iter().cycle().take(36).cloned().collect(),
            learned_shift: -0.123,
            learned_idle_shift: 0.456,
            experience: Default::default(),
        };
        let text = table(&van, "examination", &[one]);
        assert!(text.lines().all(|row| row.chars().count() <= WIDTH), "{text}");
        let explained = text.find("lambda   true mean").expect("explained");
        assert!(explained < text.find("wrong_injector_flow").expect("a row"), "before the first row: {text}");
    }

    #[test]
    fn a_fault_begins_within_the_drive() {
        assert_eq!(begin_s(None, 795.0), Ok(examination::FROM_S));
        assert_eq!(begin_s(Some("2 min"), 795.0), Ok(120.0));
        for (from, duration_s, message) in [
            (
                Some("20 min"),
                795.0,
                "--from, 20 min: must be from 0 s to before the end of the drive, which lasts 795 s",
            ),
            (
                Some("-5 s"),
                795.0,
                "--from, -5 s: must be from 0 s to before the end of the drive, which lasts 795 s",
            ),
            (
                None,
                110.0,
                "--from, 300 s when not given: must be from 0 s to before the end of the drive, which lasts 110 s",
            ),
        ] {
            assert_eq!(begin_s(from, duration_s).expect_err("rejected").to_string(), message);
        }
    }
}
