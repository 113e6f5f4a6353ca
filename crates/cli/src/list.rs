//! What comes with the program.

use trimwright_harness::error::InputError;
use trimwright_harness::schedule::Schedule;
use trimwright_harness::shipped::{ENGINES, SCENARIOS, SCHEDULES, Shipped};

/// The scenarios, engines and schedules, each with a line about it.
pub(crate) fn text() -> Result<String, InputError> {
    let mut text = String::new();
    section(&mut text, "Scenarios (trimwright drive NAME)", SCENARIOS, Shipped::title)?;
    text.push('\n');
    section(&mut text, "Engines (engine = \"NAME\" in a scenario file)", ENGINES, Shipped::title)?;
    text.push('\n');
    section(&mut text, "Schedules (--schedule NAME)", SCHEDULES, |shipped| {
        let schedule = Schedule::parse(shipped.name, shipped.file, shipped.text)?;
        let (minutes, km) = (schedule.duration_s() / 60.0, schedule.distance_m() / 1000.0);
        let way =
            if schedule.on_dynamometer() { "on a dynamometer".to_owned() } else { format!("{km:.2} km") };
        Ok(format!("{minutes:.1} min, {way}"))
    })?;
    Ok(text)
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
