//! Idle speed and mixture, undisturbed and under step loads, and after a fuel cut.

use serde::Serialize;
use trimwright_plant::GearRange;

use crate::run_error::RunError;

use super::trial::{Trial, TrialCar, ZERO_DEGC_K};

const HOT_DEGC: f64 = 90.0;
/// Settling time of idle, and duration of the measurement, s.
const SETTLES_S: f64 = 30.0;
const MEASURED_S: f64 = 30.0;
/// Measurement after a disturbance, s.
const FOLLOWED_S: f64 = 10.0;
/// The mixture before a disturbance is the mean over this time, s.
const BEFORE_S: f64 = 5.0;
/// Brake that holds the car in gear, ratio.
const HOLDS: f64 = 0.4;
/// Start temperature below the first fan's switch-on temperature, K, and the longest wait for the fan, s. The radiator is covered, as in a
/// traffic jam without wind: otherwise the thermostat would keep some engines below that temperature.
const BELOW_FAN_K: f64 = 5.0;
const LONGEST_WAIT_S: f64 = 300.0;
/// Period at which the fan is polled, s.
const POLL_S: f64 = 0.2;
/// Throttle opening, ratio, and its duration, s; time with closed throttle after it, s; number of repetitions.
const REVVED: f64 = 0.25;
const REVVED_S: f64 = 1.2;
const LET_GO_S: f64 = 8.0;
const REVS: u32 = 3;

/// Response to a step load.
#[derive(Clone, Copy, Debug, PartialEq, Serialize)]
pub struct EventFigures {
    /// Largest drop of the speed below the target idle speed, rpm.
    pub drop_rpm: f64,
    /// Largest deviation of the mixture of a charge from its mean before, ratio.
    pub mixture: f64,
}

/// Hot idle.
#[derive(Clone, Copy, Debug, PartialEq, Serialize)]
pub struct IdleFigures {
    /// Rms of speed minus target speed out of gear, rpm.
    pub park_rms_rpm: f64,
    /// The same in gear with the brake applied, rpm.
    pub drive_rms_rpm: f64,
    /// Response to the air conditioning switched on in gear, and a fan with it.
    pub ac: EventFigures,
    /// Response to the first fan switched on by temperature out of gear; `null` when it did not switch on or the controller does not
    /// control it.
    pub fan: Option<EventFigures>,
}

/// Recovery from a throttle closed at speed.
#[derive(Clone, Copy, Debug, PartialEq, Serialize)]
pub struct CutFigures {
    /// Largest drop of the speed below the target idle speed, rpm.
    pub drop_rpm: f64,
    /// Number of stalls.
    pub stalls: u32,
    /// Number of fuel cuts while the speed came down.
    pub cuts: u32,
}

fn speed_rms_rpm(trial: &mut Trial) -> f64 {
    let (mut squares, mut count) = (0.0, 0_u32);
    trial.run(MEASURED_S, |moment| {
        squares += moment.over_rpm * moment.over_rpm;
        count += 1;
    });
    libm::sqrt(squares / f64::from(count))
}

fn follow(trial: &mut Trial, before: f64) -> EventFigures {
    let mut figures = EventFigures { drop_rpm: 0.0, mixture: 0.0 };
    trial.run(FOLLOWED_S, |moment| {
        figures.drop_rpm = figures.drop_rpm.max(-moment.over_rpm);
        for error in moment.errors {
            figures.mixture = figures.mixture.max(libm::expm1((error - before).abs()));
        }
    });
    figures
}

pub(super) fn idle(car: &TrialCar<'_>) -> Result<IdleFigures, RunError> {
    let mut trial = Trial::idling(car, car.calibration, HOT_DEGC, SETTLES_S)?;
    let park_rms_rpm = speed_rms_rpm(&mut trial);
    (trial.inputs().range, trial.inputs().brake) = (GearRange::Drive, HOLDS);
    trial.run(SETTLES_S, |_| ());
    let drive_rms_rpm = speed_rms_rpm(&mut trial);
    let before = trial.mean_error(BEFORE_S);
    trial.inputs().ac = true;
    Ok(IdleFigures { park_rms_rpm, drive_rms_rpm, ac: follow(&mut trial, before), fan: fan(car)? })
}

fn fan(car: &TrialCar<'_>) -> Result<Option<EventFigures>, RunError> {
    let starts_degc = f64::from(car.scenario.answers.fan1_on_k) - BELOW_FAN_K - ZERO_DEGC_K;
    let mut covered = car.scenario.clone();
    covered.truth.thermal.radiator_w_per_k = 0.0;
    let car = TrialCar { scenario: &covered, ..*car };
    let mut trial = Trial::idling(&car, car.calibration, starts_degc, SETTLES_S)?;
    let mut before = trial.mean_error(BEFORE_S);
    let running = |trial: &Trial| trial.closed_loop().controller().state().fans().running() > 0;
    if running(&trial) {
        return Ok(None);
    }
    for _ in 0..(LONGEST_WAIT_S / POLL_S) as u32 {
        let error = trial.mean_error(POLL_S);
        if running(&trial) {
            return Ok(Some(follow(&mut trial, before)));
        }
        before += POLL_S / BEFORE_S * (error - before);
    }
    Ok(None)
}

pub(super) fn return_from_cut(car: &TrialCar<'_>) -> Result<CutFigures, RunError> {
    let mut trial = Trial::idling(car, car.calibration, HOT_DEGC, SETTLES_S)?;
    let (mut drop_rpm, mut cuts) = (0.0_f64, 0);
    for _ in 0..REVS {
        trial.inputs().throttle = REVVED;
        trial.run(REVVED_S, |_| ());
        trial.inputs().throttle = 0.0;
        let mut was_cut = false;
        trial.run(LET_GO_S, |moment| {
            let is_cut = !moment.closed_loop.controller().state().phase().phase().burns();
            cuts += u32::from(is_cut && !was_cut);
            was_cut = is_cut;
            drop_rpm = drop_rpm.max(-moment.over_rpm);
        });
    }
    Ok(CutFigures { drop_rpm, stalls: trial.stalls, cuts })
}
