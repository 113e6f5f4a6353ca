//! A small run, written in each format and read back by the libraries' own readers. `.ci/check_exports` reads real runs back by
//! foreign ones.

use std::fs;

use mdf4_rs::{DecodedValue, MDF};
use parquet::file::reader::{FileReader, SerializedFileReader};
use parquet::record::Field;
use serde_json::{Value, json};
use trimwright_export::{ExportedRun, Format};

const TRACE: &str = "time [s],lambda [1],phase\n0.1,,Priming\n0.2,1.0125,Running\n0.3,0.875,Priming\n";
const MAP: &str = "engine_speed [rpm],visited\n500.5,false\n700,true\n";

/// A directory as a drive leaves it, and the run in it.
fn run() -> (tempfile::TempDir, ExportedRun) {
    let home = tempfile::tempdir().expect("a place");
    let summary = json!({ "scenario": "short <&> sweet", "seed": 7, "scenario_hash": "00ff" }).to_string();
    for (name, text) in [("summary.json", summary.as_str()), ("trace.csv", TRACE), ("map.csv", MAP)] {
        fs::write(home.path().join(name), text).expect("written");
    }
    let run = ExportedRun::read(home.path()).expect("a run");
    (home, run)
}

fn names(files: &[(String, Vec<u8>)]) -> Vec<&str> {
    files.iter().map(|(name, _)| name.as_str()).collect()
}

#[test]
fn ident_csv_gives_the_same_rows_and_metadata_about_each_column() {
    let files = run().1.export(Format::Csv).expect("files");
    assert_eq!(names(&files), ["trace.csv", "trace.csv-metadata.json", "map.csv", "map.csv-metadata.json"]);
    let trace = String::from_utf8(files[0].1.clone()).expect("UTF-8");
    assert_eq!(trace, TRACE.replace(" [s]", "").replace(" [1]", ""));
    let about: Value = serde_json::from_slice(&files[1].1).expect("JSON");
    assert_eq!(about["url"], "trace.csv");
    let lambda = &about["tableSchema"]["columns"][1];
    assert_eq!((&lambda["name"], &lambda["schema:unitText"]), (&json!("lambda"), &json!("1")));
    assert!(lambda["dc:description"].as_str().is_some_and(|text| text.contains("last charge")));
}

#[test]
fn ident_parquet_reads_back_with_nulls_and_metadata() {
    let files = run().1.export(Format::Parquet).expect("files");
    assert_eq!(names(&files), ["trace.parquet", "map.parquet"]);
    let reader = SerializedFileReader::new(bytes::Bytes::from(files[0].1.clone())).expect("Parquet");
    let rows: Vec<Vec<Field>> = reader
        .get_row_iter(None)
        .expect("rows")
        .map(|row| row.expect("a row").get_column_iter().map(|(_, field)| field.clone()).collect())
        .collect();
    let word = |word: &str| Field::Str(word.to_owned());
    assert_eq!(rows[0], [Field::Double(0.1), Field::Null, word("Priming")]);
    assert_eq!(rows[1], [Field::Double(0.2), Field::Double(1.0125), word("Running")]);
    assert_eq!(rows.len(), 3);
    let about = reader.metadata().file_metadata().key_value_metadata().expect("metadata");
    let units = about.iter().find(|entry| entry.key == "units").and_then(|entry| entry.value.clone());
    let units: Value = serde_json::from_str(&units.expect("units")).expect("JSON");
    assert_eq!(units, json!({ "time": "s", "lambda": "1", "phase": "" }));
}

#[test]
fn ident_mdf4_reads_back_with_units_and_words() {
    let (home, run) = run();
    let files = run.export(Format::Mdf4).expect("files");
    assert_eq!(names(&files), ["run.mf4"]);
    let path = home.path().join("run.mf4");
    fs::write(&path, &files[0].1).expect("written");
    let mdf = MDF::from_file(path.to_str().expect("UTF-8")).expect("MDF 4");
    let groups = mdf.channel_groups();
    assert_eq!(groups.len(), 2);
    let channels = groups[0].channels();
    let about: Vec<(Option<String>, Option<String>)> = channels
        .iter()
        .map(|channel| (channel.name().expect("a name"), channel.unit().expect("a unit")))
        .collect();
    let some = |text: &str| Some(text.to_owned());
    assert_eq!(about, [(some("time"), some("s")), (some("lambda"), some("1")), (some("phase"), None)]);
    let values = |index: usize| channels[index].values().expect("values");
    assert_eq!(values(0), [0.1, 0.2, 0.3].map(|time_s| Some(DecodedValue::Float(time_s))));
    assert!(matches!(values(1)[0], Some(DecodedValue::Float(value)) if value.is_nan()));
    let words = ["Priming", "Running", "Priming"].map(|word| Some(DecodedValue::String(word.to_owned())));
    assert_eq!(values(2), words);
}

#[test]
fn ident_the_same_run_gives_the_same_bytes() {
    let (_home, run) = run();
    for format in [Format::Csv, Format::Parquet, Format::Mdf4] {
        assert_eq!(run.export(format), run.export(format));
    }
}

#[test]
fn a_directory_without_a_run_is_rejected() {
    let (home, _) = run();
    fs::write(home.path().join("summary.json"), "{}").expect("written");
    let error = ExportedRun::read(home.path()).expect_err("rejected").to_string();
    assert!(error.ends_with("summary.json, scenario: is missing or of another kind"), "{error}");
    let error = ExportedRun::read(&home.path().join("none")).expect_err("rejected").to_string();
    assert!(
        error.contains("can't be read") && error.contains("a directory that a drive has written"),
        "{error}"
    );
}
