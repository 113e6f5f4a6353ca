//! The owner's answers, from the section `[setup]` of a scenario.
//!
//! A key is the name of the field of [`SetupAnswers`] without its unit.

use crate::document::{Document, quantities};
use crate::error::InputError;
use trimwright_control::{AnswerError, Cam, FuelSystem, SetupAnswers};

/// The answers without which no first calibration can be made; for the others there are customary values.
pub(crate) const REQUIRED: &[&str] = &[
    "setup.displacement",
    "setup.cylinders",
    "setup.cam",
    "setup.compression_ratio",
    "setup.injectors",
    "setup.injector_flow",
    "setup.injector_rated_pressure",
    "setup.rail_pressure",
];

const CAMS: &[(&str, Cam)] = &[("stock", Cam::Stock), ("mild", Cam::Mild), ("hot", Cam::Hot)];
const FUEL_SYSTEMS: &[(&str, FuelSystem)] =
    &[("return", FuelSystem::Return), ("returnless", FuelSystem::Returnless)];
const BYTE: (i64, i64) = (0, 255);

/// Reads the answers; what isn't given stays as [`SetupAnswers::default`] has it.
pub(crate) fn read(document: &Document) -> Result<SetupAnswers, InputError> {
    let mut setup = SetupAnswers::default();
    document.whole("setup.cylinders", BYTE, &mut setup.cylinders)?;
    document.whole("setup.injectors", BYTE, &mut setup.injectors)?;
    document.choice("setup.cam", CAMS, &mut setup.cam)?;
    document.choice("setup.fuel_system", FUEL_SYSTEMS, &mut setup.fuel_system)?;
    document.flag("setup.controls_spark", &mut setup.controls_spark)?;
    document.flag("setup.controls_fans", &mut setup.controls_fans)?;
    document.flag("setup.nitrous", &mut setup.nitrous)?;
    quantities!(document, "setup", setup, {
        displacement_m3: Volume,
        compression_ratio: Ratio,
        injector_flow_kg_per_s: MassRate,
        injector_rated_pressure_pa: Pressure,
        rail_pressure_pa: Pressure,
        stoich_afr: Ratio,
        idle_speed_rad_per_s: Rotation,
        rev_limit_rad_per_s: Rotation,
        fan1_on_k: Temperature,
        fan2_on_k: Temperature,
        nitrous_flow_kg_per_s: MassRate,
    });
    Ok(setup)
}

/// Checks the answers and says which line of the document is out of range.
pub(crate) fn check(document: &Document, answers: &SetupAnswers) -> Result<(), InputError> {
    answers.check().map_err(|AnswerError { answer, value, low, high }| {
        document.out_of_range(&format!("setup.{answer}"), decimal(value), decimal(low), decimal(high))
    })
}

/// The number that a single-precision constant was written as.
fn decimal(value: f32) -> f64 {
    value.to_string().parse().unwrap_or(f64::NAN)
}

#[cfg(test)]
mod tests {
    use super::*;

    fn document(setup: &str) -> Document {
        Document::parse("van.toml", &format!("[setup]\n{setup}")).expect("TOML")
    }

    #[test]
    fn every_answer_out_of_range_is_named_by_its_key_and_in_its_unit() {
        for (written, message) in [
            (
                "displacement = \"1000 cu in\"",
                "setup.displacement = \"1000 cu in\": must be between 30.5119 cu in and 610.238 cu in",
            ),
            ("cylinders = 12", "setup.cylinders = 12: must be between 1 and 8"),
            ("compression_ratio = 30", "setup.compression_ratio = 30: must be between 6 and 14"),
            ("injectors = 0", "setup.injectors = 0: must be between 1 and 8"),
            ("injector_flow = \"1 g/s\"", ""),
            (
                "injector_flow = \"0.1 g/s\"",
                "setup.injector_flow = \"0.1 g/s\": must be between 0.5 g/s and 30 g/s",
            ),
            (
                "rail_pressure = \"5 psi\"",
                "setup.rail_pressure = \"5 psi\": must be between 7.25189 psi and 87.0226 psi",
            ),
            ("stoich_afr = 2.0", "setup.stoich_afr = 2.0: must be between 8.9 and 15.2"),
            (
                "idle_speed = \"60 rpm\"",
                "setup.idle_speed = \"60 rpm\": must be between 429.718 rpm and 1527.89 rpm",
            ),
            (
                "fan1_on = \"20 degC\"",
                "setup.fan1_on = \"20 degC\": must be between 56.85 degC and 116.85 degC",
            ),
            (
                "nitrous_flow = \"1 kg/s\"",
                "setup.nitrous_flow = \"1 kg/s\": must be between 0.005 kg/s and 0.2 kg/s",
            ),
        ] {
            let document = document(written);
            let answers = read(&document).expect("readable");
            match check(&document, &answers) {
                Ok(()) => assert!(message.is_empty(), "{written} is allowed"),
                Err(error) => assert_eq!(error.to_string(), format!("van.toml, line 2, {message}")),
            }
        }
    }

    #[test]
    fn answers_arrive_in_si() {
        let text = "displacement = \"5 L\"\ncylinders = 6\ncam = \"hot\"\nfuel_system = \"returnless\"\nnitrous = true\n\
            controls_spark = false\nrev_limit = \"5400 rpm\"\nfan2_on = \"180 degF\"\n";
        let document = document(text);
        let answers = read(&document).expect("readable");
        assert_eq!((answers.displacement_m3, answers.cylinders, answers.cam), (5e-3, 6, Cam::Hot));
        assert_eq!((answers.fuel_system, answers.nitrous), (FuelSystem::Returnless, true));
        assert!(!answers.controls_spark && answers.controls_fans);
        assert!((answers.rev_limit_rad_per_s - 565.486_7).abs() < 1e-3);
        assert!((answers.fan2_on_k - 355.372).abs() < 1e-3);
        assert_eq!(document.finish(&[]), Ok(()));
    }

    #[test]
    fn what_is_no_answer_is_refused() {
        let refused = |text: &str| read(&document(text)).expect_err("refused").to_string();
        assert!(refused("cam = \"wild\"").ends_with("must be one of \"stock\", \"mild\", \"hot\""));
        assert!(refused("cylinders = 1000").ends_with("must be a whole number between 0 and 255"));
        assert!(refused("displacement = 5.2").contains("needs a unit, one of L, l, cu in"));
    }
}
