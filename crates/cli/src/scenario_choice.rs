//! Selection of the scenario of a command.

use trimwright_harness::error::InputError;
use trimwright_harness::scenario::Scenario;

/// The default scenario.
pub(crate) const DEFAULT_SCENARIO: &str = "delivery-van";

/// Loads a scenario and applies schedule, passes, seed and disturbances of the command line.
pub(crate) fn load(
    name: &str,
    schedule: Option<&str>,
    passes: Option<u32>,
    seed: Option<u64>,
    undisturbed: bool,
) -> Result<Scenario, InputError> {
    let mut scenario = Scenario::load(name)?;
    if let Some(schedule) = schedule {
        scenario = scenario.with_schedule(schedule)?;
    }
    let (passes, seed) = (passes.unwrap_or(scenario.passes), seed.unwrap_or(scenario.seed));
    let scenario = scenario.with_passes(passes).with_seed(seed);
    let scenario = if undisturbed { scenario.with_disturbances(0.0) } else { scenario };
    scenario.check_length()?;
    Ok(scenario)
}
