//! Checks of sensor curves beyond the ranges of their points.

use crate::block_reader::{Scalar, key_of};
use crate::document::{Document, inside};
use crate::error::InputError;
use toml_edit::Value as Toml;
use trimwright_numerics::parameters::{Block, Value};

/// Rejects a voltage curve that is constant or reverses its direction, and thermistor resistances that do not fall, as far as the file
/// gives them.
pub(crate) fn check<T: Scalar>(
    document: &Document,
    section: &str,
    sensors: &dyn Block<T>,
) -> Result<(), InputError> {
    for (place, info) in sensors.info().iter().enumerate() {
        let (Some(Value::Curve(points)), Some(name)) = (sensors.value(place), key_of(info, &[])) else {
            continue;
        };
        let key = inside(section, name);
        let Some(written) = document.value(&key, None)?.and_then(Toml::as_array) else { continue };
        let values: Vec<T> = points.iter().take(written.len()).map(|(_, value)| *value).collect();
        let (Some(&first), Some(&last)) = (values.first(), values.last()) else { continue };
        let thermistor = info.range.unit == "ohm";
        if first == last && !thermistor {
            return Err(document.wrong(&key, "must end at another value than it begins with"));
        }
        for (index, pair) in values.windows(2).enumerate() {
            let (before, value) = (pair[0], pair[1]);
            let (wrong, must) = match (thermistor, last > first) {
                (true, _) => (value >= before, "must be below"),
                (false, true) => (value < before, "must not be below"),
                (false, false) => (value > before, "must not be above"),
            };
            let at = |index| written.get(index).and_then(Toml::as_array).and_then(|point| point.get(1));
            if let (true, Some(before), Some(value)) = (wrong, at(index), at(index + 1)) {
                let why = if thermistor { "a thermistor's resistance falls" } else { "a curve is monotonic" };
                let problem = format!(
                    "{must} that of the point before it, which is {}: {why}",
                    document.written(before)
                );
                return Err(document.wrong_inside(&format!("{key}, point {}", index + 2), value, problem));
            }
        }
    }
    Ok(())
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::block_reader;
    use trimwright_control::parameters::SensorParameters;
    use trimwright_plant::Sensors;

    /// Error about a line below `[sensors]`; the controller's and the engine's must agree.
    fn message(line: &str) -> Option<String> {
        fn of<T: Scalar>(text: &str, sensors: &mut dyn Block<T>) -> Option<String> {
            let document = Document::parse("car.toml", text).expect("TOML");
            block_reader::read(&document, "", sensors, &[]).expect("in range");
            check(&document, "", sensors).err().map(|error| error.to_string())
        }
        let text = format!("[sensors]\n{line}\n");
        let (controller, engine) =
            (of(&text, &mut SensorParameters::DEFAULT.clone()), of(&text, &mut Sensors::DEFAULT.clone()));
        assert_eq!(controller, engine);
        controller
    }

    #[test]
    fn curves_go_one_way_and_thermistors_fall() {
        for line in [
            "",
            "lambda = [[\"0 V\", 1.5], [\"5 V\", 0.5]]",
            "tp = [[\"1 V\", 0], [\"2 V\", 0], [\"4 V\", 1]]",
            "ect_points = [[\"0 degC\", \"9 kohm\"], [\"50 degC\", \"1 kohm\"], [\"100 degC\", \"300 ohm\"]]",
        ] {
            assert_eq!(message(line), None, "{line}");
        }
        for (line, problem) in [
            (
                "map = [[\"0.4 V\", \"15 kPa\"], [\"2 V\", \"115 kPa\"], [\"4.65 V\", \"20 kPa\"]]",
                "sensors.map, point 3 = \"20 kPa\": must not be below that of the point before it, which is \"115 kPa\": a curve is monotonic",
            ),
            (
                "lambda = [[\"0 V\", 1.3], [\"1 V\", 1.4], [\"5 V\", 0.7]]",
                "sensors.lambda, point 2 = 1.4: must not be above that of the point before it, which is 1.3: a curve is monotonic",
            ),
            (
                "lambda = [[\"0 V\", 1], [\"5 V\", 1.0]]",
                "sensors.lambda = [[\"0 V\", 1], [\"5 V\", 1.0]]: must end at another value than it begins with",
            ),
            (
                "iat_points = [[\"0 degC\", \"9 kohm\"], [\"100 degC\", \"9 kohm\"]]",
                "sensors.iat_points, point 2 = \"9 kohm\": must be below that of the point before it, which is \"9 kohm\": \
                 a thermistor's resistance falls",
            ),
        ] {
            assert_eq!(message(line), Some(format!("car.toml, line 2, {problem}")));
        }
    }
}
