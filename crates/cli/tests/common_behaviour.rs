//! Behaviour common to all commands: help with examples, pure JSON, no colours and no progress without a terminal, exit codes.

mod support;

use serde_json::Value;
use std::fs;
use std::io::Write;
use std::path::Path;
use std::process::{Command, Stdio};
use support::{assert_rejected, home, home_with_scenario, program, run, stderr, stdout};

/// Every command, as `trimwright --help` names them.
fn commands(home: &Path) -> Vec<String> {
    let help = stdout(&run(home, &["--help"]));
    let rows = help.lines().skip_while(|row| *row != "Commands:").skip(1).take_while(|row| !row.is_empty());
    let named = rows.filter(|row| row.starts_with("  ") && !row.starts_with("   "));
    named.filter_map(|row| row.split_whitespace().next()).map(str::to_owned).collect()
}

/// A command, arguments with which it runs, and JSON fields of its result; `None` for a command without JSON.
type Invocation = (&'static str, &'static [&'static str], Option<&'static [&'static str]>);

const INVOCATIONS: [Invocation; 12] = [
    ("drive", &["short.toml", "--passes", "1"], Some(&["/mixture/learned_map_rms", "/drive/stalls"])),
    (
        "compare",
        &["short.toml", "--passes", "1"],
        Some(&["/learners/0/summary/mixture", "/learners/2/learner"]),
    ),
    (
        "fleet",
        &["short.toml", "--engines", "2", "--passes", "1", "--force"],
        Some(&["/engines/1/distance_km", "/engines/0/dtcs", "/learners/0"]),
    ),
    ("stability", &[], Some(&["/limits/0/exact", "/limits/11/delay_s"])),
    ("size", &[], Some(&["/lines/0/formula", "/cautions/0"])),
    (
        "faults",
        &["--schedule", "trip.csv", "--only", "map_open", "--from", "30 s"],
        Some(&["/0/fault", "/1/fault"]),
    ),
    ("parameters", &[], Some(&["/0/stage", "/0/axis/unit", "/0/value/1/1"])),
    ("live", &[], None),
    ("list", &[], Some(&["/scenarios/0/title", "/schedules/0/duration_s"])),
    ("export", &["out/short", "--format", "csv"], Some(&["/files/0"])),
    ("completions", &["bash"], None),
    ("manual", &[], None),
];

#[test]
fn every_command_has_help_with_an_example_that_names_it() {
    let home = home();
    let commands = commands(home.path());
    let mut tested: Vec<String> = INVOCATIONS.iter().map(|(command, ..)| (*command).to_owned()).collect();
    tested.push("help".to_owned());
    let sorted = |mut names: Vec<String>| {
        names.sort();
        names
    };
    assert_eq!(sorted(commands), sorted(tested), "each command is tested here");
    for (command, ..) in INVOCATIONS {
        let output = run(home.path(), &[command, "--help"]);
        assert_eq!((output.status.code(), stderr(&output).as_str()), (Some(0), ""));
        let help = stdout(&output);
        let (_, examples) =
            help.split_once("Examples:\n").unwrap_or_else(|| panic!("{command}: no examples"));
        assert!(
            examples.contains(&format!("\n  trimwright {command}"))
                || examples.starts_with(&format!("  trimwright {command}")),
            "{help}"
        );
        assert!(help.lines().all(|row| row.chars().count() <= 110), "{command} has rows that are too long");
    }
}

#[test]
fn with_json_standard_output_is_json_and_standard_error_is_empty() {
    let home = home_with_scenario();
    for (command, arguments, fields) in INVOCATIONS {
        let Some(fields) = fields else { continue };
        let output = run(home.path(), &[&[command], arguments, &["--json"]].concat());
        assert_eq!((output.status.code(), stderr(&output).as_str()), (Some(0), ""), "{command}");
        let value: Value =
            serde_json::from_str(&stdout(&output)).unwrap_or_else(|error| panic!("{command}: {error}"));
        for field in fields {
            assert!(
                value.pointer(field).is_some_and(|value| !value.is_null()),
                "{command}: no {field} in {value:#}"
            );
        }
    }
    let kinds: Value =
        serde_json::from_str(&stdout(&run(home.path(), &["faults", "--list", "--json"]))).expect("JSON");
    assert!(kinds.as_array().is_some_and(|kinds| kinds.iter().any(|kind| kind["kind"] == "weak_pump")));
}

#[test]
fn text_has_no_colours_and_no_progress_without_a_terminal() {
    let home = home_with_scenario();
    for (command, arguments, fields) in INVOCATIONS {
        if fields.is_none() && command == "live" {
            continue;
        }
        for variable in [None, Some(("NO_COLOR", "1")), Some(("TERM", "xterm-256color"))] {
            let output = program(home.path(), &[&[command], arguments].concat())
                .envs(variable)
                .output()
                .expect("it starts");
            assert_eq!((output.status.code(), stderr(&output).as_str()), (Some(0), ""), "{command}");
            // Manual pages have no escape sequences either; completions may.
            assert!(!stdout(&output).contains('\u{1b}') || command == "completions", "{command}");
            assert!(!stdout(&output).is_empty(), "{command}");
        }
    }
    let wrong = run(home.path(), &["drive", "--passes", "zero"]);
    assert!(!stderr(&wrong).contains('\u{1b}') && stderr(&wrong).starts_with("trimwright: --passes, zero: "));
}

/// Every command, help and version end with code 1 and a message when standard output is closed or full; a closed pipe (as with
/// `head`) and quiet commands end with code 0.
#[test]
fn output_errors_are_reported() {
    let home = home_with_scenario();
    run(home.path(), &["drive", "short.toml", "--passes", "1", "--quiet"]);
    let closed = |arguments: &[&str]| {
        let program = ["-c", "exec \"$0\" \"$@\" >&-", env!("CARGO_BIN_EXE_trimwright")];
        Command::new("sh").args(program).args(arguments).current_dir(home.path()).output().expect("a shell")
    };
    let out_to = |out: Stdio, arguments: &[&str]| {
        program(home.path(), arguments).stdout(out).stderr(Stdio::piped()).output().expect("it starts")
    };
    let full = || Stdio::from(fs::OpenOptions::new().write(true).open("/dev/full").expect("Linux"));
    let works = INVOCATIONS.iter().filter(|(command, ..)| *command != "live");
    let works = works.map(|(command, arguments, _)| [&[*command], *arguments].concat());
    for arguments in works.chain([vec!["--help"], vec!["--version"], vec!["drive", "--help"]]) {
        for (output, why) in
            [(closed(&arguments), "it is closed"), (out_to(full(), &arguments), "No space left")]
        {
            assert_eq!(output.status.code(), Some(1), "{arguments:?}");
            let message = format!("trimwright: can't write to standard output: {why}");
            assert!(stderr(&output).starts_with(&message), "{arguments:?}: {}", stderr(&output));
        }
        let (reader, writer) = std::io::pipe().expect("a pipe");
        drop(reader);
        let gone = out_to(writer.into(), &arguments);
        assert_eq!((gone.status.code(), stderr(&gone).as_str()), (Some(0), ""), "{arguments:?}");
    }
    let quiet = closed(&["drive", "short.toml", "--passes", "1", "--quiet"]);
    assert_eq!((quiet.status.code(), stderr(&quiet).as_str()), (Some(0), ""));
    let discarded = fs::OpenOptions::new().read(true).write(true).open("/dev/null").expect("a place");
    assert_eq!(out_to(discarded.into(), &["list"]).status.code(), Some(0), "discarded on purpose");
}

#[test]
fn quiet_commands_print_nothing() {
    let home = home_with_scenario();
    for (command, arguments, _) in INVOCATIONS {
        let has_quiet = stdout(&run(home.path(), &[command, "--help"])).contains("--quiet");
        assert_eq!(
            has_quiet,
            ["drive", "compare", "fleet", "stability", "export"].contains(&command),
            "{command}"
        );
        if has_quiet {
            let output = run(home.path(), &[&[command], arguments, &["--quiet"]].concat());
            assert_eq!(
                (output.status.code(), stdout(&output).as_str(), stderr(&output).as_str()),
                (Some(0), "", ""),
                "{command}"
            );
            let both = run(home.path(), &[&[command], arguments, &["--quiet", "--json"]].concat());
            assert_eq!(both.status.code(), Some(2), "{command}: quiet and JSON exclude each other");
        }
    }
}

#[test]
fn a_sizing_shows_formula_limit_and_source() {
    let home = home();
    let output = run(home.path(), &["size", "pickup"]);
    assert_eq!(output.status.code(), Some(2));
    assert!(stderr(&output).contains("no scenario of this name") && stdout(&output).is_empty());
    let text = stdout(&run(home.path(), &["size"]));
    for words in [": sizing", "at most 80 %", "= ", "source: ", "Cautions", " g/s", " kPa"] {
        assert!(text.contains(words), "{words} in {text}");
    }
    let us = stdout(&run(home.path(), &["size", "--units", "us"]));
    assert!(us.contains(" lb/h") && us.contains(" psi") && !us.contains("kPa"), "{us}");
    let json = |units: &str| stdout(&run(home.path(), &["size", "--units", units, "--json"]));
    assert_eq!(json("si"), json("us"));
    let sizing: Value = serde_json::from_str(&json("us")).expect("JSON");
    let lines = sizing["lines"].as_array().expect("a list");
    let line = |what: &str| lines.iter().find(|line| line["what"] == what).expect("a line");
    assert_eq!(line("rail pressure")["unit"], "kPa");
    assert_eq!(line("clamps made for injection")["word"], "yes");
}

#[test]
fn parameters_are_listed_set_and_rejected() {
    let home = home_with_scenario();
    let own = format!("{}\n[calibration.feedback]\nhold = \"1 min\"\n", support::VAN);
    fs::write(home.path().join("own.toml"), own).expect("written");
    let text = stdout(&run(home.path(), &["parameters", "feedback", "--scenario", "own.toml"]));
    assert!(text.contains("[calibration.feedback]") && text.contains("\nhold = \"60 s\"\n"), "{text}");
    let us = stdout(&run(home.path(), &["parameters", "exhaust", "--units", "us"]));
    assert!(us.contains(" degF") && !us.contains(" degC"), "{us}");

    let listed = stdout(&run(home.path(), &["parameters", "--scenario", "own.toml", "--json"]));
    let listed: Value = serde_json::from_str(&listed).expect("JSON");
    let all = listed.as_array().expect("a list");
    let plain = ["stage", "name", "unit", "value", "default", "min", "max", "source", "about"];
    for one in all {
        let mut keys: Vec<&str> = one.as_object().expect("an object").keys().map(String::as_str).collect();
        keys.retain(|key| *key != "axis");
        keys.sort_by_key(|key| plain.iter().position(|known| known == key));
        assert_eq!(keys, plain);
    }
    let of = |stage: &str, name: &str| {
        all.iter().find(|one| one["stage"] == stage && one["name"] == name).expect("a parameter")
    };
    let hold = of("feedback", "hold_s");
    assert_eq!([&hold["value"], &hold["default"], &hold["max"]], [60.0, 10.0, 600.0]);
    assert_eq!((hold["unit"].as_str(), hold.get("axis")), (Some("s"), None));
    assert_eq!(of("sensors", "map_pa")["axis"]["max"], 5.0);
    let fine = stdout(&run(home.path(), &["parameters", "--fine", "--json"]));
    assert!(fine.contains("authority_ln") && !fine.contains("hold_s"), "{fine}");

    let unknown = run(home.path(), &["parameters", "feedbak"]);
    assert_eq!((unknown.status.code(), stdout(&unknown).as_str()), (Some(2), ""));
    assert!(
        stderr(&unknown)
            .starts_with("trimwright: feedbak: is no stage; did you mean feedback? There are sensors"),
        "{}",
        stderr(&unknown)
    );
    fs::write(home.path().join("bad.toml"), format!("{}\n[calibration.feedback]\nhold = 7\n", support::VAN))
        .expect("written");
    let line = support::VAN.lines().count() + 3;
    assert_rejected(
        home.path(),
        &["drive", "bad.toml"],
        &format!(
            "bad.toml, line {line}, calibration.feedback.hold = 7: needs a unit, one of s, ms, us, µs, min, h"
        ),
    );
    let target = ["drive", "own.toml", "--on-target", "nowhere"];
    let elsewhere = run(home.path(), &target);
    assert_eq!(elsewhere.status.code(), Some(2));
    assert!(stderr(&elsewhere).contains("own, calibration: the processor works from parameters of its own"));
}

#[test]
fn faults_are_listed_driven_and_rejected() {
    let home = home_with_scenario();
    let list = stdout(&run(home.path(), &["faults", "--list"]));
    assert!(list.contains("map_open") && list.contains("MAP sensor wire broken"), "{list}");
    let arguments = ["faults", "--schedule", "trip.csv", "--only", "map_open", "--from", "30 s"];
    let table = stdout(&run(home.path(), &arguments));
    for words in ["what the controller notices", "map_open", "P010", "danger", "Never try faults on a road"] {
        assert!(table.contains(words), "{words} in {table}");
    }
    assert_rejected(
        home.path(),
        &["faults", "--only", "gremlin"],
        "--only, gremlin: is no kind of fault; `trimwright faults --list` names them",
    );
    assert_rejected(
        home.path(),
        &["faults", "--only", "weekpump"],
        "--only, weekpump: is no kind of fault; did you mean weak_pump? `trimwright faults --list` names them",
    );
    assert_rejected(
        home.path(),
        &["faults", "tired-van", "--schedule", "trip.csv", "--from", "30 s"],
        "tired-van, fault.1.from = 300 s: must be before the end of the drive, which lasts 110 s",
    );
    assert_rejected(
        home.path(),
        &["faults", "--schedule", "trip.csv", "--from", "110 s"],
        "--from, 110 s: must be from 0 s to before the end of the drive, which lasts 110 s",
    );
    let from = run(home.path(), &["faults", "--from", "soon"]);
    assert_eq!((from.status.code(), stdout(&from).as_str()), (Some(2), ""));
    assert!(stderr(&from).starts_with("trimwright: --from, soon: must be a time"), "{}", stderr(&from));
}

#[test]
fn live_needs_a_terminal() {
    let home = home();
    assert_rejected(
        home.path(),
        &["live"],
        "standard output: live needs a terminal to draw on and to read keys from; `trimwright drive` works without one",
    );
    let scenario = run(home.path(), &["live", "moon"]);
    assert_eq!(scenario.status.code(), Some(2));
    assert_eq!(run(home.path(), &["live", "--times", "3"]).status.code(), Some(2));
    fs::write(home.path().join("file"), "").expect("written");
    let place = run(home.path(), &["live", "--out", "file"]);
    assert_eq!((place.status.code(), stdout(&place).as_str()), (Some(2), ""));
    assert!(stderr(&place).starts_with("trimwright: file: can't write results there"), "{}", stderr(&place));
}

#[test]
fn live_prints_a_summary_and_writes_the_map() {
    let home = home_with_scenario();
    let session = format!("stty rows 24 cols 80; '{}' live --out out/hand", env!("CARGO_BIN_EXE_trimwright"));
    // `script` of util-linux runs it in a pseudo-terminal and prints that terminal's output.
    let mut script = Command::new("script")
        .args(["-qec", &session, "/dev/null"])
        .current_dir(home.path())
        .stdin(Stdio::piped())
        .stdout(Stdio::piped())
        .spawn()
        .expect("util-linux");
    script.stdin.take().expect("a pipe").write_all(b"q").expect("it reads");
    let output = script.wait_with_output().expect("it ends");
    let shown = stdout(&output);
    let (_, summary) = shown.split_once("\u{1b}[?1049l").expect("it has left its screen");
    let lines: Vec<&str> = summary.lines().collect();
    assert!(
        output.status.success()
            && lines.len() == 2
            && lines[0].starts_with("Driven for 0:0")
            && lines[0].ends_with(" min: 0 lessons, 0 cells visited, 0 known to 1 %.")
            && lines[1] == "Codes: none.",
        "{summary:?}"
    );
    run(home.path(), &["drive", "short.toml", "--passes", "1", "--out", "out/drive"]);
    let [hand, drive] = ["hand", "drive"]
        .map(|name| fs::read_to_string(home.path().join("out").join(name).join("map.csv")).expect("a map"));
    let columns = |map: &str| map.lines().next().map(str::to_owned);
    assert_eq!((columns(&hand), hand.lines().count()), (columns(&drive), drive.lines().count()));
    assert!(hand.lines().skip(1).all(|row| row.ends_with(",0.00000,,0.12000,0.00,false")), "{hand}");
}

#[test]
fn invalid_arguments_end_with_code_2_on_every_command() {
    let home = home();
    for (command, ..) in INVOCATIONS {
        let output = run(home.path(), &[command, "--no-such-option"]);
        assert_eq!((output.status.code(), stdout(&output).as_str()), (Some(2), ""), "{command}");
        assert!(stderr(&output).contains("--no-such-option"), "{command}: {}", stderr(&output));
    }
    for command in ["drive", "compare", "fleet", "size", "faults"] {
        let output = run(home.path(), &[command, "nowhere.toml"]);
        assert_eq!((output.status.code(), stdout(&output).as_str()), (Some(2), ""), "{command}");
        assert!(
            stderr(&output).starts_with("trimwright: nowhere.toml: can't be read"),
            "{}",
            stderr(&output)
        );
    }
    let nothing = run(home.path(), &["export", "nowhere", "--format", "csv"]);
    assert_eq!(nothing.status.code(), Some(2), "{}", stderr(&nothing));
    assert_eq!(run(home.path(), &["manual", "nothing"]).status.code(), Some(2));
}
