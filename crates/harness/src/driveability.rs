//! Drive quality: starts, a throttle opened fast, idle under load, the way back from a fuel cut.
//!
//! Short scripted trials of the scenario's engine with its owner's answers, apart from the drive itself. They begin with what
//! was learned, and each with a new engine at the temperature it needs.

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

/// Temperatures of the engine at the starts, degC.
const STARTS_DEGC: [f64; 4] = [-18.0, 0.0, 20.0, 90.0];
/// Temperatures of the engine at the tip-ins, degC: hot, and as it stood overnight.
const TIP_INS_DEGC: [f64; 2] = [90.0, 20.0];

/// How well the car drives.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct Driveability {
    /// Starts at several temperatures.
    pub starts: Vec<StartFigures>,
    /// The throttle opened fast.
    pub tip_ins: Vec<TipInFigures>,
    /// Idling, hot.
    pub idle: IdleFigures,
    /// Throttle let go at speed in neutral, hot.
    pub fuel_cut: CutFigures,
}

/// Tries the scenario's engine with this calibration and with what was learned.
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
