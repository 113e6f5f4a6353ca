//! Why a reading of the oxygen sensor is not taken as a lesson, in words for an owner.

const REASONS: &[(&str, &str)] = &[
    ("starting", "the engine stood, was cranking or had only just started"),
    ("cold", "the coolant was cold, so the fuel film and the sensor's mixture weren't those of the map"),
    ("fuel cut", "no fuel was given, so lambda says nothing about it"),
    ("transient", "load or speed was changing, so fuel film and sensor lag hid the map's own error"),
    ("wanted moving", "the wanted mixture was changing"),
    ("sensor not ready", "the oxygen sensor was still heating up, or its reading wasn't believed"),
    ("reading at end", "lambda was beyond what the sensor can read"),
    ("too long ago", "the gas at the sensor was injected longer ago than is remembered"),
    ("authority", "the cell or the trim was already as far from the first calibration as it may go"),
    ("volts", "the supply voltage was too low or too high to trust the injectors' flow"),
    ("substituted", "a sensor had failed and its value was a substitute"),
    ("duty limit", "the injectors were open as long as they may be, so they gave less than was asked for"),
    ("nitrous", "nitrous oxide was flowing"),
    ("guard", "a guard that protects the engine had changed the mixture"),
    ("upstream air", "the self-check found air entering the exhaust ahead of the sensor"),
    ("checking", "the self-check was moving the fuel up and down, and the trim stood still meanwhile"),
    ("film overflows", "the wall film gave off more fuel than was wanted, as after the throttle was closed"),
];

/// Letters only, so that `FuelCut`, `fuel_cut` and `fuel cut` are the same reason.
fn letters(name: &str) -> impl Iterator<Item = char> + '_ {
    name.chars().filter(|sign| sign.is_ascii_alphabetic()).map(|sign| sign.to_ascii_lowercase())
}

/// What `reason` means; empty for a reason that isn't known here.
pub(crate) fn meaning(reason: &str) -> &'static str {
    REASONS.iter().find(|(name, _)| letters(name).eq(letters(reason))).map_or("", |&(_, meaning)| meaning)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_reason_is_known_however_it_is_written() {
        for name in ["fuel_cut", "FuelCut", "fuel cut", "FUEL-CUT"] {
            assert_eq!(meaning(name), "no fuel was given, so lambda says nothing about it");
        }
        assert_eq!(meaning("full moon"), "");
    }
}
