//! A page about many runs: tables and charts.

use std::fmt::Write as _;

use serde::Serialize;

use crate::page;
use crate::report_data::Fact;
use crate::sections::html_text;

const BODY: &str = include_str!("../assets/page/study.html");
const SCRIPTS: [&str; 3] =
    [include_str!("../assets/page/base.js"), page::THEME, include_str!("../assets/page/study.js")];

/// Largest number of columns that fits a narrow screen.
const FEW_COLUMNS: usize = 4;

/// A table of text; the first column labels the rows.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct StudyTable {
    /// Title.
    pub title: String,
    /// Heads of the columns.
    pub heads: Vec<String>,
    /// Rows, each as long as `heads`.
    pub rows: Vec<Vec<String>>,
    /// Explanation, one paragraph per line; may be empty.
    pub note: String,
}

/// One line or set of dots of a chart.
#[derive(Clone, Debug, Default, PartialEq, Serialize)]
pub struct ChartLine {
    /// Its name in the legend.
    pub name: String,
    /// Points (x, y). NaN interrupts the line.
    pub points: Vec<[f64; 2]>,
    /// Whether the points are drawn as dots instead of a line.
    pub dots: bool,
}

/// Kind and data of a chart.
#[derive(Clone, Debug, PartialEq, Serialize)]
#[serde(tag = "kind", rename_all = "snake_case")]
pub enum Drawing {
    /// Lines over a common x axis.
    Lines {
        /// Label of the x axis, with unit.
        x_label: String,
        /// Label of the y axis, with unit.
        y_label: String,
        /// Whether the y axis is logarithmic.
        logarithmic: bool,
        /// The lines.
        lines: Vec<ChartLine>,
    },
    /// Columns side by side.
    Columns {
        /// Label of the x axis, with unit.
        x_label: String,
        /// Label of the y axis, with unit.
        y_label: String,
        /// Label of each column.
        labels: Vec<String>,
        /// Their heights.
        heights: Vec<f64>,
    },
    /// Coloured fields.
    Fields {
        /// Label of the x axis, with unit.
        x_label: String,
        /// Label of the y axis, with unit.
        y_label: String,
        /// Values of the x axis as text.
        columns: Vec<String>,
        /// Values of the y axis as text, bottom to top.
        rows: Vec<String>,
        /// Row by row from the bottom; each is an index into `kinds`.
        values: Vec<usize>,
        /// Names of the kinds, from good to bad.
        kinds: Vec<String>,
    },
}

/// A chart with title and note.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct Chart {
    /// Title.
    pub title: String,
    /// Explanation; may be empty.
    pub note: String,
    /// Kind and data.
    pub drawing: Drawing,
}

/// Content of a page about many runs.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Study {
    /// Heading.
    pub title: String,
    /// A paragraph about it.
    pub about: String,
    /// Labelled values for the head of the page.
    pub facts: Vec<Fact>,
    /// Tables, first to last.
    pub tables: Vec<StudyTable>,
    /// Charts, first to last.
    pub charts: Vec<Chart>,
}

/// The page of a study as HTML; like that of [`render`](crate::render) it needs no network.
///
/// ```
/// use trimwright_report::{Study, StudyTable, render_study};
/// let table = StudyTable { title: "Rest".into(), heads: vec!["engine".into()], rows: vec![vec!["7 < 8".into()]], ..StudyTable::default() };
/// let page = render_study(&Study { title: "A fleet".into(), tables: vec![table], ..Study::default() });
/// assert!(page.starts_with("<!doctype html>") && page.contains("7 &lt; 8"));
/// ```
pub fn render_study(study: &Study) -> String {
    page::fill(BODY, |name, html| match name {
        "title" => html.push_str(&html_text(&study.title)),
        "head" => html.push_str(&head(study)),
        "tables" => study.tables.iter().for_each(|each| html.push_str(&table(each))),
        "drawings" => html.push_str(&chart_elements(study)),
        "story" => html.push_str(&page::json(&study.charts)),
        "scripts" => {
            html.push_str(&page::units_script());
            SCRIPTS.iter().for_each(|script| html.push_str(script));
        }
        _ => debug_assert!(false, "unknown part in the frame: {name}"),
    })
}

// Writing to memory cannot fail.
fn head(study: &Study) -> String {
    let mut html =
        format!("<h1>{}</h1>\n<p class=\"lead\">{}</p>\n", html_text(&study.title), html_text(&study.about));
    html.push_str("<dl class=\"facts\">\n");
    for fact in &study.facts {
        let _ = writeln!(
            html,
            "<div><dt>{}</dt><dd>{}</dd></div>",
            html_text(&fact.label),
            html_text(&fact.value)
        );
    }
    html + "</dl>\n"
}

fn table(table: &StudyTable) -> String {
    let title = html_text(&table.title);
    let mut html = format!("<section><h2>{title}</h2>\n");
    if table.heads.len() > FEW_COLUMNS {
        html.push_str(
            "<p class=\"hint sideways\">This table is wider than the screen: scroll sideways.</p>\n",
        );
    }
    let _ =
        write!(html, "<div class=\"wide\" role=\"region\" aria-label=\"{title}\" tabindex=\"0\"><table><tr>");
    for (index, head) in table.heads.iter().enumerate() {
        let class = if index == 0 { "" } else { " class=\"number\"" };
        // A number and its per cent sign stay in one line.
        let _ = write!(html, "<th{class}>{}</th>", html_text(head).replace(" %", "&nbsp;%"));
    }
    html.push_str("</tr>\n");
    for row in &table.rows {
        html.push_str("<tr>");
        for (index, words) in row.iter().enumerate() {
            let class = if index == 0 { "" } else { " class=\"number\"" };
            let _ = write!(html, "<td{class}>{}</td>", html_text(words));
        }
        html.push_str("</tr>\n");
    }
    html.push_str("</table></div>\n");
    for line in table.note.lines() {
        let _ = writeln!(html, "<p class=\"hint\">{}</p>", html_text(line));
    }
    html + "</section>\n"
}

/// The elements into which the script draws.
fn chart_elements(study: &Study) -> String {
    let mut html = String::new();
    for (index, chart) in study.charts.iter().enumerate() {
        let title = html_text(&chart.title);
        let _ = writeln!(
            html,
            "<section><h2>{title}</h2>\n<div class=\"chart drawing\" id=\"drawing-{index}\" role=\"img\" aria-label=\"{title}\"></div>\n\
             <p class=\"hint\">{}</p></section>",
            html_text(&chart.note)
        );
    }
    html
}
