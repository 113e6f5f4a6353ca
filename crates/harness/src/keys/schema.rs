//! JSON Schemas of scenario and engine files, draft 2020-12, with which editors complete keys and check values.

use super::key::{AllowedValue, FileKey};
use crate::faults::KINDS;
use crate::measure::Measure;
use crate::units::{Kind, UnitSystem};
use crate::{scenario_answers, scenario_engine};
use serde_json::{Map, Value, json};

/// A number in a file.
const NUMBER: &str = r"[+-]?([0-9]+\.?[0-9]*|\.[0-9]+)([eE][+-]?[0-9]+)?";

pub(super) fn scenario(keys: &[FileKey]) -> String {
    let required =
        [&["title", "engine", "schedule", "setup", "fault.kind"][..], scenario_answers::REQUIRED].concat();
    file("Scenario file of Trimwright", keys, &required)
}

pub(super) fn engine(keys: &[FileKey]) -> String {
    // The section of the required keys is required too.
    file("Engine file of Trimwright", keys, &[&["engine"][..], scenario_engine::REQUIRED].concat())
}

fn file(title: &str, keys: &[FileKey], required: &[&str]) -> String {
    let mut root = object("", keys, required);
    root.insert("$schema".to_owned(), json!("https://json-schema.org/draft/2020-12/schema"));
    root.insert("title".to_owned(), json!(title));
    let kinds = Kind::ALL.iter().map(|kind| (format!("{kind:?}"), quantity(*kind))).collect();
    root.insert("$defs".to_owned(), Value::Object(kinds));
    format!("{:#}\n", Value::Object(root))
}

/// Schema of the section of this path.
fn object(section: &str, keys: &[FileKey], required: &[&str]) -> Map<String, Value> {
    let below = |path: &str| -> Option<String> {
        let rest = if section.is_empty() { path } else { path.strip_prefix(section)?.strip_prefix('.')? };
        Some(rest.to_owned())
    };
    let mut properties = Map::new();
    for key in keys {
        let Some(rest) = below(&key.path) else { continue };
        let (name, inner) = rest.split_once('.').map_or((rest.as_str(), false), |(name, _)| (name, true));
        if properties.contains_key(name) {
            continue;
        }
        let path = crate::document::inside(section, name);
        let property = match (inner, path.as_str()) {
            (false, _) => value(key),
            (true, "fault") => {
                json!({ "type": "array", "maxItems": crate::faults::MAX_FAULTS, "items": object(&path, keys, required) })
            }
            (true, _) => Value::Object(object(&path, keys, required)),
        };
        properties.insert(name.to_owned(), property);
    }
    let there = |name: &String| required.contains(&crate::document::inside(section, name).as_str());
    let required: Vec<&String> = properties.keys().filter(|name| there(name)).collect();
    let mut object = Map::new();
    object.insert("type".to_owned(), json!("object"));
    object.insert("additionalProperties".to_owned(), json!(false));
    if !required.is_empty() {
        object.insert("required".to_owned(), json!(required));
    }
    object.insert("properties".to_owned(), Value::Object(properties));
    object
}

/// Schema of a key, with its description.
fn value(key: &FileKey) -> Value {
    let mut schema = match &key.wanted {
        AllowedValue::Text => json!({ "type": "string", "pattern": r"\S" }),
        AllowedValue::Flag => json!({ "type": "boolean" }),
        AllowedValue::Whole(low, high) => json!({ "type": "integer", "minimum": low, "maximum": high }),
        AllowedValue::Choice(words) => json!({ "enum": words }),
        AllowedValue::Quantity(measure) => number(*measure),
        AllowedValue::Strength => strength(),
        AllowedValue::List([least, most], measure) => list(*least, *most, number(*measure)),
        AllowedValue::Curve(room, axis, measure) => {
            let pair = json!([number(*axis), number(*measure)]);
            list(
                2.min(*room),
                *room,
                json!({ "type": "array", "prefixItems": pair, "minItems": 2, "maxItems": 2 }),
            )
        }
        AllowedValue::Table([width, height], [x, y], measure) => json!({
            "type": "object",
            "additionalProperties": false,
            "required": ["values"],
            "properties": {
                "columns": list(2.min(*width), *width, number(*x)),
                "rows": list(2.min(*height), *height, number(*y)),
                "values": list(2.min(*height), *height, list(2.min(*width), *width, number(*measure))),
            },
        }),
    };
    let default = key.value();
    let default = if default.is_empty() { default } else { format!(" Default: {default}.") };
    let description = match &key.wanted {
        AllowedValue::Text => key.about.to_owned(),
        _ => format!("{} Allowed: {}.{default}", key.about, key.allowed(UnitSystem::Si)),
    };
    if let Value::Object(fields) = &mut schema {
        fields.insert("description".to_owned(), json!(description.trim()));
    }
    schema
}

fn list(least: usize, most: usize, items: Value) -> Value {
    json!({ "type": "array", "minItems": least, "maxItems": most, "items": items })
}

/// A quantity; also a plain number in its range where there is no unit.
fn number(measure: Measure) -> Value {
    let mut plain = json!({ "type": "number" });
    if let Value::Object(fields) = &mut plain
        && measure.high.is_finite()
    {
        fields.insert("minimum".to_owned(), json!(measure.low));
        fields.insert("maximum".to_owned(), json!(measure.high));
    }
    match measure.kind {
        None => plain,
        Some(kind @ Kind::Ratio) => json!({ "anyOf": [plain, reference(kind)] }),
        Some(kind) => reference(kind),
    }
}

fn reference(kind: Kind) -> Value {
    json!({ "$ref": format!("#/$defs/{kind:?}") })
}

/// Strength of any kind of fault that has one.
fn strength() -> Value {
    let mut kinds: Vec<Kind> = Vec::new();
    for kind in KINDS.iter().filter_map(|kind| kind.strength.map(|strength| strength.kind)) {
        if !kinds.contains(&kind) {
            kinds.push(kind);
        }
    }
    let mut any: Vec<Value> = kinds.into_iter().map(reference).collect();
    any.push(json!({ "type": "number" }));
    json!({ "anyOf": any })
}

/// A text of a number and one of the units of a kind, in all accepted spellings.
fn quantity(kind: Kind) -> Value {
    let units = kind.patterns().join("|");
    let (units, one) =
        if kind == Kind::Ratio { (format!("({units})?"), "15%") } else { (format!("({units})"), "10") };
    let example = match (kind, kind.spellings().first()) {
        (Kind::Ratio, _) | (_, None) => one.to_owned(),
        (_, Some((spelling, _))) => format!("{one} {spelling}"),
    };
    json!({
        "type": "string",
        "pattern": format!(r"^\s*{NUMBER}\s*{units}\s*$"),
        "examples": [example],
        "description": format!("{}: a number and one of the units {}.", kind.name(), kind.accepted()),
    })
}
