//! Explanations of the reasons for which a reading of the oxygen sensor is rejected.

const REASONS: &[(&str, &str)] = &[
    ("starting", "the engine was stopped, cranking or had just started"),
    ("cold", "the coolant was cold, so fuel film and mixture differed from those of a warm engine"),
    ("fuel cut", "no fuel was injected, so lambda does not depend on the map"),
    ("transient", "load or speed was changing, so fuel film and sensor lag masked the error of the map"),
    ("wanted moving", "the wanted mixture was changing"),
    ("sensor not ready", "the oxygen sensor was still heating up, or its reading was invalid"),
    ("reading at end", "lambda was outside the range of the sensor"),
    ("too long ago", "the fuel of the gas at the sensor was injected before the recorded history"),
    ("authority", "the cell or the trim was at its authority limit"),
    ("volts", "the supply voltage was outside the range in which injector flow is known"),
    ("substituted", "a sensor had failed and its value was a substitute"),
    ("duty limit", "the injectors were at their duty limit and delivered less than commanded"),
    ("nitrous", "nitrous oxide was flowing"),
    ("guard", "the lean guard had changed the mixture"),
    ("upstream air", "the self-check found air entering the exhaust upstream of the sensor"),
    ("checking", "the self-check was varying the fuel and the trim was frozen"),
    ("rail pressure", "the rail pressure was far from the one asked for"),
    ("film overflows", "the wall film evaporated more fuel than wanted, as after closing the throttle"),
];

/// Letters only, so that `FuelCut`, `fuel_cut` and `fuel cut` are the same reason.
fn letters(name: &str) -> impl Iterator<Item = char> + '_ {
    name.chars().filter(|sign| sign.is_ascii_alphabetic()).map(|sign| sign.to_ascii_lowercase())
}

/// Explanation of a reason; empty for an unknown one.
pub(crate) fn meaning(reason: &str) -> &'static str {
    REASONS.iter().find(|(name, _)| letters(name).eq(letters(reason))).map_or("", |&(_, meaning)| meaning)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_reason_is_found_in_any_spelling() {
        for name in ["fuel_cut", "FuelCut", "fuel cut", "FUEL-CUT"] {
            assert_eq!(meaning(name), "no fuel was injected, so lambda does not depend on the map");
        }
        assert_eq!(meaning("full moon"), "");
    }
}
