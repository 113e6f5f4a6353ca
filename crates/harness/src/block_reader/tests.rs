use super::*;
use trimwright_numerics::parameters::{Table, padded};

#[derive(Clone, Copy, Debug, PartialEq)]
enum Supply {
    Return,
    AtTank,
}
trimwright_numerics::choice!(Supply { Return = "return", AtTank = "regulated at tank" });

trimwright_numerics::parameters! {
    /// One of each shape.
    struct EachParameters<f32> "each" {
        /// A time.
        number keep_s { 10.0, 0.0..=600.0 "s", "engineering judgement" }
        /// A share.
        number share { 0.5, 0.15..=0.85 "1", "engineering judgement" }
        /// A number without any other unit.
        number authority_ln { 0.2, 0.0..=0.405 "ln", "engineering judgement" }
        /// A temperature difference.
        number band_k { 5.0, 0.5..=20.0 "K step", "engineering judgement" }
        /// A count.
        whole count { u8 = 2, 1..=400 "1", "engineering judgement" }
        /// A flag.
        flag fitted { false, "engineering judgement" }
        /// Where the regulator is.
        choice supply { Supply = Supply::Return, "engineering judgement" }
        /// Coefficients.
        list slopes { [2] = [1.0, 2.0], -5.0..=5.0 "1/K", "engineering judgement" }
        /// Pressure against volts.
        curve map_pa { [4] = [(0.5, 10e3), (4.5, 110e3)], 0.0..=5.0 "V" => 0.0..=500e3 "Pa", "engineering judgement" }
        /// Advance over speed and pressure.
        table advance_deg { [3, 2] = ([100.0, 200.0, 300.0], [30e3, 90e3], [[1.0, 2.0, 3.0], [4.0, 5.0, 6.0]]), 50.0..=900.0 "rad/s", 10e3..=300e3 "Pa" => -10.0..=60.0 "deg", "engineering judgement" }
    }
}

trimwright_numerics::parameters! {
    /// Part of an engine file.
    struct TankParameters<f64> "fuel_system" {
        /// Temperature of the fuel.
        number fuel_k { 298.15, 233.15..=353.15 "K", "engineering judgement" }
        /// A seed.
        whole seed { u64 = 0, 0..=9_223_372_036_854_775_807_u64 "1", "engineering judgement" }
        /// Read by others.
        list ratios { [2] = [1.0, 2.0], 0.1..=9.0 "1", "engineering judgement" }
    }
}

fn document(text: &str) -> Document {
    Document::parse("van.toml", &format!("[calibration.each]\n{text}\n")).expect("TOML")
}

/// Reads the text; after an error the block must be unchanged.
fn each(text: &str) -> Result<EachParameters, InputError> {
    let (document, mut block) = (document(text), EachParameters::DEFAULT);
    let read = read(&document, "calibration", &mut block, &[]);
    if read.is_err() {
        assert_eq!(block, EachParameters::DEFAULT, "{text}: half read");
    }
    read.and_then(|()| document.finish(&[])).map(|()| block)
}

#[test]
fn each_shape_is_read() {
    let all = "keep = \"1 min\"\nshare = \"20 %\"\nauthority_ln = 0.1\nband = \"9 degF\"\ncount = 7\nfitted = true\n\
        supply = \"regulated at tank\"\nslopes = [3, -4.5]\nmap = [[\"1 V\", \"20 kPa\"], [\"2000 mV\", \"1 bar\"], [\"4 V\", \"200 kPa\"]]\n\
        [calibration.each.advance]\ncolumns = [\"1000 rpm\", \"2000 rpm\"]\nrows = [\"40 kPa\", \"80 kPa\"]\n\
        values = [[\"10 deg\", \"20 deg\"], [\"30 deg\", \"40 deg\"]]";
    let block = each(all).expect("readable");
    let (slow, fast) = (104.719_76, 209.439_51);
    assert_eq!(
        block,
        EachParameters {
            keep_s: 60.0,
            share: 0.2,
            authority_ln: 0.1,
            band_k: 5.0,
            count: 7,
            fitted: true,
            supply: Supply::AtTank,
            slopes: [3.0, -4.5],
            map_pa: padded([(1.0, 20e3), (2.0, 100e3), (4.0, 200e3)]),
            advance_deg: Table {
                x: [slow, fast, fast],
                y: [40e3, 80e3],
                cells: [[10.0, 20.0, 20.0], [30.0, 40.0, 40.0]]
            },
        }
    );
    assert_eq!(block.check(), Ok(()));
    let values =
        each("advance = { values = [[\"1 deg\", \"1 deg\", \"1 deg\"], [\"2 deg\", \"2 deg\", \"2 deg\"]] }");
    let advance = values.expect("readable").advance_deg;
    assert_eq!((advance.x, advance.cells), (EachParameters::DEFAULT.advance_deg.x, [[1.0; 3], [2.0; 3]]));
}

#[test]
fn errors_name_line_key_value_and_what_is_allowed() {
    let advance = |table: &str| format!("advance = {{ {table} }}");
    let sizes = advance("columns = [\"1000 rpm\", \"2000 rpm\"], values = [[\"1 deg\", \"1 deg\"]]");
    let ragged = advance("values = [[\"1 deg\", \"1 deg\", \"1 deg\"], [\"1 deg\"]]");
    let steep = advance("values = [[\"1 deg\", \"1 deg\", \"1 deg\"], [\"1 deg\", \"99 deg\", \"1 deg\"]]");
    for (text, message) in [
        ("keep = 10", "each.keep = 10: needs a unit, one of s, ms, us, µs, min, h"),
        ("keep = \"11 min\"", "each.keep = \"11 min\": must be between 0 min and 10 min"),
        ("kepe = \"1 s\"", "each.kepe: is not a known key; did you mean calibration.each.keep?"),
        ("share = 0.9", "each.share = 0.9: must be between 0.15 and 0.85"),
        ("share = nan", "each.share = nan: must be between 0.15 and 0.85"),
        ("share = \"90 %\"", "each.share = \"90 %\": must be between 15% and 85%"),
        ("authority_ln = 0.5", "each.authority_ln = 0.5: must be between 0 and 0.405 ln"),
        ("authority_ln = nan", "each.authority_ln = nan: must be between 0 and 0.405 ln"),
        ("authority_ln = \"20 %\"", "each.authority_ln = \"20 %\": must be a plain number, in ln"),
        ("band = \"50 degF\"", "each.band = \"50 degF\": must be between 0.9 degF and 36 degF"),
        ("count = 401", "each.count = 401: must be a whole number between 1 and 400"),
        ("count = 300", "each.count = 300: is too large a number"),
        ("count = -1", "each.count = -1: must be a whole number between 1 and 400"),
        ("fitted = true\nkeep = 7", "each.keep = 7: needs a unit, one of s, ms, us, µs, min, h"),
        ("fitted = \"yes\"", "each.fitted = \"yes\": must be true or false"),
        ("supply = \"tank\"", "each.supply = \"tank\": must be one of \"return\", \"regulated at tank\""),
        ("slopes = [1]", "each.slopes = [1]: must be a list of 2 in brackets, each a number in 1/K"),
        ("slopes = [1,\n 9]", "each.slopes, item 2 = 9: must be between -5 and 5 1/K"),
        (
            "map = [[\"1 V\", \"20 kPa\"]]",
            "each.map = [[\"1 V\", \"20 kPa\"]]: must be a list of 2 to 4 in brackets, each a point [place, value] of a voltage \
             and a pressure",
        ),
        (
            "map = [[\"1 V\", \"20 kPa\"], [\"2 V\"]]",
            "each.map, point 2 = [\"2 V\"]: must be a pair in brackets, a voltage and a pressure",
        ),
        (
            "map = [[\"2 V\", \"20 kPa\"], [\"1000 mV\", \"30 kPa\"]]",
            "each.map, point 2 = \"1000 mV\": must be above the place before it, which is \"2 V\"",
        ),
        (
            "map = [[\"1 V\", \"20 kPa\"], [\"2 V\", \"90 psi\"]]",
            "each.map, point 2 = \"90 psi\": must be between 0 psi and 72.5 psi",
        ),
        (
            "map = [[\"1 V\", \"20 kPa\"], [\"6 V\", \"90 kPa\"]]",
            "each.map, point 2 = \"6 V\": must be between 0 V and 5 V",
        ),
        ("advance = 5", "each.advance: must be a section in brackets"),
        (
            "advance = { rows = [\"40 kPa\", \"90 kPa\"] }",
            "each.advance.rows = [\"40 kPa\", \"90 kPa\"]: needs calibration.each.advance.values beside it",
        ),
        (
            "advance = { rows = [\"40 kPa\", \"30 kPa\"] }",
            "each.advance.rows, row 2 = \"30 kPa\": must be above the place before it, which is \"40 kPa\"",
        ),
        (
            &sizes,
            "each.advance.values = [[\"1 deg\", \"1 deg\"]]: must be a list of 2 in brackets, a row each, of 2 in brackets, each \
             an angle",
        ),
        (&ragged, "each.advance.values, row 2 = [\"1 deg\"]: must be a list of 3 in brackets, each an angle"),
        (&steep, "each.advance.values, row 2, column 2 = \"99 deg\": must be between -10 deg and 60 deg"),
    ] {
        let message_of = each(text).expect_err(text).to_string();
        let line = if text.contains('\n') { 3 } else { 2 };
        assert_eq!(message_of, format!("van.toml, line {line}, calibration.{message}"), "{text}");
    }
}

#[test]
fn engine_files_have_other_keys_and_no_section_around_them() {
    const ALIASES: Aliases =
        &[("fuel_system.fuel_k", "fuel_system.fuel_temperature"), ("fuel_system.ratios", "")];
    for section in ["", "truth"] {
        let head = inside(section, "fuel_system");
        let text =
            format!("[{head}]\nfuel_temperature = \"20 degC\"\nseed = 9223372036854775807\nratios = [7]\n");
        let document = Document::parse("car.toml", &text).expect("TOML");
        let mut tank = TankParameters::DEFAULT;
        read(&document, section, &mut tank, ALIASES).expect("readable");
        assert_eq!(tank, TankParameters { fuel_k: 293.15, seed: i64::MAX as u64, ratios: [1.0, 2.0] });
        assert!(
            document.gives(&inside(section, "fuel_system.fuel_k")),
            "messages about the field find the key"
        );
        let left = document.finish(&[]).expect_err("left for others").to_string();
        assert!(left.contains(&inside(section, "fuel_system.ratios: is not a known key")), "{left}");
    }
}

#[test]
fn keys_of_the_controller_are_its_own_and_units_are_known_ones() {
    let parameters = trimwright_control::Parameters::DEFAULT;
    let all: Vec<_> = parameters.blocks().into_iter().flat_map(|block| block.info()).collect();
    let keys: Vec<_> = all.iter().map(|info| key_of(info, &[])).collect();
    for (index, (info, key)) in all.iter().zip(&keys).enumerate() {
        assert!(!keys[..index].contains(key), "{key:?} twice");
        let axes: &[&str] = match info.shape {
            Shape::Curve(_, axis) => &[axis.unit],
            Shape::Table(_, [x, y]) => &[x.unit, y.unit],
            _ => &[],
        };
        for unit in axes.iter().chain([&info.range.unit]) {
            let plain = ["ln", "ln2", "Hz", "bar", "krpm"].contains(unit) || unit.contains(['/', ' ']);
            assert!(Kind::of(unit).is_some() || plain, "{}: {unit}", info.path);
        }
    }
}
