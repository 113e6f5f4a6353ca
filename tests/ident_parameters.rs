//! Every parameter of controller, answers and plant has source, description, unit, and a range that contains the default.
#![expect(clippy::print_stdout, reason = "how many have which source is worth seeing")]

use std::collections::BTreeMap;

use trimwright_control::{Parameters, SetupAnswers};
use trimwright_numerics::Real;
use trimwright_numerics::parameters::{Block, ParameterInfo, Shape};
use trimwright_plant::Truth;

/// Allowed sources besides a citation.
const JUDGEMENT: &str = "engineering judgement";
const PRACTICE: &str = "common practice, no source";

/// Kind of a source; `None` if it is not valid.
fn kind(source: &str) -> Option<&'static str> {
    // A citation names author or publication, or is a law of physics or geometry.
    let cited = [
        "SAE ",
        "ISO ",
        "IEEE ",
        "p. ",
        "(19",
        "(20",
        "geometry",
        "balance",
        "Heywood",
        "Guzzella",
        "from memory",
    ];
    let cited = cited.iter().any(|word| source.contains(word));
    match source {
        _ if source.starts_with(JUDGEMENT) => Some(JUDGEMENT),
        _ if source.starts_with(PRACTICE) => Some(PRACTICE),
        _ if cited => Some("a citation"),
        _ => None,
    }
}

/// Number of parameters by kind of source.
type Counts = BTreeMap<&'static str, u32>;

/// Counts the sources of a block and collects incomplete parameters.
fn check<T: Real + 'static>(
    block: &dyn Block<T>,
    counts: &mut BTreeMap<&'static str, u32>,
    wrong: &mut Vec<String>,
) {
    if block.check().is_err() {
        wrong.push(format!("{}: a default is out of its range", block.stage()));
    }
    for info in block.info() {
        let ParameterInfo { path, name, about, range, .. } = *info;
        match kind(info.source) {
            Some(kind) => *counts.entry(kind).or_default() += 1,
            None => wrong.push(format!("{path}: {:?} is no source", info.source)),
        }
        let chosen = matches!(info.shape, Shape::Flag | Shape::Choice(_));
        let sentence = about.starts_with(|letter: char| letter.is_uppercase()) && about.ends_with('.');
        for (holds, what) in [
            (path == format!("{}.{name}", block.stage()), "its path is not its stage's"),
            (sentence, "what it is about is no sentence"),
            (range.min < range.max, "its range is empty"),
            (chosen || !range.unit.is_empty(), "it has no unit"),
        ] {
            if !holds {
                wrong.push(format!("{path}: {what}"));
            }
        }
    }
}

#[test]
fn ident_every_parameter_has_a_source_a_description_and_its_default_in_range() {
    let mut wrong = Vec::new();
    let mut record = |who: &str, collect: &dyn Fn(&mut Counts, &mut Vec<String>)| {
        let mut counts = Counts::new();
        collect(&mut counts, &mut wrong);
        println!("{who}: {} parameters, {counts:?}", counts.values().sum::<u32>());
        counts.values().sum::<u32>()
    };
    let parameters = Parameters::DEFAULT;
    let control = record("controller", &|counts, wrong| {
        parameters.blocks().into_iter().for_each(|block| check(block, counts, wrong));
    });
    let answers = SetupAnswers::default();
    record("setup answers", &|counts, wrong| check(&answers, counts, wrong));
    let truth = Truth::mild_v8();
    let plant = record("plant", &|counts, wrong| {
        truth.blocks().into_iter().for_each(|block| check(block, counts, wrong));
    });
    assert!(wrong.is_empty(), "{}", wrong.join("\n"));
    assert!(control >= 344 && plant >= 185, "the registry has lost parameters: {control} {plant}");
}

#[test]
fn ident_an_empty_phrase_is_no_source() {
    for (source, is) in [
        ("engineering judgement, from drives", Some(JUDGEMENT)),
        ("common practice, no source: 100 rpm", Some(PRACTICE)),
        ("Skogestad, J. Process Control 13 (2003) 291", Some("a citation")),
        ("", None),
        ("tuned", None),
        ("an invented V8", None),
    ] {
        assert_eq!(kind(source), is, "{source}");
    }
}
