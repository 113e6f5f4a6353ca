use super::*;
use proptest::prelude::*;

fn si(kind: Kind, text: &str) -> f64 {
    parse(kind, text).unwrap_or_else(|error| panic!("{text}: {error}")).si
}

fn close(got: f64, want: f64, relative: f64) {
    assert!((got - want).abs() <= relative * want.abs(), "{got} against {want}");
}

/// Exact definitions: NIST Special Publication 811, appendix B.8 (inch, pound, mile, degree Fahrenheit), to the seven
/// digits that table prints.
#[test]
fn val_trade_units_have_their_defined_size() {
    close(si(Kind::Volume, "5.2 L"), 5.2e-3, 1e-15);
    close(si(Kind::Volume, "318 cu in"), 318.0 * 0.0254_f64.powi(3), 3e-7);
    close(si(Kind::Pressure, "55 psi"), 55.0 * 4.448_221_615 / 0.0254_f64.powi(2), 2e-7);
    close(si(Kind::Pressure, "43.5 psi"), 299_921.9, 2e-7);
    close(si(Kind::Temperature, "190 degF"), (190.0 + 459.67) / 1.8, 1e-12);
    close(si(Kind::Temperature, "-40 degF"), 233.15, 1e-12);
    close(si(Kind::Temperature, "-40 degC"), 233.15, 1e-12);
    close(si(Kind::TemperatureStep, "18 degF"), 10.0, 1e-12);
    close(si(Kind::TemperatureStep, "10 degC"), 10.0, 1e-12);
    close(si(Kind::Rotation, "650 rpm"), 650.0 * std::f64::consts::TAU / 60.0, 1e-12);
    close(si(Kind::Time, "15 min"), 900.0, 1e-15);
    close(si(Kind::Mass, "2300 kg"), 2300.0, 1e-15);
    close(si(Kind::MassRate, "38 lb/h"), 38.0 * 0.453_592_37 / 3600.0, 2e-7);
    close(si(Kind::Speed, "60 mph"), 26.8224, 1e-12);
    close(si(Kind::Power, "100 hp"), 74_569.99, 2e-7);
    close(si(Kind::Torque, "100 lb ft"), 135.581_8, 2e-7);
    close(si(Kind::Angle, "84 deg"), 84.0, 1e-14);
    close(si(Kind::Ratio, "15%"), 0.15, 1e-14);
    close(si(Kind::Ratio, "0.25"), 0.25, 0.0);
    close(si(Kind::Resistance, "2.2 kohm"), 2200.0, 1e-14);
}

#[test]
fn spacing_dots_and_unambiguous_case_are_ignored() {
    for text in ["318 cu in", "318cu in", "  318  cu   in ", "3.18e2 cu in"] {
        close(si(Kind::Volume, text), si(Kind::Volume, "318 in3"), 0.0);
    }
    for text in
        ["350 ci", "350 CID", "350 cu. in.", "350 CU IN", "350 cubic inches", "350 in^3", "350 Cu.In."]
    {
        close(si(Kind::Volume, text), si(Kind::Volume, "350 cu in"), 0.0);
    }
    for text in ["5.2 l", "5.2 liters", "5.2 Litres", "5.2 LITER"] {
        close(si(Kind::Volume, text), 5.2e-3, 1e-15);
    }
    for (kind, text, plain) in [
        (Kind::Pressure, "5 kpa", "5 kPa"),
        (Kind::Pressure, "43.5 PSI", "43.5 psi"),
        (Kind::Rotation, "650 RPM", "650 rpm"),
        (Kind::Torque, "300 lb-ft", "300 lb ft"),
        (Kind::Torque, "300 ft-lbs", "300 lb ft"),
        (Kind::Temperature, "190 deg F", "190 degF"),
        (Kind::Temperature, "190 °f", "190 degF"),
        (Kind::MassRate, "38 LBS/HR", "38 lb/h"),
        (Kind::Speed, "60 MPH", "60 mph"),
        (Kind::Time, "5 Minutes", "5 min"),
    ] {
        close(si(kind, text), si(kind, plain), 0.0);
    }
}

#[test]
fn the_case_of_a_prefix_is_never_guessed() {
    for (kind, text) in [
        (Kind::Pressure, "5 mPa"),
        (Kind::Pressure, "5 mpa"),
        (Kind::Pressure, "5 Mbar"),
        (Kind::Voltage, "5 MV"),
        (Kind::Current, "5 MA"),
        (Kind::Resistance, "5 Mohm"),
        (Kind::HeatingValue, "43 mJ/kg"),
        (Kind::Mass, "5 Mg"),
        (Kind::Length, "5 Mm"),
    ] {
        assert_eq!(parse(kind, text), Err(UnitError::WrongUnit(kind)), "{text}");
    }
    close(si(Kind::Pressure, "5 MPa"), 5e6, 1e-15);
}

#[test]
fn a_decimal_comma_has_an_error_of_its_own() {
    for text in ["5,2 L", "1,000 cc", "5,2"] {
        assert_eq!(parse(Kind::Volume, text), Err(UnitError::Comma), "{text}");
    }
    assert_eq!(
        UnitError::Comma.to_string(),
        "has a comma in its number: write a decimal point, as in 5.2, and nothing between thousands"
    );
}

#[test]
fn errors_state_why_a_text_is_no_quantity() {
    assert_eq!(parse(Kind::Volume, "5.2"), Err(UnitError::NoUnit(Kind::Volume)));
    assert_eq!(parse(Kind::Volume, "NaN L"), Err(UnitError::NoNumber(Kind::Volume)));
    assert_eq!(parse(Kind::Volume, "inf L"), Err(UnitError::NoNumber(Kind::Volume)));
    assert_eq!(parse(Kind::Volume, "1e999 L"), Err(UnitError::NotFinite));
    assert_eq!(parse(Kind::Volume, ""), Err(UnitError::NoNumber(Kind::Volume)));
    let message = parse(Kind::Mass, "55 psi").expect_err("no mass").to_string();
    assert_eq!(message, "is not a mass, which is written in one of the units kg, g, mg, t, lb, lbs");
}

#[test]
fn a_range_is_shown_in_the_unit_the_user_chose() {
    let psi = parse(Kind::Pressure, "55 psi").expect("a pressure").unit;
    assert_eq!(psi.show(275_790.28), "40 psi");
    let fahrenheit = parse(Kind::Temperature, "190 degF").expect("a temperature").unit;
    assert_eq!(fahrenheit.show(273.15), "32 degF");
    assert_eq!(Unit::preferred(Kind::Ratio).expect("plain").show(0.15), "0.15");
}

#[test]
fn limits_are_short_and_themselves_allowed() {
    let unit = |kind, spelling| Unit::find(kind, spelling).expect("a unit");
    for (kind, spelling, low, high, limits) in [
        (Kind::Volume, "cu in", 0.5e-3, 10e-3, ["30.6 cu in", "610 cu in"]),
        (Kind::Rotation, "rpm", 300.0, 900.0, ["2870 rpm", "8590 rpm"]),
        (Kind::Temperature, "degC", 330.0, 390.0, ["56.9 degC", "116 degC"]),
        (Kind::Temperature, "degC", 233.15, 273.15, ["-39.9 degC", "0 degC"]),
        (Kind::Time, "min", 0.0, 172_800.0, ["0 min", "2880 min"]),
        (Kind::Ratio, "%", -0.5, 0.5, ["-50%", "50%"]),
        (Kind::Ratio, "%", -0.35, 0.35, ["-34.9%", "34.9%"]),
        (Kind::Ratio, "", 8.9, 15.2, ["8.9", "15.2"]),
        (Kind::Time, "s", 9.1234, 9.1241, ["9.124 s", "9.124 s"]),
    ] {
        assert_eq!(unit(kind, spelling).limits(low, high), limits);
    }
    assert_eq!(unit(Kind::Ratio, "%").tolerant_limits(-0.35, 0.35), ["-35%", "35%"]);
    assert_eq!(unit(Kind::Temperature, "degC").tolerant_limits(233.15, 273.15), ["-40 degC", "0 degC"]);
    assert_eq!(unit(Kind::Ratio, "%").limits(0.3, 0.95), ["30%", "94.9%"]);
    assert_eq!(clamp_within(35.0 * 0.01, (0.0, 0.35)), Some(0.35));
    assert_eq!(clamp_within(0.351, (0.0, 0.35)), None);
    assert_eq!(clamp_within(f64::NAN, (0.0, 0.35)), None);
}

#[test]
fn ident_every_spelling_is_one_that_the_library_knows() {
    for kind in Kind::ALL {
        assert!(Unit::preferred(kind).is_some(), "{kind:?}");
        for (spelling, _) in kind.spellings().iter().chain(kind.besides()) {
            let unit = Unit::find(kind, spelling);
            assert!(unit.is_some_and(|u| u.slope > 0.0 && u.offset >= 0.0), "{kind:?} {spelling}");
        }
    }
}

proptest! {
    /// What is printed as the ends of a range lies in it.
    #[test]
    fn ident_limits_are_in_their_range(low in -1.0e6..1.0e6_f64, share in 0.01..2.0_f64) {
        let high = low + share * low.abs();
        for kind in Kind::ALL {
            for (spelling, _) in kind.spellings() {
                let unit = Unit::find(kind, spelling).expect("an accepted unit");
                for limit in unit.limits(low, high) {
                    let si = parse(kind, &limit).expect("a quantity").si;
                    prop_assert!((low..=high).contains(&si), "{} of {} to {}", limit, low, high);
                }
            }
        }
    }

    /// To text and back in every accepted unit of every kind.
    #[test]
    fn ident_round_trip(number in -1.0e6..1.0e6_f64) {
        for kind in Kind::ALL {
            for (spelling, _) in kind.spellings() {
                let quantity = parse(kind, &format!("{number} {spelling}")).expect("an accepted unit");
                let back = quantity.unit.from_si(quantity.si);
                // A thermometer scale has its zero 460 degrees off, which costs that many units in the last place.
                prop_assert!((back - number).abs() <= 1e-12 * (number.abs() + 500.0), "{} {} -> {}", number, spelling, back);
                prop_assert!(quantity.unit.spelling() == *spelling);
            }
        }
    }

    #[test]
    fn any_text_is_read_or_rejected(text in any::<String>()) {
        for kind in Kind::ALL {
            if let Ok(quantity) = parse(kind, &text) {
                prop_assert!(quantity.si.is_finite());
            }
        }
    }
}
