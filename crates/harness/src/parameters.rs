//! The controller's parameters as lists, for other programs, and those meant for fine adjustment by an owner.

use crate::document::{decimal, nearest};
use serde::Serialize;
use serde_json::{Value as Json, json};
use trimwright_control::Parameters;
use trimwright_numerics::parameters::{Block, ParameterInfo, Range, Shape, Value};

/// Parameters for fine adjustment by an owner, in the usual order of search.
pub const FINE_ADJUSTMENT: &[&str] = &[
    // Mixture.
    "wanted_lambda.by_load",
    "wanted_lambda.by_throttle",
    "wanted_lambda.cruise",
    "wanted_lambda.idle",
    "wanted_lambda.hot_cam_idle",
    "wanted_lambda.by_ect",
    // Spark.
    "spark.full_load_deg",
    "spark.part_load_deg",
    "spark.idle_deg",
    "spark.cranking_deg",
    "spark.compression_from",
    "spark.compression_retard_deg",
    "spark.hot_retard_deg",
    "spark.nitrous_retard_deg",
    "spark.after_cut_retard_deg",
    // Pump shot.
    "pump_shot.amount_pa",
    "pump_shot.threshold_per_s",
    "pump_shot.decay_s",
    // Start.
    "enrichment.prime",
    "enrichment.prime_delay_s",
    "enrichment.cranking",
    "fuel_cut.clear_flood_tp",
    "enrichment.after_start",
    "enrichment.after_start_duration_s",
    "enrichment.uncertainty_sigmas",
    // Idle.
    "idle.cold_faster_rad_per_s",
    "idle.ac_faster_rad_per_s",
    "idle.fan_faster_rad_per_s",
    "idle.fan_max_rad_per_s",
    "idle.start_duty",
    // Fuel cut.
    "fuel_cut.coast_from_rad_per_s",
    "fuel_cut.coast_resume_rad_per_s",
    "fuel_cut.coast_delay_s",
    "fuel_cut.coast_warm_k",
    "fuel_cut.limit_hysteresis_rad_per_s",
    // Fans.
    "fans.hysteresis_k",
    // Nitrous oxide.
    "nitrous.min_tp",
    "nitrous.above_idle_rad_per_s",
    "nitrous.below_limit_rad_per_s",
    "nitrous.min_ect_k",
    "nitrous.max_ect_k",
    "nitrous.steady_s",
    "nitrous.enrichment",
    // Learning.
    "feedback.authority_ln",
    "feedback.time_constant_per_delay",
    "learner.authority_ln",
    "learner.prior_sigma_ln",
    "learner.sample_variance_ln2",
];

/// One parameter in SI units, for other programs.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct Listed {
    /// Name of the stage.
    pub stage: &'static str,
    /// Name of the parameter with its unit as the suffix.
    pub name: &'static str,
    /// SI unit; `"1"` for ratios and counts, `None` for flags and choices.
    pub unit: Option<&'static str>,
    /// Value: a number, a flag, a word, a list; points as pairs; a table as columns, rows and values.
    pub value: Json,
    /// Default value.
    pub default: Json,
    /// Lower limit, `null` for flags and choices.
    pub min: Json,
    /// Upper limit.
    pub max: Json,
    /// Source of the default.
    pub source: &'static str,
    /// Description, with the words of a choice.
    pub about: String,
    /// Range and unit of the breakpoints of a curve, or of the columns and rows of a table.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub axis: Option<Json>,
}

/// All parameters by stage.
///
/// ```
/// use trimwright_control::Parameters;
/// assert!(trimwright_harness::parameters::list(&Parameters::DEFAULT).len() > 30);
/// ```
pub fn list(parameters: &Parameters) -> Vec<Listed> {
    let default = Parameters::DEFAULT;
    let pairs = parameters.blocks().into_iter().zip(default.blocks());
    pairs
        .flat_map(|(block, default)| {
            (0..block.info().len()).filter_map(move |place| listed(block, default, place))
        })
        .collect()
}

/// Paths of the parameters that differ from their defaults.
///
/// ```
/// use trimwright_control::Parameters;
/// let mut set = Parameters::DEFAULT;
/// set.feedback.hold_s = 60.0;
/// assert_eq!(trimwright_harness::parameters::changed(&set), ["feedback.hold_s"]);
/// ```
pub fn changed(parameters: &Parameters) -> Vec<String> {
    let all = list(parameters).into_iter().filter(|listed| listed.value != listed.default);
    all.map(|listed| format!("{}.{}", listed.stage, listed.name)).collect()
}

fn listed(block: &dyn Block<f32>, default: &dyn Block<f32>, place: usize) -> Option<Listed> {
    let info = block.info().get(place)?;
    let [value, default] = [block.value(place)?, default.value(place)?].map(|value| plain(info, value));
    let words = match info.shape {
        Shape::Choice(words) => Some(words),
        _ => None,
    };
    let no_range = matches!(info.shape, Shape::Flag | Shape::Choice(_));
    let limit = |limit: f32| match info.shape {
        _ if no_range => Json::Null,
        Shape::Whole => json!(limit as i64),
        _ => number(limit),
    };
    let one_of = words.map_or_else(String::new, |words| format!(" One of: {}.", words.join(", ")));
    let axis = match info.shape {
        Shape::Curve(_, axis) => Some(range(&axis)),
        Shape::Table(_, [x, y]) => Some(json!([range(&x), range(&y)])),
        _ => None,
    };
    Some(Listed {
        stage: block.stage(),
        name: info.name,
        unit: (!no_range).then_some(info.range.unit),
        value,
        default,
        min: limit(info.range.min),
        max: limit(info.range.max),
        source: info.source,
        about: format!("{}{one_of}", info.about),
        axis,
    })
}

fn number(number: f32) -> Json {
    json!(decimal(number))
}

fn range(axis: &Range<f32>) -> Json {
    json!({ "min": number(axis.min), "max": number(axis.max), "unit": axis.unit })
}

fn plain(info: &ParameterInfo<f32>, value: Value<'_, f32>) -> Json {
    let numbers = |numbers: &[f32]| numbers.iter().map(|each| number(*each)).collect::<Vec<_>>();
    match value {
        Value::Number(value) => number(value),
        Value::Whole(value) => json!(value),
        Value::Flag(value) => json!(value),
        Value::Choice(chosen) => match info.shape {
            Shape::Choice(words) => json!(words.get(chosen)),
            _ => Json::Null,
        },
        Value::List(values) => json!(numbers(values)),
        Value::Curve(points) => json!(points.iter().map(|(x, y)| numbers(&[*x, *y])).collect::<Vec<_>>()),
        Value::Table(x, y, cells) => {
            let rows: Vec<_> = cells.chunks(x.len().max(1)).map(numbers).collect();
            json!([numbers(x), numbers(y), rows])
        }
    }
}

/// Checks that a stage of this name exists.
///
/// # Errors
/// When it does not; the message proposes the most similar stage and lists all.
pub fn check_stage(name: &str) -> Result<(), String> {
    let stages = Parameters::DEFAULT.blocks().map(|block| block.stage());
    if stages.contains(&name) {
        return Ok(());
    }
    let proposed =
        nearest(name, stages.into_iter()).map_or_else(String::new, |stage| format!("did you mean {stage}? "));
    Err(format!("is no stage; {proposed}There are {}", stages.join(", ")))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn fine_adjustment_names_parameters() {
        let default = Parameters::DEFAULT;
        let paths: Vec<&str> =
            default.blocks().iter().flat_map(|block| block.info()).map(|info| info.path).collect();
        for path in FINE_ADJUSTMENT {
            assert!(paths.contains(path), "{path} is no parameter");
        }
    }

    #[test]
    fn lists_hold_the_numbers_as_written() {
        let all = list(&Parameters::DEFAULT);
        let of =
            |path: (&str, &str)| all.iter().find(|one| (one.stage, one.name) == path).expect("a parameter");
        let map = of(("sensors", "map_pa"));
        assert_eq!(map.value[1], json!([4.5, 110_000.0]));
        assert_eq!(map.axis, Some(json!({ "min": 0.0, "max": 5.0, "unit": "V" })));
        assert_eq!(of(("feedback", "authority_ln")).max, json!(0.405), "no digits of its storage");
        let sender = of(("sensors", "ect_sender"));
        assert!(sender.about.contains("One of: ") && sender.min.is_null() && sender.unit.is_none());
        assert_eq!(of(("sensors", "pulses_per_firing")).max, json!(4));
        let factor = of(("base_map", "factor"));
        assert_eq!(factor.axis.as_ref().map(|axis| &axis[1]["unit"]), Some(&json!("Pa")));
        assert_eq!(factor.value[2].as_array().map(Vec::len), Some(3));
    }
}
