//! Selection of the scenario of a command.

use trimwright_harness::error::InputError;
use trimwright_harness::scenario::Scenario;

/// The default scenario.
pub(crate) const DEFAULT_SCENARIO: &str = "delivery-van";

/// Loads a scenario and applies schedule, passes and seed of the command line.
pub(crate) fn load(
    name: &str,
    schedule: Option<&str>,
    passes: Option<u32>,
    seed: Option<u64>,
) -> Result<Scenario, InputError> {
    let mut scenario = Scenario::load(name)?;
    if let Some(schedule) = schedule {
        scenario = scenario.with_schedule(schedule)?;
    }
    let (passes, seed) = (passes.unwrap_or(scenario.passes), seed.unwrap_or(scenario.seed));
    let scenario = scenario.with_passes(passes).with_seed(seed);
    scenario.check_length()?;
    Ok(scenario)
}
