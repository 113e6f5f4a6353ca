//! A bench in the terminal: the engine runs in real time or faster; keys control throttle, brake, load and faults.
//!
//! ```text
//! keys -> action -> Bench: inputs, faults -> closed loop (harness) -> screen
//!                                             ^ pace: simulated time per wall time
//! ```
//!
//! [`Bench`] is the car with its driver inputs and does not depend on a terminal; [`keys`] assigns keys to commands and holds the help text;
//! [`screen`] draws a bench, [`outcome`] summarizes its drive. [`run`] connects keys, bench and screen and restores the terminal however it
//! ends.

/// The examples of the README.
#[cfg(doctest)]
#[doc = include_str!("../README.md")]
pub struct Readme;

mod bench;
mod codes_and_faults;
mod colours;
pub mod keys;
mod lambda_chart;
mod map_view;
mod outcome;
mod overlay;
mod pace;
pub mod screen;
mod text_rows;

pub use bench::{Bench, BenchAction, LambdaSample};
pub use colours::Colours;
pub use outcome::outcome;
pub use pace::{Pace, PaceChange, SPEED_FACTORS};
pub use text_rows::wrapped;

use keys::KeyCommand;
use ratatui::DefaultTerminal;
use ratatui::crossterm::event::{self, Event, KeyEventKind};
use screen::{Overlay, Screen};
use std::io::{self, IsTerminal};
use std::sync::Arc;
use std::sync::atomic::{AtomicBool, Ordering};
use std::time::{Duration, Instant};
use trimwright_harness::drive::RunError;
use trimwright_harness::scenario::Scenario;
use trimwright_harness::units::UnitSystem;

/// Time between two frames of the screen.
const FRAME_PERIOD: Duration = Duration::from_millis(50);
/// Largest part of it that is spent on simulation, so that keys and screen stay responsive.
const SIMULATION_TIME: Duration = Duration::from_millis(35);

/// Options with which the bench starts.
///
/// ```
/// use trimwright_live::{Colours, Pace, LiveOptions};
/// use trimwright_harness::units::UnitSystem;
/// let options = LiveOptions { speed_factor: 4, units: UnitSystem::Us, colours: Colours::from_environment(None, None) };
/// assert_eq!(Pace::new(options.speed_factor).factor(), 5, "the next larger one");
/// assert_eq!(options.colours, Colours::Indexed);
/// ```
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct LiveOptions {
    /// Simulated time per real time; rounded up to one of [`SPEED_FACTORS`].
    pub speed_factor: u32,
    /// Units of speed and temperature.
    pub units: UnitSystem,
    /// Colours that the terminal supports.
    pub colours: Colours,
}

/// Why the bench could not run.
///
/// ```
/// use trimwright_harness::scenario::Scenario;
/// use trimwright_live::{Bench, LiveError};
/// let mut van = Scenario::load("delivery-van")?;
/// van.truth.vehicle.mass_kg = -1.0;
/// let error = Bench::new(&van).map_err(LiveError::from).expect_err("a negative mass");
/// assert!(error.to_string().contains("vehicle.mass_kg"), "{error}");
/// assert!(LiveError::NoTerminal.to_string().contains("`trimwright drive`"), "the alternative is named");
/// # Ok::<(), Box<dyn std::error::Error>>(())
/// ```
#[derive(Debug, thiserror::Error)]
pub enum LiveError {
    /// Standard input or output is not a terminal.
    #[error("live needs a terminal to draw on and to read keys from; `trimwright drive` works without one")]
    NoTerminal,
    /// The scenario cannot be run.
    #[error(transparent)]
    Run(#[from] RunError),
    /// Input or output of the terminal failed.
    #[error("the terminal failed: {0}")]
    Terminal(#[from] io::Error),
}

/// Runs the bench in the terminal until the user quits, and returns its final state.
///
/// ```
/// use trimwright_harness::scenario::Scenario;
/// use trimwright_live::{Colours, LiveError, LiveOptions, run};
/// use trimwright_harness::units::UnitSystem;
/// let mut van = Scenario::load("delivery-van")?;
/// van.truth.vehicle.mass_kg = -1.0;
/// let options = LiveOptions { speed_factor: 1, units: UnitSystem::Si, colours: Colours::None };
/// let result = run(&van, options);
/// // Without a terminal the first error, in a terminal the second.
/// assert!(matches!(result, Err(LiveError::NoTerminal | LiveError::Run(_))));
/// # Ok::<(), Box<dyn std::error::Error>>(())
/// ```
///
/// # Errors
/// [`LiveError`]; the terminal is restored in every case.
pub fn run(scenario: &Scenario, options: LiveOptions) -> Result<Bench, LiveError> {
    if !io::stdin().is_terminal() || !io::stdout().is_terminal() {
        return Err(LiveError::NoTerminal);
    }
    let mut bench = Bench::new(scenario)?;
    let stop = Arc::new(AtomicBool::new(false));
    for signal in [signal_hook::consts::SIGINT, signal_hook::consts::SIGTERM] {
        signal_hook::flag::register(signal, Arc::clone(&stop))?;
    }
    in_terminal(|terminal| main_loop(terminal, &mut bench, options, &stop))?;
    Ok(bench)
}

/// Runs `work` with the terminal in raw mode and restores it afterwards, also when `work` panics.
fn in_terminal(work: impl FnOnce(DefaultTerminal) -> io::Result<()>) -> io::Result<()> {
    // Its panic hook restores the terminal before the message is printed.
    let terminal = ratatui::try_init()?;
    let done = work(terminal);
    ratatui::try_restore()?;
    done
}

/// Main loop: draws, handles keys and simulates until the user quits or a signal arrives.
fn main_loop(
    mut terminal: DefaultTerminal,
    bench: &mut Bench,
    options: LiveOptions,
    stop: &AtomicBool,
) -> io::Result<()> {
    let mut pace = Pace::new(options.speed_factor);
    let mut over = Overlay::None;
    let mut last = Instant::now();
    while !stop.load(Ordering::Relaxed) {
        let screen = Screen { bench, pace: &pace, over, units: options.units, colours: options.colours };
        terminal.draw(|frame| screen.draw(frame))?;
        let frame_start = Instant::now();
        while event::poll(FRAME_PERIOD.saturating_sub(SIMULATION_TIME).saturating_sub(frame_start.elapsed()))?
        {
            let Event::Key(key) = event::read()? else { continue };
            if key.kind == KeyEventKind::Release {
                continue;
            }
            match keys::command_for(&key, over) {
                Some(KeyCommand::Quit) => return Ok(()),
                Some(KeyCommand::Show(what)) => over = what,
                Some(KeyCommand::Pace(change)) => pace.change(change),
                Some(KeyCommand::Bench(act)) => bench.apply(act),
                None => (),
            }
        }
        let now = Instant::now();
        pace.add_wall_time((now - last).as_secs_f64());
        last = now;
        while now.elapsed() < SIMULATION_TIME && pace.take_step() {
            bench.step();
        }
        pace.end_frame();
        std::thread::sleep(FRAME_PERIOD.saturating_sub(frame_start.elapsed()));
    }
    Ok(())
}

#[cfg(test)]
mod tests {
    use super::*;
    use std::process::Command;

    /// Executed by the test below in a pseudo-terminal.
    #[test]
    #[ignore = "panics, in a terminal"]
    fn panics_while_it_draws() {
        let _ = in_terminal(|mut terminal| {
            terminal.draw(|_| panic!("provoked"))?;
            Ok(())
        });
    }

    #[test]
    fn a_panic_restores_the_terminal() {
        let modes = |when: &str| std::env::temp_dir().join(format!("live-{}-{when}", std::process::id()));
        let (before, after) = (modes("before"), modes("after"));
        let program = std::env::current_exe().expect("a test has a file");
        let session = format!(
            "stty -g > '{}'; '{}' --ignored --exact tests::panics_while_it_draws --nocapture; stty -g > '{}'",
            before.display(),
            program.display(),
            after.display(),
        );
        // `script` of util-linux runs it in a pseudo-terminal and prints that terminal's output.
        let shown =
            Command::new("script").args(["-qec", &session, "/dev/null"]).output().expect("util-linux");
        let shown = String::from_utf8_lossy(&shown.stdout).into_owned();
        let [entered, left, message] =
            ["\u{1b}[?1049h", "\u{1b}[?1049l", "provoked"].map(|words| shown.find(words));
        assert!(entered.is_some() && entered < left && left < message, "{shown:?}");
        let [before, after] = [before, after].map(|file| {
            let modes = std::fs::read_to_string(&file).expect("stty wrote it");
            std::fs::remove_file(&file).expect("it is there");
            modes
        });
        assert!(!before.is_empty() && before == after, "modes {before} and {after}");
    }
}
