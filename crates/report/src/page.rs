//! Puts the page together: frame, styles, words, story as data, charts, scripts.

use serde::Serialize;
use serde_json::json;
use trimwright_harness::units::{Kind, Unit, UnitSystem};

use crate::{Story, driving, sections};

/// What all pages begin and end with.
const HEAD: &str = include_str!("../assets/page/head.html");
const FOOT: &str = include_str!("../assets/page/foot.html");
const BODY: &str = include_str!("../assets/page/page.html");
const STYLE: &str = include_str!("../assets/page/page.css");
/// Redraws when look or width change.
pub(crate) const LOOK: &str = include_str!("../assets/page/look.js");
/// The page's own scripts in the order in which they build on each other.
const SCRIPTS: [&str; 7] = [
    include_str!("../assets/page/base.js"),
    include_str!("../assets/page/time.js"),
    include_str!("../assets/page/path.js"),
    include_str!("../assets/page/cells.js"),
    include_str!("../assets/page/replay.js"),
    LOOK,
    include_str!("../assets/page/start.js"),
];
/// The units of the charts as a script: those of the harness, which alone converts.
pub(crate) fn units_script() -> String {
    let unit = |kind, spelling: &'static str| {
        let per_si = Unit::find(kind, spelling).map_or(f64::NAN, |unit| unit.from_si(1.0));
        json!([per_si, spelling])
    };
    let of = |system: UnitSystem| {
        let units = json!({
            "speed": unit(Kind::Speed, system.pick("km/h", "mph")),
            "pressure": unit(Kind::Pressure, system.pick("kPa", "inHg")),
            "pressureDigits": system.pick(0, 1),
        });
        (system.name().to_owned(), units)
    };
    let systems = UnitSystem::ALL.map(of).into_iter().collect::<serde_json::Map<_, _>>();
    format!("const UNITS = {};\n", serde_json::Value::from(systems))
}

/// Apache ECharts 6.1.0, Apache-2.0; see `assets/echarts`.
const CHARTS: &str = include_str!("../assets/echarts/echarts.min.js");

/// The whole page of `story` as HTML.
///
/// ```
/// use trimwright_report::{RefusalCount, Story, render};
/// let refusals = vec![RefusalCount { reason: "cold".into(), count: 7 }];
/// let page = render(&Story { refusals, ..Story::default() });
/// assert!(page.starts_with("<!doctype html>"));
/// assert!(page.contains("refused: cold"));
/// ```
pub fn render(story: &Story) -> String {
    fill(BODY, |name, page| match name {
        "title" => page.push_str(&sections::text(&story.title)),
        "head" => page.push_str(&sections::head(story)),
        "result" => page.push_str(&sections::result(story)),
        "figures" => page.push_str(&sections::all_figures(story)),
        "refusals" => page.push_str(&sections::refusals(story)),
        "driving" => page.push_str(&driving::driving(story)),
        "findings" => page.push_str(&sections::findings(story)),
        "cautions" => page.push_str(&sections::cautions(story)),
        "story" => page.push_str(&data(story)),
        "scripts" => {
            page.push_str(&units_script());
            SCRIPTS.iter().for_each(|script| page.push_str(script));
        }
        _ => debug_assert!(false, "the frame asks for an unknown part: {name}"),
    })
}

/// Head, body and foot of a page, every `<!--put NAME-->` in them replaced: styles and charts, which all pages share, here, everything else
/// by what `put` adds to the page for that name.
pub(crate) fn fill(body: &str, put: impl Fn(&str, &mut String)) -> String {
    let mut page = String::with_capacity(CHARTS.len() + 1_000_000);
    for part in [HEAD, body, FOOT] {
        let mut rest = part;
        while let Some((before, after)) = rest.split_once("<!--put ") {
            page.push_str(before);
            let (name, tail) = after.split_once("-->").unwrap_or((after, ""));
            match name {
                "style" => page.push_str(STYLE),
                "charts" => page.push_str(CHARTS),
                _ => put(name, &mut page),
            }
            rest = tail;
        }
        page.push_str(rest);
    }
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
