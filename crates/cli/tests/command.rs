//! The program from the user's side: exit codes, messages and files.

mod support;

use std::fs;
use support::{VAN, assert_rejected, files, home, run, short_scenario, stderr, stdout};

#[test]
fn a_drive_writes_its_results_and_prints_less_than_a_screen() {
    let home = home();
    short_scenario(home.path());
    let output = run(home.path(), &["drive", "short.toml"]);
    assert_eq!((output.status.code(), stderr(&output).as_str()), (Some(0), ""));
    let table = stdout(&output);
    assert!(table.lines().count() <= 24, "{table}");
    assert!(table.contains("short, driven 2 times") && table.contains("out/short"), "{table}");
    let results =
        ["map.csv", "report.html", "summary.json", "trace.csv"].map(|name| format!("out/short/{name}"));
    assert_eq!(
        files(home.path()),
        [&results[..], &["short.csv".to_owned(), "short.toml".to_owned()]].concat()
    );
    let map = fs::read_to_string(home.path().join("out/short/map.csv")).expect("text");
    assert_eq!(map.lines().count(), 1 + 14 * 12);
    let page = fs::read_to_string(home.path().join("out/short/report.html")).expect("text");
    assert!(page.contains("Delivery van"));
}

#[test]
fn a_note_says_that_answers_do_not_change_the_engine() {
    let home = home();
    short_scenario(home.path());
    let own = fs::read_to_string(home.path().join("short.toml")).expect("text");
    fs::write(home.path().join("own.toml"), own.replace("318 cu in", "402 cu in")).expect("written");
    let output = run(home.path(), &["drive", "own.toml", "--units", "us"]);
    assert_eq!(output.status.code(), Some(0));
    let note = "trimwright: note: [setup] says 6.6 L, 8 cylinders, but the engine that was driven has 5.2 L";
    assert!(stderr(&output).starts_with(note), "{}", stderr(&output));
    let page = fs::read_to_string(home.path().join("out/own/report.html")).expect("text");
    assert!(page.contains("<dt>Engine, simulated</dt><dd>5.2 L, 8 cylinders; differs from the answers</dd>"));
    assert!(page.contains("\"units\":\"us\""));
    assert_eq!(stderr(&run(home.path(), &["drive", "own.toml", "--quiet"])), "");
}

#[test]
fn the_same_seed_gives_the_same_bytes() {
    let home = home();
    short_scenario(home.path());
    let read = |out: &str, name: &str| fs::read_to_string(home.path().join(out).join(name)).expect("text");
    let summary = |out: &str| {
        let mut summary: serde_json::Value = serde_json::from_str(&read(out, "summary.json")).expect("JSON");
        assert!(summary["cost"]["wall_s"].is_number());
        summary.as_object_mut().expect("an object").remove("cost");
        summary
    };
    for (out, seed) in [("a", "7"), ("b", "7"), ("c", "8")] {
        let output = run(home.path(), &["drive", "short.toml", "--seed", seed, "--out", out, "--quiet"]);
        assert_eq!((output.status.code(), stdout(&output).as_str()), (Some(0), ""), "{}", stderr(&output));
    }
    assert_eq!(summary("a"), summary("b"));
    assert_eq!(read("a", "trace.csv"), read("b", "trace.csv"));
    assert_eq!(read("a", "map.csv"), read("b", "map.csv"));
    assert_ne!(read("a", "trace.csv"), read("c", "trace.csv"));
    assert_eq!(summary("c")["seed"], 8);
}

#[test]
fn options_override_the_scenario_and_json_is_the_summary() {
    let home = home();
    short_scenario(home.path());
    fs::write(home.path().join("trip.csv"), "time (min),speed (mph)\n0,0\n0.5,0\n1,20\n2,0\n")
        .expect("written");
    let arguments =
        ["drive", "short.toml", "--schedule", "trip.csv", "--passes", "1", "--json", "--out", "x"];
    let output = run(home.path(), &arguments);
    assert_eq!(output.status.code(), Some(0), "{}", stderr(&output));
    let summary: serde_json::Value = serde_json::from_str(&stdout(&output)).expect("JSON");
    assert_eq!(summary["scenario"], "short");
    // One pass, and one each before and after with the map frozen.
    assert_eq!(summary["cost"]["simulated_s"], 3.0 * 120.0);
    assert_eq!(summary["drive"]["pass_distance_km"].as_array().expect("a list").len(), 1);
    assert_eq!(stdout(&output), fs::read_to_string(home.path().join("x/summary.json")).expect("text"));
}

#[test]
fn help_and_list_are_complete() {
    let home = home();
    for (arguments, words) in [
        (&["list"][..], &["delivery-van", "van-v8", "udds", "hwfet", "11.99 km"][..]),
        (&["--help"], &["trimwright drive", "Examples", "report.html", "does not show that a real"]),
        (&["drive", "--help"], &["--passes", "--seed", "--schedule", "--out", "Exit code"]),
    ] {
        let output = run(home.path(), arguments);
        assert_eq!(output.status.code(), Some(0));
        let text = stdout(&output).split_whitespace().collect::<Vec<_>>().join(" ");
        for word in words {
            assert!(text.contains(word), "{arguments:?} lacks {word}:\n{}", stdout(&output));
        }
    }
    assert!(files(home.path()).is_empty());
}

#[test]
fn invalid_arguments_are_bad_input() {
    let home = home();
    for (arguments, message) in [
        (&["drive", "--passes", "0"][..], "--passes, 0: must be a whole number between 1 and 100"),
        (&["--seed", "-1"], "--seed, -1: must be a whole number between 0 and 18446744073709551615"),
        (&["--pases", "3"], "--pases: is no option here; --help lists the options; did you mean --passes?"),
        (&["drive", "a", "b"], "b: is an unexpected argument"),
    ] {
        assert_rejected(home.path(), arguments, message);
    }
}

#[test]
fn missing_files_are_bad_input() {
    let home = home();
    let shipped: Vec<&str> =
        trimwright_harness::shipped::SCENARIOS.iter().map(|scenario| scenario.name).collect();
    assert!(shipped.contains(&"delivery-van"));
    let names = shipped.join(", ");
    assert_rejected(
        home.path(),
        &["drive", "moon"],
        &format!(
            "moon: no scenario of this name comes with the program (there are {names}), and there is no such file"
        ),
    );
    assert_rejected(
        home.path(),
        &["drive", "moon.toml"],
        "moon.toml: can't be read: No such file or directory (os error 2)",
    );
    assert_rejected(
        home.path(),
        &["--schedule", "m.csv"],
        "m.csv: can't be read: No such file or directory (os error 2)",
    );
}

#[test]
fn an_error_in_a_scenario_is_reported_with_file_line_and_key() {
    let home = home();
    let line = |needle: &str| 1 + VAN.lines().position(|line| line.contains(needle)).expect("there");
    for (from, to, message) in [
        (
            "cylinders = 8",
            "cylinders = 80",
            format!(
                "bad.toml, line {}, setup.cylinders = 80: must be a whole number between 1 and 8",
                line("cylinders = 8")
            ),
        ),
        (
            "rail_pressure = \"43.5 psi\"",
            "rail_pressure = \"43.5 degF\"",
            format!(
                "bad.toml, line {}, setup.rail_pressure = \"43.5 degF\": is not a pressure, which is written in one of the units \
                 kPa, Pa, hPa, MPa, bar, mbar, psi, inHg",
                line("rail_pressure = ")
            ),
        ),
        (
            "passes = 2",
            "laps = 2",
            format!("bad.toml, line {}, laps: is not a known key", line("passes = 2")),
        ),
    ] {
        fs::write(home.path().join("bad.toml"), VAN.replace(from, to)).expect("written");
        assert_rejected(home.path(), &["drive", "bad.toml"], &message);
    }
    fs::write(home.path().join("bad.toml"), b"title = \"\xff\"").expect("written");
    assert_rejected(home.path(), &["drive", "bad.toml"], "bad.toml, line 1: is not UTF-8 text");
}

#[test]
fn an_error_in_a_schedule_is_reported_with_file_line_and_column() {
    let home = home();
    for (rows, message) in [
        ("", "x.csv: a schedule needs at least two rows of time and speed"),
        ("0,0\n1,nan\n", "x.csv, line 3, speed = nan: must be a number"),
        ("0,0\n1,-1\n", "x.csv, line 3, speed = -1: must not be negative"),
        (
            "0,5\n10,5\n",
            "x.csv, speed = 5 m/s: must be 0 in the first row: the car stands there, and its engine is still to be started",
        ),
        ("0,0\n2,1\n1,1\n", "x.csv, line 4, time = 1: must be later than the time of the row before"),
    ] {
        fs::write(home.path().join("x.csv"), format!("time [s],speed [m/s]\n{rows}")).expect("written");
        assert_rejected(home.path(), &["drive", "--schedule", "x.csv"], message);
    }
    fs::write(home.path().join("x.csv"), "time [h],speed [m/s]\n0,0\n24,0\n").expect("written");
    assert_rejected(
        home.path(),
        &["--schedule", "x.csv", "--passes", "3"],
        "delivery-van, passes = 3: is too many; x fits 2 times into the 48 h that a run may last",
    );
}

#[test]
fn an_unwritable_directory_is_found_before_the_drive() {
    let home = home();
    fs::write(home.path().join("file"), "mine").expect("written");
    for (out, why) in
        [("file", "Not a directory (os error 20)"), ("file/below", "Not a directory (os error 20)")]
    {
        assert_rejected(home.path(), &["--out", out], &format!("{out}: can't write results there: {why}"));
    }
}
