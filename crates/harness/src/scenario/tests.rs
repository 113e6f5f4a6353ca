use super::*;
use proptest::prelude::*;
use std::path::Path;
use trimwright_control::sensing::Sender;

const VAN: &str = include_str!("../../shared/scenarios/delivery-van.toml");
const ENGINE: &str = include_str!("../../shared/engines/van-v8.toml");

fn parse(text: &str) -> Result<Scenario, InputError> {
    Scenario::parse(&Source {
        name: "van".to_owned(),
        file: "van.toml".to_owned(),
        text: text.to_owned(),
        directory: None,
    })
}

fn rejected(text: &str) -> String {
    parse(text).expect_err("rejected").to_string()
}

fn van() -> Scenario {
    parse(VAN).expect("the shipped scenario")
}

/// FNV-1a of "", "a" and "foobar": test vectors of the algorithm's authors, from memory.
#[test]
fn val_hash_of_known_texts() {
    for (text, hash) in
        [("", 0xcbf2_9ce4_8422_2325), ("a", 0xaf63_dc4c_8601_ec8c), ("foobar", 0x8594_4171_f739_67e8)]
    {
        let mut fnv = Fnv::new();
        fnv.write_str(text).expect("any text");
        assert_eq!(fnv.0, hash);
    }
}

#[test]
fn every_shipped_scenario_loads() {
    for shipped in crate::shipped::SCENARIOS {
        let scenario = Scenario::load(shipped.name).expect("valid");
        assert_eq!(scenario.name, shipped.name);
        assert!(!scenario.title.is_empty() && !scenario.about.is_empty());
    }
}

#[test]
fn the_van_is_as_in_its_files() {
    let van = van();
    assert!((van.truth.engine.displacement_m3 - 5.2e-3).abs() < 1e-12);
    assert!((f64::from(van.answers.displacement_m3) - 318.0 * 0.0254_f64.powi(3)).abs() < 1e-8);
    let box_kg_per_s = 60.0 * 0.453_592_37 / 3600.0;
    assert!((van.truth.injectors.static_flow_kg_per_s / box_kg_per_s - 0.96).abs() < 1e-6);
    assert!((van.truth.injectors.delay_s[3] - 1.03e-3).abs() < 1e-12);
    assert!((van.truth.oxygen_sensor.tau_s - 0.0975).abs() < 1e-12);
    assert_eq!((van.truth.filling.deviation, van.truth.filling.deviation_seed), (0.15, 6));
    assert_eq!((van.passes, van.schedule.name()), (2, "udds"));
}

#[test]
fn the_hash_follows_what_is_driven_and_not_how_it_is_written() {
    let van = van();
    assert_eq!(van.hash(), parse(&format!("{VAN}\n# a remark\n")).expect("valid").hash());
    assert_eq!(van.hash().len(), 16);
    let others = [
        Scenario { seed: 2, ..van.clone() }.hash(),
        Scenario { passes: 3, ..van.clone() }.hash(),
        van.clone().with_schedule("hwfet").expect("shipped").hash(),
        parse(&VAN.replace("-4 %", "-3 %")).expect("valid").hash(),
        parse(&VAN.replace("318 cu in", "317 cu in")).expect("valid").hash(),
    ];
    for (index, other) in others.iter().enumerate() {
        assert!(*other != van.hash() && !others[..index].contains(other), "{index}");
    }
}

#[test]
fn errors_name_file_line_key_and_range() {
    let line = |needle: &str| VAN.lines().position(|line| line.contains(needle)).expect("there") + 1;
    assert_eq!(
        rejected(&VAN.replace("\"318 cu in\"", "\"318 psi\"")),
        format!(
            "van.toml, line {}, setup.displacement = \"318 psi\": is not a volume, which is written in one of the units L, \
             l, cu in, in3, cc, cm3, mL, m3, gal",
            line("318 cu in")
        )
    );
    assert_eq!(
        rejected(&VAN.replace("compression_ratio = 8.8", "compression_ratio = 88")),
        format!(
            "van.toml, line {}, setup.compression_ratio = 88: must be between 6 and 14",
            line("compression_ratio")
        )
    );
    assert_eq!(
        rejected(&VAN.replace("idle_speed", "idle_sped")),
        format!(
            "van.toml, line {}, setup.idle_sped: is not a known key; did you mean setup.idle_speed?",
            line("idle_speed")
        )
    );
    assert_eq!(
        rejected(&VAN.replace("injector_flow = \"-4 %\"", "injector_flow = \"-60 %\"")),
        format!(
            "van.toml, line {}, deviations.injector_flow = \"-60 %\": must be between -50% and 50%",
            line("\"-4 %\"")
        )
    );
    assert!(
        rejected(&VAN.replace("cylinders = 8", ""))
            .ends_with("setup.cylinders: is missing and has to be given")
    );
    assert!(
        rejected(&VAN.replace("\"udds\"", "\"moon\""))
            .contains("schedule = \"moon\": no schedule of this name")
    );
    assert_eq!(
        rejected(&VAN.replace("\"udds\"", "\"nope.csv\"")),
        format!(
            "van.toml, line {}, schedule = \"nope.csv\": can't be read: No such file or directory (os error 2)",
            line("\"udds\"")
        )
    );
    let truth = format!("{VAN}\n[truth.vehicle]\nmass = \"90 lb\"\n");
    assert!(
        rejected(&truth).ends_with("truth.vehicle.mass = \"90 lb\": must be between 662 lb and 44000 lb")
    );
}

#[test]
fn texts_hold_no_control_characters() {
    let about = VAN.replace("about = \"\"\"", "about = \"\"\"\\u001b]0;title\\u0007");
    for (text, key) in [
        ("title = \"\\u001b[2Jclean\"\n".to_owned(), "line 1, title"),
        ("title = \"two\\nlines\"\n".to_owned(), "line 1, title"),
        (about, "about"),
    ] {
        let message = rejected(&text);
        assert!(message.contains(key) && message.contains("must not hold control characters"), "{message}");
        assert!(!message.chars().any(char::is_control), "{message:?}");
    }
}

#[test]
fn a_fault_that_would_never_be_there_is_rejected() {
    let fault = |from: &str| format!("{VAN}\n[[fault]]\nkind = \"map_open\"\nfrom = \"{from}\"\n");
    let lines = VAN.lines().count();
    // Twice 1369 s.
    assert_eq!(
        rejected(&fault("1 h")),
        format!(
            "van.toml, line {}, fault.1.from = \"1 h\": must be before the end of the drive, which lasts 2738 s",
            lines + 4
        )
    );
    let late = parse(&fault("40 min")).expect("in the second pass");
    assert_eq!(late.check_length(), Ok(()));
    assert_eq!(
        late.with_passes(1).check_length().expect_err("rejected").to_string(),
        "van, fault.1.from = 2400 s: must be before the end of the drive, which lasts 1369 s"
    );
}

#[test]
fn a_ratio_that_is_no_number_is_rejected_wherever_it_stands() {
    let engine = |section: &str| format!("{VAN}\n[truth]\n{section} = nan\n");
    let document = Document::parse("empty.toml", "").expect("TOML");
    scenario_engine::read(&document, "truth", &mut Truth::mild_v8()).expect("nothing to read");
    let ratios = document.keys_of(Kind::Ratio);
    assert!(ratios.len() > 40, "{}", ratios.len());
    for key in &ratios {
        let message = rejected(&engine(key.trim_start_matches("truth.")));
        assert!(message.contains(key.as_str()), "{key}: {message}");
    }
}

#[test]
fn ident_every_limit_that_is_printed_is_allowed() {
    let document = Document::parse("empty.toml", "").expect("TOML");
    scenario_engine::read(&document, "truth", &mut Truth::mild_v8()).expect("nothing to read");
    // Deviations would add to the limits.
    let (van, _) = VAN.split_once("[deviations]").expect("the last section");
    let given = |key: &str, value: &str| {
        format!("{van}\n[truth]\n{} = \"{value}\"\n", key.trim_start_matches("truth."))
    };
    // Errors about this key only; together with other keys another one may be rejected.
    let refusal = |key: &str, value: &str| {
        let message = parse(&given(key, value)).err()?.to_string();
        let of_a_clutch = message.contains("the other kind of coupling");
        (message.contains(&format!("{key} = ")) && !of_a_clutch).then_some(message)
    };
    let range = |message: &str| Some(message.split_once("must be between ")?.1.to_owned());
    let mut tried = 0;
    for kind in Kind::ALL {
        let spellings = kind.spellings();
        for key in document.keys_of(kind) {
            for (spelling, _) in [spellings[0], spellings[spellings.len() - 1]] {
                let message = refusal(&key, &format!("1e12 {spelling}"));
                let Some(wide) = message.as_deref().and_then(range) else { continue };
                // The manifold's volume is checked against its range first, then against the displacement.
                let mut rejected = wide.split(" and ").filter_map(|limit| refusal(&key, limit));
                let narrow = rejected.find_map(|message| range(&message));
                for limit in narrow.as_deref().unwrap_or(&wide).split(" and ") {
                    tried += 1;
                    assert_eq!(refusal(&key, limit), None, "{wide}");
                }
            }
        }
    }
    assert!(tried > 400, "{tried}");
}

#[test]
fn parameters_of_the_controller_are_set_by_hand() {
    let text = format!(
        "{VAN}\n[calibration.feedback]\nhold = \"1 min\"\nauthority_ln = 0.1\n[calibration.sensors]\npulses_per_firing = 2\n\
         ect_sender = \"points\"\nect_points = [[\"0 degC\", \"6 kohm\"], [\"212 degF\", \"180 ohm\"]]\n\
         iat_coefficients = [1.1e-3, 2.4e-4, 0, 8e-8]\nlambda = [[\"0 V\", 0.7], [\"5 V\", \"130 %\"]]\n"
    );
    let set = parse(&text).expect("valid");
    let calibration = set.calibration().expect("in range");
    let parameters = calibration.parameters();
    assert_eq!((parameters.feedback.hold_s, parameters.feedback.authority_ln), (60.0, 0.1));
    assert_eq!((parameters.sensors.pulses_per_firing, parameters.sensors.ect_sender), (2, Sender::Points));
    assert_eq!(parameters.sensors.ect_points_ohm[..3], [(273.15, 6000.0), (373.15, 180.0), (373.15, 180.0)]);
    assert_eq!(parameters.sensors.iat_coefficients, [1.1e-3, 2.4e-4, 0.0, 8e-8]);
    assert_eq!(parameters.sensors.lambda[..2], [(0.0, 0.7), (5.0, 1.3)]);
    assert_eq!(parameters.injector, Parameters::DEFAULT.injector);
    assert!(set.hash() != van().hash());
    let as_it_is = parse(&format!("{VAN}\n[calibration.feedback]\nhold = \"10 s\"\n")).expect("valid");
    assert_eq!((as_it_is.hash(), as_it_is), (van().hash(), van()), "what changes nothing is nothing");
}

#[test]
fn errors_of_parameters_are_like_all_others() {
    let lines = VAN.lines().count();
    for (section, message) in [
        ("feedback]\nhold = \"700 s\"", "feedback.hold = \"700 s\": must be between 0 s and 600 s"),
        (
            "feedback]\nhodl = \"7 s\"",
            "feedback.hodl: is not a known key; did you mean calibration.feedback.hold?",
        ),
        (
            "feedbak]\nhold = \"7 s\"",
            "feedbak.hold: is not a known key; did you mean calibration.feedback.hold?",
        ),
        (
            "sensors]\npulses_per_firing = 9",
            "sensors.pulses_per_firing = 9: must be a whole number between 1 and 4",
        ),
    ] {
        assert_eq!(
            rejected(&format!("{VAN}\n[calibration.{section}\n")),
            format!("van.toml, line {}, calibration.{message}", lines + 3)
        );
    }
}

#[test]
fn a_run_longer_than_two_days_is_rejected() {
    let text = "time [h],speed [m/s]\n0,0\n20,0\n";
    let schedule = Schedule::parse("day", "day.csv", text).expect("valid");
    let long = Scenario { schedule, ..van() };
    assert_eq!(long.check_length(), Ok(()));
    assert_eq!(
        long.with_passes(3).check_length().expect_err("rejected").to_string(),
        "van, passes = 3: is too many; day fits 2 times into the 48 h that a run may last"
    );
}

#[test]
fn the_scenario_overrules_the_engine() {
    let scenario = parse(&format!("{VAN}\n[truth.ambient]\naltitude = \"5280 ft\"\n")).expect("valid");
    assert!((scenario.truth.ambient.altitude_m - 1609.344).abs() < 1e-9);
}

#[test]
fn files_are_found_beside_the_scenario_and_errors_in_the_engine_name_its_file() {
    let home = tempfile::tempdir().expect("a place");
    let put = |name: &str, text: &str| std::fs::write(home.path().join(name), text).expect("written");
    put("own.toml", &VAN.replace("\"van-v8\"", "\"engine.toml\"").replace("\"udds\"", "\"trip.csv\""));
    put("engine.toml", ENGINE);
    put("trip.csv", "time [s],speed [km/h]\n0,0\n60,50\n");
    let path = home.path().join("own.toml");
    let load = || Scenario::load(path.to_str().expect("UTF-8"));
    let own = load().expect("valid");
    assert_eq!((own.name.as_str(), own.schedule.name(), own.truth), ("own", "trip", van().truth));
    put("engine.toml", &ENGINE.replace("mass = \"2300 kg\"", "mass = \"23 kg\""));
    let message = load().expect_err("rejected").to_string();
    let file = Path::new("engine.toml");
    assert!(message.starts_with(&home.path().join(file).display().to_string()), "{message}");
    assert!(message.ends_with("vehicle.mass = \"23 kg\": must be between 300 kg and 20000 kg"), "{message}");
}

proptest! {
    #![proptest_config(ProptestConfig::with_cases(200))]

    /// A shipped scenario with a piece cut out, doubled or replaced is read, or rejected with its file's name.
    #[test]
    fn mutated_scenarios_are_read_or_rejected(at in 0..VAN.len(), length in 0..40_usize, instead in "\\PC{0,12}", double: bool) {
        let end = (at + length).min(VAN.len());
        let (Some(head), Some(piece), Some(tail)) = (VAN.get(..at), VAN.get(at..end), VAN.get(end..)) else {
            return Ok(());
        };
        let mutated = if double { format!("{head}{piece}{piece}{tail}") } else { format!("{head}{instead}{tail}") };
        match parse(&mutated) {
            Ok(scenario) => prop_assert!(scenario.truth.check().is_ok() && scenario.answers.check().is_ok()),
            Err(error) => prop_assert!(error.to_string().contains(".toml"), "{}", error),
        }
    }

    #[test]
    fn any_text_is_read_or_rejected(text in any::<String>()) {
        if let Err(error) = parse(&text) {
            prop_assert!(error.to_string().starts_with("van.toml"));
        }
    }
}
