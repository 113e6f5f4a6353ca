//! The `trimwright` command: drives a simulated car and shows how its fuel controller learns.

mod arguments;
mod command_line_error;
mod compare;
mod drive;
mod export;
mod failure;
mod faults;
mod fleet;
mod fleet_report;
mod list;
mod live;
mod manual;
mod map;
mod page;
mod parameters;
mod progress;
mod scenario_choice;
mod size;
mod stability;
mod standard_output;
mod table;
mod units_choice;

use arguments::{Arguments, Command};
use clap::FromArgMatches;
use failure::Failure;
use scenario_choice::DEFAULT_SCENARIO;
use standard_output::{checked_write, print};
use std::io::{self, Write};
use std::process::ExitCode;

fn main() -> ExitCode {
    let parsed = arguments::command().try_get_matches();
    let arguments = match parsed.and_then(|matches| Arguments::from_arg_matches(&matches)) {
        Ok(arguments) => arguments,
        Err(error) if error.use_stderr() => {
            return report_failure(Failure::Input(command_line_error::input_error(&error)));
        }
        // Help or version was requested.
        Err(help) => return exit_code(checked_write(|| help.print())),
    };
    exit_code(match arguments.command {
        None => drive::drive(DEFAULT_SCENARIO, &arguments.options),
        Some(Command::Drive { scenario, options }) => drive::drive(&scenario, &options),
        Some(Command::Compare { scenario, options }) => compare::compare(&scenario, &options),
        Some(Command::Fleet { scenario, options }) => fleet::fleet(&scenario, &options),
        Some(Command::Stability(options)) => stability::stability(&options),
        Some(Command::Size(options)) => size::size(&options),
        Some(Command::Faults(options)) => faults::faults(&options),
        Some(Command::Parameters(options)) => parameters::parameters(&options),
        Some(Command::Live(options)) => live::live(&options),
        Some(Command::List { json, units }) => {
            let all = if json { list::json() } else { list::text(units) };
            all.map_err(Failure::from).and_then(|text| print(&text))
        }
        Some(Command::Export(arguments)) => export::export(&arguments),
        Some(Command::Completions { shell }) => manual::completions(shell).and_then(|text| print(&text)),
        Some(Command::Manual { command }) => manual::manual(command.as_deref()).and_then(|text| print(&text)),
    })
}

fn exit_code(done: Result<(), Failure>) -> ExitCode {
    done.map_or_else(report_failure, |()| ExitCode::SUCCESS)
}

/// Prints the failure to standard error and returns the exit code.
fn report_failure(failure: Failure) -> ExitCode {
    let (message, code) = match failure {
        Failure::Input(error) => (error.to_string(), 2),
        Failure::Other(message) => (message, 1),
    };
    // An error while printing the message cannot be reported.
    let _ = writeln!(io::stderr(), "trimwright: {message}");
    ExitCode::from(code)
}
