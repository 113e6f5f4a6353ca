//! How the car drives, in small tables with a sentence each.

use crate::Story;
use crate::figures::{Notation, written};
use crate::sections::text;
use trimwright_harness::driveability::{Driveability, EventFigures, Excursion};
use trimwright_harness::units::times;

/// Starts, throttle opened fast, idle, return from a fuel cut.
pub(crate) fn driving(story: &Story) -> String {
    let Some(Driveability { starts, tip_ins, idle, fuel_cut }) = &story.driveability else {
        return "<p>How the car drives was not tried in this run.</p>\n".to_owned();
    };
    let starts = starts
        .iter()
        .map(|start| vec![degrees(start.engine_degc), cranked(start.cranked_s), times(start.stalls)]);
    let opened = tip_ins.iter().flat_map(|tip_in| {
        [("with", tip_in.compensated), ("without", tip_in.uncompensated)].map(
            |(how, Excursion { lean, rich })| {
                vec![format!("{}, {how}", degrees(tip_in.engine_degc)), percent(lean), percent(rich)]
            },
        )
    });
    let loads = [("air conditioning, in gear", Some(idle.ac)), ("a fan, out of gear", idle.fan)];
    let loads = loads.into_iter().map(|(what, load)| {
        let told =
            |figure: fn(EventFigures) -> String| load.map_or_else(|| "did not come on".to_owned(), figure);
        vec![what.to_owned(), told(|load| rpm(load.drop_rpm)), told(|load| percent(load.mixture))]
    });
    let even = [("out of gear", idle.park_rms_rpm), ("in gear on the brake", idle.drive_rms_rpm)];
    let even = even.into_iter().map(|(range, rms_rpm)| vec![range.to_owned(), rpm(rms_rpm)]);
    let cut = vec![
        "let go, three times".to_owned(),
        times(fuel_cut.cuts),
        rpm(fuel_cut.drop_rpm),
        times(fuel_cut.stalls),
    ];
    [
        table(
            "Starts",
            &["Engine at", "Starter turned for", "Died in the minute after"],
            starts,
            "Engine and weather at that temperature, the weather no warmer than the scenario's; the starter turns until the engine runs by \
             itself, for 10 s at most.",
        ),
        table(
            "Throttle opened fast",
            &["Engine at, film compensation", "Lean by", "Rich by"],
            opened,
            "From 10 to 60 % within 0.2 s at 1500 rpm, feedback off: how far lambda went beyond where it was before and where it came to. Fuel \
             that wets the wall is missing at first; film compensation and the accelerator-pump shot give it in advance.",
        ),
        table(
            "Idle",
            &["Engine hot", "Speed kept within"],
            even,
            "How evenly it idles, as root mean square of speed less wanted speed over half a minute.",
        ),
        table(
            "Idle when a load comes at once",
            &["What comes on, engine hot", "Speed fell by", "Mixture moved by"],
            loads,
            "How far below the wanted idle speed the crank fell within 10 s, and how far the mixture of any charge went from its mean before. \
             The fan is waited for in a hot engine whose radiator is covered; one that is not the controller's does not come on.",
        ),
        table(
            "Return from a fuel cut",
            &["Throttle, engine hot", "Fuel was cut", "Speed fell by", "Died"],
            std::iter::once(cut),
            "Out of gear, the throttle is opened to a quarter and let go: how often the fuel was cut while the speed came down, how far \
             the crank fell below the wanted idle speed after, and how often the engine died.",
        ),
    ]
    .concat()
}

/// The first column is what a row is about.
fn table(title: &str, heads: &[&str], rows: impl Iterator<Item = Vec<String>>, note: &str) -> String {
    let line = |tag: &str, words: &mut dyn Iterator<Item = &str>| -> String {
        let cells = words.enumerate().map(|(place, words)| {
            let class = if place == 0 { "" } else { " class=\"number\"" };
            format!("<{tag}{class}>{}</{tag}>", text(words))
        });
        format!("<tr>{}</tr>", cells.collect::<String>())
    };
    let head = line("th", &mut heads.iter().copied());
    let body: String = rows.map(|row| line("td", &mut row.iter().map(String::as_str))).collect();
    format!(
        "<div class=\"trial\"><h3>{}</h3>\n<table><thead>{head}</thead><tbody>{body}</tbody></table>\n<p class=\"hint\">{}</p></div>\n",
        text(title),
        text(note)
    )
}

/// A temperature in both units: words do not follow the choice of units, which is the charts'.
fn degrees(degc: f64) -> String {
    format!("{}\u{a0}°C\u{a0}({}\u{a0}°F)", whole(degc), whole(1.8 * degc + 32.0))
}

/// Without the sign of a zero.
fn whole(value: f64) -> String {
    format!("{:.0}", value.round() + 0.0).replace('-', "−")
}

fn cranked(seconds: Option<f64>) -> String {
    seconds.map_or_else(|| "did not catch".to_owned(), |seconds| written(seconds, Notation::Number(2, "s")))
}

fn percent(ratio: f64) -> String {
    written(ratio.abs(), Notation::Percent)
}

fn rpm(rpm: f64) -> String {
    written(rpm, Notation::Number(1, "rpm"))
}

#[cfg(test)]
mod tests {
    use super::*;

    /// By definition 0 degF is -17.8 degC and 212 degF is 100 degC.
    #[test]
    fn temperatures_are_in_both_units() {
        assert_eq!(degrees(-18.0), "−18\u{a0}°C\u{a0}(0\u{a0}°F)");
        assert_eq!(degrees(100.0), "100\u{a0}°C\u{a0}(212\u{a0}°F)");
    }
}
