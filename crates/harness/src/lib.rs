//! Closes the loop between controller and plant: what a drive is made from, the drive itself, and what came of it.

pub mod document;
pub mod error;
pub mod output;
mod scenario_answers;
pub mod schedule;
pub mod units;
