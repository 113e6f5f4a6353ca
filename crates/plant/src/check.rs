//! Checks of the truth's parameters beyond their ranges.

use trimwright_numerics::parameters::{Block, Problem, Range, Value};

/// A parameter of the truth that is out of range.
///
/// ```
/// use trimwright_plant::{Plant, Truth};
/// let mut truth = Truth::mild_v8();
/// truth.engine.compression_ratio = 40.0;
/// let error = Plant::new(truth, 1).unwrap_err();
/// assert_eq!(error.to_string(), "engine.compression_ratio is 40, allowed is 6 to 14");
/// ```
pub type OutOfRange = trimwright_numerics::parameters::OutOfRange<f64>;

/// Rejects a value outside its range, and NaN.
pub(crate) fn within(path: &'static str, value: f64, range: Range<f64>) -> Result<(), OutOfRange> {
    if value >= range.min && value <= range.max {
        Ok(())
    } else {
        Err(OutOfRange { path, problem: Problem::Outside(value, range) })
    }
}

/// Rejects the list of this name unless each value is at least `step` above the one before.
pub(crate) fn rising(block: &dyn Block<f64>, name: &str, step: f64) -> Result<(), OutOfRange> {
    for (place, info) in block.info().iter().enumerate().filter(|(_, info)| info.name == name) {
        if let Some(Value::List(values)) = block.value(place) {
            for pair in values.windows(2) {
                within(info.path, pair[1], Range { min: pair[0] + step, ..info.range })?;
            }
        }
    }
    Ok(())
}

/// Rejects a sensor curve that is not monotone: each quantity has one output.
pub(crate) fn monotone(block: &dyn Block<f64>) -> Result<(), OutOfRange> {
    for (place, info) in block.info().iter().enumerate() {
        if let Some(Value::Curve(points @ [(_, first), .., (_, last)])) = block.value(place) {
            for pair in points.windows(2) {
                let ((_, before), (_, value)) = (pair[0], pair[1]);
                let range = if first <= last {
                    Range { min: before, ..info.range }
                } else {
                    Range { max: before, ..info.range }
                };
                within(info.path, value, range)?;
            }
        }
    }
    Ok(())
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::Truth;

    /// Path of the parameter that is rejected after `put` has changed the default truth.
    fn rejected(put: impl FnOnce(&mut Truth)) -> Option<&'static str> {
        let mut truth = Truth::mild_v8();
        put(&mut truth);
        truth.check().err().map(|error| error.path)
    }

    #[test]
    fn nan_is_out_of_every_range() {
        let range = Range { min: 0.0, max: 1.0, unit: "1" };
        assert!(within("x", f64::NAN, range).is_err() && within("x", f64::INFINITY, range).is_err());
        assert_eq!(within("x", 1.0, range), Ok(()));
    }

    #[test]
    fn combinations_of_parameters_are_checked() {
        assert_eq!(rejected(|_| ()), None);
        assert_eq!(rejected(|truth| truth.manifold.volume_m3 = 0.03), Some("manifold.volume_m3"));
        assert_eq!(rejected(|truth| truth.injectors.delay_v[2] = 8.05), Some("injectors.delay_v"));
        assert_eq!(
            rejected(|truth| truth.filling.speed_rad_per_s[1] = 53.0),
            Some("filling.speed_rad_per_s")
        );
        assert_eq!(rejected(|truth| truth.sensors.tp_limits_v = [4.8, 0.2]), Some("sensors.tp_limits_v"));
        let turning_back = [0.7, 0.9, 0.8, 1.0, 1.1, 1.2].map(|lambda| (2.0 * lambda, lambda));
        assert_eq!(rejected(|truth| truth.sensors.lambda = turning_back), Some("sensors.lambda"));
        let falling = [1.2, 1.1, 1.0, 0.9, 0.8, 0.7].map(|lambda| (3.0 - 2.0 * lambda, lambda));
        assert_eq!(rejected(|truth| truth.sensors.lambda = falling), None);
    }

    #[test]
    fn arrays_are_as_long_as_the_largest_allowed_count() {
        let truth = Truth::DEFAULT;
        let infos = || truth.blocks().into_iter().flat_map(|block| block.info());
        let most = |path| infos().find(|info| info.path == path).map(|info| info.range.max as usize);
        assert_eq!(most("engine.cylinders"), Some(crate::MAX_CYLINDERS));
        assert_eq!(most("gearbox.gears"), Some(crate::MAX_GEARS));
        assert_eq!(most("injectors.count"), Some(trimwright_signals::MAX_INJECTORS));
    }

    #[test]
    fn every_parameter_has_a_source_and_a_default_in_its_range() {
        let truth = Truth::DEFAULT;
        let mut count = 0;
        for block in truth.blocks() {
            for (place, info) in block.info().iter().enumerate() {
                count += 1;
                assert!(!info.source.is_empty() && info.about.ends_with('.'), "{}", info.path);
                assert!(!info.range.unit.is_empty() && info.range.min < info.range.max, "{}", info.path);
                assert!(block.value(place).is_some_and(|value| info.check(value).is_ok()), "{}", info.path);
            }
        }
        assert!(count > 180, "{count}");
    }
}
