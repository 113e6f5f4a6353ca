//! `trimwright live`: the bench in the terminal.

use crate::failure::Failure;
use crate::map::{self, LearnedCells};
use crate::scenario_choice::DEFAULT_SCENARIO;
use crate::standard_output::print;
use crate::units_choice::units;
use clap::Args;
use clap::builder::{PossibleValuesParser, TypedValueParser};
use std::path::PathBuf;
use trimwright_harness::error::InputError;
use trimwright_harness::output;
use trimwright_harness::scenario::Scenario;
use trimwright_harness::units::UnitSystem;
use trimwright_live::{Bench, Colours, LiveError, LiveOptions, outcome};

pub(crate) const EXAMPLES: &str = "\
Examples:
  trimwright live                     the delivery van, in real time
  trimwright live town-coupe --times 5
  trimwright live my-car.toml --units us --out out/my-car

The engine starts automatically. The arrow keys are the pedals, d changes between park and drive, f sets and clears faults, \
? shows all keys, q quits and prints a summary. You drive; the schedule of the scenario is not used. Needs a terminal of \
80 x 24 characters; from 32 rows on a chart of lambda over the last minute is shown.";

/// Options of `trimwright live`.
#[derive(Args, Clone, Debug)]
pub(crate) struct LiveArguments {
    /// Name of a scenario that comes with the program, or your own scenario file (.toml)
    #[arg(default_value = DEFAULT_SCENARIO)]
    scenario: String,
    /// Initial simulation speed, times real time
    #[arg(long, value_name = "N", default_value = "1", value_parser = PossibleValuesParser::new(["1", "2", "5", "10", "20", "50"]).map(|times| times.parse::<u32>().unwrap_or(1)))]
    times: u32,
    /// Seed of the random numbers [default: that of the scenario]
    #[arg(long, value_name = "N")]
    seed: Option<u64>,
    /// Where to write map.csv at the end [default: nowhere]
    #[arg(long, value_name = "DIR")]
    out: Option<PathBuf>,
    /// Units of speed and temperature
    #[arg(long, value_parser = units(), default_value = "si")]
    units: UnitSystem,
}

/// Runs the bench with the scenario and prints a summary.
pub(crate) fn live(arguments: &LiveArguments) -> Result<(), Failure> {
    let scenario = Scenario::load(&arguments.scenario)?;
    if let Some(out) = &arguments.out {
        output::check(out)?;
    }
    let seed = arguments.seed.unwrap_or(scenario.seed);
    let variable = |name: &str| std::env::var(name).ok();
    let live_options = LiveOptions {
        speed_factor: arguments.times,
        units: arguments.units,
        colours: Colours::from_environment(variable("NO_COLOR").as_deref(), variable("COLORTERM").as_deref()),
    };
    let bench =
        trimwright_live::run(&scenario.with_seed(seed), live_options).map_err(|error| match error {
            LiveError::NoTerminal => Failure::Input(InputError::new("standard output", error.to_string())),
            other => Failure::Other(other.to_string()),
        })?;
    print(&outcome(&bench))?;
    match &arguments.out {
        Some(out) => Ok(output::write(out, &[("map.csv", to_csv(&bench).as_bytes())])?),
        None => Ok(()),
    }
}

fn to_csv(bench: &Bench) -> String {
    let controller = bench.closed_loop().controller();
    map::to_csv(&LearnedCells {
        calibration: controller.calibration(),
        learned: controller.state().learned(),
        true_ln: &bench.true_correction_ln(),
        cells: bench.cells(),
    })
}
