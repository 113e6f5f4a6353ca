//! The table of fine adjustment: value of each key, figure that shows it, and its expected change.

use std::ops::RangeInclusive;

use super::car::Written::{From, Text};
use super::car::{Car, Having, Setting, Written};
use super::figures as f;

/// A figure of a car.
pub(crate) type Figure = fn(&Car) -> f64;

/// One key of fine adjustment. Further settings create the situation in which it has an effect, in both runs.
pub(crate) struct Row {
    pub(crate) sets: Setting,
    pub(crate) beside: &'static [Setting],
    pub(crate) on: Having,
    pub(crate) figure: Figure,
    pub(crate) moves: Moves,
}

/// Expected change of a figure.
#[derive(Clone, Debug)]
pub(crate) enum Moves {
    /// By this difference, in the unit of the figure.
    By(RangeInclusive<f64>),
    /// Into this range from outside.
    To(RangeInclusive<f64>),
    /// By this factor.
    Times(RangeInclusive<f64>),
}

impl Moves {
    pub(crate) fn is_as_expected(&self, before: f64, after: f64) -> bool {
        match self {
            Self::By(range) => range.contains(&(after - before)),
            Self::To(range) => range.contains(&after) && !range.contains(&before),
            Self::Times(range) => range.contains(&(after / before)),
        }
    }
}

const fn row(sets: Setting, on: Having, figure: Figure, moves: Moves) -> Row {
    Row { sets, beside: &[], on, figure, moves }
}

use Having::{Everything, HotCam, Nitrous, Spark};
use Moves::{By, Times, To};

/// Speed in rpm relative to an answer in rad/s.
fn rpm(rad_per_s: f32, more: f32) -> String {
    format!("\"{} rpm\"", rad_per_s / core::f32::consts::PI * 30.0 + more)
}

/// Temperature in degC relative to an answer in K.
fn degc(k: f32, more: f32) -> String {
    format!("\"{} degC\"", k - 273.15 + more)
}

pub(crate) const MIXTURE: &[Row] = &[
    row(
        ("wanted_lambda.by_load", Text("[[0, 1], [0.86, 1], [0.95, 0.83], [1, 0.82]]")),
        Everything,
        f::full_load_lambda,
        To(0.80..=0.84),
    ),
    row(
        ("wanted_lambda.by_throttle", Text("[[0, 1], [0.65, 1], [0.85, 0.82]]")),
        Everything,
        f::full_load_lambda,
        To(0.80..=0.84),
    ),
    row(
        ("wanted_lambda.by_load", Text("[[0, 1], [0.6, 1], [0.8, 0.88], [1, 0.87]]")),
        Everything,
        f::climbing_lambda,
        To(0.86..=0.90),
    ),
    row(("wanted_lambda.cruise", Text("1.04")), Everything, f::cruise_lambda, To(1.03..=1.05)),
    row(("wanted_lambda.idle", Text("0.95")), Everything, f::idle_lambda, By(-0.06..=-0.04)),
    row(("wanted_lambda.hot_cam_idle", Text("0.9")), HotCam, f::idle_lambda, To(0.88..=0.92)),
    row(
        (
            "wanted_lambda.by_ect",
            Text(
                "[[\"-20 degC\", 0.74], [\"0 degC\", 0.79], [\"20 degC\", 0.85], [\"40 degC\", 0.9], [\"60 degC\", 0.98], [\"72 degC\", 1]]",
            ),
        ),
        Everything,
        f::cold_lambda,
        By(-0.1..=-0.03),
    ),
];

/// 6 degrees more at any speed.
const MORE_SPARK: Written = Text(
    "[[\"380 rpm\", \"13 deg\"], [\"760 rpm\", \"18 deg\"], [\"1900 rpm\", \"30 deg\"], [\"3340 rpm\", \"37 deg\"], [\"5730 rpm\", \"39 deg\"]]",
);
/// Nothing for thin charge.
const NONE_AT_PART_LOAD: Written = Text("[[0.3, \"0 deg\"], [1, \"0 deg\"]]");

pub(crate) const SPARK: &[Row] = &[
    row(("spark.full_load", MORE_SPARK), Spark, f::knocks, By(50.0..=100.0)),
    row(("spark.full_load", MORE_SPARK), Spark, f::full_load_spark_deg, By(5.0..=7.0)),
    row(("spark.part_load", NONE_AT_PART_LOAD), Spark, f::cruise_nm, By(-40.0..=-1.0)),
    row(("spark.part_load", NONE_AT_PART_LOAD), Spark, f::cruise_spark_deg, By(-11.0..=-9.0)),
    row(("spark.idle", Text("\"23 deg\"")), Spark, f::idle_spark_deg, By(4.0..=6.0)),
    row(("spark.cranking", Text("\"12 deg\"")), Spark, f::cranking_spark_deg, By(3.9..=4.1)),
    row(
        ("spark.hot_retard", Text("[[\"100 degC\", \"0 deg\"], [\"115 degC\", \"16 deg\"]]")),
        Spark,
        f::hot_spark_deg,
        By(-8.0..=-3.0),
    ),
    row(("spark.nitrous_retard", Text("\"12 deg\"")), Nitrous, f::nitrous_spark_deg, By(-4.1..=-3.9)),
    row(("spark.after_cut_retard", Text("\"20 deg\"")), Spark, f::returning_spark_deg, By(-9.0..=-4.0)),
    row(("spark.compression_retard", Text("\"6 deg\"")), Spark, f::knock_index, By(-3.0..=-0.01)),
    row(("spark.compression_from", Text("8")), Spark, f::knock_index, By(-3.0..=-0.01)),
];

pub(crate) const PUMP_SHOT: &[Row] = &[
    row(("pump_shot.amount", Text("\"50 kPa\"")), Everything, f::tip_in_lean, By(-0.1..=-0.005)),
    row(("pump_shot.threshold_per_s", Text("4")), Everything, f::tip_in_lean, By(0.005..=0.5)),
    row(("pump_shot.decay", Text("\"0.6 s\"")), Everything, f::tip_in_mean, By(-0.05..=-0.001)),
];

pub(crate) const START: &[Row] = &[
    row(
        ("enrichment.cranking", Text("[[\"-20 degC\", 0.41], [\"20 degC\", 0.72], [\"85 degC\", 1]]")),
        Everything,
        f::cranking_mg_a_charge,
        Times(0.8..=0.86),
    ),
    row(
        (
            "enrichment.prime",
            Text("[[\"-20 degC\", 3], [\"0 degC\", 1.6], [\"20 degC\", 0.7], [\"67 degC\", 0.14]]"),
        ),
        Everything,
        f::prime_mg,
        Times(1.95..=2.05),
    ),
    row(("enrichment.prime_delay", Text("\"1.4 s\"")), Everything, f::prime_s, By(0.58..=0.62)),
    row(
        ("enrichment.after_start", Text("[[\"-20 degC\", 1.45], [\"20 degC\", 1.32], [\"77 degC\", 1.25]]")),
        Everything,
        f::lambda_after_start,
        By(-0.2..=-0.05),
    ),
    row(
        (
            "enrichment.after_start_duration",
            Text("[[\"-20 degC\", \"80 s\"], [\"20 degC\", \"60 s\"], [\"77 degC\", \"40 s\"]]"),
        ),
        Everything,
        f::lambda_later_after_start,
        By(-0.1..=-0.01),
    ),
    row(("enrichment.uncertainty_sigmas", Text("1.5")), Everything, f::lambda_after_start, By(-0.15..=-0.02)),
    row(
        ("fuel_cut.clear_flood_tp", Text("0.7")),
        Everything,
        f::cranking_mg_a_charge_with_the_pedal_down,
        Times(0.0..=0.0),
    ),
];

pub(crate) const IDLE: &[Row] = &[
    row(
        ("setup.idle_speed", From(|answers| rpm(answers.idle_speed_rad_per_s, 100.0))),
        Everything,
        f::hot_idle_rpm,
        By(95.0..=105.0),
    ),
    row(
        (
            "idle.cold_faster",
            Text("[[\"-20 degC\", \"700 rpm\"], [\"20 degC\", \"500 rpm\"], [\"72 degC\", \"0 rpm\"]]"),
        ),
        Everything,
        f::cold_idle_rpm,
        // The bypass of the van and of the pickup is fully open in the cold: 48 and 61 rpm seen.
        By(40.0..=300.0),
    ),
    row(("idle.ac_faster", Text("\"143 rpm\"")), Everything, f::ac_idle_rpm, By(80.0..=160.0)),
    // The maximum speed with fans has to be raised too.
    Row {
        beside: &[("idle.fan_max", Text("\"1400 rpm\""))],
        ..row(("idle.fan_faster", Text("\"150 rpm\"")), Everything, f::ac_idle_rpm, By(90.0..=115.0))
    },
    Row {
        beside: &[("idle.fan_faster", Text("\"150 rpm\""))],
        ..row(("idle.fan_max", Text("\"1400 rpm\"")), Everything, f::ac_idle_rpm, By(40.0..=160.0))
    },
    row(("idle.start_duty", Text("0.3")), Everything, f::flare_rpm, By(50.0..=1500.0)),
];

pub(crate) const FUEL_CUT: &[Row] = &[
    row(("fuel_cut.coast_from", Text("\"1500 rpm\"")), Everything, f::cut_from_rpm, By(470.0..=530.0)),
    row(("fuel_cut.coast_resume", Text("\"800 rpm\"")), Everything, f::cut_to_rpm, By(270.0..=330.0)),
    row(("fuel_cut.coast_delay", Text("\"1.5 s\"")), Everything, f::cut_after_s, By(0.85..=0.95)),
    row(("fuel_cut.coast_warm", Text("\"95 degC\"")), Everything, f::cut_after_s, By(5.0..=6.0)),
    row(
        ("setup.rev_limit", From(|answers| rpm(answers.rev_limit_rad_per_s, -500.0))),
        Everything,
        f::highest_rpm,
        By(-600.0..=-400.0),
    ),
    row(
        ("fuel_cut.limit_hysteresis", Text("\"500 rpm\"")),
        Everything,
        f::lowest_rpm_at_the_limit,
        By(-500.0..=-200.0),
    ),
];

pub(crate) const FANS: &[Row] = &[
    row(
        ("setup.fan1_on", From(|answers| degc(answers.fan1_on_k, 3.0))),
        Everything,
        f::fan1_on_degc,
        By(2.5..=3.5),
    ),
    row(
        ("setup.fan2_on", From(|answers| degc(answers.fan2_on_k, 2.0))),
        Everything,
        f::fan2_on_degc,
        By(1.5..=2.5),
    ),
    // Well above the thermostat, which is at the switch-off temperature of other engines' fans.
    Row {
        beside: &[("setup.fan1_on", From(|answers| degc(answers.fan1_on_k, 5.0)))],
        ..row(("fans.hysteresis", Text("\"3 K\"")), Everything, f::fan_off_degc, By(1.8..=2.2))
    },
];

pub(crate) const NITROUS: &[Row] = &[
    row(("nitrous.min_tp", Text("0.7")), Nitrous, f::part_nitrous_g_per_s, By(15.0..=60.0)),
    row(("nitrous.above_idle", Text("\"1200 rpm\"")), Nitrous, f::slow_nitrous_g_per_s, By(15.0..=60.0)),
    row(("nitrous.below_limit", Text("\"800 rpm\"")), Nitrous, f::fast_nitrous_g_per_s, By(-60.0..=-15.0)),
    row(("nitrous.min_ect", Text("\"91 degC\"")), Nitrous, f::full_nitrous_g_per_s, By(-60.0..=-15.0)),
    row(("nitrous.max_ect", Text("\"93 degC\"")), Nitrous, f::hot_nitrous_g_per_s, By(-60.0..=-15.0)),
    row(("nitrous.steady", Text("\"1.2 s\"")), Nitrous, f::nitrous_after_s, By(0.95..=1.05)),
    row(("nitrous.enrichment", Text("1.3")), Nitrous, f::nitrous_fuel_g_per_s, By(0.5..=0.7)),
    row(("setup.nitrous_flow", Text("\"0.04 kg/s\"")), Nitrous, f::nitrous_fuel_g_per_s, By(0.95..=1.25)),
];

pub(crate) const LEARNING: &[Row] = &[
    row(("learner.authority_ln", Text("0.05")), Everything, f::learned_percent, By(-30.0..=-3.0)),
    row(("learner.sample_variance_ln2", Text("5")), Everything, f::unsure_percent, By(0.3..=10.0)),
    row(("learner.sample_variance_ln2", Text("5")), Everything, f::soon_learned_percent, By(-20.0..=-0.5)),
    row(("learner.prior_sigma_ln", Text("0.03")), Everything, f::soon_learned_percent, By(-30.0..=-5.0)),
    row(("feedback.time_constant_per_delay", Text("8")), Everything, f::soon_trim_percent, Times(0.2..=0.7)),
    row(("feedback.authority_ln", Text("0.1")), Everything, f::trim_percent, By(-20.0..=-2.0)),
    row(("feedback.authority_ln", Text("0.1")), Everything, f::starved_lambda, By(0.02..=0.2)),
];

pub(crate) const TABLE: &[&[Row]] =
    &[MIXTURE, SPARK, PUMP_SHOT, START, IDLE, FUEL_CUT, FANS, NITROUS, LEARNING];
