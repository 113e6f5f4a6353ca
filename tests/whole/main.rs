//! The shipped cars driven by controller and driver: books that close, steps that are short enough, figures of the trade.

mod books;
mod figures;
mod rig;
mod step;
