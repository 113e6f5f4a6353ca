//! Progress on standard error.

use indicatif::{ProgressBar, ProgressDrawTarget, ProgressStyle};
use std::io::{IsTerminal, stderr};
use std::time::Duration;

/// A bar of progress on standard error; nothing where that is no terminal or nothing is to be said.
pub(crate) fn bar(quiet: bool, length: u64, template: &str) -> ProgressBar {
    if quiet || !stderr().is_terminal() {
        return ProgressBar::with_draw_target(None, ProgressDrawTarget::hidden());
    }
    let style = ProgressStyle::with_template(template).unwrap_or_else(|_| ProgressStyle::default_bar());
    ProgressBar::new(length).with_style(style)
}

/// The same where there is no telling how far it has come: the time that has gone by.
pub(crate) fn waiting(doing: &str) -> ProgressBar {
    let bar = bar(false, 0, &format!("{doing}, {{elapsed}}"));
    bar.enable_steady_tick(Duration::from_millis(500));
    bar
}
