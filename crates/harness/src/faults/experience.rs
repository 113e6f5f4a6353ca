//! What driver, controller and engine met on one drive.

use crate::faults::high_load::HighLoad;
use serde::Serialize;
use std::collections::BTreeMap;

/// What one drive was like.
#[derive(Clone, Debug, Default, PartialEq, Serialize)]
pub struct Experience {
    /// Time the engine ran, s.
    pub ran_s: f64,
    /// Time the starter turned, s.
    pub crank_s: f64,
    /// Times the engine died.
    pub stalls: u32,
    /// Mean speed at warm idle, rpm; `null` when it never idled warm.
    pub idle_rpm: f64,
    /// Standard deviation of it, rpm.
    pub idle_swing_rpm: f64,
    /// rms of speed less wanted speed, m/s.
    pub speed_error_rms_m_per_s: f64,
    /// Distance, m.
    pub distance_m: f64,
    /// Fuel injected, kg.
    pub fuel_kg: f64,
    /// Hottest coolant, K, and the last.
    pub hottest_k: f64,
    /// Coolant at the end, K.
    pub last_k: f64,
    /// Supply at the end, V.
    pub last_v: f64,
    /// Share of charges that did not burn, and that knocked.
    pub misfires: f64,
    /// Share of charges that knocked.
    pub knocks: f64,
    /// Steady mixture, mean over cylinder events of ln(lambda / wanted lambda).
    pub mixture_ln: f64,
    /// Codes (SAE J2012) that the controller stored.
    pub codes: Vec<String>,
    /// Times the lean guard cut the fuel.
    pub guard_trips: u16,
    /// Air that the self-check found entering before the sensor, kg/s.
    pub upstream_air_kg_per_s: f64,
    /// Lessons taken.
    pub lessons: u32,
    /// Refused lessons by reason.
    pub refusals: BTreeMap<String, u32>,
    /// Learned corrections of the cells that were driven in steadily, weighted by time: all, and those of idle.
    pub learned_ln: f64,
    /// Those at idle.
    pub learned_idle_ln: f64,
    /// The mixture where a lean one does harm.
    pub high_load: HighLoad,
}
