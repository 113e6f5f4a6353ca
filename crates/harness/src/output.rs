//! Writes result files atomically.
//!
//! All files are first written into a temporary directory beside the destination and then renamed into it, which a file system does at once
//! or not at all. Other files in the destination stay.

use crate::error::InputError;
use std::path::{Path, PathBuf};
use std::{fs, io, process};

/// Checks before a long drive that the result can be written, by creating and removing a directory.
///
/// # Errors
///
/// When `directory`, or the nearest existing directory above it, is not writable.
pub fn check(directory: &Path) -> Result<(), InputError> {
    Staging::new(directory).map(drop).map_err(|error| unwritable(directory, &error))
}

/// Writes files of these names and contents into `directory`, which is created if missing.
///
/// ```
/// use trimwright_harness::output;
/// let place = std::env::temp_dir().join(format!("trimwright-example-{}", std::process::id()));
/// output::write(&place, &[("note.txt", b"whole or not at all")])?;
/// assert_eq!(std::fs::read(place.join("note.txt"))?, b"whole or not at all");
/// std::fs::remove_dir_all(&place)?;
/// # Ok::<(), Box<dyn std::error::Error>>(())
/// ```
///
/// # Errors
///
/// When a file can't be written. No file is left incomplete: each is as before or complete.
pub fn write(directory: &Path, files: &[(&str, &[u8])]) -> Result<(), InputError> {
    let all = || {
        let staging = Staging::new(directory)?;
        for (name, contents) in files {
            fs::write(staging.0.join(name), contents)?;
        }
        fs::create_dir_all(directory)?;
        files.iter().try_for_each(|(name, _)| fs::rename(staging.0.join(name), directory.join(name)))
    };
    all().map_err(|error| unwritable(directory, &error))
}

fn unwritable(directory: &Path, error: &io::Error) -> InputError {
    InputError::new(directory.display().to_string(), format!("can't write results there: {error}"))
}

/// A temporary directory on the file system of the destination, removed on drop.
struct Staging(PathBuf);

impl Staging {
    fn new(directory: &Path) -> io::Result<Self> {
        let mut home = directory;
        while !home.exists() {
            home = match home.parent() {
                Some(parent) if !parent.as_os_str().is_empty() => parent,
                _ => Path::new("."),
            };
        }
        let mut error = io::ErrorKind::AlreadyExists.into();
        for attempt in 0..100 {
            let staging = home.join(format!(".trimwright-{}-{attempt}", process::id()));
            match fs::create_dir(&staging) {
                Ok(()) => return Ok(Self(staging)),
                Err(again) if again.kind() == io::ErrorKind::AlreadyExists => error = again,
                Err(other) => return Err(other),
            }
        }
        Err(error)
    }
}

impl Drop for Staging {
    fn drop(&mut self) {
        // A directory that can't be removed does not affect the results.
        let _ = fs::remove_dir_all(&self.0);
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn names(directory: &Path) -> Vec<String> {
        let mut names: Vec<String> = fs::read_dir(directory)
            .expect("a directory")
            .map(|entry| entry.expect("an entry").file_name().to_string_lossy().into_owned())
            .collect();
        names.sort();
        names
    }

    #[test]
    fn files_arrive_whole_and_others_stay() {
        let home = tempfile::tempdir().expect("a place");
        let out = home.path().join("out/van");
        assert_eq!(check(&out), Ok(()));
        assert!(names(home.path()).is_empty());
        write(&out, &[("a.txt", b"one"), ("b.txt", b"two")]).expect("written");
        fs::write(out.join("mine.txt"), "kept").expect("written");
        write(&out, &[("a.txt", b"three")]).expect("written again");
        assert_eq!(names(&out), ["a.txt", "b.txt", "mine.txt"]);
        assert_eq!(fs::read(out.join("a.txt")).expect("readable"), b"three");
        assert_eq!(names(home.path()), ["out"]);
    }

    #[test]
    fn a_place_that_is_a_file_is_rejected_and_nothing_is_left() {
        let home = tempfile::tempdir().expect("a place");
        let file = home.path().join("file");
        fs::write(&file, "x").expect("written");
        for place in [file.clone(), file.join("below")] {
            assert!(check(&place).expect_err("rejected").to_string().contains("can't write results there"));
            assert!(write(&place, &[("a.txt", b"one")]).is_err());
        }
        assert_eq!(names(home.path()), ["file"]);
    }

    #[test]
    fn when_one_of_the_files_fails_none_is_moved() {
        let home = tempfile::tempdir().expect("a place");
        assert!(write(home.path(), &[("a.txt", b"one"), ("no/such/place", b"two")]).is_err());
        assert!(names(home.path()).is_empty());
    }
}
