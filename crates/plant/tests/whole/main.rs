//! The plant as a whole: balances that close, figures that are plausible, and no input that breaks it.
#![expect(clippy::print_stdout, reason = "how much was tried is worth telling")]

mod balances;
mod figures;
mod harsh;
mod kinds;
mod rig;
mod running;
