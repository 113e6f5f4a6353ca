//! The whole page: all parts are there, text cannot become markup, and the size is limited.

mod invented;

use invented::report_data;
use trimwright_harness::summary::{Finding, Weight};
use trimwright_report::{Fact, Figure, Mark, RefusalCount, ReportData, TroubleCode, render};

/// The report data in the page.
fn data(page: &str) -> serde_json::Value {
    let (_, rest) =
        page.split_once("<script type=\"application/json\" id=\"story\">").expect("the data begin");
    let (json, _) = rest.split_once("</script>").expect("the data end");
    serde_json::from_str(json).expect("the data are JSON")
}

#[test]
fn every_part_of_a_run_is_in_the_page() {
    let page = render(&report_data());
    for id in [
        "result", "drive", "path", "map", "replay", "dwell", "lessons", "driving", "findings", "cautions",
        "figures",
    ] {
        assert!(page.contains(&format!("<section id=\"{id}\">")), "no section {id}");
        assert!(page.contains(&format!("href=\"#{id}\"")), "no link to {id}");
    }
    for words in [
        "10.42 %",
        "mixture.learned_map_rms",
        "15:13 min",
        "in 69 of the map's 168 cells",
        "not measured",
        "rejected: sensor not ready",
        "the oxygen sensor was still heating up",
        "<td>−18\u{a0}°C\u{a0}(0\u{a0}°F)</td><td class=\"number\">did not start</td><td class=\"number\">0 times</td>",
        "<td>0\u{a0}°C\u{a0}(32\u{a0}°F)</td><td class=\"number\">1.24 s</td><td class=\"number\">once</td>",
        "<td>20\u{a0}°C\u{a0}(68\u{a0}°F), without</td><td class=\"number\">19.70 %</td><td class=\"number\">0.00 %</td>",
        "<td>air conditioning, in gear</td><td class=\"number\">48.5 rpm</td><td class=\"number\">3.03 %</td>",
        "<td>a fan, out of gear</td><td class=\"number\">did not come on</td>",
        "<td class=\"number\">3 times</td><td class=\"number\">130.5 rpm</td><td class=\"number\">0 times</td>",
        "below 0.1 %",
        "Air entering the exhaust upstream of the sensor.",
        "P0171",
        "does not prove that an engine is safe",
        "Apache ECharts 6.1.0",
    ] {
        assert!(page.contains(words), "the page lacks {words}");
    }
    assert!(!page.contains("<!--put"), "a part is missing");
}

#[test]
fn a_two_pass_run_stays_below_three_megabytes() {
    let bytes = render(&report_data()).len();
    assert!((1_000_000..3_000_000).contains(&bytes), "{bytes} bytes");
}

#[test]
fn ident_the_data_in_the_page_are_the_report_data() {
    let expected = report_data();
    let data = data(&render(&expected));
    assert_eq!(data["trace"]["time_s"].as_array().map(Vec::len), Some(expected.trace.time_s.len()));
    assert_eq!(data["snapshots"].as_array().map(Vec::len), Some(expected.snapshots.len()));
    let learned: Vec<f64> = data["map"]["learned_ln"]
        .as_array()
        .expect("a list")
        .iter()
        .filter_map(|cell| cell.as_f64())
        .collect();
    assert_eq!(learned.len(), expected.map.learned_ln.len());
    for (read, written) in learned.iter().zip(&expected.map.learned_ln) {
        assert!((read - written).abs() <= 1e-4 * written.abs(), "{read} for {written}");
    }
    let gap =
        expected.trace.lambda.iter().position(|lambda| lambda.is_nan()).expect("the drive has a fuel cut");
    assert!(data["trace"]["lambda"][gap].is_null());
    assert_eq!(data["findings"][1]["weight"], "act");
    assert_eq!((&data["units"], &data["driveability"]["starts"][1]["stalls"]), (&"us".into(), &1.into()));
}

#[test]
fn no_text_becomes_markup() {
    let nasty = "</script><script>alert(1)</script><!-- <!--put charts--> & \"quoted\" \u{2028}";
    let words = || nasty.to_owned();
    let hostile = ReportData {
        title: words(),
        scenario: words(),
        driven: words(),
        facts: vec![Fact { label: words(), value: words() }],
        figures: vec![Figure { name: words(), value: 1.0 }],
        marks: vec![Mark { time_s: 0.0, label: words() }],
        refusals: vec![RefusalCount { reason: words(), count: 1 }],
        dtcs: vec![TroubleCode { code: words(), meaning: words(), time_s: f64::NAN }],
        findings: vec![Finding {
            title: words(),
            weight: Weight::Stop,
            evidence: vec![words()],
            causes: vec![words()],
            tell_apart: vec![words()],
            check: vec![words()],
        }],
        cautions: vec![words()],
        ..report_data()
    };
    let (tame, page) = (render(&report_data()), render(&hostile));
    assert_eq!(page.matches("</script").count(), tame.matches("</script").count());
    assert_eq!(page.matches("<script").count(), tame.matches("<script").count());
    assert!(!page.contains("<!--put"));
    assert_eq!(data(&page)["title"], nasty);
}

#[test]
fn empty_report_data_make_a_page() {
    let page = render(&ReportData::default());
    assert!(page.contains("No figure was computed for this run."));
    assert!(page.contains("No reading was evaluated"));
    assert!(page.contains("Driveability was not tested in this run."));
    assert!(page.contains("The assessment has no findings."));
    assert!(page.contains("No diagnostic trouble code was set."));
    assert!(page.trim_end().ends_with("</html>"));
}

#[test]
fn a_note_explains_an_rms_above_the_95_percent_error() {
    let page = |rms, most| {
        let figure = |name: &str, value| Figure { name: name.into(), value };
        let figures = vec![figure("mixture.closed_loop_rms", rms), figure("mixture.p95_abs", most)];
        render(&ReportData { figures, ..ReportData::default() })
    };
    let words =
        "With feedback the root mean square is 14.98 %, although 95 % of the last pass was within 9.20 %";
    assert!(page(0.1498, 0.092).contains(words));
    assert!(!page(0.0155, 0.03).contains("although"), "an error of the usual distribution needs no note");
}

#[test]
fn more_important_findings_come_first() {
    let finding = |title: &str, weight| Finding { title: title.into(), weight, ..Finding::default() };
    let findings = vec![
        finding("a note", Weight::Note),
        finding("something to do", Weight::Act),
        finding("a danger", Weight::Stop),
    ];
    let page = render(&ReportData { findings, ..ReportData::default() });
    let at = |words: &str| page.find(&format!("</span> {words}</h3>")).expect(words);
    assert!(at("a danger") < at("something to do") && at("something to do") < at("a note"));
}

#[test]
fn the_page_names_the_version_of_the_chart_library() {
    let version = |text: &str| text.matches("6.1.0").count();
    assert!(version(include_str!("../assets/echarts/README.md")) >= 2);
    assert!(include_str!("../assets/echarts/echarts.min.js").contains("version=\"6.1.0\""));
}
