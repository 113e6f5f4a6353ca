//! Fast throttle openings at a constant speed, and the mixture excursion of the charges.

use serde::Serialize;
use trimwright_control::{Calibration, Options};

use crate::closed_loop::STEP_S;
use crate::run_error::RunError;

use super::trial::{Trial, TrialCar};

/// Time at idle, time at the speed with the smaller throttle, and time in which the throttle opens, s.
const IDLES_S: f64 = 10.0;
const HELD_S: f64 = 6.0;
const OPENS_S: f64 = 0.2;
/// Time evaluated from the first movement, and time over which the settled mixture is averaged afterwards, s.
const COUNTS_S: f64 = 4.0;
const SETTLED_S: f64 = 1.0;
/// Throttle before and after, ratio; constant speed, rad/s (1500 rpm: pulling away).
const THROTTLE: (f64, f64) = (0.1, 0.6);
const SPEED_RAD_PER_S: f64 = 157.1;

/// Largest excursion of the mixture beyond its values before and after, ratio of lambda.
#[derive(Clone, Copy, Debug, PartialEq, Serialize)]
pub struct Excursion {
    /// Excursion to lean, e.g. 0.12 for lambda 1.12 instead of 1.
    pub lean: f64,
    /// Excursion to rich.
    pub rich: f64,
}

impl Excursion {
    /// The larger of the two.
    pub fn farthest(&self) -> f64 {
        self.lean.max(self.rich)
    }
}

/// A throttle opening from 10 to 60 % in 0.2 s at 1500 rpm, feedback and learning off.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct TipInFigures {
    /// Engine temperature at its start, 16 s before, degC.
    pub engine_degc: f64,
    /// Excursion with film compensation and accelerator-pump shot.
    pub compensated: Excursion,
    /// Excursion without both.
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
