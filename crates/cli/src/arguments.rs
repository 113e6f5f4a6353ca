//! The words of the command line.

use crate::chosen::DEFAULT_SCENARIO;
use crate::compare::{self, CompareOptions};
use crate::export::{self, Export};
use crate::faults::{self, FaultsOptions};
use crate::fleet::{self, FleetOptions};
use crate::live::{self, Live};
use crate::parameters;
use crate::refusal::whole;
use crate::size::{self, Size};
use crate::stability::{self, StabilityOptions};
use crate::units_choice::units;
use clap::{Arg, Args, CommandFactory, Parser, Subcommand};
use clap_complete::Shell;
use std::path::PathBuf;
use trimwright_harness::units::UnitSystem;

const EXAMPLES: &str = "\
Examples:
  trimwright                          drive the delivery van and see how it learns
  trimwright list                     what there is to drive
  trimwright drive delivery-van --passes 4
  trimwright drive my-car.toml --out results/my-car
  trimwright drive --schedule my-trip.csv
  trimwright export out/delivery-van --format mdf4

Results go to out/<scenario>/: open report.html in a browser.

This is a simulation. It does not show that a real engine is safe: a lean mixture at high load destroys engines, and \
fuel under pressure, hot exhaust and raised cars can hurt people. Follow the maker's instructions and local rules, and \
have licensed people do what requires it.";

const DRIVE_EXAMPLES: &str = "\
Examples:
  trimwright drive town-coupe --passes 4
  trimwright drive my-car.toml --schedule my-trip.csv --out results/my-car
  trimwright drive --json | jq .mixture

A scenario is a text file that says which engine is driven, what its owner answered when the controller was set up, \
and in what the engine differs from those answers. `trimwright list` names those that come with the program.

A schedule of your own is a CSV file that says how fast the car is to go; its first line names the columns with their \
units, as in `time [s],speed [km/h]`. Time may be in s, min or h, speed in m/s, km/h or mph. Time counts from the first row, in which \
the car stands.

Exit code: 0 done, 2 something in the input is wrong, 1 anything else.";

const LIST_EXAMPLES: &str = "\
Examples:
  trimwright list
  trimwright list --json | jq '.scenarios[].name'";

const COMPLETIONS_EXAMPLES: &str = "\
Examples:
  trimwright completions bash > ~/.local/share/bash-completion/completions/trimwright
  trimwright completions zsh > ~/.zfunc/_trimwright
  trimwright completions fish > ~/.config/fish/completions/trimwright.fish";

const MANUAL_EXAMPLES: &str = "\
Examples:
  trimwright manual | man -l -
  trimwright manual drive > trimwright-drive.1";

/// Drives a simulated car with throttle-body fuel injection and shows how its controller learns to fuel it right.
///
/// The controller starts from what the owner knows about the engine, which is never quite right. While driving it reads
/// the oxygen sensor in the exhaust and corrects its fuel map cell by cell. Without a command, the delivery van is driven.
#[derive(Debug, Parser)]
#[command(name = "trimwright", version, after_help = EXAMPLES, args_conflicts_with_subcommands = true, max_term_width = 100)]
pub(crate) struct Arguments {
    #[command(subcommand)]
    pub(crate) command: Option<Command>,
    #[command(flatten)]
    pub(crate) options: DriveOptions,
}

#[derive(Debug, Subcommand)]
pub(crate) enum Command {
    /// Drive a scenario and write down what was learned
    #[command(after_help = DRIVE_EXAMPLES)]
    Drive {
        /// Name of a scenario that comes with the program, or your own scenario file (.toml)
        #[arg(default_value = DEFAULT_SCENARIO)]
        scenario: String,
        #[command(flatten)]
        options: DriveOptions,
    },
    /// Drive the same scenario with each learner, side by side
    #[command(after_help = compare::EXAMPLES)]
    Compare {
        /// Name of a scenario that comes with the program, or your own scenario file (.toml)
        #[arg(default_value = DEFAULT_SCENARIO)]
        scenario: String,
        #[command(flatten)]
        options: CompareOptions,
    },
    /// Drive many engines drawn by lot, and see how well learning does over all of them
    #[command(after_help = fleet::EXAMPLES)]
    Fleet {
        /// Name of a scenario that comes with the program, or your own scenario file (.toml)
        #[arg(default_value = DEFAULT_SCENARIO)]
        scenario: String,
        #[command(flatten)]
        options: FleetOptions,
    },
    /// Show where trim and learning begin to swing, against the exact limit
    #[command(after_help = stability::EXAMPLES)]
    Stability(StabilityOptions),
    /// Work out whether injectors, pump, lines, wires, sensor place, fans and nitrous are enough for the engine
    #[command(after_help = size::HELP)]
    Size(Size),
    /// Drive a scenario once with each fault: what owner and controller notice, and whether the engine is in danger
    #[command(after_help = faults::HELP)]
    Faults(FaultsOptions),
    /// List the controller's parameters: what the sections of a scenario file below `calibration` can set
    #[command(after_help = parameters::HELP)]
    Parameters(parameters::ParametersOptions),
    /// Drive by key in the terminal, in real time or faster, and watch the map fill in
    #[command(after_help = live::EXAMPLES)]
    Live(Live),
    /// List the scenarios, engines and schedules that come with the program
    #[command(after_help = LIST_EXAMPLES)]
    List {
        /// Print JSON, in SI units
        #[arg(long)]
        json: bool,
        /// Units of the table
        #[arg(long, value_parser = units(), default_value = "si")]
        units: UnitSystem,
    },
    /// Give the results of a drive to other programs as CSV, Parquet or ASAM MDF 4
    #[command(after_help = export::EXAMPLES)]
    Export(Export),
    /// Print the script that completes our words in a shell
    #[command(after_help = COMPLETIONS_EXAMPLES)]
    Completions {
        /// Shell
        shell: Shell,
    },
    /// Print the manual page
    #[command(after_help = MANUAL_EXAMPLES)]
    Manual {
        /// Command whose page to print [default: that of the program]
        command: Option<String>,
    },
}

/// The words with what they take: `--passes` and `--seed` mean the same on every command.
pub(crate) fn command() -> clap::Command {
    fn numbered(argument: Arg) -> Arg {
        match argument.get_id().as_str() {
            "passes" => argument.value_parser(whole::<u32>(1, 100)).allow_negative_numbers(true),
            "seed" => argument.value_parser(whole::<u64>(0, u64::MAX)).allow_negative_numbers(true),
            _ => argument,
        }
    }
    Arguments::command().mut_args(numbered).mut_subcommands(|command| command.mut_args(numbered))
}

#[derive(Args, Clone, Debug)]
pub(crate) struct DriveOptions {
    /// How many times to drive the schedule, 1 to 100 [default: as the scenario says]
    #[arg(long, value_name = "N")]
    pub(crate) passes: Option<u32>,
    /// Start of the random numbers; the same one gives the same drive [default: as the scenario says]
    #[arg(long, value_name = "N")]
    pub(crate) seed: Option<u64>,
    /// Drive this speed schedule instead: a name from `trimwright list` or a .csv file
    #[arg(long, value_name = "FILE.csv")]
    pub(crate) schedule: Option<String>,
    /// Where to write the results [default: out/SCENARIO]
    #[arg(long, value_name = "DIR")]
    pub(crate) out: Option<PathBuf>,
    /// Let the loop check itself while idling, which finds air that enters before the oxygen sensor; learning at idle takes longer
    #[arg(long, conflicts_with = "on_target")]
    pub(crate) self_check: bool,
    /// Run the controller on an emulated Cortex-M4F: the program that `.ci/run_target build in_the_loop` makes
    #[arg(long, value_name = "PROGRAM")]
    pub(crate) on_target: Option<PathBuf>,
    /// Print nothing unless something goes wrong
    #[arg(long, conflicts_with = "json")]
    pub(crate) quiet: bool,
    /// Print the summary as JSON instead of the table
    #[arg(long)]
    pub(crate) json: bool,
    /// Units of the table
    #[arg(long, value_parser = units(), default_value = "si")]
    pub(crate) units: UnitSystem,
}

#[cfg(test)]
mod tests {
    use super::*;
    use clap::FromArgMatches;

    fn parsed(words: &[&str]) -> Arguments {
        let matches = command().try_get_matches_from(words).expect("allowed");
        Arguments::from_arg_matches(&matches).expect("parsed")
    }

    #[test]
    fn the_command_line_is_sound() {
        command().debug_assert();
    }

    #[test]
    fn options_work_with_and_without_the_command() {
        let plain = parsed(&["trimwright", "--passes", "3", "--quiet"]);
        assert!(plain.command.is_none());
        assert_eq!((plain.options.passes, plain.options.quiet), (Some(3), true));
        let named = parsed(&["trimwright", "drive", "--seed", "9"]);
        match named.command {
            Some(Command::Drive { scenario, options }) => {
                assert_eq!((scenario.as_str(), options.seed), (DEFAULT_SCENARIO, Some(9)));
            }
            other => panic!("{other:?}"),
        }
    }
}
