//! Start trials.

use serde::Serialize;

use crate::run_error::RunError;

use super::trial::{Trial, TrialCar};

/// Time the engine has to run by itself, s.
const RUNS_S: f64 = 60.0;

/// A start and the minute after it.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct StartFigures {
    /// Engine and ambient temperature, degC; the ambient one is limited to the scenario's.
    pub engine_degc: f64,
    /// Cranking time until the engine ran by itself, s; `null` when it did not within 10 s.
    pub cranked_s: Option<f64>,
    /// Stalls in the minute after that.
    pub stalls: u32,
}

pub(super) fn try_at(car: &TrialCar<'_>, degc: f64) -> Result<StartFigures, RunError> {
    let mut trial = Trial::new(car, car.calibration, degc)?;
    let cranked_s = trial.start();
    trial.run(RUNS_S, |_| ());
    Ok(StartFigures { engine_degc: degc, cranked_s, stalls: trial.stalls })
}
