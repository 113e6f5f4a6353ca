//! Locates a scenario, an engine or a schedule: shipped with the program by name, or a file by path.

use crate::error::InputError;
use crate::shipped::{ENGINES, SCENARIOS, SCHEDULES, Shipped, find};
use std::fs::File;
use std::io::{self, Read};
use std::path::{Path, PathBuf};

/// Largest file that is read, bytes.
const LARGEST: u64 = 64 * 1024 * 1024;

/// A kind of input that ships with the program or is read from a file.
#[derive(Clone, Copy, Debug)]
pub(crate) struct ResourceKind {
    pub(crate) what: &'static str,
    pub(crate) extension: &'static str,
    pub(crate) shipped: &'static [Shipped],
}

pub(crate) const SCENARIO_FILES: ResourceKind =
    ResourceKind { what: "scenario", extension: ".toml", shipped: SCENARIOS };
pub(crate) const ENGINE_FILES: ResourceKind =
    ResourceKind { what: "engine", extension: ".toml", shipped: ENGINES };
pub(crate) const SCHEDULE_FILES: ResourceKind =
    ResourceKind { what: "schedule", extension: ".csv", shipped: SCHEDULES };

/// A text and its origin.
#[derive(Clone, Debug)]
pub(crate) struct Source {
    /// Short name: that of the shipped one, or the file name without extension.
    pub(crate) name: String,
    /// File name in messages.
    pub(crate) file: String,
    pub(crate) text: String,
    /// Base directory of paths inside the text; `None` for shipped ones.
    pub(crate) directory: Option<PathBuf>,
}

impl ResourceKind {
    /// Returns the shipped text of this name, or else the file at this path, relative to `directory` unless it is absolute.
    pub(crate) fn get(self, name_or_path: &str, directory: Option<&Path>) -> Result<Source, InputError> {
        if let Some(shipped) = find(self.shipped, name_or_path) {
            return Ok(Source {
                name: shipped.name.to_owned(),
                file: shipped.file.to_owned(),
                text: shipped.text.to_owned(),
                directory: None,
            });
        }
        let path = directory.unwrap_or(Path::new("")).join(name_or_path);
        if !path.exists() && !name_or_path.ends_with(self.extension) {
            let names = self.shipped.iter().map(|shipped| shipped.name).collect::<Vec<_>>().join(", ");
            let problem = format!(
                "no {} of this name comes with the program (there are {names}), and there is no such file",
                self.what
            );
            return Err(InputError::new(name_or_path, problem));
        }
        let file = path.display().to_string();
        let text = read(&path).map_err(|error| InputError::new(&file, format!("can't be read: {error}")))?;
        let text = String::from_utf8(text).map_err(|error| {
            let valid = error.utf8_error().valid_up_to();
            let line = error.as_bytes().iter().take(valid).filter(|byte| **byte == b'\n').count() + 1;
            InputError::new(&file, "is not UTF-8 text").line(line)
        })?;
        let name =
            path.file_stem().map_or_else(|| self.what.to_owned(), |stem| stem.to_string_lossy().into());
        Ok(Source { name, file, text, directory: path.parent().map(Path::to_path_buf) })
    }
}

fn read(path: &Path) -> io::Result<Vec<u8>> {
    let mut bytes = Vec::new();
    File::open(path)?.take(LARGEST + 1).read_to_end(&mut bytes)?;
    if bytes.len() as u64 > LARGEST {
        return Err(io::Error::other("it is larger than 64 MiB"));
    }
    Ok(bytes)
}

#[cfg(test)]
mod tests {
    use super::*;

    fn rejected(kind: ResourceKind, path: &Path) -> String {
        kind.get(path.to_str().expect("UTF-8"), None).expect_err("rejected").to_string()
    }

    #[test]
    fn shipped_ones_go_by_name_and_files_by_path() {
        assert_eq!(SCHEDULE_FILES.get("udds", None).expect("shipped").file, "shared/schedules/udds.csv");
        let home = tempfile::tempdir().expect("a place");
        std::fs::write(home.path().join("own.csv"), "text").expect("written");
        let own = SCHEDULE_FILES.get("own.csv", Some(home.path())).expect("a file");
        assert_eq!((own.name.as_str(), own.text.as_str()), ("own", "text"));
        assert_eq!(own.directory.as_deref(), Some(home.path()));
    }

    #[test]
    fn what_is_not_there_or_not_text_is_rejected() {
        let home = tempfile::tempdir().expect("a place");
        assert_eq!(
            rejected(SCHEDULE_FILES, Path::new("moon")),
            "moon: no schedule of this name comes with the program (there are udds, hwfet, hot-restart, long-idle, \
             mountain-pass, trailer, dyno-map, dyno-steps, dyno-sweep), and there is no such file"
        );
        assert!(rejected(SCHEDULE_FILES, &home.path().join("moon.csv")).contains("can't be read"));
        assert!(rejected(SCHEDULE_FILES, home.path()).contains("can't be read"));
        let bytes = home.path().join("bytes.csv");
        std::fs::write(&bytes, b"a\nb\xff\n").expect("written");
        assert!(rejected(SCHEDULE_FILES, &bytes).ends_with("bytes.csv, line 2: is not UTF-8 text"));
    }
}
