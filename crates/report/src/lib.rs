//! One self-contained HTML page that shows what was driven, how the map was learned and what the assessment found.
//!
//! The caller fills a [`Story`] and calls [`render`]; the result is the whole page, with its charts, data, styles and
//! scripts inside. It opens from a disk without a network (a content security policy in the page forbids any), in light
//! and dark, and prints. What is text is written here, without a script; what is drawn is drawn in the browser by
//! Apache ECharts, which travels inside the page with its licence in `assets/echarts`.
//!
//! | part of the page | from |
//! |---|---|
//! | result, all figures | [`Story::figures`], [`Story::spread`] |
//! | drive, with one zoom and one cursor | [`Story::trace`], [`Story::marks`] |
//! | path of convergence | [`Story::convergence`], [`Story::snapshots`] |
//! | maps: learned, right, what is left, uncertainty, dwell | [`Story::map`] |
//! | replay of the map filling in | [`Story::snapshots`] |
//! | lessons and refusals | [`Story::lessons`], [`Story::refusals`] |
//! | how it drives | [`Story::driveability`] |
//! | findings, trouble codes, cautions | [`Story::findings`], [`Story::dtcs`], [`Story::cautions`] |
//!
//! A page about many runs, [`Study`], is made by [`render_study`] from tables and charts.
//!
//! A part that the story leaves empty says so in the page. `cargo run -p trimwright-report --example invented_drive`
//! writes a page from invented numbers; `.ci/check_report FILE.html` opens a page in headless Chromium and uses it.

/// The examples of the README.
#[cfg(doctest)]
#[doc = include_str!("../README.md")]
pub struct Readme;

mod digits;
mod driving;
mod figures;
mod page;
mod reasons;
mod sections;
mod story;
mod study;

pub use page::render;
pub use story::{
    Convergence, Fact, Figure, MapFigures, Mark, RefusalCount, ReplayFrame, Spread, Story, Trace, TroubleCode,
};
pub use study::{Chart, ChartLine, Drawing, Study, StudyTable, render_study};
