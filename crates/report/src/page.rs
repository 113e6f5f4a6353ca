//! Puts the page together: frame, styles, story as data, charts, script.

use crate::Story;

const FRAME: &str = include_str!("../assets/page/page.html");
const STYLE: &str = include_str!("../assets/page/page.css");
const SCRIPT: &str = include_str!("../assets/page/page.js");
/// Apache ECharts 6.1.0, Apache-2.0; see `assets/echarts`.
const CHARTS: &str = include_str!("../assets/echarts/echarts.min.js");

/// The whole page of `story` as HTML.
///
/// ```
/// use trimwright_report::{Refusal, Story, render};
/// let refusals = vec![Refusal { reason: "cold".into(), count: 7 }];
/// let page = render(&Story { refusals, ..Story::default() });
/// assert!(page.starts_with("<!doctype html>"));
/// assert!(page.contains(r#"{"reason":"cold","count":7}"#));
/// ```
pub fn render(story: &Story) -> String {
    let mut page = String::with_capacity(CHARTS.len() + 1_000_000);
    let mut rest = FRAME;
    while let Some((before, after)) = rest.split_once("<!--put ") {
        page.push_str(before);
        let (name, tail) = after.split_once("-->").unwrap_or((after, ""));
        match name {
            "title" => page.push_str(&text(&story.title)),
            "style" => page.push_str(STYLE),
            "story" => page.push_str(&data(story)),
            "charts" => page.push_str(CHARTS),
            "script" => page.push_str(SCRIPT),
            _ => {}
        }
        rest = tail;
    }
    page.push_str(rest);
    page
}

/// `story` as JSON that can stand inside a `<script>` element: `<`, `>` and `&` are escaped, so nothing in it can close
/// the element or open a comment.
fn data(story: &Story) -> String {
    serde_json::to_string(story)
        .unwrap_or_else(|_| "{}".to_owned())
        .replace('<', "\\u003c")
        .replace('>', "\\u003e")
        .replace('&', "\\u0026")
}

/// `words` as HTML text.
fn text(words: &str) -> String {
    words.replace('&', "&amp;").replace('<', "&lt;").replace('>', "&gt;").replace('"', "&quot;")
}
