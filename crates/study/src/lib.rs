//! Many runs side by side: a fleet of engines that were drawn by lot, the learners compared on the same drive, and where a loop
//! of trim or learning begins to swing.
//!
//! Each run is a run of `trimwright-harness`; nothing here changes what happens in one. Runs go to all cores, and no result
//! depends on how many there are or in which order they finish.

/// The examples of the README.
#[cfg(doctest)]
#[doc = include_str!("../README.md")]
pub struct Readme;

pub mod columns;
pub mod compare;
pub mod diagnosis;
pub mod draw;
pub mod fault_matrix;
pub mod fingerprint;
pub mod fleet;
pub mod journal;
pub mod leak;
pub mod learners;
pub mod parquet;
pub mod quantiles;
pub mod scenarios;
pub mod sensitivity;
pub mod stability;
pub mod tables;
