//! Findings in words: what was seen, what may be behind it, how to tell the causes apart, what to check.

use trimwright_control::{Controller, Refusal};

use super::cause::Cause;
use super::evidence::Evidence;
use super::rank::{rank, response};
use crate::summary::{Finding, Weight};

/// Standard deviation below which a cell was visited enough to know something, as a share of the first one.
const KNOWN: f32 = 0.5;

/// Findings: what matters most first, and of what matters alike the likeliest; then what is worth knowing anyway.
///
/// ```
/// use trimwright_control::Options;
/// use trimwright_harness::{drive::learn, scenario::Scenario, schedule::Schedule};
/// use trimwright_harness::faults::{Fault, find};
/// use trimwright_harness::{summary::Weight, verdicts::findings};
/// let schedule = Schedule::parse("trip", "trip.csv", "time [s],speed [km/h]\n0,0\n20,0\n40,50\n100,50\n")?;
/// let faults = vec![Fault::usual(find("iat_open").ok_or("a kind")?)];
/// let van = Scenario { schedule, faults, passes: 1, ..Scenario::load("delivery-van")? };
/// let learned = learn(&van, Options::default())?;
/// let first = &findings(&learned.evidence, &learned.controller)[0];
/// assert!(first.weight == Weight::Act && first.evidence[0].starts_with("P011"), "{first:?}");
/// # Ok::<(), Box<dyn std::error::Error>>(())
/// ```
pub fn findings(evidence: &Evidence, controller: &Controller) -> Vec<Finding> {
    let ranked = rank(evidence, controller);
    let causes = ranked.iter().map(|(cause, _)| finding(*cause, evidence, controller));
    let limits = limits(controller).into_iter();
    let mut found: Vec<Finding> = causes.chain(limits).collect();
    found.sort_by_key(|finding| core::cmp::Reverse(finding.weight));
    found.extend(cold(evidence).into_iter().chain(nothing_learned(controller)).chain(unvisited(controller)));
    found
}

/// Titles, causes, ways to tell apart and checks of a cause.
struct Words {
    title: &'static str,
    weight: Weight,
    causes: &'static [&'static str],
    tell_apart: &'static [&'static str],
    check: &'static [&'static str],
}

fn finding(cause: Cause, evidence: &Evidence, controller: &Controller) -> Finding {
    let leaner =
        controller.state().self_check().torque_response().falsely_lean_ln(response(controller)).is_none();
    let Words { title, weight, causes, tell_apart, check } = words(cause, leaner);
    let owned = |lines: &[&str]| lines.iter().map(|line| (*line).to_owned()).collect();
    Finding {
        title: title.to_owned(),
        weight,
        evidence: seen(cause, evidence, controller),
        causes: owned(causes),
        tell_apart: owned(tell_apart),
        check: owned(check),
    }
}

/// What was seen, with numbers.
fn seen(cause: Cause, evidence: &Evidence, controller: &Controller) -> Vec<String> {
    let state = controller.state();
    let percent = |ln: f64| format!("{:+.1} %", 100.0 * libm::expm1(ln));
    let at = |ln: Option<f64>| ln.map_or_else(|| "not judged".to_owned(), percent);
    let corrections = format!(
        "fuel corrections that were right: {} at idle, {} at four times that flow, {} above",
        at(evidence.pattern.low_ln()),
        at(evidence.pattern.middle_ln()),
        at(evidence.pattern.high_ln())
    );
    let (pull, _, count) = state.self_check().torque_response().estimate();
    let burned = state.self_check().torque_response().lambda_bias_ln(response(controller)).map_or_else(
        String::new,
        |(off_ln, sigma_ln)| {
            let (off, sigma) = (100.0 * libm::expm1(f64::from(off_ln.abs())), 100.0 * sigma_ln);
            let way = if off_ln < 0.0 { "richer" } else { "leaner" };
            format!(": the reading is {off:.1} % {way} than what burns (standard deviation {sigma:.1} %)")
        },
    );
    let crank =
        format!("1 % more fuel changes the idle speed by {pull:+.2} % ({count:.0} half waves){burned}");
    let codes: Vec<String> =
        state.dtcs().stored().map(|dtc| format!("{}: {}", dtc.code(), dtc.meaning())).collect();
    match cause {
        Cause::SensorReading => vec![crank, corrections],
        Cause::UpstreamAir => {
            let refused = state.counts().of(Refusal::UpstreamAir);
            let learning = format!("{refused} readings at low flow were not learned from because of it");
            vec![crank, corrections, learning]
        }
        Cause::FuelScale if evidence.stalls > 0 => {
            vec![corrections, format!("the engine stopped {} times", evidence.stalls)]
        }
        Cause::FuelScale | Cause::OpeningDelay => vec![corrections],
        Cause::VacuumLeak => {
            vec![format!(
                "the idle valve gives {:+.0} % duty beyond what is usual",
                100.0 * evidence.idle_extra.value()
            )]
        }
        Cause::FuelSupply => {
            vec![format!("rail pressure fell to {} of the wanted", percent(evidence.rail_min_ln))]
        }
        Cause::SensorSlow => {
            let mut seen = Vec::new();
            if evidence.air_late_s.count() > 0 {
                let late_s = evidence.air_late_s.value();
                seen.push(format!("after a fuel cut air showed {late_s:.2} s later than believed"));
            }
            if evidence.mixture_late_s.count() > 0 {
                let back_s = evidence.mixture_late_s.value();
                seen.push(format!("fuel being back, the mixture showed {back_s:.2} s later than believed"));
            }
            seen.extend(state.self_check().measured().map(|measured| {
                let (delay_s, expected_s) = (measured.delay_s, measured.expected_delay_s);
                format!("the dither of the fuel came back after {delay_s:.2} s instead of {expected_s:.2} s")
            }));
            seen
        }
        Cause::CrankSignal => {
            let (lost, refused) = (state.crank().lost_pulses(), state.crank().rejected_pulses());
            vec![format!("{lost} pulses seem lost, {refused} were refused")]
        }
        Cause::Charging | Cause::Wiring => {
            let [standing, running] = evidence.battery_v.map(|volts| volts.value());
            vec![format!("{standing:.1} V with the engine standing, {running:.1} V running")]
        }
        Cause::Thermostat => {
            vec![format!("{:.0} degC after ten minutes and more", evidence.ect_late_k.value() - 273.15)]
        }
        _ => codes,
    }
}

/// The mixture reached an end of what may be corrected.
fn limits(controller: &Controller) -> Option<Finding> {
    let bounded = controller.state().counts().of(Refusal::Authority);
    (bounded > 0).then(|| Finding {
        title: "The learned map reached the end of what it may correct".to_owned(),
        weight: Weight::Act,
        evidence: vec![format!("{bounded} lessons ended at the limit of a cell")],
        causes: vec!["a setup answer is wrong".to_owned(), "a part is broken".to_owned()],
        tell_apart: vec!["the other findings name parts; without them suspect an answer".to_owned()],
        check: vec!["camshaft, displacement, injector flow and pressure as answered".to_owned()],
    })
}

/// The engine needed another correction cold than warm.
fn cold(evidence: &Evidence) -> Option<Finding> {
    let [cold, warm] = &evidence.required_ln;
    let more_ln = cold.value() - warm.value();
    (cold.count() > 500 && more_ln.abs() > 0.25).then(|| Finding {
        title: "Cold, the engine needs another correction than warm".to_owned(),
        weight: Weight::Note,
        evidence: vec![format!(
            "{:+.0} % of fuel more below 45 degC than warm",
            100.0 * libm::expm1(more_ln)
        )],
        causes: vec!["warm-up enrichment".to_owned(), "more or less fuel on the cold wall".to_owned()],
        tell_apart: vec![
            "the wall shows when the throttle moves, enrichment also when it does not".to_owned(),
        ],
        check: vec!["the coolant sensor against a thermometer".to_owned()],
    })
}

/// The drive ended before anything could be learned.
fn nothing_learned(controller: &Controller) -> Option<Finding> {
    let counts = controller.state().counts();
    if counts.lessons() > 0 || !controller.calibration().options().learning {
        return None;
    }
    let whole: u32 = Refusal::ALL.map(|refusal| counts.of(refusal)).iter().sum();
    let reason = Refusal::ALL.into_iter().rev().max_by_key(|refusal| counts.of(*refusal))?;
    let short = matches!(reason, Refusal::Cold | Refusal::Starting);
    (whole > 0).then(|| Finding {
        title: "Nothing was learned".to_owned(),
        weight: Weight::Note,
        evidence: vec![format!(
            "{} of {whole} readings were refused because: {}",
            counts.of(reason),
            reason.name().replace('_', " ")
        )],
        causes: vec![if short {
            "the drive was too short for the engine to get warm".to_owned()
        } else {
            "what the other findings and the trouble codes name".to_owned()
        }],
        tell_apart: Vec::new(),
        check: vec![if short {
            "drive on until the coolant is above 60 degC".to_owned()
        } else {
            "those first, then drive again".to_owned()
        }],
    })
}

/// Where the map knows nothing.
fn unvisited(controller: &Controller) -> Option<Finding> {
    let learned = controller.state().learned();
    let first = controller.calibration().parameters().learner.prior_sigma_ln;
    let cells = learned.ln.flat().len();
    let known = (0..cells).filter(|cell| learned.sigma_ln(*cell) < KNOWN * first).count();
    (known < cells).then(|| Finding {
        title: "Part of the map was never driven".to_owned(),
        weight: Weight::Note,
        evidence: vec![format!(
            "{} of {cells} cells are hardly better known than at the start",
            cells - known
        )],
        causes: vec!["the drive did not go there".to_owned()],
        tell_apart: Vec::new(),
        check: vec!["drive the missing speeds and loads gently before using full load".to_owned()],
    })
}

/// `leaner`: should the sensor be wrong, the engine is leaner than it reads.
fn words(cause: Cause, leaner: bool) -> Words {
    let circuit = |title| Words {
        title,
        weight: Weight::Act,
        causes: &["broken wire or plug", "short to ground or supply", "the sensor itself"],
        tell_apart: &["unplug the sensor: the reading changes when the wire is sound"],
        check: &["plug and wire, with the ignition off"],
    };
    match cause {
        Cause::UpstreamAir => Words {
            title: "The engine is richer at idle than the oxygen sensor reads: air enters before the sensor",
            weight: Weight::Act,
            causes: &[
                "leak at an exhaust gasket, joint or weld before the sensor",
                "the sensor reads lean everywhere",
            ],
            tell_apart: &[
                "a leak fades with flow, a sensor is wrong at every flow; from the drive alone the two differ by less than sound engines do",
                "the sensor in open air: what reads air rightly leaves the leak",
                "a vacuum leak moves the idle valve; this does not",
            ],
            check: &[
                "exhaust joints from the ports to the sensor, cold engine; ventilate: exhaust is poisonous",
            ],
        },
        Cause::SensorReading => Words {
            title: if leaner {
                "The engine is leaner than the oxygen sensor reads"
            } else {
                "The oxygen sensor reads leaner than what burns"
            },
            weight: if leaner { Weight::Stop } else { Weight::Act },
            causes: &["ageing sensor", "lifted ground of its driver", "place on a bend"],
            tell_apart: &[
                "volts between the driver's ground and the engine",
                "the reading in open air: the lean end",
            ],
            check: if leaner {
                &["ground and place of the sensor; until then no full load: lean mixtures destroy engines"]
            } else {
                &[
                    "ground and place of the sensor, after the joints before it; the engine runs rich meanwhile",
                ]
            },
        },
        Cause::VacuumLeak => Words {
            title: "Air enters the manifold past the idle valve",
            weight: Weight::Act,
            causes: &["vacuum hose or gasket", "throttle plate does not close"],
            tell_apart: &[
                "the mixture is right, since the manifold pressure tells of this air; only the idle valve closes",
            ],
            check: &["hoses, throttle stop, gasket below the throttle body"],
        },
        Cause::FuelSupply => Words {
            title: "Rail pressure does not hold when fuel is used",
            weight: Weight::Stop,
            causes: &[
                "weak pump",
                "clogged filter",
                "line too narrow or pinched",
                "vapour at the pump's inlet",
            ],
            tell_apart: &["pressure before the filter tells filter from pump", "only hot: vapour"],
            check: &[
                "no full load until mended: lean mixtures destroy engines; fuel under pressure: no flame, relieve it first",
            ],
        },
        Cause::FuelScale => Words {
            title: "The same correction is needed everywhere",
            weight: Weight::Act,
            causes: &[
                "injector flow or pressure answered wrong",
                "displacement answered wrong",
                "ethanol in the fuel",
                "injectors clogged",
            ],
            tell_apart: &[
                "answers are wrong from the first day, fuel changes with a fill, clogging comes slowly",
            ],
            check: &["the answers, then a sample of the fuel, then the injectors on a bench"],
        },
        Cause::OpeningDelay => Words {
            title: "Corrections change at short pulses",
            weight: Weight::Act,
            causes: &["opening delay of the injectors", "filling at idle: another cam than answered"],
            tell_apart: &["a delay shows wherever pulses are short, a cam only at low speed"],
            check: &["volts at the injectors; the camshaft as answered"],
        },
        Cause::SensorSlow => Words {
            title: "The oxygen sensor answers late",
            weight: Weight::Note,
            causes: &["sensor too far down the pipe", "aged or sooted sensor"],
            tell_apart: &[
                "far: the mixture shows after a cut no later than the air did; slow: much later",
                "far: late mostly at idle; slow: late at every flow",
            ],
            check: &["distance from the ports; six to eight inches after the tubes merge is common practice"],
        },
        Cause::CrankSignal => Words {
            title: "Pulses of the distributor are lost or added",
            weight: Weight::Act,
            causes: &["pickup, its gap or plug", "interference from the ignition wires"],
            tell_apart: &["lost: gap or plug; added: wires run together"],
            check: &["gap, plug, screen and the way of the wire"],
        },
        Cause::MapCircuit => circuit("The MAP sensor's circuit is faulty"),
        Cause::TpCircuit => circuit("The TP sensor's circuit is faulty"),
        Cause::EctCircuit => circuit("The ECT sensor's circuit is faulty"),
        Cause::IatCircuit => circuit("The IAT sensor's circuit is faulty"),
        Cause::FrpCircuit => circuit("The FRP sensor's circuit is faulty"),
        Cause::OxygenCircuit => circuit("The oxygen sensor gives no usable signal"),
        Cause::Charging => Words {
            title: "The battery is not charged while the engine runs",
            weight: Weight::Act,
            causes: &["alternator or its belt", "its wiring or fuse"],
            tell_apart: &["volts at the alternator itself"],
            check: &["belt, then volts at alternator and battery"],
        },
        Cause::Wiring => Words {
            title: "Volts are lost between battery and controller",
            weight: Weight::Act,
            causes: &["corroded ground or plug", "wire too thin"],
            tell_apart: &["volts from battery to controller, ground side and supply side, under load"],
            check: &["grounds first"],
        },
        Cause::Thermostat => Words {
            title: "The engine does not get warm",
            weight: Weight::Note,
            causes: &["thermostat stays open", "coolant sensor reads cold"],
            tell_apart: &["the upper hose gets warm at once when the thermostat is open"],
            check: &["thermostat; open no hot cooling system"],
        },
    }
}
