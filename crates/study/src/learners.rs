//! Names of the learners, and their serialization.

use serde::{Deserialize, Deserializer, Serializer, de};
use trimwright_control::Strategy;

/// Name and strategy of each learner.
///
/// ```
/// use trimwright_study::learners::{LEARNERS, name, named};
/// assert_eq!(LEARNERS.map(|(name, _)| name), ["integral", "gradient", "kalman"]);
/// assert!(LEARNERS.iter().all(|(_, learner)| named(name(*learner)) == Some(*learner)));
/// ```
pub const LEARNERS: [(&str, Strategy); 3] = [
    ("integral", Strategy::Integral),
    ("gradient", Strategy::NormalisedGradient),
    ("kalman", Strategy::Kalman),
];

/// The name of a strategy.
pub fn name(strategy: Strategy) -> &'static str {
    LEARNERS.iter().find(|(_, each)| *each == strategy).map_or("other", |(name, _)| name)
}

/// The strategy with this name.
pub fn named(name: &str) -> Option<Strategy> {
    LEARNERS.iter().find(|(each, _)| *each == name).map(|(_, strategy)| *strategy)
}

/// Serializes a strategy as its name.
///
/// # Errors
/// When `to` fails.
pub fn serialize<S: Serializer>(strategy: &Strategy, to: S) -> Result<S::Ok, S::Error> {
    to.serialize_str(name(*strategy))
}

/// Deserializes a strategy from its name.
///
/// ```
/// use trimwright_control::Strategy;
/// use trimwright_study::learners::deserialize;
/// assert_eq!(deserialize(serde_json::json!("kalman"))?, Strategy::Kalman);
/// let error = deserialize(serde_json::json!("oracle")).expect_err("no such learner");
/// assert_eq!(error.to_string(), "unknown learner oracle");
/// # Ok::<(), serde_json::Error>(())
/// ```
///
/// # Errors
/// When no learner has this name.
pub fn deserialize<'de, D: Deserializer<'de>>(from: D) -> Result<Strategy, D::Error> {
    let read = String::deserialize(from)?;
    named(&read).ok_or_else(|| de::Error::custom(format!("unknown learner {read}")))
}
