//! The learners by name.

use trimwright_control::Strategy;

/// Name, as a user writes it, and strategy of each learner.
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
