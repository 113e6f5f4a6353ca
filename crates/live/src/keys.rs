//! Assignment of keys to commands, and the help text.

use crate::bench::{Bench, BenchAction};
use crate::overlay::Overlay;
use crate::pace::PaceChange;
use ratatui::crossterm::event::{KeyCode, KeyEvent, KeyModifiers};

/// Command of a key.
///
/// ```
/// use ratatui::crossterm::event::{KeyCode, KeyEvent, KeyModifiers};
/// use trimwright_live::keys::{KeyCommand, command_for};
/// use trimwright_live::screen::Overlay;
/// use trimwright_live::{BenchAction, PaceChange};
/// let press = |code| command_for(&KeyEvent::new(code, KeyModifiers::NONE), Overlay::None);
/// assert_eq!(press(KeyCode::Up), Some(KeyCommand::Bench(BenchAction::ChangeThrottle(1))));
/// assert_eq!(press(KeyCode::Char('+')), Some(KeyCommand::Pace(PaceChange::Faster)));
/// assert_eq!(press(KeyCode::Char('f')), Some(KeyCommand::Show(Overlay::Faults(0))));
/// assert_eq!(press(KeyCode::Char('q')), Some(KeyCommand::Quit));
/// ```
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum KeyCommand {
    /// Acts on the car.
    Bench(BenchAction),
    /// Changes the simulation speed.
    Pace(PaceChange),
    /// Changes what is shown over the screen.
    Show(Overlay),
    /// Ends the program.
    Quit,
}

/// Names of the keys and what they do, grouped.
pub const HELP: [(&str, &str); 15] = [
    ("up, down", "throttle 2 % more, less"),
    ("0 to 9", "throttle to 0 ... 90 %"),
    ("right, left", "brake 10 % more, less"),
    ("d", "gearbox: park or drive"),
    ("g, G", "road 1 % steeper, flatter"),
    ("a", "air conditioning on, off"),
    ("i", "ignition on, off"),
    ("f", "faults: choose one to set or clear"),
    ("m", "clear all faults"),
    ("w", "all codes and faults"),
    ("+, -", "simulate faster, slower"),
    ("space", "pause, continue"),
    ("?", "this list of keys"),
    ("esc", "back"),
    ("q, Ctrl-C", "quit"),
];

/// The command of a key while `over` is shown over the screen; `None` for a key without one.
pub fn command_for(key: &KeyEvent, over: Overlay) -> Option<KeyCommand> {
    let control = key.modifiers.contains(KeyModifiers::CONTROL);
    match key.code {
        KeyCode::Char('c') if control => return Some(KeyCommand::Quit),
        _ if control => return None,
        _ => (),
    }
    if let Overlay::Faults(selected) = over
        && let Some(asked) = fault_list_command(key.code, selected)
    {
        return Some(asked);
    }
    let act = match key.code {
        KeyCode::Up => BenchAction::ChangeThrottle(1),
        KeyCode::Down => BenchAction::ChangeThrottle(-1),
        KeyCode::Char(digit @ '0'..='9') => BenchAction::SetThrottle(digit as u8 - b'0'),
        KeyCode::Right => BenchAction::ChangeBrake(1),
        KeyCode::Left => BenchAction::ChangeBrake(-1),
        KeyCode::Char('d') => BenchAction::ToggleRange,
        KeyCode::Char('g') => BenchAction::ChangeGrade(1),
        KeyCode::Char('G') => BenchAction::ChangeGrade(-1),
        KeyCode::Char('a') => BenchAction::ToggleAirConditioning,
        KeyCode::Char('i') => BenchAction::ToggleIgnition,
        KeyCode::Char('m') => BenchAction::ClearFaults,
        other => return screen_command(other, over),
    };
    Some(KeyCommand::Bench(act))
}

/// Command of a key in the list of faults.
fn fault_list_command(code: KeyCode, selected: usize) -> Option<KeyCommand> {
    let last = Bench::fault_kinds().len().saturating_sub(1);
    match code {
        KeyCode::Up => Some(KeyCommand::Show(Overlay::Faults(selected.saturating_sub(1)))),
        KeyCode::Down => Some(KeyCommand::Show(Overlay::Faults((selected + 1).min(last)))),
        KeyCode::PageUp => Some(KeyCommand::Show(Overlay::Faults(selected.saturating_sub(10)))),
        KeyCode::PageDown => Some(KeyCommand::Show(Overlay::Faults((selected + 10).min(last)))),
        KeyCode::Enter | KeyCode::Char(' ') => Some(KeyCommand::Bench(BenchAction::ToggleFault(selected))),
        _ => None,
    }
}

/// Command of a key that does not act on the car.
fn screen_command(code: KeyCode, over: Overlay) -> Option<KeyCommand> {
    let show = |what: Overlay| Some(KeyCommand::Show(what));
    match code {
        KeyCode::Char('+' | '=') => Some(KeyCommand::Pace(PaceChange::Faster)),
        KeyCode::Char('-' | '_') => Some(KeyCommand::Pace(PaceChange::Slower)),
        KeyCode::Char(' ') => Some(KeyCommand::Pace(PaceChange::Pause)),
        KeyCode::Char('?') if over == Overlay::Help => show(Overlay::None),
        KeyCode::Char('?') => show(Overlay::Help),
        KeyCode::Char('f') if matches!(over, Overlay::Faults(_)) => show(Overlay::None),
        KeyCode::Char('f') => show(Overlay::Faults(0)),
        KeyCode::Char('w') if over == Overlay::CodesAndFaults => show(Overlay::None),
        KeyCode::Char('w') => show(Overlay::CodesAndFaults),
        KeyCode::Esc => show(Overlay::None),
        KeyCode::Char('q') => Some(KeyCommand::Quit),
        _ => None,
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn press(code: KeyCode, over: Overlay) -> Option<KeyCommand> {
        command_for(&KeyEvent::new(code, KeyModifiers::NONE), over)
    }

    #[test]
    fn every_key_in_the_help_has_a_command() {
        for (names, _) in HELP {
            for name in names.split(", ").flat_map(|name| name.split(" to ")) {
                let code = match name {
                    "up" => KeyCode::Up,
                    "down" => KeyCode::Down,
                    "left" => KeyCode::Left,
                    "right" => KeyCode::Right,
                    "space" => KeyCode::Char(' '),
                    "esc" => KeyCode::Esc,
                    "Ctrl-C" => continue,
                    letter => KeyCode::Char(letter.chars().next().expect("a letter")),
                };
                assert!(press(code, Overlay::None).is_some(), "{name}");
            }
        }
        let quit = KeyEvent::new(KeyCode::Char('c'), KeyModifiers::CONTROL);
        assert_eq!(command_for(&quit, Overlay::Help), Some(KeyCommand::Quit));
        let shown = [Overlay::None, Overlay::CodesAndFaults].map(|over| press(KeyCode::Char('w'), over));
        assert_eq!(shown, [Overlay::CodesAndFaults, Overlay::None].map(|over| Some(KeyCommand::Show(over))));
    }

    #[test]
    fn arrows_move_in_the_list_of_faults_and_stop_at_its_ends() {
        let last = Bench::fault_kinds().len() - 1;
        assert_eq!(press(KeyCode::Up, Overlay::Faults(0)), Some(KeyCommand::Show(Overlay::Faults(0))));
        assert_eq!(
            press(KeyCode::PageDown, Overlay::Faults(last)),
            Some(KeyCommand::Show(Overlay::Faults(last)))
        );
        assert_eq!(
            press(KeyCode::Enter, Overlay::Faults(3)),
            Some(KeyCommand::Bench(BenchAction::ToggleFault(3)))
        );
        assert_eq!(
            press(KeyCode::Right, Overlay::Faults(3)),
            Some(KeyCommand::Bench(BenchAction::ChangeBrake(1)))
        );
        assert_eq!(press(KeyCode::Esc, Overlay::Faults(3)), Some(KeyCommand::Show(Overlay::None)));
        assert_eq!(press(KeyCode::F(1), Overlay::None), None);
    }
}
