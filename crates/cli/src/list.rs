//! `trimwright list`: scenarios, engines and schedules that come with the program.

use serde_json::{Value, json};
use trimwright_harness::error::InputError;
use trimwright_harness::schedule::Schedule;
use trimwright_harness::shipped::{ENGINES, SCENARIOS, SCHEDULES, Shipped};
use trimwright_harness::units::UnitSystem;

/// The scenarios, engines and schedules, one line each.
pub(crate) fn text(units: UnitSystem) -> Result<String, InputError> {
    let mut text = String::new();
    section(&mut text, "Scenarios (trimwright drive NAME)", SCENARIOS, Shipped::title)?;
    text.push('\n');
    section(&mut text, "Engines (engine = \"NAME\" in a scenario file)", ENGINES, Shipped::title)?;
    text.push('\n');
    section(&mut text, "Schedules (--schedule NAME)", SCHEDULES, |shipped| {
        let schedule = schedule(shipped)?;
        let way = if schedule.on_dynamometer() {
            "on a dynamometer".to_owned()
        } else {
            units.distance(schedule.distance_m())
        };
        Ok(format!("{:.1} min, {way}", schedule.duration_s() / 60.0))
    })?;
    Ok(text)
}

/// The same as JSON, in SI units.
pub(crate) fn json() -> Result<String, InputError> {
    let titled = |shipped: &Shipped| Ok(json!({ "name": shipped.name, "title": shipped.title()? }));
    let driven = |shipped: &Shipped| {
        let schedule = schedule(shipped)?;
        Ok(json!({
            "name": shipped.name,
            "duration_s": schedule.duration_s(),
            "distance_m": schedule.distance_m(),
            "on_dynamometer": schedule.on_dynamometer(),
        }))
    };
    let scenarios: Vec<Value> = SCENARIOS.iter().map(titled).collect::<Result<_, InputError>>()?;
    let engines: Vec<Value> = ENGINES.iter().map(titled).collect::<Result<_, InputError>>()?;
    let schedules: Vec<Value> = SCHEDULES.iter().map(driven).collect::<Result<_, InputError>>()?;
    let all = json!({ "scenarios": scenarios, "engines": engines, "schedules": schedules });
    Ok(format!("{all:#}\n"))
}

fn schedule(shipped: &Shipped) -> Result<Schedule, InputError> {
    Schedule::parse(shipped.name, shipped.file, shipped.text)
}

fn section(
    text: &mut String,
    heading: &str,
    all: &[Shipped],
    about: impl Fn(&Shipped) -> Result<String, InputError>,
) -> Result<(), InputError> {
    text.push_str(&format!("{heading}\n"));
    for shipped in all {
        text.push_str(&format!("  {:<16}{}\n", shipped.name, about(shipped)?));
    }
    Ok(())
}
