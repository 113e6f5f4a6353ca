//! Every lesson of `examples/` agrees with theory, a reference table or a balance, and saves its plot.
#![expect(dead_code, reason = "the main functions are the examples'")]
#![expect(clippy::duplicate_mod, reason = "each lesson includes the common parts")]

#[path = "../examples/lesson_01_frame.rs"]
mod lesson_01_frame;
#[path = "../examples/lesson_02_air.rs"]
mod lesson_02_air;
#[path = "../examples/lesson_03_injector.rs"]
mod lesson_03_injector;
#[path = "../examples/lesson_04_film.rs"]
mod lesson_04_film;
#[path = "../examples/lesson_05_delay.rs"]
mod lesson_05_delay;
#[path = "../examples/lesson_06_learning.rs"]
mod lesson_06_learning;
#[path = "../examples/lesson_07_confidence.rs"]
mod lesson_07_confidence;
#[path = "../examples/lesson_08_leak.rs"]
mod lesson_08_leak;
#[path = "../examples/lesson_09_power_cut.rs"]
mod lesson_09_power_cut;
#[path = "../examples/lesson_10_own_learner.rs"]
mod lesson_10_own_learner;
#[path = "../examples/lesson_11_fleet.rs"]
mod lesson_11_fleet;
#[path = "val/table.rs"]
mod table;

use trimwright_harness::scenario::Scenario;
use trimwright_plant::Truth;

/// Asserts that the lesson prints these texts and that its plot is an SVG with these axis labels.
macro_rules! shows {
    ($name:literal, $answer:expr, $words:expr, $axes:expr) => {
        let text = $answer.to_string();
        for words in $words {
            assert!(text.contains(words), "{words:?} is not in\n{text}");
        }
        let path = $answer.plot().save($name).expect("a plot");
        let svg = std::fs::read_to_string(&path).expect("it was saved");
        assert!(svg.starts_with("<svg") && svg.trim_end().ends_with("</svg>"), "{}", path.display());
        for axis in $axes {
            assert!(svg.contains(axis), "no axis {axis:?} in {}", path.display());
        }
    };
}

/// Source: printed table of a 10 kOhm thermistor, shared/reference/thermistor_10k.csv, under 2490 ohm to 5 V.
#[test]
fn val_lesson_1_reads_the_printed_thermistor() {
    let answer = lesson_01_frame::answer();
    shows!("lesson_01_frame", answer, ["101.2 kPa", "108 degC"], ["pin, V", "coolant, degC"]);
    let rows = table::read("thermistor_10k");
    let usual = |row: &&table::Row| (-20.0..=120.0).contains(&row.number("T_C"));
    for row in rows.iter().filter(usual) {
        let ohm = row.number("R_ohm");
        let estimate = lesson_01_frame::estimated((5.0 * ohm / (ohm + 2490.0)) as f32);
        row.agrees_within("T_C", f64::from(estimate.ect_k) - 273.15, 0.7);
    }
    assert!(answer.slope_c_per_v(0.45).abs() > 3.0 * answer.slope_c_per_v(2.5).abs());
}

/// Source: density of air at sea level, ISO 2533, shared/reference/atmosphere.csv.
#[test]
fn val_lesson_2_fills_a_cylinder_with_standard_air() {
    let answer = lesson_02_air::answer();
    shows!("lesson_02_air", answer, ["60 kPa", "% rms"], ["manifold pressure, kPa", "air, mg"]);
    let answers = Scenario::load("delivery-van").expect("shipped").answers;
    for row in table::read_where("atmosphere", "Z_m", "0") {
        let full_kg = lesson_02_air::full_charge_kg(&answers, row.number("p_Pa"), row.number("T_K"));
        let cylinder_m3 = f64::from(answers.displacement_m3) / f64::from(answers.cylinders);
        row.agrees("rho", full_kg / cylinder_m3, 1e-4);
    }
    for charge in &answer.charges {
        assert!(charge.true_kg < charge.full_kg, "{}", charge.map_pa);
        assert!(charge.error_ln().abs() < 0.35, "{}", charge.map_pa);
    }
    assert!(answer.error_rms() > 0.02, "nothing to learn");
}

/// Source: orifice law, shared/reference/injector_sqrt.csv.
#[test]
fn val_lesson_3_follows_the_orifice_law_and_loses_the_late_time() {
    use lesson_03_injector::{DROP_PA, LATE_S, SUPPLY_V, fuel_kg};
    let answer = lesson_03_injector::answer();
    shows!("lesson_03_injector", answer, ["1.00 ms", "0.1 ms late"], ["open time, ms", "fuel, mg"]);
    let injectors = Truth::mild_v8().injectors;
    for row in table::read("injector_sqrt") {
        let drop_pa = 1e3 * row.number("dp_kPa");
        let flowing = |drop_pa| fuel_kg(injectors.delay_s(SUPPLY_V, drop_pa) + 10e-3, drop_pa);
        row.agrees("flow_ratio_to_300kPa", flowing(drop_pa) / flowing(DROP_PA), 1e-5);
    }
    // The line of fuel over open time starts at the delay plus the length of the nonlinearity.
    let start_s = injectors.delay_s(SUPPLY_V, DROP_PA) + injectors.nonlinearity_s;
    assert!((answer.offset_s - start_s).abs() < 2e-6, "{}", answer.offset_s);
    // The missing share of a pulse is the late time over the flow time.
    for open_s in [4e-3, 8e-3, 16e-3] {
        let lost = 1.0 - answer.pulse(open_s).late_ratio;
        assert!((lost * (open_s - start_s) / LATE_S - 1.0).abs() < 0.02, "{open_s}: {lost}");
    }
}

/// In steady state evaporation equals deposition (Aquino, SAE 810494); the gain of the film equals the fuel that was not drawn.
#[test]
fn ident_lesson_4_closes_the_balance_of_the_film() {
    let answer = lesson_04_film::answer();
    shows!("lesson_04_film", answer, ["on the wall", "% lean"], ["time since then, s", "lambda"]);
    for tip_in in [&answer.without, &answer.with] {
        assert!((tip_in.film_kg / tip_in.rest_film_kg - 1.0).abs() < 0.05, "{}", tip_in.rest_film_kg);
        assert!((tip_in.missing_kg / tip_in.gained_kg - 1.0).abs() < 1e-6, "{}", tip_in.missing_kg);
    }
    let (without, with) = (answer.without.lean_ln(), answer.with.lean_ln());
    assert!(without > 0.05 && with < 0.4 * without, "{without} {with}");
}

/// Source: roots of `z^d - z^(d-1) + K`, shared/reference/control_margins.csv, rows "discrete I".
#[test]
fn val_lesson_5_has_the_stability_limit_of_the_roots() {
    let answer = lesson_05_delay::answer();
    shows!("lesson_05_delay", answer, ["delay 10 samples", "2000 rpm"], ["delay, samples", "gain K"]);
    let rows = table::read_where("control_margins", "case", "discrete I");
    assert_eq!(rows.len(), answer.unaware.len());
    for (row, &(delay, limit)) in rows.iter().zip(&answer.unaware) {
        assert_eq!(row.text("p1"), format!("d={delay}"));
        row.agrees("Ku_Td", lesson_05_delay::exact_limit(delay), 1e-9);
        row.agrees("Ku_Td", limit, 0.02);
    }
    assert!(answer.aware.iter().all(|(_, limit)| (limit - 2.0).abs() < 0.01), "{:?}", answer.aware);
    assert!(answer.travel_s.is_sorted_by(|slow, fast| slow.1 > fast.1), "{:?}", answer.travel_s);
}

/// The practical limit is an offline fit of the whole log with known delay.
#[test]
fn ident_lesson_6_learns_nearly_as_well_as_the_offline_fit() {
    let answer = lesson_06_learning::answer();
    shows!(
        "lesson_06_learning",
        answer,
        ["First calibration", "lessons"],
        ["time since the start, min", "rms, %"]
    );
    let (mixture, learning) = (&answer.run.summary.mixture, &answer.run.summary.learning);
    assert!(mixture.learned_map_rms < 0.2 * mixture.base_map_rms, "{mixture:?}");
    assert!(learning.visited_error_rms < 1.7 * learning.offline_fit_rms, "{learning:?}");
}

/// Normal distribution: share within two standard deviations, and within one where the estimated one is half of the true one.
#[test]
fn val_lesson_7_agrees_with_the_normal_distribution() {
    let answer = lesson_07_confidence::answer();
    shows!("lesson_07_confidence", answer, ["two sigma", "On the road"], ["standard deviation", "error, %"]);
    let within = |sigmas: f64| libm::erf(sigmas / std::f64::consts::SQRT_2);
    for (share, wanted) in [(answer.independent, within(2.0)), (answer.repeated, within(1.0))] {
        let spread = libm::sqrt(wanted * (1.0 - wanted) / lesson_07_confidence::TRIES as f64);
        // The drift term of the map and the limits of the random truths increase the share a little.
        assert!((share - wanted).abs() < 4.0 * spread + 0.005, "{share} for {wanted}");
    }
    assert!(answer.driven > 0.8 && answer.cells.len() > 10, "{} of {}", answer.driven, answer.cells.len());
}

/// Mass balance of the air at the sensor.
#[test]
fn ident_lesson_8_runs_rich_by_the_leak_air() {
    let answer = lesson_08_leak::answer();
    shows!("lesson_08_leak", answer, ["leak 0.30 g/s", "the self-check detects it"], ["leak, g/s", "lambda"]);
    for idle in &answer.idles {
        let expected = idle.burned * idle.balance();
        assert!(
            (expected / idle.measured - 1.0).abs() < 0.02,
            "leak {}: {expected} {}",
            idle.leak_kg_per_s,
            idle.measured
        );
        assert!((idle.measured - 1.0).abs() < 0.01, "{}", idle.measured);
    }
    assert!(answer.detected && !answer.false_alarm);
}

#[test]
fn ident_lesson_9_never_loses_a_map_saved_in_a_free_page() {
    use lesson_09_power_cut::NEW;
    let answer = lesson_09_power_cut::answer();
    shows!(
        "lesson_09_power_cut",
        answer,
        ["in a free page", "over the last one"],
        ["operation", "restored map"]
    );
    assert!(answer.beside.len() > 100 && answer.over.len() > 100, "a save is many operations");
    assert!(answer.beside.iter().all(|&number| number == NEW || number == NEW - 1), "{:?}", answer.beside);
    assert!(answer.over.iter().all(|&number| number != NEW - 1), "the old map is erased first");
    assert_eq!((answer.beside.last(), answer.over.last()), (Some(&NEW), Some(&NEW)), "uncut");
}

#[test]
fn lesson_10_adds_a_learner_in_a_few_lines() {
    let answer = lesson_10_own_learner::answer();
    shows!("lesson_10_own_learner", answer, ["counting", "lines"], ["time since the start, min", "rms, %"]);
    assert!((10..60).contains(&lesson_10_own_learner::learner_lines()));
    assert_eq!(answer.errors.len(), 3);
    for (name, errors) in &answer.errors {
        let (first, last) = (errors[0].1, errors[errors.len() - 1].1);
        assert!(last < 0.55 * first, "{name}: {first} {last}");
    }
}

#[test]
fn lesson_11_improves_every_engine_of_the_fleet() {
    let answer = lesson_11_fleet::answer();
    shows!("lesson_11_fleet", answer, ["engine 4", "The worst"], ["engine", "rms, %"]);
    for engine in &answer.engines {
        assert!(engine.learned < 0.5 * engine.base, "{} {}", engine.learned, engine.base);
    }
    assert!(answer.worst().learned < 0.06, "{}", answer.worst().learned);
}
