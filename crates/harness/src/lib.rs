//! Closes the loop between controller and plant: what a drive is made from, the drive itself, and what came of it.

pub mod cells;
pub mod closed_loop;
pub mod document;
pub mod drive;
pub mod driver;
pub mod error;
pub mod faults;
pub mod fit;
pub mod mixture;
pub mod on_target;
pub mod operator;
pub mod output;
pub mod scenario;
mod scenario_answers;
mod scenario_deviations;
mod scenario_engine;
mod scenario_source;
pub mod schedule;
pub mod shipped;
pub mod sizing;
pub mod starting;
pub mod steady;
pub mod summary;
pub mod trace;
pub mod units;
pub mod watch;
pub mod wheel;
