//! The owner's answers from section `[setup]` of a scenario.
//!
//! Keys are the fields of [`SetupAnswers`] without their units.

use crate::block_reader;
use crate::document::{Document, decimal};
use crate::error::InputError;
use crate::units::Kind;
use trimwright_control::SetupAnswers;

/// Answers required for a first calibration; the others have customary defaults.
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

/// Reads the answers; those not given are as in [`SetupAnswers::default`].
pub(crate) fn read(document: &Document) -> Result<SetupAnswers, InputError> {
    let mut setup = SetupAnswers::DEFAULT;
    block_reader::read(document, "", &mut setup, &[])?;
    Ok(setup)
}

/// Checks answers that depend on each other.
pub(crate) fn check(document: &Document, answers: &SetupAnswers) -> Result<(), InputError> {
    if !answers.controls_fans || answers.fan2_on_k >= answers.fan1_on_k {
        return Ok(());
    }
    // Each in the unit in which it is written.
    let first = document.shown("setup.fan1_on", Kind::Temperature, decimal(answers.fan1_on_k));
    let second = document.shown("setup.fan2_on", Kind::Temperature, decimal(answers.fan2_on_k));
    let (key, problem) = if document.has("setup.fan2_on") {
        (
            "setup.fan2_on",
            format!(
                "must not be below setup.fan1_on, which is {first}: the second fan comes on after the first"
            ),
        )
    } else {
        (
            "setup.fan1_on",
            format!(
                "must not be above setup.fan2_on, which is {second} when not given: the second fan comes on after the first"
            ),
        )
    };
    Err(document.wrong(key, problem))
}

#[cfg(test)]
mod tests {
    use super::*;
    use trimwright_control::{Cam, FuelSystemType};

    fn document(setup: &str) -> Document {
        Document::parse("van.toml", &format!("[setup]\n{setup}")).expect("TOML")
    }

    #[test]
    fn every_answer_out_of_range_is_named_by_its_key_and_in_its_unit() {
        for (written, message) in [
            (
                "displacement = \"1000 cu in\"",
                "setup.displacement = \"1000 cu in\": must be between 30.6 cu in and 610 cu in",
            ),
            ("compression_ratio = 30", "setup.compression_ratio = 30: must be between 6 and 14"),
            ("compression_ratio = nan", "setup.compression_ratio = nan: must be between 6 and 14"),
            ("stoich_afr = -inf", "setup.stoich_afr = -inf: must be between 8.9 and 15.2"),
            ("injector_flow = \"1 g/s\"", ""),
            (
                "injector_flow = \"0.1 g/s\"",
                "setup.injector_flow = \"0.1 g/s\": must be between 0.5 g/s and 30 g/s",
            ),
            (
                "rail_pressure = \"5 psi\"",
                "setup.rail_pressure = \"5 psi\": must be between 7.26 psi and 87 psi",
            ),
            ("stoich_afr = 2.0", "setup.stoich_afr = 2.0: must be between 8.9 and 15.2"),
            (
                "idle_speed = \"60 rpm\"",
                "setup.idle_speed = \"60 rpm\": must be between 430 rpm and 1520 rpm",
            ),
            ("fan1_on = \"20 degC\"", "setup.fan1_on = \"20 degC\": must be between 56.9 degC and 116 degC"),
            (
                "nitrous_flow = \"1 kg/s\"",
                "setup.nitrous_flow = \"1 kg/s\": must be between 0.005 kg/s and 0.2 kg/s",
            ),
        ] {
            match read(&document(written)) {
                Ok(_) => assert!(message.is_empty(), "{written} is allowed"),
                Err(error) => assert_eq!(error.to_string(), format!("van.toml, line 2, {message}")),
            }
        }
    }

    #[test]
    fn the_second_fan_does_not_come_on_before_the_first() {
        let checked = |setup: &str| {
            let document = document(setup);
            read(&document).and_then(|answers| check(&document, &answers)).map_err(|error| error.to_string())
        };
        let both = "fan1_on = \"195 degF\"\nfan2_on = \"180 degF\"\n";
        assert_eq!(
            checked(both),
            Err("van.toml, line 3, setup.fan2_on = \"180 degF\": must not be below setup.fan1_on, which is 195 degF: the second \
                 fan comes on after the first"
                .to_owned())
        );
        assert_eq!(
            checked("fan1_on = \"100 degC\"\n"),
            Err("van.toml, line 2, setup.fan1_on = \"100 degC\": must not be above setup.fan2_on, which is 95.85 degC when not \
                 given: the second fan comes on after the first"
                .to_owned())
        );
        assert_eq!(checked(&format!("{both}controls_fans = false\n")), Ok(()));
        assert_eq!(checked("fan1_on = \"190 degF\"\nfan2_on = \"190 degF\"\n"), Ok(()));
    }

    #[test]
    fn answers_arrive_in_si() {
        let text = "displacement = \"5 L\"\ncylinders = 6\ncam = \"hot\"\nfuel_system = \"returnless\"\nnitrous = true\n\
            controls_spark = false\nrev_limit = \"5400 rpm\"\nfan2_on = \"180 degF\"\n";
        let document = document(text);
        let answers = read(&document).expect("readable");
        assert_eq!((answers.displacement_m3, answers.cylinders, answers.cam), (5e-3, 6, Cam::Hot));
        assert_eq!((answers.fuel_system, answers.nitrous), (FuelSystemType::Returnless, true));
        assert!(!answers.controls_spark && answers.controls_fans);
        assert!((answers.rev_limit_rad_per_s - 565.486_7).abs() < 1e-3);
        assert!((answers.fan2_on_k - 355.372).abs() < 1e-3);
        assert_eq!(document.finish(&[]), Ok(()));
    }

    #[test]
    fn what_is_no_answer_is_rejected() {
        let rejected = |text: &str| read(&document(text)).expect_err("rejected").to_string();
        assert!(rejected("cam = \"wild\"").ends_with("must be one of \"stock\", \"mild\", \"hot\""));
        for count in ["0", "8.5", "9", "1000", "nan", "\"8\""] {
            for answer in ["cylinders", "injectors"] {
                assert_eq!(
                    rejected(&format!("{answer} = {count}")),
                    format!(
                        "van.toml, line 2, setup.{answer} = {count}: must be a whole number between 1 and 8"
                    )
                );
            }
        }
        assert!(rejected("displacement = 5.2").contains("needs a unit, one of L, l, cu in"));
    }
}
