//! A bench in the terminal: the engine runs in real time or faster, and throttle, brake, load and faults are worked by key.
//!
//! ```text
//! keys -> act -> Bench: hands, faults -> closed loop (harness) -> screen
//!                         ^ pace: so much simulated time for the time that went by
//! ```
//!
//! [`Bench`] is the car under someone's hands and knows nothing of terminals; [`keys`] says which key does what and is the help as well;
//! [`screen`] draws a bench. [`run`] puts the three together and leaves the terminal as it was, however it ends.

mod bench;
pub mod keys;
mod learned;
mod pace;
mod ramp;
pub mod screen;

pub use bench::{Act, Bench, Point};
pub use pace::{Change, Pace, TIMES};
pub use ramp::Colours;
pub use screen::Units;

use keys::Asked;
use ratatui::DefaultTerminal;
use ratatui::crossterm::event::{self, Event, KeyEventKind};
use screen::{Over, Screen};
use std::io::{self, IsTerminal};
use std::sync::Arc;
use std::sync::atomic::{AtomicBool, Ordering};
use std::time::{Duration, Instant};
use trimwright_harness::drive::RunError;
use trimwright_harness::scenario::Scenario;

/// Time between two pictures.
const PICTURE: Duration = Duration::from_millis(50);
/// Most of it that is spent on simulating, so that keys and screen keep up.
const SIMULATING: Duration = Duration::from_millis(35);

/// How the bench is to begin.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Setting {
    /// How many times as fast as life; the next of [`TIMES`] is taken.
    pub times: u32,
    /// Units of speed and temperature.
    pub units: Units,
    /// What colours the terminal takes.
    pub colours: Colours,
}

/// Why there is no bench.
#[derive(Debug, thiserror::Error)]
pub enum LiveError {
    /// Input or output is a file or a pipe.
    #[error("live needs a terminal to draw on and to read keys from; `trimwright drive` works without one")]
    NoTerminal,
    /// The scenario can't be run.
    #[error(transparent)]
    Run(#[from] RunError),
    /// The terminal failed.
    #[error("the terminal failed: {0}")]
    Terminal(#[from] io::Error),
}

/// Runs the bench until its user quits.
///
/// # Errors
/// [`LiveError`]; the terminal is as it was before.
pub fn run(scenario: &Scenario, setting: Setting) -> Result<(), LiveError> {
    if !io::stdin().is_terminal() || !io::stdout().is_terminal() {
        return Err(LiveError::NoTerminal);
    }
    let bench = Bench::new(scenario)?;
    let stop = Arc::new(AtomicBool::new(false));
    for signal in [signal_hook::consts::SIGINT, signal_hook::consts::SIGTERM] {
        signal_hook::flag::register(signal, Arc::clone(&stop))?;
    }
    // Also restores the terminal when the program panics.
    let terminal = ratatui::try_init()?;
    let done = work(terminal, bench, setting, &stop);
    ratatui::try_restore()?;
    Ok(done?)
}

/// Keys, time and pictures, until quit.
fn work(
    mut terminal: DefaultTerminal,
    mut bench: Bench,
    setting: Setting,
    stop: &AtomicBool,
) -> io::Result<()> {
    let mut pace = Pace::new(setting.times);
    let mut over = Over::Nothing;
    let mut last = Instant::now();
    while !stop.load(Ordering::Relaxed) {
        let screen =
            Screen { bench: &bench, pace: &pace, over, units: setting.units, colours: setting.colours };
        terminal.draw(|frame| screen.draw(frame))?;
        let picture = Instant::now();
        while event::poll(PICTURE.saturating_sub(SIMULATING).saturating_sub(picture.elapsed()))? {
            let Event::Key(key) = event::read()? else { continue };
            if key.kind == KeyEventKind::Release {
                continue;
            }
            match keys::asked(&key, over) {
                Some(Asked::Quit) => return Ok(()),
                Some(Asked::Show(what)) => over = what,
                Some(Asked::Pace(change)) => pace.change(change),
                Some(Asked::Act(act)) => bench.act(act),
                None => (),
            }
        }
        let now = Instant::now();
        pace.owe((now - last).as_secs_f64());
        last = now;
        while now.elapsed() < SIMULATING && pace.pays() {
            bench.go_on();
        }
        pace.close();
        std::thread::sleep(PICTURE.saturating_sub(picture.elapsed()));
    }
    Ok(())
}
