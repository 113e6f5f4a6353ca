use super::*;
use crate::block_reader;
use crate::document::Document;
use crate::shipped::{ENGINES, SCENARIOS, Shipped};
use regex::Regex;
use serde_json::{Value as Json, json};
use std::path::Path;
use toml_edit::{Item, TableLike, Value as Toml};

fn shared() -> std::path::PathBuf {
    Path::new(env!("CARGO_MANIFEST_DIR")).join("shared")
}

fn schema(name: &str) -> Json {
    let files = files();
    let (_, text) = files.iter().find(|(path, _)| path.ends_with(name)).expect("a file");
    serde_json::from_str(text).expect("JSON")
}

/// A document as JSON.
fn json_of(table: &dyn TableLike) -> Json {
    let value = |item: &Item| match item {
        Item::Value(value) => json_value(value),
        Item::ArrayOfTables(tables) => tables.iter().map(|table| json_of(table)).collect(),
        item => item.as_table_like().map_or(Json::Null, json_of),
    };
    table.iter().map(|(name, item)| (name.to_owned(), value(item))).collect::<serde_json::Map<_, _>>().into()
}

fn json_value(value: &Toml) -> Json {
    match value {
        Toml::String(text) => json!(text.value()),
        Toml::Integer(number) => json!(number.value()),
        Toml::Float(number) => json!(number.value()),
        Toml::Boolean(flag) => json!(flag.value()),
        Toml::Array(items) => items.iter().map(json_value).collect(),
        Toml::InlineTable(table) => json_of(table),
        Toml::Datetime(_) => Json::Null,
    }
}

fn parsed(text: &str) -> Json {
    json_of(toml_edit::Document::parse(text.to_owned()).expect("TOML").as_table())
}

/// First violation of a schema, for the keywords in use; others are an error.
fn problem(value: &Json, schema: &Json, root: &Json, path: &str) -> Option<String> {
    let inner =
        |value: &Json, schema: &Json, name: &str| problem(value, schema, root, &format!("{path}/{name}"));
    let length = |value: &Json| value.as_array().map(Vec::len).unwrap_or_default() as u64;
    let keeps = |keyword: &str, wanted: &Json| match keyword {
        "$schema" | "$defs" | "title" | "description" | "examples" => None,
        "$ref" => {
            let pointer = wanted.as_str().expect("a text").trim_start_matches('#');
            problem(value, root.pointer(pointer).expect("a definition"), root, path)
        }
        "type" => {
            let is = |wanted: &Json| match wanted.as_str().expect("a text") {
                "object" => value.is_object(),
                "array" => value.is_array(),
                "string" => value.is_string(),
                "boolean" => value.is_boolean(),
                "integer" => value.is_i64() || value.is_u64(),
                "number" => value.is_number(),
                other => panic!("type {other}"),
            };
            let fits = wanted.as_array().map_or_else(|| is(wanted), |any| any.iter().any(is));
            (!fits).then(|| format!("{path} is {value}, no {wanted}"))
        }
        "enum" => (!wanted.as_array().expect("a list").contains(value)).then(|| format!("{path}: {value}")),
        "pattern" => {
            let text = value.as_str()?;
            let fits = Regex::new(wanted.as_str().expect("a text")).expect("a pattern").is_match(text);
            (!fits).then(|| format!("{path}: {text}"))
        }
        "minimum" => (value.as_f64()? < wanted.as_f64()?).then(|| format!("{path}: {value}")),
        "maximum" => (value.as_f64()? > wanted.as_f64()?).then(|| format!("{path}: {value}")),
        "minItems" => (length(value) < wanted.as_u64()?).then(|| format!("{path} is too short")),
        "maxItems" => (length(value) > wanted.as_u64()?).then(|| format!("{path} is too long")),
        "items" => value.as_array()?.iter().find_map(|item| inner(item, wanted, "item")),
        "prefixItems" => {
            let mut pairs = value.as_array()?.iter().zip(wanted.as_array()?);
            pairs.find_map(|(item, wanted)| inner(item, wanted, "item"))
        }
        "anyOf" => {
            let any = wanted.as_array().expect("a list");
            let all: Option<Vec<String>> = any.iter().map(|one| problem(value, one, root, path)).collect();
            all.map(|all| all.join("; "))
        }
        "required" => {
            let mut names = wanted.as_array()?.iter().filter_map(Json::as_str);
            names.find(|name| value.get(name).is_none()).map(|name| format!("{path} has no {name}"))
        }
        "properties" => {
            value.as_object()?.iter().find_map(|(name, value)| inner(value, wanted.get(name)?, name))
        }
        "additionalProperties" => {
            assert_eq!(wanted, false, "{path}");
            let known = schema["properties"].as_object().expect("an object");
            let mut names = value.as_object()?.keys();
            names.find(|name| !known.contains_key(*name)).map(|name| format!("{path}/{name} is no key"))
        }
        other => panic!("{other} is not known here"),
    };
    schema.as_object().expect("a schema").iter().find_map(|(keyword, wanted)| keeps(keyword, wanted))
}

fn rejected(text: &str, schema: &Json) -> Option<String> {
    problem(&parsed(text), schema, schema, "")
}

#[test]
fn committed_page_and_schemas_are_what_the_code_makes() {
    for (path, text) in files() {
        let committed = std::fs::read_to_string(shared().join(path)).unwrap_or_default();
        assert!(
            committed == text,
            "shared/{path} is not up to date: cargo run -p trimwright-harness --example keys"
        );
    }
}

#[test]
fn every_shipped_file_keeps_to_its_schema() {
    let keeps = |all: &[Shipped], name: &str| {
        let schema = schema(name);
        for shipped in all {
            assert_eq!(rejected(shipped.text, &schema), None, "{}", shipped.name);
        }
    };
    keeps(SCENARIOS, "scenario.schema.json");
    keeps(ENGINES, "engine.schema.json");
}

#[test]
fn schemas_reject_what_the_reader_rejects() {
    let (scenario, engine) = (schema("scenario.schema.json"), schema("engine.schema.json"));
    let (van, van_v8) = (SCENARIOS[0].text, ENGINES[0].text);
    assert_eq!(rejected(van, &scenario), None);
    for (text, problem) in [
        (van.replace("idle_speed", "idle_sped"), "/setup/idle_sped is no key"),
        (van.replace("cylinders = 8", ""), "/setup has no cylinders"),
        (van.replace("cylinders = 8", "cylinders = 12"), "/setup/cylinders: 12"),
        (van.replace("cylinders = 8", "cylinders = 8.5"), "/setup/cylinders: 8.5"),
        (van.replace("318 cu in", "318 psi"), "/setup/displacement: 318 psi"),
        (van.replace("\"318 cu in\"", "318"), "/setup/displacement is 318, no \"string\""),
        (van.replace("compression_ratio = 8.8", "compression_ratio = 88"), "/setup/compression_ratio: 88"),
        (format!("{van}\n[calibration.feedback]\nhodl = \"1 s\"\n"), "/calibration/feedback/hodl is no key"),
        (
            format!("{van}\n[calibration.sensors]\ntp = [[\"1 V\", 0]]\n"),
            "/calibration/sensors/tp is too short",
        ),
        (
            format!("{van}\n[calibration.sensors]\ntp = [[1, 0], [\"2 V\", 1]]\n"),
            "/tp/item/item is 1, no \"string\"",
        ),
        (format!("{van}\n[truth.vehicle]\nmas = \"1 t\"\n"), "/truth/vehicle/mas is no key"),
        (format!("{van}\n[[fault]]\nkind = \"weekpump\"\n"), "/fault/item/kind: \"weekpump\""),
        (format!("{van}\n[[fault]]\nfrom = \"1 s\"\n"), "/fault/item has no kind"),
    ] {
        let message = rejected(&text, &scenario).unwrap_or_default();
        assert!(message.contains(problem), "{problem}, not {message}");
    }
    let good = format!(
        "{van}\n[calibration.base_map.factor]\ncolumns = [\"1000 RPM\", \"6000 rpm\"]\nrows = [\"40 kPa\", \"14.7 PSI.\"]\n\
         values = [[1, 0.9], [\"110 %\", 1]]\n[calibration.feedback]\nauthority_ln = 0.1\n"
    );
    assert_eq!(rejected(&good, &scenario), None);
    let four =
        van_v8.replace("[2.45, 1.45, 1.0]", "[3.5, 2, 1.4, 1]").replace("[\"10 mph\", \"20 mph\", ", "[");
    assert!(four != van_v8.replace("[2.45, 1.45, 1.0]", "[3.5, 2, 1.4, 1]"));
    assert_eq!(rejected(&four, &engine), None);
    for (text, problem) in [
        (van_v8.replace("count = 4", "count = 9"), "/injectors/count: 9"),
        (van_v8.replace("cylinders = 8", ""), "/engine has no cylinders"),
        (van_v8.replace("\"converter\"", "\"convertor\""), "/gearbox/coupling: \"convertor\""),
    ] {
        let message = rejected(&text, &engine).unwrap_or_default();
        assert!(message.contains(problem), "{problem}, not {message}");
    }
    let wrong = rejected(&van_v8.replace("[vehicle]\nmass", "[vehicle]\nmas"), &engine).unwrap_or_default();
    assert!(wrong.contains("/vehicle/mas is no key"), "{wrong}");
}

/// A schema accepts a quantity exactly when the reader does, in every spelling of each unit.
#[test]
fn patterns_of_units_take_what_is_read() {
    let schema = schema("engine.schema.json");
    for kind in Kind::ALL {
        let pattern = schema["$defs"][format!("{kind:?}")]["pattern"].as_str().expect("a pattern");
        let pattern = Regex::new(pattern).expect("a pattern");
        for (spelling, _) in kind.spellings() {
            for unit in [
                (*spelling).to_owned(),
                spelling.to_uppercase(),
                spelling.replace(' ', ". "),
                format!("{spelling}."),
            ] {
                for number in ["12", "-.5", "3.", "4e3"] {
                    let text = format!("{number} {unit}");
                    assert_eq!(
                        pattern.is_match(&text),
                        crate::units::parse(kind, &text).is_ok(),
                        "{kind:?}: {text}"
                    );
                }
            }
        }
        assert!(!pattern.is_match("12 parsec") && !pattern.is_match("many"), "{kind:?}");
    }
}

/// Printed values of a block read back as the same.
#[test]
fn values_are_read_back_as_they_were() {
    let default = Parameters::DEFAULT;
    for system in [UnitSystem::Si, UnitSystem::Us] {
        for (place, block) in default.blocks().into_iter().enumerate() {
            let mut text = format!("[calibration.{}]\n", block.stage());
            for key in of_block(block, "calibration", &[], system) {
                let (_, name) = key.path.rsplit_once('.').expect("a section");
                for line in &key.lines {
                    let part = if line.part.is_empty() { String::new() } else { format!(".{}", line.part) };
                    text.push_str(&format!("{name}{part} = {}\n", line.text()));
                }
            }
            let document = Document::parse("printed.toml", &text).expect("TOML");
            let mut read = Parameters::DEFAULT;
            for block in read.blocks_mut() {
                block_reader::read(&document, "calibration", block, &[])
                    .unwrap_or_else(|error| panic!("{error}\n{text}"));
            }
            assert_eq!(document.finish(&[]), Ok(()));
            assert_eq!(read, default, "{place} {text}");
        }
    }
}

#[test]
fn every_key_has_a_description() {
    for key in scenario().iter().chain(&engine()) {
        assert!(key.about.ends_with('.') && key.about.len() >= 9, "{}: {}", key.path, key.about);
    }
}

/// Every key that the reader of engine files asks for is listed, with its range.
#[test]
fn keys_of_an_engine_are_those_that_are_read() {
    let document = Document::parse("empty.toml", "title = \"none\"\n").expect("TOML");
    crate::scenario_engine::read(&document, "", &mut Truth::mild_v8()).expect("nothing to read");
    let keys = engine();
    let listed = |path: &str| keys.iter().any(|key| key.path == path);
    for block in Truth::mild_v8().blocks() {
        for info in block.info().iter().filter(|info| info.path != "gearbox.gears") {
            let (key, _) = document.key_of(info.path).expect("it is read");
            assert!(listed(&key), "{key}");
        }
    }
    let ratios = keys.iter().find(|key| key.path == "gearbox.ratios").expect("a key");
    assert_eq!(
        (ratios.value().as_str(), ratios.allowed(UnitSystem::Si).as_str()),
        ("[2.45, 1.45, 1]", "a list of 1 to 6, each 0.4 to 8")
    );
}
