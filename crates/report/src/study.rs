//! A page about many runs: tables and charts.

use std::fmt::Write as _;

use serde::Serialize;

use crate::page;
use crate::sections::text;
use crate::story::Fact;

const BODY: &str = include_str!("../assets/page/study.html");
const SCRIPTS: [&str; 3] =
    [include_str!("../assets/page/base.js"), page::LOOK, include_str!("../assets/page/study.js")];

/// Most columns that have room on a narrow screen.
const FEW_COLUMNS: usize = 4;

/// A table of words; the first column says what a row is about.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct StudyTable {
    /// What it shows.
    pub title: String,
    /// Heads of the columns.
    pub heads: Vec<String>,
    /// Rows, each as long as `heads`.
    pub rows: Vec<Vec<String>>,
    /// How to read it, a paragraph a line; may be empty.
    pub note: String,
}

/// One line of a chart, or its dots.
#[derive(Clone, Debug, Default, PartialEq, Serialize)]
pub struct ChartLine {
    /// Its name in the legend.
    pub name: String,
    /// Its points, across and up. NaN breaks the line.
    pub points: Vec<[f64; 2]>,
    /// Drawn as dots that are not joined.
    pub dots: bool,
}

/// What is drawn.
#[derive(Clone, Debug, PartialEq, Serialize)]
#[serde(tag = "kind", rename_all = "snake_case")]
pub enum Drawing {
    /// Lines over a common axis.
    Lines {
        /// Name of the axis across, with unit.
        across: String,
        /// Name of the axis up, with unit.
        up: String,
        /// Whether the axis up is logarithmic.
        logarithmic: bool,
        /// The lines.
        lines: Vec<ChartLine>,
    },
    /// Columns side by side.
    Columns {
        /// Name of the axis across, with unit.
        across: String,
        /// Name of the axis up, with unit.
        up: String,
        /// What each column is about.
        labels: Vec<String>,
        /// Their heights.
        heights: Vec<f64>,
    },
    /// Coloured fields.
    Fields {
        /// Name of the axis across, with unit.
        across: String,
        /// Name of the axis up, with unit.
        up: String,
        /// Values of the axis across, as they are shown.
        columns: Vec<String>,
        /// Values of the axis up, from below.
        rows: Vec<String>,
        /// Row by row from below; each is a place in `kinds`.
        values: Vec<usize>,
        /// Names of the kinds of field, from good to bad.
        kinds: Vec<String>,
    },
}

/// A chart with its words.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct Chart {
    /// What it shows.
    pub title: String,
    /// How to read it; may be empty.
    pub note: String,
    /// The drawing.
    pub drawing: Drawing,
}

/// What a page about many runs tells.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Study {
    /// Heading.
    pub title: String,
    /// A paragraph about it.
    pub about: String,
    /// Short facts.
    pub facts: Vec<Fact>,
    /// Tables, first to last.
    pub tables: Vec<StudyTable>,
    /// Charts, first to last.
    pub charts: Vec<Chart>,
}

/// The whole page of `study` as HTML; like [`render`](crate::render) it needs nothing from outside.
///
/// ```
/// use trimwright_report::{Study, StudyTable, render_study};
/// let table = StudyTable { title: "Rest".into(), heads: vec!["engine".into()], rows: vec![vec!["7 < 8".into()]], ..StudyTable::default() };
/// let page = render_study(&Study { title: "A fleet".into(), tables: vec![table], ..Study::default() });
/// assert!(page.starts_with("<!doctype html>") && page.contains("7 &lt; 8"));
/// ```
pub fn render_study(study: &Study) -> String {
    page::fill(BODY, |name, html| match name {
        "title" => html.push_str(&text(&study.title)),
        "head" => html.push_str(&head(study)),
        "tables" => study.tables.iter().for_each(|each| html.push_str(&table(each))),
        "drawings" => html.push_str(&places(study)),
        "story" => html.push_str(&page::data(&study.charts)),
        "scripts" => {
            html.push_str(&page::units_script());
            SCRIPTS.iter().for_each(|script| html.push_str(script));
        }
        _ => debug_assert!(false, "the frame asks for an unknown part: {name}"),
    })
}

// Writing to memory cannot fail.
fn head(study: &Study) -> String {
    let mut html = format!("<h1>{}</h1>\n<p class=\"lead\">{}</p>\n", text(&study.title), text(&study.about));
    html.push_str("<dl class=\"facts\">\n");
    for fact in &study.facts {
        let _ = writeln!(html, "<div><dt>{}</dt><dd>{}</dd></div>", text(&fact.label), text(&fact.value));
    }
    html + "</dl>\n"
}

fn table(table: &StudyTable) -> String {
    let title = text(&table.title);
    let mut html = format!("<section><h2>{title}</h2>\n");
    if table.heads.len() > FEW_COLUMNS {
        html.push_str(
            "<p class=\"hint sideways\">This table is wider than the screen: move it sideways.</p>\n",
        );
    }
    let _ =
        write!(html, "<div class=\"wide\" role=\"region\" aria-label=\"{title}\" tabindex=\"0\"><table><tr>");
    for (index, head) in table.heads.iter().enumerate() {
        let class = if index == 0 { "" } else { " class=\"number\"" };
        // A share and its sign stay in one line.
        let _ = write!(html, "<th{class}>{}</th>", text(head).replace(" %", "&nbsp;%"));
    }
    html.push_str("</tr>\n");
    for row in &table.rows {
        html.push_str("<tr>");
        for (index, words) in row.iter().enumerate() {
            let class = if index == 0 { "" } else { " class=\"number\"" };
            let _ = write!(html, "<td{class}>{}</td>", text(words));
        }
        html.push_str("</tr>\n");
    }
    html.push_str("</table></div>\n");
    for line in table.note.lines() {
        let _ = writeln!(html, "<p class=\"hint\">{}</p>", text(line));
    }
    html + "</section>\n"
}

/// The places into which the script draws.
fn places(study: &Study) -> String {
    let mut html = String::new();
    for (index, chart) in study.charts.iter().enumerate() {
        let title = text(&chart.title);
        let _ = writeln!(
            html,
            "<section><h2>{title}</h2>\n<div class=\"chart drawing\" id=\"drawing-{index}\" role=\"img\" aria-label=\"{title}\"></div>\n\
             <p class=\"hint\">{}</p></section>",
            text(&chart.note)
        );
    }
    html
}
