//! The models held against published data: one file a theme, the source named beside each check.
//!
//! The tables lie in `shared/reference/`, with their sources and the tolerance each may be asked for.

mod schedules;
mod table;
