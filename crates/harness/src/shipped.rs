//! Scenarios, engines and schedules compiled into the program.

use crate::document::Document;
use crate::error::InputError;

/// A file compiled into the program.
///
/// ```
/// use trimwright_harness::shipped::{ENGINES, find};
/// let engine = find(ENGINES, "van-v8").expect("shipped");
/// assert_eq!(engine.file, "shared/engines/van-v8.toml");
/// assert!(engine.text.contains("displacement = \"5.2 L\""));
/// ```
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Shipped {
    /// Name by which it is requested.
    pub name: &'static str,
    /// Path in the sources, for messages.
    pub file: &'static str,
    /// Contents.
    pub text: &'static str,
}

impl Shipped {
    /// Title of a scenario or an engine.
    ///
    /// # Errors
    ///
    /// When the file has no title, such as a schedule.
    pub fn title(&self) -> Result<String, InputError> {
        let mut title = String::new();
        Document::parse(self.file, self.text)?.text("title", &mut title)?;
        Ok(title)
    }
}

macro_rules! shipped {
    ($directory:literal, $extension:literal, [$($name:literal),* $(,)?]) => {
        &[$(Shipped {
            name: $name,
            file: concat!("shared/", $directory, "/", $name, $extension),
            text: include_str!(concat!("../shared/", $directory, "/", $name, $extension)),
        }),*]
    };
}

/// Scenarios: engine, schedule, answers and deviations.
pub const SCENARIOS: &[Shipped] = shipped!(
    "scenarios",
    ".toml",
    [
        "delivery-van",
        "town-coupe",
        "hot-cam-town",
        "highway-pickup",
        "cold-morning",
        "hot-restart",
        "long-idle",
        "mountain-pass",
        "trailer-hill",
        "tired-van",
        "dyno-map",
        "dyno-steps",
        "dyno-sweep",
    ]
);
/// Engines with their cars.
pub const ENGINES: &[Shipped] =
    shipped!("engines", ".toml", ["van-v8", "pickup-six", "coupe-four", "hot-v8"]);
/// Schedules.
pub const SCHEDULES: &[Shipped] = shipped!(
    "schedules",
    ".csv",
    [
        "udds",
        "hwfet",
        "hot-restart",
        "long-idle",
        "mountain-pass",
        "trailer",
        "dyno-map",
        "dyno-steps",
        "dyno-sweep",
    ]
);

/// The file of this name, if there is one.
pub fn find(all: &'static [Shipped], name: &str) -> Option<&'static Shipped> {
    all.iter().find(|shipped| shipped.name == name)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn every_shared_file_is_shipped() {
        for (directory, extension, all) in
            [("scenarios", "toml", SCENARIOS), ("engines", "toml", ENGINES), ("schedules", "csv", SCHEDULES)]
        {
            let path = format!("{}/shared/{directory}", env!("CARGO_MANIFEST_DIR"));
            let mut on_disk: Vec<String> = std::fs::read_dir(path)
                .expect("a directory")
                .map(|entry| entry.expect("an entry").path())
                .filter(|path| path.extension().is_some_and(|found| found == extension))
                .filter_map(|path| Some(path.file_stem()?.to_str()?.to_owned()))
                .collect();
            on_disk.sort();
            let mut inside: Vec<&str> = all.iter().map(|shipped| shipped.name).collect();
            inside.sort_unstable();
            assert_eq!(on_disk, inside);
        }
    }
}
