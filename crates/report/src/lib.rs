//! One self-contained HTML page that shows what was driven, how the map was learned and what the assessment found.
//!
//! The caller fills a [`Story`] and calls [`render`]; the result is the whole page, with its charts, data, styles and scripts
//! inside. It opens from a disk without a network, in light and dark, and prints.

mod digits;
mod figures;
mod page;
mod reasons;
mod sections;
mod story;

pub use page::render;
pub use story::{
    Convergence, Dtc, Fact, Figure, Map, Mark, Refusal, Snapshot, Spread, Story, Trace, Verdict, Weight,
};
