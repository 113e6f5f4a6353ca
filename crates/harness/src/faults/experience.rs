//! Measurements of one drive for the comparison of faults.

use crate::faults::high_load::HighLoad;
use serde::Serialize;
use std::collections::BTreeMap;

/// Measurements of one drive.
#[derive(Clone, Debug, Default, PartialEq, Serialize)]
pub struct Experience {
    /// Running time of the engine, s.
    pub ran_s: f64,
    /// Cranking time, s.
    pub crank_s: f64,
    /// Number of stalls.
    pub stalls: u32,
    /// Mean speed at warm idle, rpm; `null` without warm idle.
    pub idle_rpm: f64,
    /// Standard deviation of the warm idle speed, rpm.
    pub idle_swing_rpm: f64,
    /// Rms of speed minus scheduled speed, m/s.
    pub speed_error_rms_m_per_s: f64,
    /// Distance driven, m.
    pub distance_m: f64,
    /// Fuel injected, kg.
    pub fuel_kg: f64,
    /// Highest coolant temperature, K.
    pub hottest_k: f64,
    /// Coolant temperature at the end, K.
    pub last_k: f64,
    /// Supply voltage at the end, V.
    pub last_v: f64,
    /// Share of charges that did not burn.
    pub misfires: f64,
    /// Share of charges that knocked.
    pub knocks: f64,
    /// Steady mixture error, mean over cylinder events of ln(lambda / wanted lambda).
    pub mixture_ln: f64,
    /// Trouble codes (SAE J2012) that the controller stored.
    pub codes: Vec<String>,
    /// Number of fuel cuts by the lean guard.
    pub guard_trips: u16,
    /// Air entering before the sensor as the self-check estimates it, kg/s.
    pub upstream_air_kg_per_s: f64,
    /// Number of lessons.
    pub lessons: u32,
    /// Number of refusals by reason.
    pub refusals: BTreeMap<String, u32>,
    /// Mean learned correction over the cells, weighted by steady dwell, ln.
    pub learned_ln: f64,
    /// The same over the cells at idle speed.
    pub learned_idle_ln: f64,
    /// Mixture at high load.
    pub high_load: HighLoad,
}
