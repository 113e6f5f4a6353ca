//! The commands with many runs, from the user's side.

mod support;

use std::fs;
use support::{files, home_with_scenario as home, run, stderr, stdout};

#[test]
fn a_resumed_fleet_has_the_same_files() {
    let home = home();
    let fleet = |engines: &str, more: &[&str]| {
        let arguments = ["fleet", "--engines", engines, "--schedule", "trip.csv", "--passes", "1"];
        let output = run(home.path(), &[&arguments, more].concat());
        assert_eq!(output.status.code(), Some(0), "{}", stderr(&output));
        stdout(&output)
    };
    let text = fleet("3", &["--jobs", "1", "--out", "whole"]);
    for words in [
        "3 engines based on delivery-van, learner kalman, seed 1",
        "Schedule                  trip, driven once while learning",
        "median",
        "Learned map [%]",
        "Learner / offline fit",
        "Counts over all engines",
        "Engines not driven",
    ] {
        assert!(text.contains(words), "{words} in {text}");
    }
    assert_eq!(fleet("2", &["--jobs", "2", "--out", "grown", "--quiet"]), "");
    fleet("3", &["--out", "grown", "--resume"]);
    let read =
        |directory: &str, name: &str| fs::read(home.path().join(directory).join(name)).expect("a file");
    for name in ["fleet.csv", "fleet.parquet", "report.html"] {
        assert_eq!(read("whole", name), read("grown", name), "{name}");
    }
    assert_eq!(&read("whole", "fleet.parquet")[..4], b"PAR1");
    assert_eq!(String::from_utf8(read("whole", "fleet.csv")).expect("UTF-8").lines().count(), 4);
}

#[test]
fn an_existing_fleet_is_overwritten_only_with_force() {
    let home = home();
    let fleet = |engines: &str, more: &[&str]| {
        let arguments =
            ["fleet", "--schedule", "trip.csv", "--passes", "1", "--out", "f", "--engines", engines];
        run(home.path(), &[&arguments, more].concat())
    };
    let read = || {
        files(home.path())
            .iter()
            .map(|name| fs::read(home.path().join(name)).expect("a file"))
            .collect::<Vec<_>>()
    };
    assert_eq!(fleet("2", &["--quiet"]).status.code(), Some(0));
    let two = read();
    let rejected = fleet("1", &[]);
    assert_eq!((rejected.status.code(), stdout(&rejected).as_str()), (Some(2), ""));
    assert_eq!(
        stderr(&rejected),
        "trimwright: f/fleet.jsonl: a fleet exists already; --resume continues it, --force overwrites it\n"
    );
    assert_eq!(read(), two, "nothing is written");
    assert_eq!(fleet("1", &["--resume", "--force"]).status.code(), Some(2));
    assert_eq!(fleet("1", &["--force"]).status.code(), Some(0));
    let rows = fs::read_to_string(home.path().join("f/fleet.csv")).expect("a file");
    assert_eq!(rows.lines().count(), 1 + 1, "a head and one engine");
}

#[test]
fn resuming_nothing_or_another_fleet_is_rejected() {
    let home = home();
    let short = ["fleet", "--engines", "1", "--schedule", "trip.csv", "--passes", "1", "--out", "f"];
    let assert_message = |more: &[&str], words: &str| {
        let output = run(home.path(), &[&short, more].concat());
        assert_eq!(output.status.code(), Some(2));
        assert!(stderr(&output).contains(words), "{}", stderr(&output));
    };
    assert_message(&["--resume"], "fleet.jsonl");
    assert_eq!(run(home.path(), &short).status.code(), Some(0));
    assert_message(&["--resume", "--seed", "2"], "it was started with another seed");
    assert_message(&["--resume", "--learner", "integral"], "it was started with another learner");
    assert_message(
        &["--learner", "oracle"],
        "--learner, oracle: must be one of integral, gradient, kalman, all",
    );
}

#[test]
fn learners_of_a_fleet_do_not_affect_each_other() {
    let home = home();
    let fleet = |learner: &str, out: &str, more: &[&str]| {
        let arguments = ["fleet", "--engines", "2", "--schedule", "trip.csv", "--passes", "1"];
        let output = run(home.path(), &[&arguments, more, &["--learner", learner, "--out", out]].concat());
        assert_eq!(output.status.code(), Some(0), "{}", stderr(&output));
        let csv = fs::read_to_string(home.path().join(out).join("fleet.csv")).expect("a file");
        (stdout(&output), csv)
    };
    let (text, all) = fleet("all", "all", &[]);
    for words in [
        "2 engines based on delivery-van, learners integral, gradient, kalman, seed 1",
        "median",
        "Cells saturated",
    ] {
        assert!(text.contains(words), "{words} in {text}");
    }
    assert_eq!(all.lines().count(), 1 + 2 * 3);
    let mut alone: Vec<String> = Vec::new();
    for learner in ["integral", "gradient", "kalman"] {
        let (_, csv) = fleet(learner, learner, &["--quiet"]);
        alone.extend(csv.lines().skip(1).map(str::to_owned));
    }
    let mut rows: Vec<&str> = all.lines().skip(1).collect();
    rows.sort_unstable();
    alone.sort_unstable();
    assert_eq!(rows, alone, "the result does not depend on the other learners");
    let (_, two) = fleet("kalman,integral", "two", &["--quiet"]);
    let learners: Vec<&str> = two.lines().skip(1).filter_map(|row| row.split(',').nth(1)).collect();
    assert_eq!(learners, ["integral", "kalman", "integral", "kalman"]);
    let page = fs::read_to_string(home.path().join("all/report.html")).expect("a page");
    assert!(page.contains("Comparison of the learners") && page.contains("\"kind\":\"lines\""));
}

#[test]
fn learners_are_compared() {
    let home = home();
    let output = run(home.path(), &["compare", "--schedule", "trip.csv", "--passes", "1", "--out", "c"]);
    assert_eq!(output.status.code(), Some(0), "{}", stderr(&output));
    for words in [
        "integral",
        "gradient",
        "kalman",
        "Error in visited cells",
        "Offline fit",
        "Cells known to 1 %",
        "compare.csv",
    ] {
        assert!(stdout(&output).contains(words), "{words}");
    }
    assert!(stdout(&output).contains("Schedule                trip, driven once while learning"));
    let page = fs::read_to_string(home.path().join("c/report.html")).expect("a page");
    assert!(page.contains("Schedule trip, driven once while learning."));
    assert!(page.contains("Comparison of the learners") && page.contains("\"kind\":\"lines\""));
}
