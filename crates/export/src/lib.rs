//! Export of a run in open formats, with units and descriptions.
//!
//! [`ExportedRun::read`] reads the results directory of a drive, [`ExportedRun::export`] returns the files of a [`Format`]:
//!
//! | format | files | standard | units and descriptions are in |
//! |---|---|---|---|
//! | [`Format::Csv`] | one `.csv` a table and its metadata | RFC 4180; W3C "Metadata Vocabulary for Tabular Data", 2015 | `NAME.csv-metadata.json` |
//! | [`Format::Parquet`] | one `.parquet` a table | Apache Parquet | key-value metadata `units`, `descriptions` |
//! | [`Format::Mdf4`] | `run.mf4`, a channel group a table | ASAM MDF 4.1 | each channel |
//!
//! A value that was not measured is empty in CSV, null in Parquet and NaN in MDF 4. The same run gives the same
//! bytes: no time stamps are written.

/// The examples of the README.
#[cfg(doctest)]
#[doc = include_str!("../README.md")]
pub struct Readme;

mod csv_web;
mod describe;
mod format;
mod mdf4;
mod parquet;
mod run;
mod table;

pub use describe::description;
pub use format::Format;
pub use run::ExportedRun;
pub use table::{ExportColumn, ExportTable, Values};
