//! What lies over the picture.

/// What lies over the picture.
///
/// ```
/// use ratatui::crossterm::event::{KeyCode, KeyEvent, KeyModifiers};
/// use trimwright_live::Act;
/// use trimwright_live::keys::{Asked, asked};
/// use trimwright_live::screen::Over;
/// let up = KeyEvent::new(KeyCode::Up, KeyModifiers::NONE);
/// assert_eq!(asked(&up, Over::Nothing), Some(Asked::Act(Act::Throttle(1))));
/// assert_eq!(asked(&up, Over::Faults(5)), Some(Asked::Show(Over::Faults(4))), "it chooses a fault");
/// ```
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Over {
    /// Nothing.
    Nothing,
    /// The keys.
    Help,
    /// All codes and faults.
    Wrong,
    /// The faults that can come and go; this one is chosen.
    Faults(usize),
}
