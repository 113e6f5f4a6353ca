//! Whether the fans start where they help.

use super::Car;
use super::line::{Line, in_unit, show};
use crate::units::Kind;

/// A fan stops so much below where it starts, K: the controller's hysteresis.
const BAND_K: f64 = 5.0;
/// Coolant should not get hotter than this, K: 105 degC, with a cap of about 1 bar far from boiling (engineering judgement).
const HOTTEST_K: f64 = 378.0;
/// Least between the starts of the two fans, K (engineering judgement).
const APART_K: f64 = 3.0;
const PART: &str = "cooling";
const USUAL: &str = "about 160 and 180 degF with a thermostat to match: common practice, no source";

pub(super) fn lines(car: &Car<'_>) -> Vec<Line> {
    let answers = car.calibration.answers();
    if !answers.controls_fans {
        return Vec::new();
    }
    let thermal = &car.parts.thermal;
    let (fan1_k, fan2_k) = (f64::from(answers.fan1_on_k), f64::from(answers.fan2_on_k));
    let degf = |k| in_unit(Kind::Temperature, "degF", k);
    let shown = |k| show(Kind::Temperature, "degF", k);
    let open_k = thermal.thermostat_k + thermal.thermostat_range_k;
    // The first fan must be able to cool down to where it stops while the thermostat is still open.
    let lowest_k = thermal.thermostat_k + BAND_K;
    vec![
        Line::told(PART, "first fan starts at", Kind::Temperature, "degF", fan1_k)
            .between(degf(lowest_k), degf(HOTTEST_K), 1.0)
            .formula(format!(
                "thermostat opens at {} and is open at {}; the fan stops 9 degF below its start",
                shown(thermal.thermostat_k),
                shown(open_k),
            ))
            .change("Above the thermostat, or a cooler thermostat: a fan that starts below it never stops and cools nothing.")
            .source(USUAL),
        Line::told(PART, "second fan starts at", Kind::Temperature, "degF", fan2_k)
            .between(degf(fan1_k + APART_K), degf(HOTTEST_K), 1.0)
            .formula(format!("after the first at {}, before {}", shown(fan1_k), shown(HOTTEST_K)))
            .change("Some degrees above the first fan, so that they do not start together, and well before the coolant is too hot.")
            .source(USUAL),
    ]
}
