//! A bench in the terminal: the engine runs in real time or faster, and throttle, brake, load and faults are worked by key.
//!
//! ```text
//! keys -> act -> Bench: inputs, faults -> closed loop (harness) -> screen
//!                         ^ pace: so much simulated time for the time that went by
//! ```
//!
//! [`Bench`] is the car with its driver inputs and knows nothing of terminals; [`keys`] says which key does what and is the help as well;
//! [`screen`] draws a bench, [`outcome`] says what its drive came to. [`run`] puts keys, bench and screen together and leaves the terminal
//! as it was, however it ends.

/// The examples of the README.
#[cfg(doctest)]
#[doc = include_str!("../README.md")]
pub struct Readme;

mod bench;
pub mod keys;
mod learned;
mod minute;
mod outcome;
mod over;
mod pace;
mod ramp;
mod rows;
pub mod screen;
mod wrong;

pub use bench::{Act, Bench, LambdaPoint};
pub use outcome::outcome;
pub use pace::{Change, Pace, TIMES};
pub use ramp::Colours;
pub use rows::wrapped;

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
use trimwright_harness::units::UnitSystem;

/// Time between two pictures.
const PICTURE: Duration = Duration::from_millis(50);
/// Most of it that is spent on simulating, so that keys and screen keep up.
const SIMULATING: Duration = Duration::from_millis(35);

/// How the bench is to begin.
///
/// ```
/// use trimwright_live::{Colours, Pace, Setting};
/// use trimwright_harness::units::UnitSystem;
/// let setting = Setting { times: 4, units: UnitSystem::Us, colours: Colours::of(None, None) };
/// assert_eq!(Pace::new(setting.times).times(), 5, "the next that there is");
/// assert_eq!(setting.colours, Colours::Indexed);
/// ```
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Setting {
    /// How many times as fast as life; the next of [`TIMES`] is taken.
    pub times: u32,
    /// Units of speed and temperature.
    pub units: UnitSystem,
    /// What colours the terminal takes.
    pub colours: Colours,
}

/// Why there is no bench.
///
/// ```
/// use trimwright_harness::scenario::Scenario;
/// use trimwright_live::{Bench, LiveError};
/// let mut van = Scenario::load("delivery-van")?;
/// van.truth.vehicle.mass_kg = -1.0;
/// let error = Bench::new(&van).map_err(LiveError::from).expect_err("no such car");
/// assert!(error.to_string().contains("vehicle.mass_kg"), "{error}");
/// assert!(LiveError::NoTerminal.to_string().contains("`trimwright drive`"), "what to do instead");
/// # Ok::<(), Box<dyn std::error::Error>>(())
/// ```
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

/// Runs the bench until its user quits, and hands it over as it then is.
///
/// ```
/// use trimwright_harness::scenario::Scenario;
/// use trimwright_live::{Colours, LiveError, Setting, run};
/// use trimwright_harness::units::UnitSystem;
/// let mut van = Scenario::load("delivery-van")?;
/// van.truth.vehicle.mass_kg = -1.0;
/// let setting = Setting { times: 1, units: UnitSystem::Si, colours: Colours::None };
/// let ended = run(&van, setting);
/// // In a pipe for want of a terminal, in a terminal for want of such a car.
/// assert!(matches!(ended, Err(LiveError::NoTerminal | LiveError::Run(_))));
/// # Ok::<(), Box<dyn std::error::Error>>(())
/// ```
///
/// # Errors
/// [`LiveError`]; the terminal is as it was before.
pub fn run(scenario: &Scenario, setting: Setting) -> Result<Bench, LiveError> {
    if !io::stdin().is_terminal() || !io::stdout().is_terminal() {
        return Err(LiveError::NoTerminal);
    }
    let mut bench = Bench::new(scenario)?;
    let stop = Arc::new(AtomicBool::new(false));
    for signal in [signal_hook::consts::SIGINT, signal_hook::consts::SIGTERM] {
        signal_hook::flag::register(signal, Arc::clone(&stop))?;
    }
    in_terminal(|terminal| work(terminal, &mut bench, setting, &stop))?;
    Ok(bench)
}

/// Takes the terminal for as long as `work` needs it and gives it back as it was, also when `work` panics.
fn in_terminal(work: impl FnOnce(DefaultTerminal) -> io::Result<()>) -> io::Result<()> {
    // Its hook restores the terminal before a panic says what it has to say.
    let terminal = ratatui::try_init()?;
    let done = work(terminal);
    ratatui::try_restore()?;
    done
}

/// Keys, time and pictures, until quit.
fn work(
    mut terminal: DefaultTerminal,
    bench: &mut Bench,
    setting: Setting,
    stop: &AtomicBool,
) -> io::Result<()> {
    let mut pace = Pace::new(setting.times);
    let mut over = Over::Nothing;
    let mut last = Instant::now();
    while !stop.load(Ordering::Relaxed) {
        let screen = Screen { bench, pace: &pace, over, units: setting.units, colours: setting.colours };
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

#[cfg(test)]
mod tests {
    use super::*;
    use std::process::Command;

    /// Run by the test below, in a terminal.
    #[test]
    #[ignore = "panics, in a terminal"]
    fn panics_while_it_draws() {
        let _ = in_terminal(|mut terminal| {
            terminal.draw(|_| panic!("provoked"))?;
            Ok(())
        });
    }

    #[test]
    fn a_panic_gives_the_terminal_back_as_it_was() {
        let modes = |when: &str| std::env::temp_dir().join(format!("live-{}-{when}", std::process::id()));
        let (before, after) = (modes("before"), modes("after"));
        let program = std::env::current_exe().expect("a test has a file");
        let session = format!(
            "stty -g > '{}'; '{}' --ignored --exact tests::panics_while_it_draws --nocapture; stty -g > '{}'",
            before.display(),
            program.display(),
            after.display(),
        );
        // `script` of util-linux runs it in a terminal of its own and hands on what that shows.
        let shown =
            Command::new("script").args(["-qec", &session, "/dev/null"]).output().expect("util-linux");
        let shown = String::from_utf8_lossy(&shown.stdout).into_owned();
        let [entered, left, said] =
            ["\u{1b}[?1049h", "\u{1b}[?1049l", "provoked"].map(|words| shown.find(words));
        assert!(entered.is_some() && entered < left && left < said, "{shown:?}");
        let [before, after] = [before, after].map(|file| {
            let modes = std::fs::read_to_string(&file).expect("stty wrote it");
            std::fs::remove_file(&file).expect("it is there");
            modes
        });
        assert!(!before.is_empty() && before == after, "modes {before} and {after}");
    }
}
