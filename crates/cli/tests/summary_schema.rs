//! `shared/schema/summary.schema.json` against a summary: every key of a summary is in the schema, and vice versa.

mod support;

use serde_json::Value;
use std::collections::BTreeSet;
use trimwright_harness::drive::drive;
use trimwright_harness::scenario::Scenario;
use trimwright_harness::summary::{Finding, SCHEMA, Weight};

/// An object whose keys are data: a count for each refusal.
const COUNTS: &str = "learning.refusals";

fn schema() -> Value {
    serde_json::from_str(include_str!("../shared/schema/summary.schema.json")).expect("JSON")
}

/// Paths of all keys of a schema, through lists and nullable values.
fn described(schema: &Value, all: &Value, path: &str, found: &mut BTreeSet<String>) {
    if let Some(name) = schema["$ref"].as_str() {
        let definition = all.pointer(name.trim_start_matches('#')).unwrap_or_else(|| panic!("no {name}"));
        described(definition, all, path, found);
    }
    for other in schema["anyOf"].as_array().into_iter().flatten() {
        described(other, all, path, found);
    }
    for items in [&schema["items"]].into_iter().chain(schema["prefixItems"].as_array().into_iter().flatten())
    {
        if items.is_object() {
            described(items, all, path, found);
        }
    }
    let Some(properties) = schema["properties"].as_object() else { return };
    assert_eq!(schema["additionalProperties"], false, "{path} accepts unknown keys");
    let required: BTreeSet<&str> =
        schema["required"].as_array().into_iter().flatten().filter_map(Value::as_str).collect();
    assert_eq!(
        required,
        properties.keys().map(String::as_str).collect(),
        "{path}: every key is always there"
    );
    for (key, property) in properties {
        let below = format!("{path}.{key}").trim_start_matches('.').to_owned();
        found.insert(below.clone());
        described(property, all, &below, found);
    }
}

/// Paths of all keys of a value.
fn written(value: &Value, path: &str, found: &mut BTreeSet<String>) {
    match value {
        Value::Array(items) => items.iter().for_each(|item| written(item, path, found)),
        Value::Object(fields) if path != COUNTS => {
            for (key, field) in fields {
                let below = format!("{path}.{key}").trim_start_matches('.').to_owned();
                found.insert(below.clone());
                written(field, &below, found);
            }
        }
        _ => (),
    }
}

#[test]
fn ident_every_key_of_a_summary_is_in_the_schema_and_vice_versa() {
    let home = support::home_with_scenario();
    let scenario = Scenario::load(home.path().join("short.toml").to_str().expect("UTF-8")).expect("valid");
    let mut summary = drive(&scenario.with_passes(1), &mut |_| ()).expect("driven").summary;
    // The drive is too short for the fans; their figures have the layout of those of the air conditioning.
    let idle = &mut summary.driveability.as_mut().expect("a whole drive").idle;
    idle.fan = idle.fan.or(Some(idle.ac));
    let words = || vec!["words".to_owned()];
    summary.verdicts.push(Finding {
        title: "a finding".to_owned(),
        weight: Weight::Note,
        evidence: words(),
        causes: words(),
        tell_apart: words(),
        check: words(),
    });
    let summary: Value = serde_json::from_str(&summary.to_json().expect("JSON")).expect("JSON");
    let schema = schema();
    assert_eq!(schema["properties"]["schema"]["const"], SCHEMA);
    let (mut written_keys, mut schema_keys) = (BTreeSet::new(), BTreeSet::new());
    written(&summary, "", &mut written_keys);
    described(&schema, &schema, "", &mut schema_keys);
    assert!(written_keys.len() > 60, "{written_keys:?}");
    assert_eq!(written_keys, schema_keys);
}
