//! The tables under version control, `shared/studies/*.csv`, bound to the program that drew them.
//!
//! Each begins with the command that draws it and the [`fingerprint`] of controller and plant of that day. A table that takes
//! many minutes to draw ends with the rows of its first few engines alone, and these are driven anew; of the others all rows are.

use std::path::PathBuf;
use std::{fs, io};

use trimwright_harness::drive::RunError;
use trimwright_harness::scenario::Scenario;
use trimwright_harness::shipped::SCENARIOS;

use crate::fingerprint::fingerprint;
use crate::{diagnosis, fault_matrix, fleet, leak, quantiles, scenarios, sensitivity};

/// What stands before the fingerprint.
const DRAWN: &str = "# controller and plant: ";

/// One of them.
///
/// ```
/// use trimwright_study::tables::LEAK;
/// assert!(LEAK.command().ends_with("--example leak > shared/studies/leak.csv"));
/// let text = LEAK.read()?;
/// assert!(text.starts_with(&format!("# {}\n", LEAK.command())), "a table says how it is drawn");
/// # Ok::<(), std::io::Error>(())
/// ```
#[derive(Clone, Copy, Debug)]
pub struct KeptTable {
    /// Its name and that of the example that draws it.
    pub name: &'static str,
    again: fn() -> Result<String, RunError>,
}

/// Quantiles of a thousand engines.
pub const FLEET: KeptTable =
    KeptTable { name: "fleet", again: || Ok(without_head(&quantiles::csv(&fleet::few(&van())))) };
/// The confusion table.
pub const DIAGNOSIS: KeptTable =
    KeptTable { name: "diagnosis", again: || Ok(diagnosis::confusion_csv(&diagnosis::all(&van()))) };
/// Leaks before the oxygen sensor.
pub const LEAK: KeptTable =
    KeptTable { name: "leak", again: || Ok(without_head(&leak::csv(&leak::few(&van())?))) };
/// Every shipped scenario with every learner.
pub const ALL_SCENARIOS: KeptTable = KeptTable {
    name: "scenarios",
    again: || {
        let load = |name| Scenario::load(name).expect("shipped scenarios can be read");
        let all: Vec<Scenario> = SCENARIOS.iter().map(|shipped| load(shipped.name)).collect();
        Ok(scenarios::csv(&scenarios::drive(&all)?))
    },
};
/// Every sensor broken in every way.
pub const FAULT_MATRIX: KeptTable =
    KeptTable { name: "fault_matrix", again: || Ok(fault_matrix::csv(&fault_matrix::matrix(&van())?)) };
/// Every parameter of the controller moved by a fifth.
pub const SENSITIVITY: KeptTable =
    KeptTable { name: "sensitivity", again: || Ok(without_head(&sensitivity::csv(&sensitivity::few()?))) };

/// All of them.
///
/// ```
/// use trimwright_study::tables::TABLES;
/// let names: Vec<&str> = TABLES.iter().map(|table| table.name).collect();
/// assert_eq!(names, ["fleet", "diagnosis", "leak", "scenarios", "fault_matrix", "sensitivity"]);
/// ```
pub const TABLES: [KeptTable; 6] = [FLEET, DIAGNOSIS, LEAK, ALL_SCENARIOS, FAULT_MATRIX, SENSITIVITY];

/// The car of the studies.
fn van() -> Scenario {
    Scenario::load("delivery-van").expect("shipped scenarios can be read")
}

/// The rows of a table without their head.
///
/// ```
/// assert_eq!(trimwright_study::tables::without_head("a,b\n1,2\n"), "1,2\n");
/// ```
pub fn without_head(table: &str) -> String {
    table.split_once('\n').map_or("", |(_, rows)| rows).to_owned()
}

impl KeptTable {
    /// The command that draws it.
    pub fn command(&self) -> String {
        let name = self.name;
        format!("cargo run --release -p trimwright-study --example {name} > shared/studies/{name}.csv")
    }

    /// Drives again what is driven anew: the whole table, or the rows at its end.
    ///
    /// # Errors
    /// [`RunError`] when something cannot be driven.
    pub fn anew(&self) -> Result<String, RunError> {
        (self.again)()
    }

    /// The table as it is kept: where it comes from, and all its rows.
    ///
    /// # Errors
    /// [`RunError`] when something cannot be driven.
    pub fn drawn(&self, rows: &str) -> Result<String, RunError> {
        Ok(format!("# {}\n{DRAWN}{}\n{rows}", self.command(), fingerprint()?))
    }

    /// The table that is kept.
    ///
    /// # Errors
    /// When it can't be read.
    pub fn read(&self) -> io::Result<String> {
        fs::read_to_string(self.path())
    }

    /// The fingerprint that a kept table was drawn with.
    ///
    /// ```
    /// use trimwright_study::tables::FLEET;
    /// let text = "# a command\n# controller and plant: 0123456789abcdef\nlearner,figure\n";
    /// assert_eq!(FLEET.stamp(text), "0123456789abcdef");
    /// ```
    pub fn stamp<'a>(&self, kept: &'a str) -> &'a str {
        kept.lines().find_map(|line| line.strip_prefix(DRAWN)).unwrap_or_default()
    }

    /// Writes another fingerprint into the kept table.
    ///
    /// # Errors
    /// When it can't be read or written.
    pub fn restamp(&self, now: &str) -> io::Result<()> {
        let kept = self.read()?;
        let (before, after) = (format!("{DRAWN}{}\n", self.stamp(&kept)), format!("{DRAWN}{now}\n"));
        fs::write(self.path(), kept.replacen(&before, &after, 1))
    }

    fn path(&self) -> PathBuf {
        PathBuf::from(format!("{}/shared/studies/{}.csv", env!("CARGO_MANIFEST_DIR"), self.name))
    }
}

/// The first row in which the end of a kept table differs from rows that were driven anew.
///
/// ```
/// use trimwright_study::tables::difference;
/// assert_eq!(difference("# a comment\na,b\n1,2\n3,4\n", "1,2\n3,4\n"), None);
/// assert_eq!(difference("a,b\n1,2\n3,4\n", "3,5\n").as_deref(), Some("kept 3,4, driven anew 3,5"));
/// ```
pub fn difference(kept: &str, anew: &str) -> Option<String> {
    let skipped = kept.lines().count().checked_sub(anew.lines().count());
    let kept_rows = kept.lines().skip(skipped.unwrap_or(0));
    let mut pairs = kept_rows.chain(std::iter::repeat("nothing")).zip(anew.lines());
    let (kept, anew) = pairs.find(|(kept, anew)| kept != anew)?;
    Some(format!("kept {kept}, driven anew {anew}"))
}
