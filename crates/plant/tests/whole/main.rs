//! The plant as a whole: balances close, figures are plausible, no input breaks it.
#![expect(clippy::print_stdout, reason = "prints how many cases ran")]

mod balances;
mod figures;
mod harsh;
mod kinds;
mod rig;
mod running;
