//! The `trimwright` command: drives a simulated car and shows how its fuel controller learns.

mod arguments;
mod chosen;
mod compare;
mod drive;
mod export;
mod failure;
mod faults;
mod fleet;
mod fleet_words;
mod list;
mod live;
mod manual;
mod map;
mod out;
mod page;
mod parameters;
mod progress;
mod refusal;
mod size;
mod stability;
mod table;
mod units_choice;

use arguments::{Arguments, Command};
use chosen::DEFAULT_SCENARIO;
use clap::FromArgMatches;
use failure::Failure;
use out::{say, written};
use std::io::{self, Write};
use std::process::ExitCode;

fn main() -> ExitCode {
    let parsed = arguments::command().try_get_matches();
    let arguments = match parsed.and_then(|matches| Arguments::from_arg_matches(&matches)) {
        Ok(arguments) => arguments,
        Err(error) if error.use_stderr() => return failed(Failure::Input(refusal::refusal(&error))),
        // Help or version was asked for.
        Err(help) => return ended(written(|| help.print())),
    };
    ended(match arguments.command {
        None => drive::drive(DEFAULT_SCENARIO, &arguments.options),
        Some(Command::Drive { scenario, options }) => drive::drive(&scenario, &options),
        Some(Command::Compare { scenario, options }) => compare::compare(&scenario, &options),
        Some(Command::Fleet { scenario, options }) => fleet::fleet(&scenario, &options),
        Some(Command::Stability(options)) => stability::stability(&options),
        Some(Command::Size(asked)) => size::size(&asked),
        Some(Command::Faults(asked)) => faults::faults(&asked),
        Some(Command::Parameters(asked)) => parameters::parameters(&asked),
        Some(Command::Live(asked)) => live::live(&asked),
        Some(Command::List { json, units }) => {
            let all = if json { list::json() } else { list::text(units) };
            all.map_err(Failure::from).and_then(|text| say(&text))
        }
        Some(Command::Export(arguments)) => export::export(&arguments),
        Some(Command::Completions { shell }) => manual::completions(shell).and_then(|text| say(&text)),
        Some(Command::Manual { command }) => manual::manual(command.as_deref()).and_then(|text| say(&text)),
    })
}

fn ended(done: Result<(), Failure>) -> ExitCode {
    done.map_or_else(failed, |()| ExitCode::SUCCESS)
}

/// Says why, and with which code the program ends.
fn failed(failure: Failure) -> ExitCode {
    let (message, code) = match failure {
        Failure::Input(error) => (error.to_string(), 2),
        Failure::Other(message) => (message, 1),
    };
    // Nobody is left to tell when this can't be written.
    let _ = writeln!(io::stderr(), "trimwright: {message}");
    ExitCode::from(code)
}
