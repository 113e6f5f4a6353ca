//! Commands and options of the command line.

use crate::command_line_error::whole;
use crate::compare::{self, CompareOptions};
use crate::export::{self, ExportOptions};
use crate::faults::{self, FaultsOptions};
use crate::fleet::{self, FleetOptions};
use crate::live::{self, LiveArguments};
use crate::parameters;
use crate::scenario_choice::DEFAULT_SCENARIO;
use crate::size::{self, SizeOptions};
use crate::stability::{self, StabilityOptions};
use crate::units_choice::units;
use clap::{Arg, Args, CommandFactory, Parser, Subcommand};
use clap_complete::Shell;
use std::path::PathBuf;
use trimwright_harness::units::UnitSystem;

const EXAMPLES: &str = "\
Examples:
  trimwright                          drive the delivery van and show how it learns
  trimwright list                     list the scenarios
  trimwright drive delivery-van --passes 4
  trimwright drive my-car.toml --out results/my-car
  trimwright drive --schedule my-trip.csv
  trimwright export out/delivery-van --format mdf4

Results go to out/<scenario>/: open report.html in a browser.

This is a simulation. It does not show that a real engine is safe: a lean mixture at high load destroys engines, and \
fuel under pressure, hot exhaust and raised cars can injure people. Follow the maker's instructions and local rules, and \
have licensed people do what requires it.";

const DRIVE_EXAMPLES: &str = "\
Examples:
  trimwright drive town-coupe --passes 4
  trimwright drive my-car.toml --schedule my-trip.csv --out results/my-car
  trimwright drive --json | jq .mixture

A scenario is a text file with the engine, the owner's setup answers to the controller, and the deviations of the engine \
from those answers. `trimwright list` lists those that come with the program.

A schedule of your own is a CSV file with the speed of the car over time; its first line names the columns with their \
units, as in `time [s],speed [km/h]`. Time may be in s, min or h, speed in m/s, km/h or mph. Time counts from the first row, in which \
the speed must be 0.

Exit code: 0 success, 2 invalid input, 1 any other failure.";

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

/// Drives a simulated car with throttle-body fuel injection and shows how its controller learns the fuel map.
///
/// The controller starts from the owner's setup answers, which are never exact. While driving it measures lambda in the
/// exhaust and corrects its fuel map cell by cell. Without a command, the delivery van is driven.
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
    /// Drive a scenario and write the results
    #[command(after_help = DRIVE_EXAMPLES)]
    Drive {
        /// Name of a scenario that comes with the program, or your own scenario file (.toml)
        #[arg(default_value = DEFAULT_SCENARIO)]
        scenario: String,
        #[command(flatten)]
        options: DriveOptions,
    },
    /// Drive the same scenario with each learner and compare them
    #[command(after_help = compare::EXAMPLES)]
    Compare {
        /// Name of a scenario that comes with the program, or your own scenario file (.toml)
        #[arg(default_value = DEFAULT_SCENARIO)]
        scenario: String,
        #[command(flatten)]
        options: CompareOptions,
    },
    /// Drive many randomly sampled engines and show the distribution of the results
    #[command(after_help = fleet::EXAMPLES)]
    Fleet {
        /// Name of a scenario that comes with the program, or your own scenario file (.toml)
        #[arg(default_value = DEFAULT_SCENARIO)]
        scenario: String,
        #[command(flatten)]
        options: FleetOptions,
    },
    /// Show the stability limits of trim and learning, against the exact limit
    #[command(after_help = stability::EXAMPLES)]
    Stability(StabilityOptions),
    /// Check the sizing of injectors, pump, lines, wires, sensor location, fans and nitrous for the engine
    #[command(after_help = size::HELP)]
    Size(SizeOptions),
    /// Drive a scenario once with each fault: symptoms for owner and controller, and danger to the engine
    #[command(after_help = faults::HELP)]
    Faults(FaultsOptions),
    /// List the controller's parameters: what the sections of a scenario file below `calibration` can set
    #[command(after_help = parameters::HELP)]
    Parameters(parameters::ParametersOptions),
    /// Drive by keyboard in the terminal, in real time or faster, and watch the map being learned
    #[command(after_help = live::EXAMPLES)]
    Live(LiveArguments),
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
    /// Export the results of a drive as CSV, Parquet or ASAM MDF 4
    #[command(after_help = export::EXAMPLES)]
    Export(ExportOptions),
    /// Print the completion script for a shell
    #[command(after_help = COMPLETIONS_EXAMPLES)]
    Completions {
        /// Shell
        shell: Shell,
    },
    /// Print the manual page
    #[command(after_help = MANUAL_EXAMPLES)]
    Manual {
        /// Command whose page to print [default: the program]
        command: Option<String>,
    },
}

/// The command line; `--passes` and `--seed` have the same range on every command.
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
    /// How many times to drive the schedule, 1 to 100 [default: that of the scenario]
    #[arg(long, value_name = "N")]
    pub(crate) passes: Option<u32>,
    /// Seed of the random numbers; the same seed gives the same drive [default: that of the scenario]
    #[arg(long, value_name = "N")]
    pub(crate) seed: Option<u64>,
    /// Drive this speed schedule instead: a name from `trimwright list` or a .csv file
    #[arg(long, value_name = "FILE.csv")]
    pub(crate) schedule: Option<String>,
    /// Without the disturbances that no map can know: constant fuel, no vapour, charge and drift as modelled
    #[arg(long)]
    pub(crate) undisturbed: bool,
    /// Where to write the results [default: out/SCENARIO]
    #[arg(long, value_name = "DIR")]
    pub(crate) out: Option<PathBuf>,
    /// Run the self-check at idle, which finds air leaks upstream of the oxygen sensor; learning at idle takes longer
    #[arg(long, conflicts_with = "on_target")]
    pub(crate) self_check: bool,
    /// Run the controller on an emulated Cortex-M4F: the program built by `.ci/run_target build in_the_loop`
    #[arg(long, value_name = "PROGRAM")]
    pub(crate) on_target: Option<PathBuf>,
    /// Print nothing except errors
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
    fn the_command_line_is_valid() {
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
