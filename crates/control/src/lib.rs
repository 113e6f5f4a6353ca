//! Self-learning speed-density fuel controller for throttle-body injection.
//!
//! [`Controller::step`] turns one [`Frame`] of sensor volts and trigger pulses into [`Commands`] for injectors, spark, idle valve, pump and
//! fans. It knows only its frames, its [`Calibration`] and its [`State`]. It shares no engine model with any simulation. No allocation,
//! no `unsafe`, no clock: time comes with the frame.
//!
//! ```
//! use trimwright_control::{Calibration, Commands, Controller, Frame, Phase, SetupAnswers};
//! let mut controller = Controller::new(Calibration::from_answers(&SetupAnswers::default())?);
//! let mut frame = Frame { battery_v: 12.4, map_v: 4.1, ..Frame::default() };
//! frame.switches.ignition = true;
//! let mut commands = Commands::default();
//! for ms in 0..500 {
//!     frame.time_us = ms * 1000;
//!     commands = controller.step(&frame);
//! }
//! // Ignition on, crank at standstill: the pump fills the rail.
//! assert_eq!((controller.state().phase().phase(), commands.pump_duty), (Phase::Priming, 1.0));
//! # Ok::<(), trimwright_control::AnswerError>(())
//! ```
//!
//! # From a MAP volt to an open time
//!
//! At every firing, in this order:
//!
//! | step | equation | source |
//! |---|---|---|
//! | crank speed | `4 pi / (n t)`, `n` cylinders, `t` between firings, mean over one cycle | geometry |
//! | manifold pressure | sensor curve of the mean volts since the last firing, extrapolated by its rate | engineering judgement |
//! | air charge | `m = eta p V / (R T)`, `eta` from the base map | ideal gas; base map after Hendricks et al., SAE 960037 |
//! | wanted lambda | load term * idle or cruise term * warm-up term / after-start term | common practice |
//! | fuel | `m / (AFR lambda) * exp(learned + trim + dither)` | definition of lambda |
//! | wall film | `dm/dt = X q - m / tau`, inverted | Aquino, SAE 810494 |
//! | open time | flow time by the orifice law + short-pulse correction + opening delay | SAE J1832 vocabulary |
//!
//! # From a lambda volt to a lesson
//!
//! Every 20 ms:
//!
//! | step | equation | source |
//! |---|---|---|
//! | attribution | which past injection reached the sensor: plug flow of the exhaust mass, then the sensor's lag | engineering judgement |
//! | required correction | `y = applied then + ln(lambda measured / lambda wanted then)` | definition of lambda |
//! | enable conditions | the first [`Refusal`] that applies, or none | engineering judgement |
//! | short-term trim | first-order lag towards `y - learned`, time constant twice the delay | Smith predictor; Skogestad, J. Process Control 13 (2003) 291 |
//! | long-term trim | Kalman update with a diagonal covariance of the cells that were active then | e.g. Simon, Optimal State Estimation, 2006 |
//! | common correction | least squares over all cells for fuel scale and opening delay | e.g. Gelman et al., Bayesian Data Analysis, 3rd ed. |
//!
//! # Modules
//!
//! [`sensing`] makes quantities of volts and pulses, [`fueling`] makes open times of quantities, [`learning`] corrects them from the lambda
//! reading, [`diagnosis`] sets trouble codes and checks the loop, [`outputs`] drives everything but the injectors. [`parameters`] holds what
//! can be set, [`persistence`] what survives a power-down, [`events`] what goes to a log.
//!
//! # Units
//!
//! SI, with the unit at the end of every name:
//!
//! | ending | unit |
//! |---|---|
//! | `_pa` | pascal; MAP and BARO absolute, rail pressure above ambient |
//! | `_k` | kelvin |
//! | `_kg`, `_kg_per_s` | kilogram, kilogram a second |
//! | `_s`, `_us` | second, microsecond |
//! | `_rad_per_s` | radian a second; 100 rad/s are 955 rpm |
//! | `_deg` | degree of crank or throttle |
//! | `_v` | volt |
//! | `_m3` | cubic metre |
//! | `_ln`, `_ln2` | natural logarithm of a ratio, its square; 0.01 is about 1 % |
//! | none | ratio, count or flag |
//!
//! # Cost
//!
//! Every frame costs a little (time, pulses, MAP); a firing costs the fuel path; tasks of 10 and 20 ms cost the rest. State and calibration
//! together take less than 12 KiB. On a 64-bit host (`tests/sizes.rs`):
//!
//! | what | bytes |
//! |---|---|
//! | calibration, parameters in flash | 1904 |
//! | state | 9376 |
//! | learned map | 1376 |
//! | controller | 11280 |
//!
//! # Safety
//!
//! A simulation is no proof that an engine is safe. A lean mixture at high load destroys engines; fuel under pressure, hot exhaust and
//! nitrous oxide can hurt. Follow the maker's instructions and local rules, and leave licensed work to licensed people.
#![no_std]

/// The examples of the README.
#[cfg(doctest)]
#[doc = include_str!("../README.md")]
pub struct Readme;

mod air_charge;
mod answer_bytes;
mod answers;
mod attribution;
mod base_map;
mod calibration;
mod carried;
mod clock;
mod common_correction;
mod controller;
mod crank;
mod dtc;
mod enable_conditions;
mod enrichment;
mod estimate;
pub mod events;
mod exhaust;
mod fans;
mod feedback;
mod film;
mod fuel_cut;
mod fuel_pump;
mod idle;
mod injector;
mod insight;
mod invalid_signals;
mod learned_map;
mod learner;
mod nitrous;
mod open_time;
mod options;
pub mod parameters;
pub mod persistence;
mod phase;
mod plausibility;
mod pump_shot;
mod refusal;
mod self_check;
mod sensors;
mod setup;
mod signal_monitor;
mod spark;
mod start_assist;
mod state;
mod thermistor;
mod throttle_speed;
mod torque_response;
mod trouble_codes;
mod wanted_lambda;

/// Volts and pulses to quantities: time, crank speed, sensor estimates, and which of them are invalid and substituted.
pub mod sensing {
    pub use crate::clock::{Clock, DueTasks};
    pub use crate::crank::{CrankDecoder, CrankMotion};
    pub use crate::estimate::{Estimate, Estimator, EstimatorConstants};
    pub use crate::invalid_signals::InvalidSignals;
    pub use crate::plausibility::{Plausibility, PlausibilityInputs};
    pub use crate::thermistor::Sender;
    pub use crate::throttle_speed::ThrottleSpeed;
}

/// Quantities to injector open times: engine phase, fuel cuts, air charge, wanted lambda, enrichment, wall film, injectors.
pub mod fueling {
    pub use crate::air_charge::{AirCharge, air_charge};
    pub use crate::base_map::{OUTSIDE_PA, R_AIR};
    pub use crate::enrichment::Prime;
    pub use crate::film::{FILM, Film, FilmEstimate, film_estimate};
    pub use crate::fuel_cut::{Cut, Cuts, LeanGuard, is_clear_flood};
    pub use crate::open_time::{InjectorSupply, OpenTime};
    pub use crate::phase::PhaseState;
    pub use crate::pump_shot::PumpShot;
    pub use crate::start_assist::{StartAssist, StartAssistInputs};
    pub use crate::wanted_lambda::wanted_lambda;
}

/// Lambda reading to corrections: attribution, enable conditions, short-term trim, learned map and the ways to update it.
pub mod learning {
    pub use crate::attribution::{Attributed, Attribution, HISTORY, Injection, LaggedShares};
    pub use crate::common_correction::CommonEstimator;
    pub use crate::enable_conditions::{EnableConditions, EnableInputs};
    pub use crate::feedback::Feedback;
    pub use crate::learned_map::{CommonCorrection, Lesson, Outcome};
    pub use crate::learner::{Integral, Kalman, NormalisedGradient};
    pub use crate::refusal::LessonCounts;
}

/// Trouble codes, and the check of loop delay, loop gain and upstream air by a small dither of the fuel.
pub mod diagnosis {
    pub use crate::self_check::{SelfCheck, SelfCheckResult, SelfCheckSample};
    pub use crate::torque_response::TorqueResponse;
    pub use crate::trouble_codes::{Dtcs, Reports};
}

/// All outputs except the injectors: idle air, spark advance, fans and A/C clutch, fuel pump, nitrous oxide.
pub mod outputs {
    pub use crate::fans::Fans;
    pub use crate::fuel_pump::{Pump, PumpInputs};
    pub use crate::idle::{Idle, Loads};
    pub use crate::nitrous::{Nitrous, NitrousInputs};
    pub use crate::spark::{SparkInputs, spark_deg};
}

pub use answers::{AnswerError, Cam, FuelSystemType, SetupAnswers};
pub use base_map::{CELLS, MAP_POINTS, RPM_POINTS};
pub use calibration::{Calibrated, Calibration, CalibrationError};
pub use controller::Controller;
pub use dtc::{Codes, Dtc};
pub use insight::Insight;
pub use learned_map::LearnedMap;
pub use learner::Learner;
pub use options::{Firing, Options, Strategy};
pub use parameters::Parameters;
pub use phase::Phase;
pub use refusal::Refusal;
pub use setup::Setup;
pub use state::State;
pub use trimwright_signals::{Commands, Frame};
