//! The parts of the page that are words and numbers. They need no script.

use std::fmt::Write as _;

use crate::figures::{self, MEANINGS, Meaning, Notation, written};
use crate::{Figure, Story, reasons};
use trimwright_harness::summary::{Finding, Weight};

/// `words` as HTML text.
pub(crate) fn text(words: &str) -> String {
    words.replace('&', "&amp;").replace('<', "&lt;").replace('>', "&gt;").replace('"', "&quot;")
}

/// A line of HTML to the end of `html`; writing to memory cannot fail.
macro_rules! put {
    ($html:expr, $($part:tt)*) => { let _ = writeln!($html, $($part)*); };
}

/// Title, scenario, what was driven, short facts.
pub(crate) fn head(story: &Story) -> String {
    let mut html = String::new();
    put!(html, "<h1>{}</h1>", text(&story.title));
    for words in [&story.scenario, &story.driven] {
        if !words.is_empty() {
            put!(html, "<p class=\"lead\">{}</p>", text(words));
        }
    }
    if !story.facts.is_empty() {
        put!(html, "<dl class=\"facts\">");
        for fact in &story.facts {
            put!(html, "<div><dt>{}</dt><dd>{}</dd></div>", text(&fact.label), text(&fact.value));
        }
        put!(html, "</dl>");
    }
    html
}

/// The result in four numbers and how to read them.
pub(crate) fn result(story: &Story) -> String {
    let mut html = String::from("<div class=\"tiles\">\n");
    for (name, label, note) in [
        ("mixture.base_map_rms", "before", "first calibration, map alone"),
        ("mixture.learned_map_rms", "after", "learned map, map alone"),
        ("mixture.closed_loop_rms", "with feedback", "last pass, all driving"),
        ("learning.settle_s", "settled after", "within 2 % from then on"),
    ] {
        let Some(value) = value_of(story, name) else { continue };
        let way = figures::of(name).map_or(Notation::Percent, |meaning| meaning.way);
        put!(
            html,
            "<div class=\"tile\"><span>{label}</span><b>{}</b><span>{note}</span></div>",
            written(value, way)
        );
    }
    html.push_str("</div>\n");
    let known = (value_of(story, "mixture.base_map_rms"), value_of(story, "mixture.learned_map_rms"));
    if let (Some(base), Some(learned)) = known {
        put!(
            html,
            "<p>Made from the setup answers alone, the fuel was off by {} (root mean square). What was learned on this \
             drive {} that to {}, without help from feedback.</p>",
            written(base, Notation::Percent),
            if learned < base { "brings" } else { "moves" },
            written(learned, Notation::Percent),
        );
    }
    let known = (value_of(story, "mixture.closed_loop_rms"), value_of(story, "mixture.p95_abs"));
    if let (Some(rms), Some(most)) = known
        && rms > most
    {
        put!(
            html,
            "<p>With feedback the root mean square is {}, although 95 % of the last pass was within {}: errors are squared in it, so few large \
             ones move it far. The charts show when.</p>",
            written(rms, Notation::Percent),
            written(most, Notation::Percent),
        );
    }
    if !story.map.visited.is_empty() {
        put!(
            html,
            "<p>The engine ran long enough in {} of the map's {} cells to learn from them. The others hold no lesson of their own: on a \
             real engine they are as uncertain as on the first day.</p>",
            story.map.visited.iter().filter(|&&visited| visited).count(),
            story.map.visited.len(),
        );
    }
    html
}

fn value_of(story: &Story, name: &str) -> Option<f64> {
    story.figures.iter().find(|figure| figure.name == name).map(|figure| figure.value)
}

/// Every figure with its explanation: those that the page knows in its own order, then the others by their name alone.
pub(crate) fn all_figures(story: &Story) -> String {
    if story.figures.is_empty() {
        return "<p>No figure was worked out for this run.</p>\n".to_owned();
    }
    let mut html = String::from(
        "<table class=\"figures\"><thead><tr><th>Figure</th><th class=\"number\">Value</th><th>What it says</th></tr></thead><tbody>\n",
    );
    for meaning in MEANINGS {
        for figure in story.figures.iter().filter(|figure| figure.name == meaning.name) {
            figure_row(&mut html, figure, Some(meaning));
        }
    }
    for figure in story.figures.iter().filter(|figure| figures::of(&figure.name).is_none()) {
        figure_row(&mut html, figure, None);
    }
    html.push_str("</tbody></table>\n");
    html
}

fn figure_row(html: &mut String, figure: &Figure, meaning: Option<&Meaning>) {
    let name = text(&figure.name);
    let (label, value, explanation) = match meaning {
        Some(known) => (known.label, written(figure.value, known.way), known.explanation),
        None => ("", format!("{:.4}", figure.value), ""),
    };
    put!(
        html,
        "<tr><td>{label} <code>{name}</code></td><td class=\"number\">{value}</td><td>{explanation}</td></tr>"
    );
}

/// Lessons, refusals and their share of all readings.
pub(crate) fn refusals(story: &Story) -> String {
    let refused: u64 = story.refusals.iter().map(|refusal| refusal.count).sum();
    let all = story.lessons + refused;
    if all == 0 {
        return "<p>No reading was looked at: learning was off or the engine never ran.</p>\n".to_owned();
    }
    let share = |count: u64| match 100.0 * count as f64 / all as f64 {
        little if count > 0 && little < 0.1 => "below 0.1 %".to_owned(),
        share => format!("{share:.1} %"),
    };
    let mut html = String::from(
        "<table class=\"reasons\"><thead><tr><th>Reading</th><th class=\"number\">Count</th><th class=\"number\">Share</th><th>Why</th></tr></thead><tbody>\n",
    );
    put!(
        html,
        "<tr><td>taken as a lesson</td><td class=\"number\">{}</td><td class=\"number\">{}</td><td>the reading could be trusted and changed the map</td></tr>",
        story.lessons,
        share(story.lessons)
    );
    let mut sorted: Vec<_> = story.refusals.iter().filter(|refusal| refusal.count > 0).collect();
    sorted.sort_by(|one, other| other.count.cmp(&one.count).then_with(|| one.reason.cmp(&other.reason)));
    for refusal in sorted {
        put!(
            html,
            "<tr><td>refused: {}</td><td class=\"number\">{}</td><td class=\"number\">{}</td><td>{}</td></tr>",
            text(&refusal.reason.replace('_', " ")),
            refusal.count,
            share(refusal.count),
            reasons::meaning(&refusal.reason)
        );
    }
    html.push_str("</tbody></table>\n");
    html
}

/// Findings, the weightiest first, then trouble codes.
pub(crate) fn findings(story: &Story) -> String {
    let mut html = String::new();
    if story.findings.is_empty() {
        put!(html, "<p>The assessment found nothing to remark.</p>");
    }
    let weights = [(Weight::Stop, "stop"), (Weight::Act, "act"), (Weight::Note, "note")];
    for (weight, word) in weights {
        for finding in story.findings.iter().filter(|finding| finding.weight == weight) {
            html.push_str(&one_finding(finding, word));
        }
    }
    if story.dtcs.is_empty() {
        put!(html, "<p>No diagnostic trouble code was set.</p>");
        return html;
    }
    put!(
        html,
        "<table><thead><tr><th>Trouble code</th><th>Meaning</th><th>First set</th></tr></thead><tbody>"
    );
    for dtc in &story.dtcs {
        let time =
            if dtc.time_s.is_finite() { written(dtc.time_s, Notation::Duration) } else { String::new() };
        put!(
            html,
            "<tr><td><code>{}</code></td><td>{}</td><td>{time}</td></tr>",
            text(&dtc.code),
            text(&dtc.meaning)
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
        text(&finding.title)
    );
    for (heading, tag, lines) in [
        ("What was seen", "ul", &finding.evidence),
        ("What may be behind it, most likely first", "ol", &finding.causes),
        ("How to tell them apart", "ul", &finding.tell_apart),
        ("What to check", "ul", &finding.check),
    ] {
        if !lines.is_empty() {
            let items: String = lines.iter().map(|line| format!("<li>{}</li>", text(line))).collect();
            put!(html, "<h4>{heading}</h4><{tag}>{items}</{tag}>");
        }
    }
    put!(html, "</article>");
    html
}

/// The usual cautions and those of this run.
pub(crate) fn cautions(story: &Story) -> String {
    let usual = [
        "This is a simulation. It shows how the method behaves, and is no proof that an engine is safe with any figure on this page.",
        "A lean mixture at high load destroys engines within seconds. Cells that were not visited hold a guess: on a real engine approach \
         high load in small steps, with the mixture and knock watched by somebody other than the driver.",
        "Fuel under pressure sprays and burns: let the pressure off before opening a line, keep sparks away, have an extinguisher at hand.",
        "Exhaust is hot and poisonous: let it cool, run engines only where the gas can leave.",
        "Raised cars fall: use stands on firm ground. Moving belts and fans start without warning.",
        "Nitrous oxide under pressure and welding on a car need their own training.",
        "Follow the makers' instructions and the rules where you live, and leave to licensed practice what requires it. Adjust nothing on a \
         public road.",
    ];
    let own = story.cautions.iter().map(String::as_str);
    let items: String = own.chain(usual).map(|line| format!("<li>{}</li>\n", text(line))).collect();
    format!("<ul>\n{items}</ul>\n")
}
