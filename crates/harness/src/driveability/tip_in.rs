//! The throttle opened fast at a held speed: how far the mixture of the charges leaves its course.

use serde::Serialize;
use trimwright_control::{Calibration, Options};

use crate::closed_loop::STEP_S;
use crate::run_error::RunError;

use super::trial::{Trial, TrialCar};

/// The engine idles, then is held at the speed with the lesser throttle, then the throttle opens.
const IDLES_S: f64 = 10.0;
const HELD_S: f64 = 6.0;
const OPENS_S: f64 = 0.2;
/// What counts is the time from the first movement; the mixture has settled for the time after that.
const COUNTS_S: f64 = 4.0;
const SETTLED_S: f64 = 1.0;
/// Throttle before and after, ratio; speed held, rad/s (1500 rpm: an engine that is asked to pull away).
const THROTTLE: (f64, f64) = (0.1, 0.6);
const SPEED_RAD_PER_S: f64 = 157.1;

/// How far the mixture went beyond where it was before and where it came to, ratio of lambda.
#[derive(Clone, Copy, Debug, PartialEq, Serialize)]
pub struct Excursion {
    /// Lean of both, e.g. 0.12 for lambda 1.12 instead of 1.
    pub lean: f64,
    /// Rich of both.
    pub rich: f64,
}

impl Excursion {
    /// The farther of the two.
    pub fn farthest(&self) -> f64 {
        self.lean.max(self.rich)
    }
}

/// A throttle opened from 10 to 60 % in 0.2 s at 1500 rpm, feedback and learning off.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct TipInFigures {
    /// Temperature of the engine at its start, 16 s before, degC.
    pub engine_degc: f64,
    /// With film compensation and accelerator-pump shot.
    pub compensated: Excursion,
    /// Without both.
    pub uncompensated: Excursion,
}

pub(super) fn try_at(car: &TrialCar<'_>, degc: f64) -> Result<TipInFigures, RunError> {
    let with = |film_compensation| {
        let frozen =
            Options { film_compensation, feedback: false, learning: false, ..*car.calibration.options() };
        excursion(car, &car.calibration.clone().with_options(frozen), degc)
    };
    Ok(TipInFigures { engine_degc: degc, compensated: with(true)?, uncompensated: with(false)? })
}

fn excursion(car: &TrialCar<'_>, calibration: &Calibration, degc: f64) -> Result<Excursion, RunError> {
    let mut trial = Trial::idling(car, calibration, degc, IDLES_S)?;
    trial.inputs().dyno_rad_per_s = Some(SPEED_RAD_PER_S);
    trial.inputs().throttle = THROTTLE.0;
    trial.run(HELD_S - SETTLED_S, |_| ());
    let before = trial.mean_error(SETTLED_S);
    let (mut leanest, mut richest) = (f64::NEG_INFINITY, f64::INFINITY);
    let opening = (OPENS_S / STEP_S).round();
    for step in 0..(COUNTS_S / STEP_S).round() as u32 {
        let share = (f64::from(step + 1) / opening).min(1.0);
        trial.inputs().throttle = THROTTLE.0 + (THROTTLE.1 - THROTTLE.0) * share;
        trial.run(STEP_S, |moment| {
            for &error in moment.errors {
                (leanest, richest) = (leanest.max(error), richest.min(error));
            }
        });
    }
    let after = trial.mean_error(SETTLED_S);
    Ok(Excursion {
        lean: libm::expm1((leanest - before.max(after)).max(0.0)),
        rich: -libm::expm1((richest - before.min(after)).min(0.0)),
    })
}
