//! Studies of many runs: fleets of randomly sampled engines, comparison of the learners, stability limits of trim and learning, faults,
//! diagnosis and sensitivity to parameters.
//!
//! Each run is a run of `trimwright-harness`. Runs are parallel, and no result depends on the number of cores or the order in which runs
//! finish.

/// The examples of the README.
#[cfg(doctest)]
#[doc = include_str!("../README.md")]
pub struct Readme;

pub mod block_means;
pub mod columns;
pub mod compare;
pub mod diagnosis;
pub mod fault_matrix;
pub mod fingerprint;
pub mod fleet;
pub mod fleet_table;
pub mod journal;
pub mod leak;
pub mod learners;
pub mod parquet;
pub mod quantiles;
pub mod sample;
pub mod scenarios;
pub mod sensitivity;
pub mod stability;
pub mod tables;
