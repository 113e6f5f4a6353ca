//! Results directory of a run.

use std::fs;
use std::path::Path;

use serde_json::Value;
use trimwright_harness::error::InputError;

use crate::table::ExportTable;

/// The results of a drive.
#[derive(Clone, Debug, PartialEq)]
pub struct ExportedRun {
    /// The scenario's name.
    pub scenario: String,
    /// Seed of the run.
    pub seed: u64,
    /// Hash of the scenario's content.
    pub scenario_hash: String,
    /// Trace and map.
    pub tables: Vec<ExportTable>,
}

impl ExportedRun {
    /// Reads `summary.json`, `trace.csv` and `map.csv` of a directory.
    ///
    /// # Errors
    /// [`InputError`] with file, line and column when one of them is missing or not written by a drive.
    pub fn read(directory: &Path) -> Result<Self, InputError> {
        let read = |name: &str| {
            let path = directory.join(name);
            let file = path.display().to_string();
            let bytes = fs::read(&path).map_err(|error| {
                let problem =
                    format!("can't be read: {error}; a directory that a drive has written is expected");
                InputError::new(&file, problem)
            })?;
            Ok::<_, InputError>((file, bytes))
        };
        let (file, bytes) = read("summary.json")?;
        let summary: Value = serde_json::from_slice(&bytes)
            .map_err(|error| InputError::new(&file, format!("is not JSON: {error}")).line(error.line()))?;
        let wrong = |key: &str| InputError::new(&file, "is missing or of another kind").key(key);
        let text = |key: &str| summary[key].as_str().map(str::to_owned).ok_or_else(|| wrong(key));
        let (scenario, scenario_hash) = (text("scenario")?, text("scenario_hash")?);
        let seed = summary["seed"].as_u64().ok_or_else(|| wrong("seed"))?;
        let table = |name: &str| {
            let (file, bytes) = read(&format!("{name}.csv"))?;
            ExportTable::parse(name, &file, &bytes)
        };
        Ok(Self { scenario, seed, scenario_hash, tables: vec![table("trace")?, table("map")?] })
    }

    /// Title of the run: scenario, hash and seed.
    pub fn title(&self) -> String {
        format!(
            "Trimwright, scenario {} (hash {}), seed {}: a simulation, no measurement",
            self.scenario, self.scenario_hash, self.seed
        )
    }
}
