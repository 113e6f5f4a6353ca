//! `trimwright export`: writes a run in open formats.

use crate::failure::Failure;
use crate::standard_output::{json, print};
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

Values that were not measured are empty in CSV, null in Parquet, NaN in MDF 4.";

/// Options of `trimwright export`.
#[derive(Args, Clone, Debug)]
pub(crate) struct ExportOptions {
    /// Results directory of a drive, as out/delivery-van
    run: PathBuf,
    /// Format to write
    #[arg(long, value_enum)]
    format: ExportFormat,
    /// Where to write [default: export in the run's directory]
    #[arg(long, value_name = "DIR")]
    out: Option<PathBuf>,
    /// Print nothing except errors
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

/// Reads the run, writes the files and prints their names.
pub(crate) fn export(arguments: &ExportOptions) -> Result<(), Failure> {
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
        (_, true) => print(&json(&serde_json::json!({ "files": written }))?),
        _ => print(&(written.join("\n") + "\n")),
    }
}
