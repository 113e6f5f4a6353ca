//! What any good command line does: units by choice, results as JSON, progress on standard error, completions for the shell, a manual.

use crate::arguments::command;
use crate::failure::Failure;
use clap::builder::{Resettable, StyledStr};
use clap::{Arg, Command, ValueEnum};
use clap_complete::Shell;
use clap_mangen::roff::{Roff, roman};
use indicatif::{ProgressBar, ProgressDrawTarget, ProgressStyle};
use serde::Serialize;
use std::io::{IsTerminal, stderr};
use std::time::Duration;

/// Metres in a mile, litres in a US gallon: exact, NIST SP 811, appendix B.
const MILE_M: f64 = 1609.344;
const US_GALLON_L: f64 = 3.785_411_784;

/// Units of the tables on the screen. Files keep the units that their columns name.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, ValueEnum)]
pub(crate) enum Units {
    /// Kilometres, litres, kilopascals, degrees Celsius
    #[default]
    Si,
    /// Miles, US gallons, pounds to the square inch, degrees Fahrenheit
    Us,
}

impl Units {
    /// A distance.
    pub(crate) fn distance(self, m: f64) -> String {
        match self {
            Self::Si => format!("{:.2} km", m / 1e3),
            Self::Us => format!("{:.2} mi", m / MILE_M),
        }
    }

    /// A speed.
    pub(crate) fn speed(self, m_per_s: f64) -> String {
        match self {
            Self::Si => format!("{m_per_s:.2} m/s"),
            Self::Us => format!("{:.2} mph", m_per_s * 3600.0 / MILE_M),
        }
    }

    /// What a drive takes: litres for 100 km, or miles to the US gallon.
    pub(crate) fn consumption(self, l_per_100km: f64) -> String {
        match self {
            Self::Si => format!("{l_per_100km:.1} L/100 km"),
            Self::Us => format!("{:.1} mpg", 100e3 / MILE_M * US_GALLON_L / l_per_100km),
        }
    }
}

/// A result as JSON, ready to be printed.
pub(crate) fn json(result: &impl Serialize) -> Result<String, Failure> {
    let text = serde_json::to_string_pretty(result).map_err(|error| Failure::Other(error.to_string()))?;
    Ok(text + "\n")
}

/// A bar of progress on standard error; nothing where that is no terminal or nothing is to be said.
pub(crate) fn bar(quiet: bool, length: u64, template: &str) -> ProgressBar {
    if quiet || !stderr().is_terminal() {
        return ProgressBar::with_draw_target(None, ProgressDrawTarget::hidden());
    }
    let style = ProgressStyle::with_template(template).unwrap_or_else(|_| ProgressStyle::default_bar());
    ProgressBar::new(length).with_style(style)
}

/// The same where there is no telling how far it has come: the time that has gone by.
pub(crate) fn waiting(doing: &str) -> ProgressBar {
    let bar = bar(false, 0, &format!("{doing}, {{elapsed}}"));
    bar.enable_steady_tick(Duration::from_millis(500));
    bar
}

/// The script that completes our words in a shell.
pub(crate) fn completions(shell: Shell) -> Result<String, Failure> {
    let mut script = Vec::new();
    clap_complete::generate(shell, &mut command(), "trimwright", &mut script);
    text(script)
}

/// The manual page of the program or of one of its commands, for `man`.
pub(crate) fn manual(of: Option<&str>) -> Result<String, Failure> {
    let mut program = command();
    program.build();
    let command = match of {
        None => program,
        Some(name) => program.find_subcommand(name).cloned().ok_or_else(|| {
            Failure::Input(trimwright_harness::error::InputError::new(
                name,
                "no command of this name; `trimwright --help` names them",
            ))
        })?,
    };
    let title = command.get_display_name().unwrap_or("trimwright").to_owned();
    let more = command.get_after_help().map(more).unwrap_or_default();
    let usage = synopsis(&command);
    let mut page = Vec::new();
    clap_mangen::Man::new(command.override_usage(usage).after_help(Resettable::<StyledStr>::Reset))
        .title(title)
        .source(concat!("trimwright ", env!("CARGO_PKG_VERSION")))
        .render(&mut page)
        .map_err(|error| Failure::Other(format!("the manual can't be written: {error}")))?;
    Ok(text(page)? + &more)
}

/// How a command is written, with the names of the values.
fn synopsis(command: &Command) -> String {
    let name = |argument: &Arg| argument.get_value_names().map(|names| names.join(" ")).unwrap_or_default();
    let word = |argument: &Arg| {
        let word = match argument.get_long() {
            None => name(argument),
            Some(long) if argument.get_action().takes_values() => format!("--{long} {}", name(argument)),
            Some(long) => format!("--{long}"),
        };
        if argument.is_required_set() { word } else { format!("[{word}]") }
    };
    let (options, values): (Vec<&Arg>, Vec<&Arg>) =
        command.get_arguments().partition(|argument| argument.get_long().is_some());
    let words = options.into_iter().chain(values).map(word).collect::<Vec<_>>().join(" ");
    let called = command.get_bin_name().unwrap_or("trimwright");
    let commands = if command.has_subcommands() { format!("\n{called} COMMAND") } else { String::new() };
    format!("{called} {words}{commands}")
}

/// What stands below the options, as sections of a manual page: the examples and whatever else is laid out as it is, row by row.
fn more(help: &StyledStr) -> String {
    let help = help.to_string();
    let (examples, notes): (Vec<&str>, Vec<&str>) =
        help.split("\n\n").partition(|block| block.starts_with("Examples:"));
    let mut page = Roff::new();
    if !notes.is_empty() {
        page.control("SH", ["NOTES"]);
    }
    for block in notes {
        page.control("PP", []);
        // Words in columns.
        let laid_out = block.lines().any(|row| row.contains("  "));
        rows(&mut page, laid_out, block.lines());
    }
    if !examples.is_empty() {
        page.control("SH", ["EXAMPLES"]);
    }
    for block in examples {
        rows(&mut page, true, block.lines().skip(1));
    }
    page.to_roff()
}

fn rows<'a>(page: &mut Roff, laid_out: bool, rows: impl Iterator<Item = &'a str>) {
    if laid_out {
        page.control("nf", []);
    }
    for row in rows {
        page.text([roman(row)]);
    }
    if laid_out {
        page.control("fi", []);
    }
}

fn text(bytes: Vec<u8>) -> Result<String, Failure> {
    String::from_utf8(bytes).map_err(|error| Failure::Other(format!("not UTF-8: {error}")))
}

#[cfg(test)]
mod tests {
    use super::*;

    /// A manual's examples can be copied: each stands in a row of its own, neither filled nor hyphenated.
    #[test]
    fn examples_of_a_manual_are_left_as_they_are() {
        let plain = |page: &str| page.replace("\\-", "-").replace("\\&", "");
        let drive = plain(&manual(Some("drive")).expect("a page"));
        let (_, examples) = drive.split_once(".SH EXAMPLES\n.nf\n").expect("examples, laid out");
        let (examples, _) = examples.split_once("\n.fi").expect("an end of them");
        assert!(examples.lines().any(|row| {
            row == "  trimwright drive my-car.toml --schedule my-trip.csv --out results/my-car"
        }));
        let (_, synopsis) = drive.split_once(".SH SYNOPSIS\n").expect("a synopsis");
        let synopsis = synopsis.lines().next().unwrap_or_default();
        for word in ["[--passes N]", "[--out DIR]", "[--schedule FILE.csv]", "[--json]", "[SCENARIO]"] {
            assert!(synopsis.contains(word), "{word} in {synopsis}");
        }
        let export = plain(&manual(Some("export")).expect("a page"));
        assert!(
            export.contains(" --format FORMAT ") && export.contains(".nf\ncsv      trace.csv"),
            "{export}"
        );
        for command in [None, Some("drive"), Some("faults"), Some("fleet")] {
            assert!(!manual(command).expect("a page").contains("EXTRA"));
        }
        assert!(plain(&manual(None).expect("a page")).contains("\\fBtrimwright\\fR COMMAND\n"));
    }

    /// NIST SP 811: 1 mi = 1.609344 km; 1 mpg (US) is 235.2146 L/100 km over the figure.
    #[test]
    fn val_units_of_the_us() {
        assert_eq!([Units::Si.distance(1609.344), Units::Us.distance(1609.344)], ["1.61 km", "1.00 mi"]);
        assert_eq!([Units::Si.speed(10.0), Units::Us.speed(10.0)], ["10.00 m/s", "22.37 mph"]);
        assert_eq!(
            [Units::Si.consumption(11.760_73), Units::Us.consumption(11.760_73)],
            ["11.8 L/100 km", "20.0 mpg"]
        );
    }
}
