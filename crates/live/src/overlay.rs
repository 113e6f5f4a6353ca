//! The overlay of the screen.

/// What is shown over the screen.
///
/// ```
/// use ratatui::crossterm::event::{KeyCode, KeyEvent, KeyModifiers};
/// use trimwright_live::BenchAction;
/// use trimwright_live::keys::{KeyCommand, command_for};
/// use trimwright_live::screen::Overlay;
/// let up = KeyEvent::new(KeyCode::Up, KeyModifiers::NONE);
/// assert_eq!(command_for(&up, Overlay::None), Some(KeyCommand::Bench(BenchAction::ChangeThrottle(1))));
/// assert_eq!(command_for(&up, Overlay::Faults(5)), Some(KeyCommand::Show(Overlay::Faults(4))), "it moves the selection");
/// ```
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Overlay {
    /// Nothing.
    None,
    /// The list of keys.
    Help,
    /// All codes and faults.
    CodesAndFaults,
    /// The list of kinds of faults, with the index of the selected one.
    Faults(usize),
}
