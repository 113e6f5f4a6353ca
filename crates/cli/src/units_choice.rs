//! The option `--units`.

use clap::builder::{PossibleValue, PossibleValuesParser, TypedValueParser};
use trimwright_harness::units::UnitSystem;

/// Parser of the name of a system of units.
pub(crate) fn units() -> impl TypedValueParser<Value = UnitSystem> {
    let about = |system: UnitSystem| {
        system.pick(
            "Kilometres, litres, kilopascals, degrees Celsius",
            "Miles, US gallons, pounds to the square inch, degrees Fahrenheit",
        )
    };
    let choices = UnitSystem::ALL.map(|system| PossibleValue::new(system.name()).help(about(system)));
    PossibleValuesParser::new(choices).map(|name| UnitSystem::named(&name).unwrap_or_default())
}
