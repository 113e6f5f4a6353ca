//! Which key does what. The same table is the help.

use crate::bench::{Act, Bench};
use crate::over::Over;
use crate::pace::Change;
use ratatui::crossterm::event::{KeyCode, KeyEvent, KeyModifiers};

/// What a key asks for.
///
/// ```
/// use ratatui::crossterm::event::{KeyCode, KeyEvent, KeyModifiers};
/// use trimwright_live::keys::{Asked, asked};
/// use trimwright_live::screen::Over;
/// use trimwright_live::{Act, Change};
/// let press = |code| asked(&KeyEvent::new(code, KeyModifiers::NONE), Over::Nothing);
/// assert_eq!(press(KeyCode::Up), Some(Asked::Act(Act::Throttle(1))));
/// assert_eq!(press(KeyCode::Char('+')), Some(Asked::Pace(Change::Faster)));
/// assert_eq!(press(KeyCode::Char('f')), Some(Asked::Show(Over::Faults(0))));
/// assert_eq!(press(KeyCode::Char('q')), Some(Asked::Quit));
/// ```
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum Asked {
    /// Of the car.
    Act(Act),
    /// Of time.
    Pace(Change),
    /// Of the screen.
    Show(Over),
    /// To leave.
    Quit,
}

/// Names of keys and what they do, in groups of what belongs together.
///
/// ```
/// assert!(trimwright_live::keys::HELP.iter().any(|(key, what)| key.contains('q') && *what == "quit"));
/// ```
pub const HELP: [(&str, &str); 15] = [
    ("up, down", "throttle 2 % more, less"),
    ("0 to 9", "throttle to 0 ... 90 %"),
    ("right, left", "brake 10 % more, less"),
    ("d", "gearbox: park or drive"),
    ("g, G", "road 1 % steeper, flatter"),
    ("a", "air conditioning on, off"),
    ("i", "ignition on, off"),
    ("f", "faults: choose one that comes or goes"),
    ("m", "mend: all faults go"),
    ("w", "what is wrong: all codes and faults"),
    ("+, -", "time faster, slower"),
    ("space", "hold still, go on"),
    ("?", "these keys"),
    ("esc", "back"),
    ("q, Ctrl-C", "quit"),
];

/// What a key asks for while `over` lies over the screen.
///
/// ```
/// use ratatui::crossterm::event::{KeyCode, KeyEvent, KeyModifiers};
/// use trimwright_live::Act;
/// use trimwright_live::keys::{Asked, asked};
/// use trimwright_live::screen::Over;
/// let key = KeyEvent::new(KeyCode::Char('4'), KeyModifiers::NONE);
/// assert_eq!(asked(&key, Over::Nothing), Some(Asked::Act(Act::ThrottleTo(4))));
/// ```
pub fn asked(key: &KeyEvent, over: Over) -> Option<Asked> {
    let control = key.modifiers.contains(KeyModifiers::CONTROL);
    match key.code {
        KeyCode::Char('c') if control => return Some(Asked::Quit),
        _ if control => return None,
        _ => (),
    }
    if let Over::Faults(chosen) = over
        && let Some(asked) = choosing(key.code, chosen)
    {
        return Some(asked);
    }
    let act = match key.code {
        KeyCode::Up => Act::Throttle(1),
        KeyCode::Down => Act::Throttle(-1),
        KeyCode::Char(digit @ '0'..='9') => Act::ThrottleTo(digit as u8 - b'0'),
        KeyCode::Right => Act::Brake(1),
        KeyCode::Left => Act::Brake(-1),
        KeyCode::Char('d') => Act::Range,
        KeyCode::Char('g') => Act::Grade(1),
        KeyCode::Char('G') => Act::Grade(-1),
        KeyCode::Char('a') => Act::AirConditioning,
        KeyCode::Char('i') => Act::Ignition,
        KeyCode::Char('m') => Act::Mend,
        other => return beside(other, over),
    };
    Some(Asked::Act(act))
}

/// What is asked of the list of faults.
fn choosing(code: KeyCode, chosen: usize) -> Option<Asked> {
    let last = Bench::kinds().len().saturating_sub(1);
    match code {
        KeyCode::Up => Some(Asked::Show(Over::Faults(chosen.saturating_sub(1)))),
        KeyCode::Down => Some(Asked::Show(Over::Faults((chosen + 1).min(last)))),
        KeyCode::PageUp => Some(Asked::Show(Over::Faults(chosen.saturating_sub(10)))),
        KeyCode::PageDown => Some(Asked::Show(Over::Faults((chosen + 10).min(last)))),
        KeyCode::Enter | KeyCode::Char(' ') => Some(Asked::Act(Act::Fault(chosen))),
        _ => None,
    }
}

/// What is not asked of the car.
fn beside(code: KeyCode, over: Over) -> Option<Asked> {
    let show = |what: Over| Some(Asked::Show(what));
    match code {
        KeyCode::Char('+' | '=') => Some(Asked::Pace(Change::Faster)),
        KeyCode::Char('-' | '_') => Some(Asked::Pace(Change::Slower)),
        KeyCode::Char(' ') => Some(Asked::Pace(Change::Pause)),
        KeyCode::Char('?') if over == Over::Help => show(Over::Nothing),
        KeyCode::Char('?') => show(Over::Help),
        KeyCode::Char('f') if matches!(over, Over::Faults(_)) => show(Over::Nothing),
        KeyCode::Char('f') => show(Over::Faults(0)),
        KeyCode::Char('w') if over == Over::Wrong => show(Over::Nothing),
        KeyCode::Char('w') => show(Over::Wrong),
        KeyCode::Esc => show(Over::Nothing),
        KeyCode::Char('q') => Some(Asked::Quit),
        _ => None,
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn press(code: KeyCode, over: Over) -> Option<Asked> {
        asked(&KeyEvent::new(code, KeyModifiers::NONE), over)
    }

    #[test]
    fn every_key_of_the_help_does_something() {
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
                assert!(press(code, Over::Nothing).is_some(), "{name}");
            }
        }
        let quit = KeyEvent::new(KeyCode::Char('c'), KeyModifiers::CONTROL);
        assert_eq!(asked(&quit, Over::Help), Some(Asked::Quit));
        let shown = [Over::Nothing, Over::Wrong].map(|over| press(KeyCode::Char('w'), over));
        assert_eq!(shown, [Over::Wrong, Over::Nothing].map(|over| Some(Asked::Show(over))));
    }

    #[test]
    fn the_list_of_faults_takes_the_arrows_and_stays_within_its_ends() {
        let last = Bench::kinds().len() - 1;
        assert_eq!(press(KeyCode::Up, Over::Faults(0)), Some(Asked::Show(Over::Faults(0))));
        assert_eq!(press(KeyCode::PageDown, Over::Faults(last)), Some(Asked::Show(Over::Faults(last))));
        assert_eq!(press(KeyCode::Enter, Over::Faults(3)), Some(Asked::Act(Act::Fault(3))));
        assert_eq!(press(KeyCode::Right, Over::Faults(3)), Some(Asked::Act(Act::Brake(1))));
        assert_eq!(press(KeyCode::Esc, Over::Faults(3)), Some(Asked::Show(Over::Nothing)));
        assert_eq!(press(KeyCode::F(1), Over::Nothing), None);
    }
}
