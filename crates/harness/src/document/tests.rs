use super::*;
use proptest::prelude::*;

const TEXT: &str = "title = \"A van\"\n\n[car]\nmass = \"90 lb\"\nwheels = 4\nramp = [\"1 m\", \"2 ft\"]\n\
    inline = { a = 1 }\nabs = true\n";

fn document() -> Document {
    Document::parse("van.toml", TEXT).expect("TOML")
}

fn text_of(result: Result<(), InputError>) -> String {
    result.expect_err("rejected").to_string()
}

#[test]
fn each_kind_of_value_is_read() {
    let document = document();
    let (mut mass_kg, mut ramp_m, mut wheels, mut abs, mut title) =
        (0.0_f32, [0.0; 2], 0_u8, false, String::new());
    document.quantity("car.mass", Kind::Mass, &mut mass_kg).expect("mass");
    let ramps = document.quantities("car.ramp", Kind::Length, false, &mut ramp_m);
    assert_eq!(ramps, Ok(Some(2)));
    assert_eq!(document.quantities("car.ramp", Kind::Length, true, &mut [0.0; 5]), Ok(Some(2)));
    document.whole("car.wheels", (3, 18), &mut wheels).expect("wheels");
    document.whole("car.inline.a", (1, 1), &mut wheels).expect("inline");
    document.flag("car.abs", &mut abs).expect("flag");
    document.text("title", &mut title).expect("text");
    assert!((mass_kg - 40.823_32).abs() < 1e-4);
    assert_eq!((ramp_m, wheels, abs, title.as_str()), ([1.0, 0.6096], 1, true, "A van"));
    assert_eq!(document.finish(&["car.mass"]), Ok(()));
}

#[test]
fn an_absent_key_leaves_the_default() {
    let mut mass_kg = 7.0;
    document().quantity("trailer.mass", Kind::Mass, &mut mass_kg).expect("absent");
    assert_eq!(mass_kg, 7.0);
}

#[test]
fn errors_name_line_key_value_and_what_is_allowed() {
    let document = document();
    let mut number = 0.0;
    assert_eq!(
        text_of(document.quantity("car.mass", Kind::Pressure, &mut number)),
        "van.toml, line 4, car.mass = \"90 lb\": is not a pressure, which is written in one of the units kPa, Pa, hPa, MPa, \
         bar, mbar, psi, inHg"
    );
    assert_eq!(
        text_of(document.quantity("car.wheels", Kind::Mass, &mut number)),
        "van.toml, line 5, car.wheels = 4: needs a unit, one of kg, g, mg, t, lb, lbs"
    );
    assert_eq!(
        text_of(document.quantities("car.ramp", Kind::Length, false, &mut [0.0; 3]).map(drop)),
        "van.toml, line 6, car.ramp = [\"1 m\", \"2 ft\"]: must be a list of 3 in brackets, each a length"
    );
    assert_eq!(
        text_of(document.whole("car.wheels", (1, 3), &mut 0_u8)),
        "van.toml, line 5, car.wheels = 4: must be a whole number between 1 and 3"
    );
    assert_eq!(
        text_of(document.choice("title", &[("a", 1), ("b", 2)], &mut 0)),
        "van.toml, line 1, title = \"A van\": must be one of \"a\", \"b\""
    );
    assert_eq!(
        text_of(document.quantity("title.mass", Kind::Mass, &mut number)),
        "van.toml, line 1, title: must be a section in brackets"
    );
    assert!(text_of(document.flag("car", &mut false)).contains("must be a single value"));
}

#[test]
fn a_field_out_of_range_is_named_by_key_and_in_the_unit_written() {
    let document = document();
    let mut number = 0.0;
    document.quantity("car.mass", Kind::Mass, &mut number).expect("mass");
    assert_eq!(
        document.out_of_range("car.mass_kg", 40.8, 136.077_72, 4535.924).to_string(),
        "van.toml, line 4, car.mass = \"90 lb\": must be between 300 lb and 10000 lb"
    );
    document.quantity("car.length", Kind::Length, &mut number).expect("absent");
    assert_eq!(
        document.out_of_range("car.length_m", 20.0, 1.0, 10.0).to_string(),
        "van.toml, car.length = 20 m: must be between 1 m and 10 m"
    );
}

#[test]
fn keys_left_over_and_keys_left_out_are_found() {
    let document = Document::parse("x.toml", "[car]\nmas = \"90 kg\"\n[empty]\n").expect("TOML");
    let mut mass_kg = 0.0;
    document.quantity("car.mass", Kind::Mass, &mut mass_kg).expect("absent");
    assert_eq!(
        text_of(document.finish(&["car.mass"])),
        "x.toml, line 2, car.mas: is not a known key; did you mean car.mass?"
    );
    assert!(document.has("car.mas"));
    assert_eq!(text_of(document.finish(&[])), "x.toml, line 3, empty: is not a known key");
    assert!(document.has("empty"));
    assert_eq!(text_of(document.finish(&["car.mass"])), "x.toml, car.mass: is missing and has to be given");
}

#[test]
fn a_known_section_may_be_left_empty() {
    let document = Document::parse("x.toml", "[car]\n[ca]\n").expect("TOML");
    document.quantity("car.mass", Kind::Mass, &mut 0.0).expect("absent");
    assert_eq!(
        text_of(document.finish(&[])),
        "x.toml, line 2, ca: is not a known key",
        "only a whole name is a known one"
    );
    let document = Document::parse("x.toml", "[car]\n").expect("TOML");
    document.quantity("car.mass", Kind::Mass, &mut 0.0).expect("absent");
    assert_eq!(document.finish(&[]), Ok(()));
}

#[test]
fn text_that_is_not_toml_is_rejected_with_its_line() {
    let error = Document::parse("x.toml", "a = 1\nb = = 2\n").err().expect("rejected").to_string();
    assert!(error.starts_with("x.toml, line 2: is not TOML: "), "{error}");
    assert!(Document::parse("x.toml", &"[".repeat(100_000)).is_err());
    assert!(Document::parse("x.toml", &format!("a = {}", "[".repeat(100_000))).is_err());
}

proptest! {
    #[test]
    fn any_text_is_read_or_rejected(text in any::<String>(), lines in "([a-c]=|[a-c]\\.|\\[[a-c]\\]\n|\"1 kg\"\n|-?[0-9]{1,20}\n|nan\n|\\{|\\}){0,30}") {
        for text in [text, lines] {
            let Ok(document) = Document::parse("any.toml", &text) else { continue };
            for key in ["a", "a.b", "a.b.c", "b", "", "."] {
                let mut number = 1.0_f64;
                let read = document.quantity(key, Kind::Mass, &mut number);
                prop_assert!(number.is_finite() && (read.is_ok() || number == 1.0));
                prop_assert!(!document.out_of_range(key, 2.0, 0.0, 1.0).to_string().is_empty());
            }
            if let Err(error) = document.finish(&["c"]) {
                prop_assert!(error.to_string().starts_with("any.toml"));
            }
        }
    }
}
