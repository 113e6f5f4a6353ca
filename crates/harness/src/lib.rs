//! Scenario files, driver models, the closed loop of controller and plant, measurements, verdicts and the summary of a run.
//!
//! ```text
//!  scenario: truth, answers, faults, schedule
//!       |                               |
//!       |                               v
//!       |                      driver or operator -- DriverInputs --+
//!       |                                                           v
//!       |                               +-------------- closed_loop ----------------+
//!       +-- faults::Timeline -- truth ->| Plant -- Frame --> Controller             |
//!                                       |   ^                    |                  |
//!                                       |   +---- Commands ------+                  |
//!                                       +----+-------------------+------------------+
//!                                   truth: View, events    estimates: Insight
//!                                            v                   v
//!                            mixture_observer, trace, verdicts -> summary, rows
//! ```
//!
//! # What is measured
//!
//! The mixture error of a cylinder event is `e = ln(lambda_true / lambda_wanted)` of the whole engine. Events count while the engine runs,
//! from 60 s after the start, outside fuel cuts. An event is steady when MAP stayed within 2 kPa and speed within 100 rpm over the last 0.7
//! s. All figures of a run come from these and are defined once, in [`summary`]:
//!
//! | figure | events and conditions |
//! |---|---|
//! | `base_map_rms` | steady; first calibration, feedback and learning off |
//! | `learned_map_rms` | steady; learned map frozen, feedback off: accuracy of the map alone |
//! | `closed_loop_rms` | all of the last pass of the learning run |
//! | `visited_error_rms` | cells, weighted by dwell: learned minus true correction ([`cells::Cells::true_correction_ln`]) |
//! | `offline_fit_rms` | the same of an offline weighted least-squares fit of the whole log: about the practical limit ([`fit`]) |
//! | `within_two_sigma` | visited cells whose error is below two of their own standard deviations; 0.95 for a correct sigma |
//!
//! [`drive`] drives a scenario three times: with the first calibration, while learning, and with the learned map frozen.
//!
//! ```
//! use trimwright_harness::{drive, scenario::Scenario, schedule::Schedule};
//!
//! let trip = "time [s],speed [km/h]\n0,0\n20,0\n40,50\n150,50\n";
//! let schedule = Schedule::parse("trip", "trip.csv", trip)?;
//! let scenario = Scenario { schedule, passes: 1, ..Scenario::load("delivery-van")? };
//! let run = drive::drive(&scenario, &mut |_| ())?;
//! assert_eq!(run.summary.drive.stalls, 0);
//! # Ok::<(), Box<dyn std::error::Error>>(())
//! ```
//!
//! # Units
//!
//! SI inside, with the unit in the name. Trade units exist only in [`units`]: scenario files and schedules state theirs (`"318 cu in"`,
//! `"43.5 psi"`, `speed [mph]`) and are converted when read.
//!
//! | name ends with | unit | written as, for instance |
//! |---|---|---|
//! | `_pa` | Pa | kPa, psi, inHg |
//! | `_k` | K | degC, degF |
//! | `_kg_per_s` | kg/s | g/s, lb/h |
//! | `_rad_per_s` | rad/s | rpm |
//! | `_m_per_s` | m/s | km/h, mph |
//! | `_m3` | m^3 | L, cm3, cu in |
//! | `_s`, `_m`, `_m2`, `_kg`, `_v`, `_nm`, `_w` | s, m, m^2, kg, V, N m, W | ms, mm2, lb, hp ... |
//! | `_ln` | none: natural logarithm of a ratio | % |
//! | none | none: a ratio | % |

/// Examples of the README.
#[cfg(doctest)]
#[doc = include_str!("../README.md")]
pub struct Readme;

pub mod block_reader;
pub mod cells;
pub mod closed_loop;
pub mod csv_text;
pub mod document;
pub mod drive;
pub mod driveability;
pub mod driver;
pub mod driver_or_operator;
pub mod economy;
pub mod error;
pub mod faults;
pub mod fit;
pub mod keys;
mod measure;
pub mod mixture;
pub mod mixture_observer;
pub mod on_target;
pub mod operator;
pub mod output;
pub mod parameters;
mod run_error;
pub mod scenario;
mod scenario_answers;
mod scenario_deviations;
mod scenario_disturbances;
mod scenario_engine;
mod scenario_source;
pub mod schedule;
mod sensor_curves;
pub mod session;
pub mod shipped;
pub mod sizing;
pub mod starting;
pub mod steady;
pub mod summary;
pub mod trace;
pub mod units;
pub mod verdicts;
