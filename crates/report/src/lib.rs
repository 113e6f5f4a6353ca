//! Report pages: self-contained HTML with the drive, the learned map and the findings of the assessment.
//!
//! The caller fills a [`ReportData`] and calls [`render`]; the result is the whole page with charts, data, styles and scripts. It
//! needs no network (its content security policy forbids any), has a light and a dark theme, and prints. Text and tables are
//! HTML without a script; charts are drawn in the browser by Apache ECharts, which is inside the page, licence in
//! `assets/echarts`.
//!
//! | part of the page | from |
//! |---|---|
//! | result, all figures | [`ReportData::figures`], [`ReportData::error_histogram`] |
//! | drive, with one zoom and one cursor | [`ReportData::trace`], [`ReportData::marks`] |
//! | convergence | [`ReportData::convergence`], [`ReportData::snapshots`] |
//! | maps: learned, true, remaining error, uncertainty, dwell | [`ReportData::map`] |
//! | replay of learning | [`ReportData::snapshots`] |
//! | lessons and rejected readings | [`ReportData::lessons`], [`ReportData::refusals`] |
//! | driveability | [`ReportData::driveability`] |
//! | findings, trouble codes, cautions | [`ReportData::findings`], [`ReportData::dtcs`], [`ReportData::cautions`] |
//!
//! [`render_study`] makes a page about many runs, a [`Study`], from tables and charts.
//!
//! A part without data says so in the page. `cargo run -p trimwright-report --example invented_drive`
//! writes a page from invented numbers; `.ci/check_report FILE.html` opens a page in headless Chromium and operates it.

/// The examples of the README.
#[cfg(doctest)]
#[doc = include_str!("../README.md")]
pub struct Readme;

mod digits;
mod driveability;
mod figures;
mod page;
mod reasons;
mod report_data;
mod sections;
mod study;

pub use page::render;
pub use report_data::{
    Convergence, ErrorHistogram, Fact, Figure, MapFigures, Mark, RefusalCount, ReplayFrame, ReportData,
    Trace, TroubleCode,
};
pub use study::{Chart, ChartLine, Drawing, Study, StudyTable, render_study};
