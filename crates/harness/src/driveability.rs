//! Driveability: starts, fast throttle openings, idle under load, recovery from a fuel cut.
//!
//! Short scripted trials of the scenario's engine and answers, apart from the drive. Each starts with the learned map and a new engine at
//! the temperature it needs.

mod idling;
mod start;
mod tip_in;
mod trial;

use serde::Serialize;
use trimwright_control::{Calibration, LearnedMap};

use crate::run_error::RunError;
use crate::scenario::Scenario;
pub use idling::{CutFigures, EventFigures, IdleFigures};
pub use start::StartFigures;
pub use tip_in::{Excursion, TipInFigures};

/// Engine temperatures of the start trials, degC.
const STARTS_DEGC: [f64; 4] = [-18.0, 0.0, 20.0, 90.0];
/// Engine temperatures of the tip-in trials, degC: hot, and after a night.
const TIP_INS_DEGC: [f64; 2] = [90.0, 20.0];

/// Results of the driveability trials.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct Driveability {
    /// Starts at several temperatures.
    pub starts: Vec<StartFigures>,
    /// Fast throttle openings.
    pub tip_ins: Vec<TipInFigures>,
    /// Hot idle.
    pub idle: IdleFigures,
    /// Throttle closed at speed in neutral, hot.
    pub fuel_cut: CutFigures,
}

/// Runs the trials with this calibration and learned map.
///
/// ```
/// use trimwright_control::{Calibration, Parameters};
/// use trimwright_harness::{driveability::driveability, scenario::Scenario};
/// let scenario = Scenario::load("delivery-van")?;
/// let calibration = Calibration::from_answers(&scenario.answers)?;
/// let figures = driveability(&scenario, &calibration, &Parameters::DEFAULT.blank_map())?;
/// assert!(figures.starts.iter().all(|start| start.stalls == 0));
/// # Ok::<(), Box<dyn std::error::Error>>(())
/// ```
///
/// # Errors
/// [`RunError`] when the scenario's truth is outside its ranges.
pub fn driveability(
    scenario: &Scenario,
    calibration: &Calibration,
    learned: &LearnedMap,
) -> Result<Driveability, RunError> {
    let car = trial::TrialCar { scenario, calibration, learned };
    Ok(Driveability {
        starts: STARTS_DEGC.iter().map(|&degc| start::try_at(&car, degc)).collect::<Result<_, _>>()?,
        tip_ins: TIP_INS_DEGC.iter().map(|&degc| tip_in::try_at(&car, degc)).collect::<Result<_, _>>()?,
        idle: idling::idle(&car)?,
        fuel_cut: idling::return_from_cut(&car)?,
    })
}
