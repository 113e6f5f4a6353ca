//! Puts the page together: frame, styles, words, story as data, charts, scripts.

use serde::Serialize;

use crate::{Story, sections};

const FRAME: &str = include_str!("../assets/page/page.html");
pub(crate) const STYLE: &str = include_str!("../assets/page/page.css");
/// The page's own scripts in the order in which they build on each other.
const SCRIPTS: [&str; 6] = [
    include_str!("../assets/page/base.js"),
    include_str!("../assets/page/time.js"),
    include_str!("../assets/page/path.js"),
    include_str!("../assets/page/cells.js"),
    include_str!("../assets/page/replay.js"),
    include_str!("../assets/page/start.js"),
];
/// Apache ECharts 6.1.0, Apache-2.0; see `assets/echarts`.
pub(crate) const CHARTS: &str = include_str!("../assets/echarts/echarts.min.js");

/// The whole page of `story` as HTML.
///
/// ```
/// use trimwright_report::{Refusal, Story, render};
/// let refusals = vec![Refusal { reason: "cold".into(), count: 7 }];
/// let page = render(&Story { refusals, ..Story::default() });
/// assert!(page.starts_with("<!doctype html>"));
/// assert!(page.contains("refused: cold"));
/// ```
pub fn render(story: &Story) -> String {
    fill(FRAME, |name, page| match name {
        "title" => page.push_str(&sections::text(&story.title)),
        "head" => page.push_str(&sections::head(story)),
        "result" => page.push_str(&sections::result(story)),
        "figures" => page.push_str(&sections::all_figures(story)),
        "refusals" => page.push_str(&sections::refusals(story)),
        "findings" => page.push_str(&sections::findings(story)),
        "cautions" => page.push_str(&sections::cautions(story)),
        "style" => page.push_str(STYLE),
        "story" => page.push_str(&data(story)),
        "charts" => page.push_str(CHARTS),
        "scripts" => SCRIPTS.iter().for_each(|script| page.push_str(script)),
        _ => debug_assert!(false, "the frame asks for an unknown part: {name}"),
    })
}

/// The frame with every `<!--put NAME-->` in it replaced by what `put` adds to the page for that name.
pub(crate) fn fill(frame: &str, put: impl Fn(&str, &mut String)) -> String {
    let mut page = String::with_capacity(CHARTS.len() + 1_000_000);
    let mut rest = frame;
    while let Some((before, after)) = rest.split_once("<!--put ") {
        page.push_str(before);
        let (name, tail) = after.split_once("-->").unwrap_or((after, ""));
        put(name, &mut page);
        rest = tail;
    }
    page.push_str(rest);
    page
}

/// `story` as JSON that can stand inside a `<script>` element: `<`, `>` and `&` are escaped, so nothing in it can close
/// the element or open a comment.
pub(crate) fn data(story: &impl Serialize) -> String {
    serde_json::to_string(story)
        .unwrap_or_else(|_| "{}".to_owned())
        .replace('<', "\\u003c")
        .replace('>', "\\u003e")
        .replace('&', "\\u0026")
}
