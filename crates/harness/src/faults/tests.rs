use super::*;
use crate::scenario::Scenario;
use crate::session::{Moment, SessionBuilder, Until};

fn parse(text: &str) -> Result<Vec<Fault>, InputError> {
    let document = Document::parse("van.toml", text)?;
    let faults = read(&document)?;
    document.finish(&[])?;
    Ok(faults)
}

fn rejected(text: &str) -> String {
    parse(text).expect_err("rejected").to_string()
}

#[test]
fn sections_are_read_in_order_and_in_si() {
    let faults = parse(
        "[[fault]]\nkind = \"weak_pump\"\nstrength = \"40 %\"\nfrom = \"1 min\"\nuntil = \"90 s\"\n\
        [[fault]]\nkind = \"map_open\"\nevery = \"2 s\"\nlasting = \"500 ms\"\n[[fault]]\nkind = \"wrong_cam\"\n",
    )
    .expect("readable");
    assert_eq!(faults.len(), 3);
    assert_eq!((faults[0].strength, faults[0].from_s, faults[0].until_s), (0.4, 60.0, 90.0));
    assert_eq!(faults[1].intermittent_s, Some((2.0, 0.5)));
    assert_eq!(faults[2], Fault::usual(find("wrong_cam").expect("a kind")));
    assert_eq!(faults[0].title(), "fuel pump delivers less by 40 %");
}

#[test]
fn ident_the_debug_text_of_a_fault_has_no_address_in_it() {
    let fault = Fault::usual(find("wrong_cam").expect("a kind"));
    let text = "Fault { kind: FaultKind(\"wrong_cam\"), strength: 0.0, from_s: 0.0, until_s: inf, intermittent_s: None }";
    assert_eq!(format!("{fault:?}"), text, "a scenario's hash is made from it");
}

#[test]
fn titles_read_on_into_the_strength() {
    for kind in KINDS {
        let title = Fault::usual(kind).title();
        assert!(title.starts_with(kind.title) && !kind.title.ends_with([',', ' ']), "{title}");
        assert!(!title.contains("by,") && !title.contains(",,"), "{title}");
        let broken_off = ["by", "to", "as", "loses", "answered"];
        assert!(broken_off.iter().all(|word| !kind.title.ends_with(&format!(" {word}"))), "{title}");
        if let Some(strength) = &kind.strength {
            let strength_text = &title[kind.title.len()..];
            assert!(
                strength_text.starts_with(strength.link)
                    && strength_text.contains(|sign: char| sign.is_ascii_digit()),
                "{title}"
            );
            assert!(title.contains(strength.unit), "{title}");
        }
    }
    let title = |name: &str| Fault::usual(find(name).expect("a kind")).title();
    assert_eq!(title("hot_fuel"), "fuel so hot that it boils at the pump's inlet, 51.9 degC");
    assert_eq!(title("late_injectors"), "all injectors open later than usual by 0.3 ms");
    assert_eq!(title("wrong_displacement"), "displacement answered wrongly, share of the true one: 80 %");
}

#[test]
fn what_makes_no_sense_is_rejected_with_its_line() {
    assert_eq!(
        rejected("[[fault]]\nkind = \"weak_pum\"\n"),
        "van.toml, line 2, fault.1.kind = \"weak_pum\": is no kind of fault; did you mean weak_pump? \
         `trimwright faults --list` names them"
    );
    assert!(
        rejected("[[fault]]\nkind = \"gremlin\"\n")
            .ends_with("is no kind of fault; `trimwright faults --list` names them")
    );
    assert!(rejected("[[fault]]\nfrom = \"1 s\"\n").contains("fault.1.kind: is missing"));
    assert!(rejected("[fault]\nkind = \"map_open\"\n").contains("each headed [[fault]]"));
    let second = "[[fault]]\nkind = \"map_open\"\n[[fault]]\nkind = \"weak_pump\"\n";
    assert_eq!(
        rejected(&format!("{second}strength = 1.5\n")),
        "van.toml, line 5, fault.2.strength = 1.5: must be between 0 and 1"
    );
    assert!(rejected(&format!("{second}colour = 1\n")).contains("line 5, fault.2.colour"));
    assert!(rejected("[[fault]]\nkind = \"map_open\"\nstrength = 1\n").contains("which has none"));
    assert!(rejected("[[fault]]\nkind = \"wrong_cam\"\nfrom = \"1 s\"\n").contains("from the start"));
    assert!(rejected("[[fault]]\nkind = \"map_open\"\nevery = \"1 s\"\n").contains("needs lasting"));
    assert!(
        rejected("[[fault]]\nkind = \"map_open\"\nfrom = \"9 s\"\nuntil = \"3 s\"\n").contains("between 9 s")
    );
    assert_eq!(
        rejected("[[fault]]\nkind = \"map_open\"\nfrom = \"1 min\"\nuntil = \"60 s\"\n"),
        "van.toml, line 4, fault.1.until = \"60 s\": must be later than from, or the fault would never be there"
    );
    assert_eq!(
        rejected("[[fault]]\nkind = \"map_open\"\nuntil = \"3000 min\"\n"),
        "van.toml, line 3, fault.1.until = \"3000 min\": must be between 0 min and 2880 min"
    );
}

#[test]
fn a_fault_that_comes_and_goes_is_there_in_its_part_of_each_period() {
    let fault =
        Fault { from_s: 10.0, until_s: 15.0, intermittent_s: Some((2.0, 0.5)), ..Fault::usual(&KINDS[0]) };
    let there: Vec<bool> = [9.9, 10.0, 10.4, 10.6, 12.0, 12.49, 12.5, 14.2, 14.9, 16.0]
        .into_iter()
        .map(|time_s| fault.is_present(time_s))
        .collect();
    assert_eq!(there, [false, true, true, false, true, true, false, true, false, false]);
    let (mut time_s, mut edges) = (0.0, Vec::new());
    while time_s < 100.0 {
        time_s = fault.next_change_s(time_s);
        edges.push(time_s);
    }
    assert_eq!(edges, [10.0, 10.5, 12.0, 12.5, 14.0, 14.5, 15.0, f64::INFINITY]);
}

#[test]
fn names_are_unique_and_every_usual_strength_is_in_its_range_and_does_something() {
    let scenario = Scenario::load("delivery-van").expect("shipped");
    for (index, kind) in KINDS.iter().enumerate() {
        assert!(KINDS[..index].iter().all(|other| other.name != kind.name), "{}", kind.name);
        let (mut truth, mut answers) = (scenario.truth.clone(), scenario.answers);
        let fault = Fault::usual(kind);
        fault.apply(&mut truth, &mut answers);
        assert!(truth != scenario.truth || answers != scenario.answers, "{}", kind.name);
        assert_eq!(truth.check(), Ok(()), "{}", kind.name);
        assert_eq!(answers.check(), Ok(()), "{}", kind.name);
        if let Some(strength) = &kind.strength {
            assert!((strength.low..=strength.high).contains(&strength.usual), "{}", kind.name);
            let unit = Unit::find(strength.kind, strength.unit).expect("a unit");
            assert!(unit.from_si(strength.usual).is_finite());
            for extreme in [strength.low, strength.high] {
                let (mut truth, mut answers) = (scenario.truth.clone(), scenario.answers);
                Fault { strength: extreme, ..fault.clone() }.apply(&mut truth, &mut answers);
                assert_eq!(truth.check(), Ok(()), "{} at {extreme}", kind.name);
            }
        }
    }
}

#[test]
fn the_plant_has_the_fault_in_its_time_only() {
    let mut scenario = Scenario::load("delivery-van").expect("shipped");
    scenario.faults =
        vec![Fault { from_s: 0.05, until_s: 0.1, ..Fault::usual(find("weak_pump").expect("a kind")) }];
    let mut session = SessionBuilder::new(scenario).by_hand().build().expect("in range");
    let mut step = 0;
    let observer = &mut |now: &Moment<'_>| {
        let weak = now.closed_loop.plant().truth().faults.weak_pump;
        assert_eq!(weak > 0.0, (50..100).contains(&step), "step {step}");
        step += 1;
    };
    session.run(Until::After(0.2), observer).expect("in range");
    assert_eq!(step, 200);
}
