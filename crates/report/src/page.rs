//! Assembles the page: frame, styles, text, report data, charts, scripts.

use serde::Serialize;
use serde_json::json;
use trimwright_harness::units::{Kind, Unit, UnitSystem};

use crate::{ReportData, driveability, sections};

/// Begin and end of all pages.
const HEAD: &str = include_str!("../assets/page/head.html");
const FOOT: &str = include_str!("../assets/page/foot.html");
const BODY: &str = include_str!("../assets/page/page.html");
const STYLE: &str = include_str!("../assets/page/page.css");
/// Redraws when theme or width change.
pub(crate) const THEME: &str = include_str!("../assets/page/theme.js");
/// The page's scripts in order of dependency.
const SCRIPTS: [&str; 7] = [
    include_str!("../assets/page/base.js"),
    include_str!("../assets/page/time.js"),
    include_str!("../assets/page/path.js"),
    include_str!("../assets/page/cells.js"),
    include_str!("../assets/page/replay.js"),
    THEME,
    include_str!("../assets/page/start.js"),
];
/// The units of the charts as a script, with the factors of the harness.
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

/// The report page of a run as HTML.
///
/// ```
/// use trimwright_report::{RefusalCount, ReportData, render};
/// let refusals = vec![RefusalCount { reason: "cold".into(), count: 7 }];
/// let page = render(&ReportData { refusals, ..ReportData::default() });
/// assert!(page.starts_with("<!doctype html>"));
/// assert!(page.contains("rejected: cold"));
/// ```
pub fn render(data: &ReportData) -> String {
    fill(BODY, |name, page| match name {
        "title" => page.push_str(&sections::html_text(&data.title)),
        "head" => page.push_str(&sections::head(data)),
        "result" => page.push_str(&sections::result(data)),
        "figures" => page.push_str(&sections::all_figures(data)),
        "refusals" => page.push_str(&sections::refusals(data)),
        "driving" => page.push_str(&driveability::driveability(data)),
        "findings" => page.push_str(&sections::findings(data)),
        "cautions" => page.push_str(&sections::cautions(data)),
        "story" => page.push_str(&json(data)),
        "scripts" => {
            page.push_str(&units_script());
            SCRIPTS.iter().for_each(|script| page.push_str(script));
        }
        _ => debug_assert!(false, "unknown part in the frame: {name}"),
    })
}

/// Head, body and foot of a page with every `<!--put NAME-->` replaced: styles and charts here, everything else by `put`.
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

/// Data as JSON for a `<script>` element: `<`, `>` and `&` are escaped, so that nothing in it can close the element or open a
/// comment.
pub(crate) fn json(value: &impl Serialize) -> String {
    serde_json::to_string(value)
        .unwrap_or_else(|_| "{}".to_owned())
        .replace('<', "\\u003c")
        .replace('>', "\\u003e")
        .replace('&', "\\u0026")
}
