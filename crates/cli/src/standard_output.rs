//! Output of the commands on standard output; write errors are reported.

use crate::failure::Failure;
use serde::Serialize;
use std::io::{self, ErrorKind, Write};

/// Writes a text to standard output.
pub(crate) fn print(text: &str) -> Result<(), Failure> {
    checked_write(|| io::stdout().write_all(text.as_bytes()))
}

/// A result as JSON text.
pub(crate) fn json(result: &impl Serialize) -> Result<String, Failure> {
    let text = serde_json::to_string_pretty(result).map_err(|error| Failure::Other(error.to_string()))?;
    Ok(text + "\n")
}

/// Runs `write`, flushes standard output and reports errors. A closed pipe (as with `head`) is no error.
pub(crate) fn checked_write(write: impl FnOnce() -> io::Result<()>) -> Result<(), Failure> {
    let failure = |why: &str| Err(Failure::Other(format!("can't write to standard output: {why}")));
    if closed_stdout::at_start() {
        return failure("it is closed");
    }
    match write().and_then(|()| io::stdout().flush()) {
        Err(error) if error.kind() != ErrorKind::BrokenPipe => failure(&error.to_string()),
        _ => Ok(()),
    }
}

/// `std::rt` replaces a closed standard output by the null device before `main`; this check runs earlier.
#[cfg(unix)]
mod closed_stdout {
    use std::fs::symlink_metadata;
    use std::sync::atomic::{AtomicBool, Ordering};

    static CLOSED: AtomicBool = AtomicBool::new(false);

    #[ctor::ctor]
    fn check() {
        let closed = symlink_metadata("/dev/fd/.").is_ok() && symlink_metadata("/dev/fd/1").is_err();
        CLOSED.store(closed, Ordering::Relaxed);
    }

    /// Whether standard output was closed at program start.
    pub(super) fn at_start() -> bool {
        CLOSED.load(Ordering::Relaxed)
    }
}

#[cfg(not(unix))]
mod closed_stdout {
    /// Other systems always provide a standard output.
    pub(super) fn at_start() -> bool {
        false
    }
}
