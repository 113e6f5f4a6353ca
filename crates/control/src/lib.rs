//! Self-learning speed-density fuel controller for throttle-body injection.
#![no_std]

mod setup;

pub use setup::{AnswerError, Cam, FuelSystem, SetupAnswers};
