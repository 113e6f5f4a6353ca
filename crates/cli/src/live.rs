//! The bench in the terminal.

use crate::chosen::DEFAULT_SCENARIO;
use crate::failure::Failure;
use crate::map::{self, LearnedCells};
use crate::out::say;
use crate::units_choice::units;
use clap::Args;
use clap::builder::{PossibleValuesParser, TypedValueParser};
use std::path::PathBuf;
use trimwright_harness::error::InputError;
use trimwright_harness::output;
use trimwright_harness::scenario::Scenario;
use trimwright_harness::units::UnitSystem;
use trimwright_live::{Bench, Colours, LiveError, Setting, outcome};

pub(crate) const EXAMPLES: &str = "\
Examples:
  trimwright live                     the delivery van, in real time
  trimwright live town-coupe --times 5
  trimwright live my-car.toml --units us --out out/my-car

The engine starts by itself. The arrow keys are the pedals, d changes between park and drive, f lets faults come and go, \
? shows all keys, q quits and says what was learned. The schedule of the scenario is left aside: the driver is you. Needs \
a terminal of 80 x 24 characters; from 32 rows on the last minute is there as well.";

/// What was asked for.
#[derive(Args, Clone, Debug)]
pub(crate) struct Live {
    /// Name of a scenario that comes with the program, or your own scenario file (.toml)
    #[arg(default_value = DEFAULT_SCENARIO)]
    scenario: String,
    /// How many times as fast as life to begin with
    #[arg(long, value_name = "N", default_value = "1", value_parser = PossibleValuesParser::new(["1", "2", "5", "10", "20", "50"]).map(|times| times.parse::<u32>().unwrap_or(1)))]
    times: u32,
    /// Start of the random numbers [default: as the scenario says]
    #[arg(long, value_name = "N")]
    seed: Option<u64>,
    /// Where to write map.csv on leaving [default: nowhere]
    #[arg(long, value_name = "DIR")]
    out: Option<PathBuf>,
    /// Units of speed and temperature
    #[arg(long, value_parser = units(), default_value = "si")]
    units: UnitSystem,
}

/// Loads the scenario, lets the user work it, and tells what it came to.
pub(crate) fn live(asked: &Live) -> Result<(), Failure> {
    let scenario = Scenario::load(&asked.scenario)?;
    if let Some(out) = &asked.out {
        output::check(out)?;
    }
    let seed = asked.seed.unwrap_or(scenario.seed);
    let variable = |name: &str| std::env::var(name).ok();
    let setting = Setting {
        times: asked.times,
        units: asked.units,
        colours: Colours::of(variable("NO_COLOR").as_deref(), variable("COLORTERM").as_deref()),
    };
    let bench = trimwright_live::run(&scenario.with_seed(seed), setting).map_err(|error| match error {
        LiveError::NoTerminal => Failure::Input(InputError::new("standard output", error.to_string())),
        other => Failure::Other(other.to_string()),
    })?;
    say(&outcome(&bench))?;
    match &asked.out {
        Some(out) => Ok(output::write(out, &[("map.csv", to_csv(&bench).as_bytes())])?),
        None => Ok(()),
    }
}

fn to_csv(bench: &Bench) -> String {
    let controller = bench.closed_loop().controller();
    map::to_csv(&LearnedCells {
        calibration: controller.calibration(),
        learned: controller.state().learned(),
        right_ln: &bench.right_ln(),
        cells: bench.cells(),
    })
}
