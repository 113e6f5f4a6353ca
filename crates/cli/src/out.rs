//! The way out: everything that a command says on standard output goes through here, and what is lost on it is told.

use crate::failure::Failure;
use serde::Serialize;
use std::io::{self, ErrorKind, Write};

/// Writes to standard output.
pub(crate) fn say(text: &str) -> Result<(), Failure> {
    written(|| io::stdout().write_all(text.as_bytes()))
}

/// A result as JSON, ready to be printed.
pub(crate) fn json(result: &impl Serialize) -> Result<String, Failure> {
    let text = serde_json::to_string_pretty(result).map_err(|error| Failure::Other(error.to_string()))?;
    Ok(text + "\n")
}

/// Sees to it that what is written to standard output has got there. A reader that has gone away, as `head` does, has seen enough.
pub(crate) fn written(write: impl FnOnce() -> io::Result<()>) -> Result<(), Failure> {
    let lost = |why: &str| Err(Failure::Other(format!("can't write to standard output: {why}")));
    if closed::at_start() {
        return lost("it is closed");
    }
    match write().and_then(|()| io::stdout().flush()) {
        Err(error) if error.kind() != ErrorKind::BrokenPipe => lost(&error.to_string()),
        _ => Ok(()),
    }
}

/// Rust puts the null device where standard output was closed (`std::rt`), before `main`: only what runs earlier can see it.
#[cfg(unix)]
mod closed {
    use std::fs::symlink_metadata;
    use std::sync::atomic::{AtomicBool, Ordering};

    static CLOSED: AtomicBool = AtomicBool::new(false);

    #[ctor::ctor]
    fn look() {
        let closed = symlink_metadata("/dev/fd/.").is_ok() && symlink_metadata("/dev/fd/1").is_err();
        CLOSED.store(closed, Ordering::Relaxed);
    }

    /// Whether the program was started without a standard output.
    pub(super) fn at_start() -> bool {
        CLOSED.load(Ordering::Relaxed)
    }
}

#[cfg(not(unix))]
mod closed {
    /// Elsewhere a program always has one.
    pub(super) fn at_start() -> bool {
        false
    }
}
