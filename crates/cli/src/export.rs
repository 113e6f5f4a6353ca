//! Gives a run to other programs.

use crate::failure::Failure;
use crate::out::json;
use crate::out::say;
use clap::{Args, ValueEnum};
use std::path::PathBuf;
use trimwright_export::{ExportedRun, Format};
use trimwright_harness::output;

pub(crate) const EXAMPLES: &str = "\
Examples:
  trimwright export out/delivery-van --format parquet
  trimwright export out/delivery-van --format mdf4 --out measurements

csv      trace.csv and map.csv, each with a .csv-metadata.json after the W3C's Metadata Vocabulary for Tabular Data
parquet  trace.parquet and map.parquet; units and descriptions in the key-value metadata
mdf4     run.mf4 after ASAM MDF 4.1; the groups trace and map, units and descriptions at each channel

What the run could not measure is empty in CSV, null in Parquet, NaN in MDF 4.";

/// The words of `trimwright export`.
#[derive(Args, Clone, Debug)]
pub(crate) struct Export {
    /// Directory that a drive has written, as out/delivery-van
    run: PathBuf,
    /// Format to write
    #[arg(long, value_enum)]
    format: ExportFormat,
    /// Where to write [default: export in the run's directory]
    #[arg(long, value_name = "DIR")]
    out: Option<PathBuf>,
    /// Print nothing unless something goes wrong
    #[arg(long, conflicts_with = "json")]
    quiet: bool,
    /// Print the files written as JSON
    #[arg(long)]
    json: bool,
}

#[derive(Clone, Copy, Debug, ValueEnum)]
enum ExportFormat {
    /// Comma-separated values with metadata
    Csv,
    /// Apache Parquet
    Parquet,
    /// ASAM MDF 4.1
    Mdf4,
}

/// Reads the run, writes its files and names them.
pub(crate) fn export(arguments: &Export) -> Result<(), Failure> {
    let format = match arguments.format {
        ExportFormat::Csv => Format::Csv,
        ExportFormat::Parquet => Format::Parquet,
        ExportFormat::Mdf4 => Format::Mdf4,
    };
    let run = ExportedRun::read(&arguments.run)?;
    let out = arguments.out.clone().unwrap_or_else(|| arguments.run.join("export"));
    let files = run.export(format).map_err(Failure::Other)?;
    let files: Vec<(&str, &[u8])> =
        files.iter().map(|(name, contents)| (name.as_str(), contents.as_slice())).collect();
    output::write(&out, &files)?;
    let written: Vec<String> = files.iter().map(|(name, _)| out.join(name).display().to_string()).collect();
    match (arguments.quiet, arguments.json) {
        (true, _) => Ok(()),
        (_, true) => say(&json(&serde_json::json!({ "files": written }))?),
        _ => say(&(written.join("\n") + "\n")),
    }
}
