//! The learners by name, also in files.

use serde::{Deserialize, Deserializer, Serializer, de};
use trimwright_control::Strategy;

/// Name, as a user writes it, and strategy of each learner.
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
///
/// ```
/// use trimwright_control::Strategy;
/// assert_eq!(trimwright_study::learners::name(Strategy::Kalman), "kalman");
/// ```
pub fn name(strategy: Strategy) -> &'static str {
    LEARNERS.iter().find(|(_, each)| *each == strategy).map_or("other", |(name, _)| name)
}

/// The strategy of that name.
///
/// ```
/// use trimwright_control::Strategy;
/// use trimwright_study::learners::named;
/// assert_eq!((named("integral"), named("oracle")), (Some(Strategy::Integral), None));
/// ```
pub fn named(name: &str) -> Option<Strategy> {
    LEARNERS.iter().find(|(each, _)| *each == name).map(|(_, strategy)| *strategy)
}

/// Writes a strategy by its name.
///
/// ```
/// use trimwright_control::Strategy;
/// use trimwright_study::learners::serialize;
/// let written = serialize(&Strategy::NormalisedGradient, serde_json::value::Serializer)?;
/// assert_eq!(written, "gradient");
/// # Ok::<(), serde_json::Error>(())
/// ```
///
/// # Errors
/// When the file can't be written.
pub fn serialize<S: Serializer>(strategy: &Strategy, to: S) -> Result<S::Ok, S::Error> {
    to.serialize_str(name(*strategy))
}

/// Reads a strategy from its name.
///
/// ```
/// use trimwright_control::Strategy;
/// use trimwright_study::learners::deserialize;
/// assert_eq!(deserialize(serde_json::json!("kalman"))?, Strategy::Kalman);
/// let error = deserialize(serde_json::json!("oracle")).expect_err("no such learner");
/// assert_eq!(error.to_string(), "no learner is called oracle");
/// # Ok::<(), serde_json::Error>(())
/// ```
///
/// # Errors
/// When no learner has that name.
pub fn deserialize<'de, D: Deserializer<'de>>(from: D) -> Result<Strategy, D::Error> {
    let read = String::deserialize(from)?;
    named(&read).ok_or_else(|| de::Error::custom(format!("no learner is called {read}")))
}
