//! Progress on standard error.

use indicatif::{ProgressBar, ProgressDrawTarget, ProgressStyle};
use std::io::{IsTerminal, stderr};
use std::time::Duration;

/// A progress bar on standard error; hidden when `quiet` or when standard error is no terminal.
pub(crate) fn bar(quiet: bool, length: u64, template: &str) -> ProgressBar {
    if quiet || !stderr().is_terminal() {
        return ProgressBar::with_draw_target(None, ProgressDrawTarget::hidden());
    }
    let style = ProgressStyle::with_template(template).unwrap_or_else(|_| ProgressStyle::default_bar());
    ProgressBar::new(length).with_style(style)
}

/// A progress line with the elapsed time, for work of unknown length.
pub(crate) fn waiting(doing: &str) -> ProgressBar {
    let bar = bar(false, 0, &format!("{doing}, {{elapsed}}"));
    bar.enable_steady_tick(Duration::from_millis(500));
    bar
}
