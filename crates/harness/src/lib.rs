//! Closes the loop between controller and plant: what a drive is made from, the drive itself, and what came of it.
//!
//! ```text
//!  scenario: truth, answers, faults, schedule
//!       |            |
//!       |            v
//!       |      driver / operator -- DriverInputs --> +---------------- closed_loop ---------------+
//!       +-- truth --> faults::Timeline -----> | Plant -- Frame --> Controller -- Commands -+-+
//!                                             |   ^                                        | |
//!                                             |   +----------------------------------------+-+
//!                                             +--------+----------------------+------------+
//!                                         truth: View, events          estimates: Insight
//!                                                      v                      v
//!                                                  watch, trace, verdicts -> summary, rows
//! ```
//!
//! # What is measured
//!
//! The mixture error of a cylinder event is `e = ln(lambda_true / lambda_wanted)`, of the whole engine, while it runs, from 60 s after the
//! start, outside fuel cuts. An event is steady when over the last 0.7 s MAP stayed within 2 kPa and speed within 100 rpm. Everything
//! that is said of a run comes from these and is defined once, in [`summary`]:
//!
//! | figure | of which events, with what |
//! |---|---|
//! | `base_map_rms` | steady; first calibration, feedback and learning off |
//! | `learned_map_rms` | steady; what was learned, frozen, feedback off: what the map alone is worth |
//! | `closed_loop_rms` | all of the last pass of the learning run |
//! | `visited_error_rms` | cells, by dwell: learned correction less the right one ([`cells::Cells::true_correction_ln`]) |
//! | `offline_fit_rms` | the same of a weighted least-squares fit of the whole log, made afterwards: about the practical limit ([`fit`]) |
//! | `within_two_sigma` | visited cells whose error is below two of their own standard deviations; about 0.95 is honest |
//!
//! A scenario is driven three times, in [`drive`]: with the first calibration, learning, and with what was learned.
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
//! SI inside, the unit in the name. Trade units live in [`units`] and nowhere else: scenario files and schedules say theirs
//! (`"318 cu in"`, `"43.5 psi"`, `speed [mph]`), and are read into SI.
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

/// The examples of the README.
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
