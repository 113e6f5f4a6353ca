//! The shipped cars driven by controller and driver: balances that close, steps that are short enough, figures of the trade.

mod balances;
mod figures;
mod rig;
mod step;
