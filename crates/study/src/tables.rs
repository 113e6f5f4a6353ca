//! The tables under version control, `shared/studies/*.csv`, and the check that they are current.
//!
//! Each begins with the command that generates it and the [`fingerprint`] of controller and plant. A table that takes many minutes ends with
//! separate rows of its first few engines, which are recomputed for the check; of the others all rows are.

use std::path::PathBuf;
use std::{fs, io};

use trimwright_harness::drive::RunError;
use trimwright_harness::scenario::Scenario;
use trimwright_harness::shipped::SCENARIOS;

use crate::fingerprint::fingerprint;
use crate::{diagnosis, fault_matrix, fleet, leak, quantiles, scenarios, sensitivity};

/// Text before the fingerprint.
const STAMP_PREFIX: &str = "# controller and plant: ";

/// A table under version control.
///
/// ```
/// use trimwright_study::tables::LEAK;
/// assert!(LEAK.command().ends_with("--example leak > shared/studies/leak.csv"));
/// let text = LEAK.read()?;
/// assert!(text.starts_with(&format!("# {}\n", LEAK.command())), "the first line is the command");
/// # Ok::<(), std::io::Error>(())
/// ```
#[derive(Clone, Copy, Debug)]
pub struct VersionedTable {
    /// Name of the table and of the example that generates it.
    pub name: &'static str,
    recompute: fn() -> Result<String, RunError>,
}

/// Quantiles of a fleet.
pub const FLEET: VersionedTable = VersionedTable {
    name: "fleet",
    recompute: || Ok(without_head(&quantiles::csv(&fleet::first_engines(&van())))),
};
/// The same fleet without the disturbances that no map can know.
pub const FLEET_UNDISTURBED: VersionedTable = VersionedTable {
    name: "fleet_undisturbed",
    recompute: || Ok(without_head(&quantiles::csv(&fleet::first_engines(&undisturbed_van())))),
};
/// The confusion table.
pub const DIAGNOSIS: VersionedTable = VersionedTable {
    name: "diagnosis",
    recompute: || Ok(diagnosis::confusion_csv(&diagnosis::table_runs(&van()))),
};
/// Leaks upstream of the oxygen sensor.
pub const LEAK: VersionedTable = VersionedTable {
    name: "leak",
    recompute: || Ok(without_head(&leak::csv(&leak::first_engines(&van())?))),
};
/// Every shipped scenario with every learner.
pub const ALL_SCENARIOS: VersionedTable = VersionedTable {
    name: "scenarios",
    recompute: || {
        let load = |name| Scenario::load(name).expect("shipped scenarios can be read");
        let all: Vec<Scenario> = SCENARIOS.iter().map(|shipped| load(shipped.name)).collect();
        Ok(scenarios::csv(&scenarios::drive(&all)?))
    },
};
/// Every sensor with every fault.
pub const FAULT_MATRIX: VersionedTable = VersionedTable {
    name: "fault_matrix",
    recompute: || Ok(fault_matrix::csv(&fault_matrix::matrix(&van())?)),
};
/// Every parameter of the controller changed by 20 %.
pub const SENSITIVITY: VersionedTable = VersionedTable {
    name: "sensitivity",
    recompute: || Ok(without_head(&sensitivity::csv(&sensitivity::rechecked()?))),
};

/// All tables.
pub const TABLES: [VersionedTable; 7] =
    [FLEET, FLEET_UNDISTURBED, DIAGNOSIS, LEAK, ALL_SCENARIOS, FAULT_MATRIX, SENSITIVITY];

/// The car of the studies.
pub fn van() -> Scenario {
    Scenario::load("delivery-van").expect("shipped scenarios can be read")
}

/// The same without disturbances.
pub fn undisturbed_van() -> Scenario {
    van().with_disturbances(0.0)
}

/// The rows of a table without their head.
pub fn without_head(table: &str) -> String {
    table.split_once('\n').map_or("", |(_, rows)| rows).to_owned()
}

impl VersionedTable {
    /// The command that generates it.
    pub fn command(&self) -> String {
        let name = self.name;
        format!("cargo run --release -p trimwright-study --example {name} > shared/studies/{name}.csv")
    }

    /// Recomputes the rows for the check: the whole table, or the rows at its end.
    ///
    /// # Errors
    /// [`RunError`] when a run fails.
    pub fn recomputed(&self) -> Result<String, RunError> {
        (self.recompute)()
    }

    /// The file of the table: command, fingerprint and rows.
    ///
    /// # Errors
    /// [`RunError`] when a run fails.
    pub fn with_header(&self, rows: &str) -> Result<String, RunError> {
        Ok(format!("# {}\n{STAMP_PREFIX}{}\n{rows}", self.command(), fingerprint()?))
    }

    /// Reads the file.
    ///
    /// # Errors
    /// When it can't be read.
    pub fn read(&self) -> io::Result<String> {
        fs::read_to_string(self.path())
    }

    /// The fingerprint in the file.
    ///
    /// ```
    /// use trimwright_study::tables::FLEET;
    /// let text = "# a command\n# controller and plant: 0123456789abcdef\nlearner,figure\n";
    /// assert_eq!(FLEET.stamp(text), "0123456789abcdef");
    /// ```
    pub fn stamp<'a>(&self, file: &'a str) -> &'a str {
        file.lines().find_map(|line| line.strip_prefix(STAMP_PREFIX)).unwrap_or_default()
    }

    /// Replaces the fingerprint in the file.
    ///
    /// # Errors
    /// When it can't be read or written.
    pub fn restamp(&self, now: &str) -> io::Result<()> {
        let file = self.read()?;
        let (before, after) =
            (format!("{STAMP_PREFIX}{}\n", self.stamp(&file)), format!("{STAMP_PREFIX}{now}\n"));
        fs::write(self.path(), file.replacen(&before, &after, 1))
    }

    fn path(&self) -> PathBuf {
        PathBuf::from(format!("{}/shared/studies/{}.csv", env!("CARGO_MANIFEST_DIR"), self.name))
    }
}

/// The first difference between recomputed rows and the end of the file.
///
/// ```
/// use trimwright_study::tables::difference;
/// assert_eq!(difference("# a comment\na,b\n1,2\n3,4\n", "1,2\n3,4\n"), None);
/// assert_eq!(difference("a,b\n1,2\n3,4\n", "3,5\n").as_deref(), Some("file has 3,4, recomputed 3,5"));
/// ```
pub fn difference(file: &str, recomputed: &str) -> Option<String> {
    let skipped = file.lines().count().checked_sub(recomputed.lines().count());
    let kept_rows = file.lines().skip(skipped.unwrap_or(0));
    let mut pairs = kept_rows.chain(std::iter::repeat("nothing")).zip(recomputed.lines());
    let (file, recomputed) = pairs.find(|(file, recomputed)| file != recomputed)?;
    Some(format!("file has {file}, recomputed {recomputed}"))
}
