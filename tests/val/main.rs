//! Comparison of the models with published data: one file per topic, with the source of each check.
//!
//! The tables lie in `shared/reference/`, with their sources and tolerances.

mod air;
mod combustion;
mod control_loops;
mod crossley_cook;
mod exhaust;
mod film;
mod flow;
mod fuel;
mod manifold;
mod nitrous;
mod schedules;
mod table;
mod thermistor;
mod trouble_codes;
