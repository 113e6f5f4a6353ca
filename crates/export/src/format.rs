//! Export formats.

use crate::run::ExportedRun;
use crate::{csv_web, mdf4, parquet};

/// An open format.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Format {
    /// CSV with the W3C's metadata for tabular data.
    Csv,
    /// Apache Parquet.
    Parquet,
    /// ASAM MDF 4.1.
    Mdf4,
}

impl ExportedRun {
    /// Names and contents of the files in this format.
    ///
    /// # Errors
    /// Error message when the format can't hold the tables.
    pub fn export(&self, format: Format) -> Result<Vec<(String, Vec<u8>)>, String> {
        match format {
            Format::Csv => Ok(csv_web::files(self)),
            Format::Parquet => parquet::files(self).map_err(|error| error.to_string()),
            Format::Mdf4 => mdf4::file(self).map_err(|error| error.to_string()).map(|file| vec![file]),
        }
    }
}
