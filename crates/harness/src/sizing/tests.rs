use super::*;
use crate::units::{Kind, Unit};
use trimwright_plant::{Supply, pipe_drop_pa};

fn van() -> Scenario {
    Scenario::load("delivery-van").expect("shipped")
}

fn si(kind: Kind, unit: &str, number: f64) -> f64 {
    Unit::find(kind, unit).expect("a unit").to_si(number)
}

fn sized_in(scenario: &Scenario, system: UnitSystem) -> Sizing {
    size(scenario, system).expect("allowed answers")
}

/// In the units of the examples.
fn sized(scenario: &Scenario) -> Sizing {
    sized_in(scenario, UnitSystem::Us)
}

fn line<'a>(sizing: &'a Sizing, what: &str) -> &'a Line {
    sizing.line(what).unwrap_or_else(|| panic!("no line {what}"))
}

/// Eight injectors of 40 lb/h at the rated pressure on an engine of this power.
fn of_power(horsepower: f64) -> Scenario {
    let mut scenario = van();
    scenario.installation.power_w = si(Kind::Power, "hp", horsepower);
    scenario.answers.injectors = 8;
    scenario.answers.injector_flow_kg_per_s = si(Kind::MassRate, "lb/h", 40.0) as f32;
    scenario
}

#[test]
fn ident_the_500_hp_example_to_the_digit() {
    // 500 hp at 0.50 lb/(hp h), eight injectors, 80 % duty: 39.06 lb/h each. Exact arithmetic.
    let sizing = sized(&of_power(500.0));
    assert_eq!(format!("{:.3}", line(&sizing, "fuel flow at peak power").value), "250.000");
    let Some(Limit::AtLeast(each)) = line(&sizing, "flow of each").limit else { panic!("a lower limit") };
    assert_eq!(format!("{each:.2}"), "39.06");
    // 250 lb/h of 8 x 40 lb/h: 78.125 %.
    let duty = line(&sizing, "duty at peak power");
    assert!((duty.value - 78.125).abs() < 1e-4 && duty.verdict == Verdict::Tight, "{duty:?}");
    // 0.50 lb/(hp h) = 304.14 g/kWh: common practice, exact conversion.
    assert!((0.5 * POUND_PER_HORSEPOWER_HOUR * 3.6e9 - 304.14).abs() < 0.005);
}

#[test]
fn val_pressure_drops_per_metre_within_1_percent_of_the_reference() {
    // shared/reference/fuel_line.csv: Darcy-Weisbach with Colebrook, fluids 1.3.1.
    let table = include_str!("../../shared/reference/fuel_line.csv");
    let mut reader = csv::Reader::from_reader(table.as_bytes());
    let mut seen = 0;
    for record in reader.records() {
        let record = record.expect("a row");
        let number = |column: usize| record[column].parse::<f64>().expect("a number");
        let (bore_m, flow, pa) = (number(1) * 1e-3, number(3) / 3600.0, number(10) * 1e3);
        let drop_pa = pipe_drop_pa(flow, 1.0, bore_m, 745.0, PETROL_VISCOSITY_PA_S);
        assert!((drop_pa / pa - 1.0).abs() < 0.01, "{:?}: {drop_pa} Pa", &record[0]);
        seen += 1;
    }
    assert!(seen >= 12, "{seen} rows");
}

/// A return system whose pump delivers a fifth more than the engine needs, through 5/16 in tube from a stock pickup.
fn stock_pickup(horsepower: f64) -> Scenario {
    let mut scenario = of_power(horsepower);
    let system = &mut scenario.nameplate.fuel_system;
    system.supply = Supply::Return;
    (system.suction_m, system.suction_bore_m) = (1.5, 6.515e-3);
    (system.line_m, system.line_bore_m) = (4.5, 6.515e-3);
    let wanted = 1.2 * 0.5 * POUND_PER_HORSEPOWER_HOUR * si(Kind::Power, "hp", horsepower);
    scale_pump(&mut scenario, wanted);
    scenario
}

/// Scales the pump until it delivers this much through its line.
fn scale_pump(scenario: &mut Scenario, wanted: f64) {
    for _ in 0..40 {
        let got = line(&sized(scenario), "delivery").value;
        scenario.nameplate.fuel_system.pump_free_kg_per_s *= wanted / si(Kind::MassRate, "lb/h", got);
    }
}

#[test]
fn band_a_5_16_in_line_is_enough_for_300_hp_and_not_for_500() {
    // Common practice, no source: 5/16 in is fine at 300 hp, 3/8 in or larger from about 500 hp.
    let what = "pressure over vapour at the pump's inlet";
    let verdict = |horsepower| line(&sized(&stock_pickup(horsepower)), what).verdict;
    assert_eq!(verdict(300.0), Verdict::Ok);
    for horsepower in [500.0, 550.0, 700.0] {
        assert_eq!(verdict(horsepower), Verdict::NotEnough, "{horsepower} hp");
    }
    let margins: Vec<f64> = [300.0, 350.0, 400.0, 450.0, 500.0]
        .map(|horsepower| line(&sized(&stock_pickup(horsepower)), what).value)
        .into();
    assert!(margins.is_sorted_by(|a, b| a > b), "{margins:?}");
    // 3/8 in tube (0.319 in bore) and a strainer of twice the area carry 500 hp.
    let mut wide = stock_pickup(500.0);
    wide.nameplate.fuel_system.suction_bore_m = 8.1026e-3;
    wide.nameplate.fuel_system.line_bore_m = 8.1026e-3;
    wide.installation.strainer_flow_kg_per_s *= 2.0;
    assert_eq!(line(&sized(&wide), what).verdict, Verdict::Ok);
    // On a cold day the stock pickup would do as well.
    let mut cold = stock_pickup(500.0);
    cold.installation.hot_fuel_k = 290.0;
    assert_eq!(line(&sized(&cold), what).verdict, Verdict::Ok);
}

#[test]
fn val_the_margin_at_the_inlet_worked_by_hand() {
    let suction = Suction {
        outside_pa: 101_325.0,
        vapour_pa: 60e3,
        lift_m: 0.5,
        line_m: 2.0,
        bore_m: 6.5151e-3,
        fittings: 2.0,
        strainer_pa: 3e3,
        strainer_flow_kg_per_s: 113.398 / 3600.0,
        density_kg_per_m3: 745.0,
    };
    // 250 lb/h: 2 m at 2.5782 kPa (shared/reference/fuel_line.csv, Haaland), dynamic head 0.5992 kPa (same row), lift
    // 745 x 9.80665 x 0.5 = 3.653 kPa, strainer 3 kPa: 101.325 - 60 - 3.653 - 3 - 5.156 - 2 x 0.599 = 28.317 kPa.
    let margin_pa = suction.margin_pa(113.398 / 3600.0);
    assert!((margin_pa - 28_317.0).abs() < 20.0, "{margin_pa}");
    let most = suction.max_kg_per_s();
    assert!((suction.margin_pa(most) - 10e3).abs() < 1.0, "{most}");
}

#[test]
fn val_pump_and_wire_worked_by_hand() {
    let mut scenario = van();
    let system = &mut scenario.nameplate.fuel_system;
    system.supply = Supply::RegulatedAtTank;
    (system.pump_free_kg_per_s, system.pump_stall_pa, system.regulator_pa) = (0.054, 900e3, 300e3);
    scenario.nameplate.electrical.pump_a = 10.0;
    scenario.installation.supply_v = 14.0;
    (scenario.installation.pump_wire_m, scenario.installation.pump_wire_m2) = (6.0, 2.5e-6);
    let sizing = sized(&scenario);
    // 1.7241e-8 x (1 + 0.00393 x 40) / 2.5e-6 = 7.9805 mohm/m; 10 A x 6 m: 0.47883 V.
    let wire = line(&sizing, "wire to the pump");
    assert!((wire.value - 0.47883).abs() < 1e-4 && wire.verdict == Verdict::Tight, "{wire:?}");
    // 0.054 x 13.52117 / 13.5 - 0.054 / 3 = 0.0360847 kg/s = 286.39 lb/h.
    let delivery = line(&sizing, "delivery").value;
    assert!((delivery - 286.39).abs() < 0.02, "{delivery}");
    // ASTM B258 prints 3.31 mm2 for AWG 12 and 2.08 mm2 for AWG 14 (from memory).
    assert!((gauge_m2(12) - 3.31e-6).abs() < 5e-9 && (gauge_m2(14) - 2.08e-6).abs() < 5e-9);
}

#[test]
fn val_injectors_at_more_than_the_rated_pressure() {
    // shared/reference/injector_sqrt.csv: 55 psi against 43.5 psi gives 1.124441.
    let mut scenario = of_power(500.0);
    scenario.answers.rail_pressure_pa = si(Kind::Pressure, "psi", 55.0) as f32;
    scenario.answers.injector_rated_pressure_pa = si(Kind::Pressure, "psi", 43.5) as f32;
    let each = line(&sized(&scenario), "flow of each").value;
    assert!((each / 40.0 - 1.124_441).abs() < 1e-5, "{each}");
}

#[test]
fn dangerous_parts_are_found() {
    let mut scenario = van();
    scenario.installation.clamps = Clamps::Carburettor;
    scenario.installation.hose_rating_pa = si(Kind::Pressure, "psi", 50.0);
    scenario.installation.sensor_place = SensorPlace::Outside;
    scenario.installation.sensor_after_merge_m = 1.0;
    scenario.answers.fan1_on_k = 350.0;
    scenario.nameplate.electrical.alternator_a = 40.0;
    let sizing = sized(&scenario);
    for (what, verdict) in [
        ("hose rating", Verdict::NotEnough),
        ("clamps made for injection", Verdict::Wrong),
        ("side of a bend", Verdict::Wrong),
        ("distance after the merge", Verdict::TooMuch),
        ("first fan starts at", Verdict::NotEnough),
        ("load at idle", Verdict::TooMuch),
    ] {
        let line = line(&sizing, what);
        assert_eq!(line.verdict, verdict, "{what}");
        assert!(!line.change.is_empty() && !line.source.is_empty() && !line.formula.is_empty(), "{what}");
    }
    assert_eq!(sizing.verdict(), Verdict::Wrong);
    assert_eq!(line(&sizing, "clamps made for injection").word, Some("no"));
    assert_eq!(line(&sizing, "side of a bend").word, Some("outside"));
}

#[test]
fn nitrous_is_sized_when_fitted_with_a_caution() {
    assert!(!sized(&van()).cautions.iter().any(|caution| caution.contains("Nitrous")));
    let mut scenario = van();
    scenario.answers.nitrous = true;
    scenario.answers.nitrous_flow_kg_per_s = 0.05;
    let nitrous = &mut scenario.nameplate.nitrous;
    (nitrous.bottle_kg, nitrous.bottle_k) = (4.5, 293.15);
    // 0.05 kg/s through an orifice: area = 0.05 / sqrt(2 x 785.1 x (5.0525e6 - 101325)).
    nitrous.jet_m2 = 0.05 / (2.0 * 785.1 * (5.052_5e6 - 101_325.0_f64)).sqrt();
    let sizing = sized(&scenario);
    let jet = sized_in(&scenario, UnitSystem::Si);
    // The formula of the liquid's density is within 0.5 % of CoolProp 8.0.0, and the flow goes with its root.
    assert!((line(&jet, "flow of the jet").value - 50.0).abs() < 0.125);
    // 50.525 bar at 20 degC (CoolProp 8.0.0) is 732.8 psi; the formula is within 0.05 %.
    assert!((line(&sizing, "bottle pressure").value - 732.8).abs() < 0.37);
    // 0.05 / 9.296 x 1.1 = 5.9165 g/s = 46.957 lb/h.
    assert!((line(&sizing, "fuel for it").value - 46.957).abs() < 0.005);
    assert!((line(&sizing, "bottle lasts").value - 90.0).abs() < 0.23);
    assert!(sizing.cautions.iter().any(|caution| caution.contains("Nitrous")));
}

#[test]
fn every_number_is_finite_for_every_shipped_scenario() {
    for shipped in crate::shipped::SCENARIOS {
        let sizing = sized(&Scenario::load(shipped.name).expect("valid"));
        for line in &sizing.lines {
            assert!(line.value.is_finite() != line.word.is_some(), "{}: {line:?}", shipped.name);
            assert!(!line.formula.contains("NaN"), "{}: {line:?}", shipped.name);
        }
    }
}

/// A line is ok or tight exactly when its value is within the limit.
#[test]
fn ident_verdicts_agree_with_the_limits_shown() {
    for shipped in crate::shipped::SCENARIOS {
        let sizing = sized(&Scenario::load(shipped.name).expect("valid"));
        for line in &sizing.lines {
            let Line { value, verdict, .. } = *line;
            let beyond = match line.limit {
                None => continue,
                Some(Limit::AtMost(most)) => (value > most).then_some(Verdict::TooMuch),
                Some(Limit::AtLeast(least)) => (value < least).then_some(Verdict::NotEnough),
                Some(Limit::Between(low, _)) if value < low => Some(Verdict::NotEnough),
                Some(Limit::Between(_, high)) => (value > high).then_some(Verdict::TooMuch),
            };
            let within = [Verdict::Ok, Verdict::Tight].contains(&verdict);
            assert!(beyond.map_or(within, |beyond| verdict == beyond), "{}: {line:?}", shipped.name);
        }
    }
}

#[test]
fn each_system_has_its_own_units_only() {
    let mut scenario = van();
    scenario.answers.nitrous = true;
    scenario.installation.power_w = 200e3;
    scenario.installation.sensor_after_merge_m = 0.3;
    scenario.answers.fan1_on_k = 350.0;
    scenario.answers.rail_pressure_pa = 200e3;
    let us =
        ["lb/h", "psi", "hp", "degF", " in", " ft", "/ft", "sq in", "cu in", "AWG", " lb", "inches", "foot"];
    let si = ["g/s", "kPa", "MPa", "kW", "degC", " m", " mm", "/m", "mm2", " L", " kg", " K", "metre"];
    // Words that look like units are excluded. The fuel of a firing is in mg in both systems.
    let has = |text: &str, unit: &str| {
        text.match_indices(unit).any(|(at, _)| {
            let after = text.get(at + unit.len()..).and_then(|rest| rest.chars().next());
            let before = text.get(..at).and_then(|rest| rest.chars().next_back());
            let number = !unit.starts_with(' ') || before.is_some_and(|c| c.is_ascii_digit());
            number && !after.is_some_and(char::is_alphanumeric)
        })
    };
    for (system, foreign, own) in [(UnitSystem::Si, us, si), (UnitSystem::Us, si, us)] {
        let sizing = sized_in(&scenario, system);
        let mut all = String::new();
        for line in &sizing.lines {
            let text =
                format!("{}|1 {}|{}|{}|{}", line.what, line.unit, line.formula, line.change, line.source);
            assert!(foreign.iter().all(|unit| !has(&text, unit)), "{system:?}: {text}");
            all.push_str(&text);
        }
        assert!(own.iter().filter(|unit| has(&all, unit)).count() > 8, "{all}");
    }
}

#[test]
fn a_fan_that_would_never_stop_is_reported() {
    let sizing = sized(&Scenario::load("hot-cam-town").expect("shipped"));
    let fan = line(&sizing, "first fan starts at");
    // Stops at 180 - 9 degF, below the 78 degC = 172.4 degF at which its thermostat opens.
    assert_eq!(fan.verdict, Verdict::NotEnough);
    for words in ["stop at 171 degF", "below 172.4 degF the thermostat is shut", "Answer 181.4 degF or more"]
    {
        assert!(fan.change.contains(words), "{words}: {}", fan.change);
    }
}
