//! The models held against published data: one file a theme, the source named beside each check.
//!
//! The tables lie in `shared/reference/`, with their sources and the tolerance each may be asked for.

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
