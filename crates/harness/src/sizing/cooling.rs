//! Switch-on temperatures of the fans.

use super::car::Car;
use super::line::{Line, STEP, TEMPERATURE, Verdict};

/// Hysteresis of a fan, K: as in the controller.
const BAND_K: f64 = 5.0;
/// Highest coolant temperature, K: 105 degC, well below boiling with a cap of about 1 bar (engineering judgement).
const HOTTEST_K: f64 = 378.0;
/// Least difference between the two fans, K (engineering judgement).
const APART_K: f64 = 3.0;
/// Margin to either limit below which a line is tight, K (engineering judgement).
const SPARE_K: f64 = 0.5;
const PART: &str = "cooling";

pub(super) fn lines(car: &Car<'_>) -> Vec<Line> {
    if car.calibration.answers().controls_fans { vec![first(car), second(car)] } else { Vec::new() }
}

fn first(car: &Car<'_>) -> Line {
    let thermal = &car.parts.thermal;
    let on_k = f64::from(car.calibration.answers().fan1_on_k);
    let shown = |k| car.show(TEMPERATURE, k);
    // The fan must be able to cool down to its switch-off temperature while the thermostat is open.
    let lowest_k = thermal.thermostat_k + BAND_K;
    let line =
        car.figure(PART, "first fan starts at", TEMPERATURE, on_k).between(lowest_k, HOTTEST_K, SPARE_K);
    let change = match line.verdict {
        Verdict::TooMuch => {
            format!("It starts only when the coolant is too hot. Answer {} or less.", shown(HOTTEST_K))
        }
        Verdict::NotEnough => format!(
            "It would stop at {}, but below {} the thermostat is shut and the radiator cools nothing: the fan never stops. Answer {} \
             or more, or fit a thermostat that opens at {} or below.",
            shown(on_k - BAND_K),
            shown(thermal.thermostat_k),
            shown(lowest_k),
            shown(on_k - BAND_K),
        ),
        _ => "A few degrees further from the limit.".to_owned(),
    };
    line.formula(format!(
        "at least {} where the thermostat opens + {} by which the fan stops below its start; at most {}",
        shown(thermal.thermostat_k),
        car.show(STEP, BAND_K),
        shown(HOTTEST_K),
    ))
    .change(change)
    .source("hysteresis: the controller's; hottest coolant: engineering judgement")
}

fn second(car: &Car<'_>) -> Line {
    let answers = car.calibration.answers();
    let (first_k, on_k) = (f64::from(answers.fan1_on_k), f64::from(answers.fan2_on_k));
    car.figure(PART, "second fan starts at", TEMPERATURE, on_k)
        .between(first_k + APART_K, HOTTEST_K, SPARE_K)
        .formula(format!(
            "at least {} of the first + {}; at most {}",
            car.show(TEMPERATURE, first_k),
            car.show(STEP, APART_K),
            car.show(TEMPERATURE, HOTTEST_K),
        ))
        .change("Some degrees above the first fan, so that they do not start together, and well before the coolant is too hot.")
        .source("engineering judgement")
}
