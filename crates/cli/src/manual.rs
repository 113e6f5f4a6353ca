//! Shell completions and manual pages.

use crate::arguments::command;
use crate::failure::Failure;
use clap::builder::{Resettable, StyledStr};
use clap::{Arg, Command};
use clap_complete::Shell;
use clap_mangen::roff::{Roff, roman};

/// The completion script for a shell.
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
                "no command of this name; `trimwright --help` lists the commands",
            ))
        })?,
    };
    let title = command.get_display_name().unwrap_or("trimwright").to_owned();
    let more = command.get_after_help().map(extra_sections).unwrap_or_default();
    let usage = synopsis(&command);
    let mut page = Vec::new();
    clap_mangen::Man::new(command.override_usage(usage).after_help(Resettable::<StyledStr>::Reset))
        .title(title)
        .source(concat!("trimwright ", env!("CARGO_PKG_VERSION")))
        .render(&mut page)
        .map_err(|error| Failure::Other(format!("the manual can't be written: {error}")))?;
    Ok(text(page)? + &more)
}

/// The synopsis of a command with the names of the values.
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

/// The text below the options as sections of a manual page: notes and examples, with their row layout kept.
fn extra_sections(help: &StyledStr) -> String {
    let help = help.to_string();
    let (examples, notes): (Vec<&str>, Vec<&str>) =
        help.split("\n\n").partition(|block| block.starts_with("Examples:"));
    let mut page = Roff::new();
    if !notes.is_empty() {
        page.control("SH", ["NOTES"]);
    }
    for block in notes {
        page.control("PP", []);
        // Text in columns.
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

    /// Examples can be copied from the manual: one per row, neither filled nor hyphenated.
    #[test]
    fn examples_of_a_manual_keep_their_layout() {
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
}
