//! Text and tables of the page, which need no script.

use std::fmt::Write as _;

use crate::figures::{self, MEANINGS, Meaning, Notation, written};
use crate::{Figure, ReportData, reasons};
use trimwright_harness::summary::{Finding, Weight};

/// Escapes `words` as HTML text.
pub(crate) fn html_text(words: &str) -> String {
    words.replace('&', "&amp;").replace('<', "&lt;").replace('>', "&gt;").replace('"', "&quot;")
}

/// Appends a line of HTML; writing to memory cannot fail.
macro_rules! put {
    ($html:expr, $($part:tt)*) => { let _ = writeln!($html, $($part)*); };
}

/// Title, scenario, description of the drive, labelled values.
pub(crate) fn head(data: &ReportData) -> String {
    let mut html = String::new();
    put!(html, "<h1>{}</h1>", html_text(&data.title));
    for words in [&data.scenario, &data.driven] {
        if !words.is_empty() {
            put!(html, "<p class=\"lead\">{}</p>", html_text(words));
        }
    }
    if !data.facts.is_empty() {
        put!(html, "<dl class=\"facts\">");
        for fact in &data.facts {
            put!(html, "<div><dt>{}</dt><dd>{}</dd></div>", html_text(&fact.label), html_text(&fact.value));
        }
        put!(html, "</dl>");
    }
    html
}

/// The result in four numbers, with an explanation.
pub(crate) fn result(data: &ReportData) -> String {
    let mut html = String::from("<div class=\"tiles\">\n");
    for (name, label, note) in [
        ("mixture.base_map_rms", "before", "first calibration, map alone"),
        ("mixture.learned_map_rms", "after", "learned map, map alone"),
        ("mixture.closed_loop_rms", "with feedback", "last pass, all driving"),
        ("learning.settle_s", "settled after", "within 2 % from then on"),
    ] {
        let Some(value) = value_of(data, name) else { continue };
        let notation = figures::of(name).map_or(Notation::Percent, |meaning| meaning.notation);
        put!(
            html,
            "<div class=\"tile\"><span>{label}</span><b>{}</b><span>{note}</span></div>",
            written(value, notation)
        );
    }
    html.push_str("</div>\n");
    let known = (value_of(data, "mixture.base_map_rms"), value_of(data, "mixture.learned_map_rms"));
    if let (Some(base), Some(learned)) = known {
        put!(
            html,
            "<p>With the calibration from the setup answers alone, the mixture error was {} (root mean square). The learned map \
             {} it to {}, without feedback.</p>",
            written(base, Notation::Percent),
            if learned < base { "reduces" } else { "changes" },
            written(learned, Notation::Percent),
        );
    }
    let known = (value_of(data, "mixture.closed_loop_rms"), value_of(data, "mixture.p95_abs"));
    if let (Some(rms), Some(most)) = known
        && rms > most
    {
        put!(
            html,
            "<p>With feedback the root mean square is {}, although 95 % of the last pass was within {}: errors are squared, so a few large ones \
             raise it. The charts show when they occurred.</p>",
            written(rms, Notation::Percent),
            written(most, Notation::Percent),
        );
    }
    if !data.map.visited.is_empty() {
        put!(
            html,
            "<p>The engine ran long enough in {} of the map's {} cells to learn there. The other cells have no lesson of their own: on a \
             real engine they are as uncertain as before.</p>",
            data.map.visited.iter().filter(|&&visited| visited).count(),
            data.map.visited.len(),
        );
    }
    html
}

fn value_of(data: &ReportData, name: &str) -> Option<f64> {
    data.figures.iter().find(|figure| figure.name == name).map(|figure| figure.value)
}

/// All figures: the known ones in the order of [`MEANINGS`] with explanations, then the others by name.
pub(crate) fn all_figures(data: &ReportData) -> String {
    if data.figures.is_empty() {
        return "<p>No figure was computed for this run.</p>\n".to_owned();
    }
    let mut html = String::from(
        "<table class=\"figures\"><thead><tr><th>Figure</th><th class=\"number\">Value</th><th>Meaning</th></tr></thead><tbody>\n",
    );
    for meaning in MEANINGS {
        for figure in data.figures.iter().filter(|figure| figure.name == meaning.name) {
            figure_row(&mut html, figure, Some(meaning));
        }
    }
    for figure in data.figures.iter().filter(|figure| figures::of(&figure.name).is_none()) {
        figure_row(&mut html, figure, None);
    }
    html.push_str("</tbody></table>\n");
    html
}

fn figure_row(html: &mut String, figure: &Figure, meaning: Option<&Meaning>) {
    let name = html_text(&figure.name);
    let (label, value, explanation) = match meaning {
        Some(known) => (known.label, written(figure.value, known.notation), known.explanation),
        None => ("", format!("{:.4}", figure.value), ""),
    };
    put!(
        html,
        "<tr><td>{label} <code>{name}</code></td><td class=\"number\">{value}</td><td>{explanation}</td></tr>"
    );
}

/// Accepted and rejected readings and their shares.
pub(crate) fn refusals(data: &ReportData) -> String {
    let rejected: u64 = data.refusals.iter().map(|refusal| refusal.count).sum();
    let all = data.lessons + rejected;
    if all == 0 {
        return "<p>No reading was evaluated: learning was off or the engine never ran.</p>\n".to_owned();
    }
    let share = |count: u64| match 100.0 * count as f64 / all as f64 {
        little if count > 0 && little < 0.1 => "below 0.1 %".to_owned(),
        share => format!("{share:.1} %"),
    };
    let mut html = String::from(
        "<table class=\"reasons\"><thead><tr><th>Reading</th><th class=\"number\">Count</th><th class=\"number\">Share</th><th>Reason</th></tr></thead><tbody>\n",
    );
    put!(
        html,
        "<tr><td>accepted as a lesson</td><td class=\"number\">{}</td><td class=\"number\">{}</td><td>the reading was valid and updated the map</td></tr>",
        data.lessons,
        share(data.lessons)
    );
    let mut sorted: Vec<_> = data.refusals.iter().filter(|refusal| refusal.count > 0).collect();
    sorted.sort_by(|one, other| other.count.cmp(&one.count).then_with(|| one.reason.cmp(&other.reason)));
    for refusal in sorted {
        put!(
            html,
            "<tr><td>rejected: {}</td><td class=\"number\">{}</td><td class=\"number\">{}</td><td>{}</td></tr>",
            html_text(&refusal.reason.replace('_', " ")),
            refusal.count,
            share(refusal.count),
            reasons::meaning(&refusal.reason)
        );
    }
    html.push_str("</tbody></table>\n");
    html
}

/// Findings, the most important first, then trouble codes.
pub(crate) fn findings(data: &ReportData) -> String {
    let mut html = String::new();
    if data.findings.is_empty() {
        put!(html, "<p>The assessment has no findings.</p>");
    }
    let weights = [(Weight::Stop, "stop"), (Weight::Act, "act"), (Weight::Note, "note")];
    for (weight, word) in weights {
        for finding in data.findings.iter().filter(|finding| finding.weight == weight) {
            html.push_str(&one_finding(finding, word));
        }
    }
    if data.dtcs.is_empty() {
        put!(html, "<p>No diagnostic trouble code was set.</p>");
        return html;
    }
    put!(
        html,
        "<table><thead><tr><th>Trouble code</th><th>Meaning</th><th>First set</th></tr></thead><tbody>"
    );
    for dtc in &data.dtcs {
        let time =
            if dtc.time_s.is_finite() { written(dtc.time_s, Notation::Duration) } else { String::new() };
        put!(
            html,
            "<tr><td><code>{}</code></td><td>{}</td><td>{time}</td></tr>",
            html_text(&dtc.code),
            html_text(&dtc.meaning)
        );
    }
    put!(html, "</tbody></table>");
    html
}

fn one_finding(finding: &Finding, word: &str) -> String {
    let mut html = String::new();
    put!(
        html,
        "<article class=\"finding {word}\"><h3><span class=\"weight\">{word}</span> {}</h3>",
        html_text(&finding.title)
    );
    for (heading, tag, lines) in [
        ("Evidence", "ul", &finding.evidence),
        ("Possible causes, most likely first", "ol", &finding.causes),
        ("How to distinguish them", "ul", &finding.tell_apart),
        ("What to check", "ul", &finding.check),
    ] {
        if !lines.is_empty() {
            let items: String = lines.iter().map(|line| format!("<li>{}</li>", html_text(line))).collect();
            put!(html, "<h4>{heading}</h4><{tag}>{items}</{tag}>");
        }
    }
    put!(html, "</article>");
    html
}

/// The cautions of this run and the general ones.
pub(crate) fn cautions(data: &ReportData) -> String {
    let general = [
        "This is a simulation. It shows how the method behaves and does not prove that an engine is safe with any figure on this page.",
        "A lean mixture at high load destroys engines within seconds. Cells that were not visited hold no measured correction: on a real engine approach \
         high load in small steps, with somebody other than the driver watching mixture and knock.",
        "Fuel under pressure sprays and burns: release the pressure before opening a line, keep sparks away, have an extinguisher at hand.",
        "Exhaust is hot and poisonous: let it cool, run engines only with ventilation.",
        "Raised cars fall: use stands on firm ground. Belts and fans start without warning.",
        "Nitrous oxide under pressure and welding on a car need their own training.",
        "Follow the makers' instructions and the rules where you live, and leave to licensed people what requires it. Adjust nothing on a \
         public road.",
    ];
    let own = data.cautions.iter().map(String::as_str);
    let items: String = own.chain(general).map(|line| format!("<li>{}</li>\n", html_text(line))).collect();
    format!("<ul>\n{items}</ul>\n")
}
