//! Tables of the driveability tests.

use crate::ReportData;
use crate::figures::{Notation, written};
use crate::sections::html_text;
use trimwright_harness::driveability::{Driveability, EventFigures, Excursion};
use trimwright_harness::units::times;

/// Starts, tip-in, idle, return from a fuel cut.
pub(crate) fn driveability(data: &ReportData) -> String {
    let Some(Driveability { starts, tip_ins, idle, fuel_cut }) = &data.driveability else {
        return "<p>Driveability was not tested in this run.</p>\n".to_owned();
    };
    let starts = starts
        .iter()
        .map(|start| vec![degrees(start.engine_degc), cranked(start.cranked_s), times(start.stalls)]);
    let tip_ins = tip_ins.iter().flat_map(|tip_in| {
        [("with", tip_in.compensated), ("without", tip_in.uncompensated)].map(
            |(how, Excursion { lean, rich })| {
                vec![format!("{}, {how}", degrees(tip_in.engine_degc)), percent(lean), percent(rich)]
            },
        )
    });
    let loads = [("air conditioning, in gear", Some(idle.ac)), ("a fan, out of gear", idle.fan)];
    let loads = loads.into_iter().map(|(what, load)| {
        let figure_of =
            |figure: fn(EventFigures) -> String| load.map_or_else(|| "did not come on".to_owned(), figure);
        vec![what.to_owned(), figure_of(|load| rpm(load.drop_rpm)), figure_of(|load| percent(load.mixture))]
    });
    let even = [("out of gear", idle.park_rms_rpm), ("in gear on the brake", idle.drive_rms_rpm)];
    let even = even.into_iter().map(|(range, rms_rpm)| vec![range.to_owned(), rpm(rms_rpm)]);
    let cut = vec![
        "closed, three times".to_owned(),
        times(fuel_cut.cuts),
        rpm(fuel_cut.drop_rpm),
        times(fuel_cut.stalls),
    ];
    [
        table(
            "Starts",
            &["Engine at", "Cranking time", "Stalls in the minute after"],
            starts,
            "Engine and ambient air at that temperature, the air no warmer than the scenario's. Cranking ends when the engine runs, after 10 s \
             at most.",
        ),
        table(
            "Tip-in",
            &["Engine at, film compensation", "Lean by", "Rich by"],
            tip_ins,
            "Throttle from 10 to 60 % within 0.2 s at 1500 rpm, feedback off: excursion of lambda beyond its values before and after. Film \
             compensation and the accelerator-pump shot replace the fuel that wets the wall.",
        ),
        table(
            "Idle",
            &["Engine hot", "Speed error"],
            even,
            "Root mean square of idle speed minus wanted speed over 30 s.",
        ),
        table(
            "Idle with a load step",
            &["Load, engine hot", "Speed drop", "Mixture deviation"],
            loads,
            "Speed drop below the wanted idle speed within 10 s, and largest deviation of the mixture of a charge from its mean before. \
             The fan is started by covering the radiator of a hot engine; a fan that the controller does not switch does not come on.",
        ),
        table(
            "Return from a fuel cut",
            &["Throttle, engine hot", "Fuel cuts", "Speed drop", "Stalls"],
            std::iter::once(cut),
            "Out of gear, the throttle is opened to 25 % and closed: number of fuel cuts while the speed falls, speed drop below the wanted \
             idle speed afterwards, and number of stalls.",
        ),
    ]
    .concat()
}

/// A table with its title and note; the first column labels the rows.
fn table(title: &str, heads: &[&str], rows: impl Iterator<Item = Vec<String>>, note: &str) -> String {
    let line = |tag: &str, words: &mut dyn Iterator<Item = &str>| -> String {
        let cells = words.enumerate().map(|(place, words)| {
            let class = if place == 0 { "" } else { " class=\"number\"" };
            format!("<{tag}{class}>{}</{tag}>", html_text(words))
        });
        format!("<tr>{}</tr>", cells.collect::<String>())
    };
    let head = line("th", &mut heads.iter().copied());
    let body: String = rows.map(|row| line("td", &mut row.iter().map(String::as_str))).collect();
    format!(
        "<div class=\"trial\"><h3>{}</h3>\n<table><thead>{head}</thead><tbody>{body}</tbody></table>\n<p class=\"hint\">{}</p></div>\n",
        html_text(title),
        html_text(note)
    )
}

/// A temperature in both units: the choice of units affects only the charts.
fn degrees(degc: f64) -> String {
    format!("{}\u{a0}°C\u{a0}({}\u{a0}°F)", whole(degc), whole(1.8 * degc + 32.0))
}

/// A whole number, without negative zero.
fn whole(value: f64) -> String {
    format!("{:.0}", value.round() + 0.0).replace('-', "−")
}

fn cranked(seconds: Option<f64>) -> String {
    seconds.map_or_else(|| "did not start".to_owned(), |seconds| written(seconds, Notation::Number(2, "s")))
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
