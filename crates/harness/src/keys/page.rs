//! Page of all keys, for people.

use super::key::{AllowedValue, FileKey};
use crate::faults::{KINDS, Strength};
use crate::measure::Measure;
use crate::scenario_answers;
use crate::units::{Kind, UnitSystem};

const HEAD: &str = "\
# Keys of scenario and engine files

Made by `cargo run -p trimwright-harness --example keys`; do not edit.

Keys belong to the section in brackets above them. A quantity is a text with its unit, `\"10 s\"` or `\"195 degF\"`; where the range has no
unit, a number, or a percentage in quotes. Every key is optional unless marked *required*; without it the default applies.

- A list is in brackets and has the stated length: `[\"1 V\", \"2 V\"]`.
- A curve is a list of points with rising first values, `[[\"0.5 V\", \"10 kPa\"], [\"4.5 V\", \"110 kPa\"]]`: interpolated linearly.
- A table is a section of its own with `columns`, `rows` and `values`, one list per row; `values` alone keeps the other two.
";

const UNITS: &str = "\
## Units

Messages use the first unit of a row; all are accepted.

| quantity | units |
|---|---|
";

/// Makes the page.
pub(super) fn page(scenario: &[FileKey], engine: &[FileKey]) -> String {
    let mut page = HEAD.to_owned();
    page.push_str("\n## Scenario files\n");
    let (truth, own): (Vec<&FileKey>, Vec<&FileKey>) =
        scenario.iter().partition(|key| key.path.starts_with("truth."));
    debug_assert!(!truth.is_empty(), "a scenario can overrule its engine");
    sections(&mut page, &own);
    page.push_str("\n### [truth]\n\nThe sections of an engine file below `truth`, such as `[truth.vehicle]`, override it.\n");
    kinds(&mut page);
    page.push_str("\n## Engine files\n");
    sections(&mut page, &engine.iter().collect::<Vec<_>>());
    page.push('\n');
    page.push_str(UNITS);
    for kind in Kind::ALL {
        page.push_str(&format!("| {} | {} |\n", kind.name(), kind.accepted()));
    }
    page
}

/// Section of a key, and its name there.
fn placed(path: &str) -> (&str, &str) {
    path.rsplit_once('.').unwrap_or(("", path))
}

fn sections(page: &mut String, keys: &[&FileKey]) {
    let mut before = None;
    for key in keys {
        let (section, name) = placed(&key.path);
        if before.replace(section) != Some(section) {
            let title = match section {
                "" => "Before all sections".to_owned(),
                "fault" => "[[fault]]".to_owned(),
                section => format!("[{section}]"),
            };
            page.push_str(&format!(
                "\n### {title}\n\n| key | allowed | default | meaning |\n|---|---|---|---|\n"
            ));
        }
        let value = key.value();
        let default = if value.is_empty() { missing(key).to_owned() } else { format!("`{value}`") };
        let allowed = key.allowed(UnitSystem::Si);
        // Answers and deviations have examples, not sourced defaults.
        let source = match section {
            "setup" | "deviations" => String::new(),
            _ if key.source.is_empty() => String::new(),
            _ => format!(" *{}*", key.source),
        };
        page.push_str(&format!("| `{name}` | {allowed} | {default} | {}{source} |\n", key.about));
    }
}

/// Text in place of a default for a key without one.
fn missing(key: &FileKey) -> &'static str {
    let required = ["title", "engine", "schedule", "fault.kind"];
    match key.path.as_str() {
        path if required.contains(&path) || scenario_answers::REQUIRED.contains(&path) => "*required*",
        _ => "",
    }
}

/// Table of the kinds of faults.
fn kinds(page: &mut String) {
    page.push_str("\n### Kinds of faults\n\n| kind | strength | usual | meaning |\n|---|---|---|---|\n");
    for kind in KINDS {
        let strength = |Strength { kind, low, high, .. }: &Strength| {
            AllowedValue::Quantity(Measure::quantity(*kind, (*low, *high)))
        };
        let allowed = kind
            .strength
            .as_ref()
            .map(|wanted| FileKey::new("", strength(wanted), "").allowed(UnitSystem::Si));
        let usual = kind.strength.as_ref().map(|strength| crate::faults::show(strength, strength.usual));
        let start = if kind.is_timed { "" } else { "; from the start" };
        page.push_str(&format!(
            "| `{}` | {} | {} | {}{start} |\n",
            kind.name,
            allowed.unwrap_or_default(),
            usual.unwrap_or_default(),
            kind.title
        ));
    }
}
