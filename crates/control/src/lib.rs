//! Self-learning speed-density fuel controller for throttle-body injection.
//!
//! [`Controller::step`] takes a [`Frame`](trimwright_signals::Frame) of volts and pulses and gives
//! [`Commands`](trimwright_signals::Commands). It knows only its frame, its [`Calibration`] and its [`State`]: it has no
//! model of the engine in common with any simulation. No allocation, no `unsafe`, no clock; time comes in with the frame.
//!
//! The data travels in this order; each stage is a module of its own:
//!
//! [`clock`], [`crank`] and [`believe`] (with [`plausible`], [`throttle_speed`] and [`trouble_codes`]) make quantities of volts and pulses;
//! [`cuts`] and [`phase`] say what the engine does; [`air_charge`], [`wanted_lambda`], [`enrichment`], [`stumble`], [`film`],
//! [`pump_shot`] and [`open_time`] make fuel of them. Backwards in time, [`attribution`] says which injection a lambda reading describes;
//! [`feedback`] is the short-term trim, [`gates`], [`learned_map`], [`learner`] and [`common`] the long-term one, [`self_check`] measures
//! the loop and [`keep`] carries map,
//! codes and answers over a power-down. Beside them stand [`idle`], [`spark`], [`fans`], [`pump`] and [`nitrous`]; [`events`] tells a log what
//! happened.
//!
//! Every frame costs a little (time, pulses, MAP); a cylinder event costs the fuel path; slots of 10 and 20 ms cost the rest. State
//! and calibration together take less than 12 KiB. On a host of 64 bits, as `tests/sizes.rs` prints them and holds this table to them:
//!
//! | what | bytes |
//! |---|---|
//! | calibration, parameters in flash | 1904 |
//! | state | 9368 |
//! | learned map | 1376 |
//! | controller | 11272 |
//!
//! ```
//! use trimwright_control::{Calibration, Controller, Phase, SetupAnswers};
//! use trimwright_signals::{Commands, Frame};
//! let mut controller = Controller::new(Calibration::from_answers(&SetupAnswers::default())?);
//! let mut frame = Frame { battery_v: 12.4, map_v: 4.1, ..Frame::default() };
//! frame.switches.ignition = true;
//! let mut commands = Commands::default();
//! for ms in 0..500 {
//!     frame.time_us = ms * 1000;
//!     commands = controller.step(&frame);
//! }
//! // The key is on, the crank stands: the pump fills the rail.
//! assert_eq!((controller.state().phase().phase(), commands.pump_duty), (Phase::Priming, 1.0));
//! # Ok::<(), trimwright_control::AnswerError>(())
//! ```
//!
//! A simulation is no proof that an engine is safe. Lean mixture at high load destroys engines; fuel under pressure,
//! hot exhaust and nitrous can hurt. Follow the maker's instructions and local rules, and have licensed practice do what
//! requires it.
#![no_std]

/// The examples of the README.
#[cfg(doctest)]
#[doc = include_str!("../README.md")]
pub struct Readme;

pub mod air_charge;
mod answer_bytes;
pub mod answers;
pub mod attribution;
pub mod base_map;
pub mod believe;
pub mod calibration;
mod carried;
pub mod clock;
pub mod common;
pub mod controller;
pub mod crank;
pub mod cuts;
pub mod doubts;
pub mod dtc;
pub mod enrichment;
pub mod events;
pub mod exhaust;
pub mod fans;
pub mod feedback;
pub mod film;
pub mod gates;
pub mod idle;
pub mod injector;
pub mod insight;
pub mod keep;
pub mod learned_map;
pub mod learner;
pub mod nitrous;
pub mod open_time;
pub mod options;
pub mod parameters;
pub mod phase;
pub mod plausible;
pub mod pull;
pub mod pump;
pub mod pump_shot;
pub mod refusal;
pub mod self_check;
pub mod sensors;
pub mod setup;
pub mod spark;
pub mod state;
pub mod stumble;
pub mod thermistor;
pub mod throttle_speed;
pub mod trouble_codes;
pub mod wanted_lambda;
mod wire;

pub use answers::{AnswerError, Cam, FuelSystem, SetupAnswers};
pub use base_map::{CELLS, MAP_POINTS, RPM_POINTS};
pub use calibration::{Calibrated, Calibration, CalibrationError};
pub use controller::Controller;
pub use dtc::{Codes, Dtc};
pub use insight::Insight;
pub use keep::{KeepError, Kept};
pub use learned_map::LearnedMap;
pub use options::{Firing, Options, Strategy};
pub use parameters::Parameters;
pub use phase::Phase;
pub use pull::Pull;
pub use refusal::Refusal;
pub use self_check::{Measured, SelfCheck};
pub use setup::Setup;
pub use state::State;
