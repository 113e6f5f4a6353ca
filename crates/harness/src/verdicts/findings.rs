//! Texts of the findings: evidence, possible causes, how to distinguish them, what to check.

use trimwright_control::{Controller, Refusal};

use super::cause::Cause;
use super::evidence::Evidence;
use super::rank::{rank, response};
use crate::summary::{Finding, Weight};

/// Standard deviation of a cell below which it counts as known, as a share of the prior.
const KNOWN: f32 = 0.5;

/// Findings: most urgent first, among these the most likely; then general remarks.
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

/// Texts of a cause.
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
    let Words { title, weight, causes, tell_apart, check } = words(cause, leaner, evidence.starved > 0);
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

/// Evidence of a cause with numbers.
fn seen(cause: Cause, evidence: &Evidence, controller: &Controller) -> Vec<String> {
    let state = controller.state();
    let percent = |ln: f64| format!("{:+.1} %", 100.0 * libm::expm1(ln));
    let at = |ln: Option<f64>| ln.map_or_else(|| "not measured".to_owned(), percent);
    let corrections = format!(
        "required fuel corrections: {} at idle, {} at four times that flow, {} above",
        at(evidence.pattern.low_ln()),
        at(evidence.pattern.middle_ln()),
        at(evidence.pattern.high_ln())
    );
    let (slope, _, count) = state.self_check().torque_response().estimate();
    let burned = state.self_check().torque_response().lambda_bias_ln(response(controller)).map_or_else(
        String::new,
        |(off_ln, sigma_ln)| {
            let (off, sigma) = (100.0 * libm::expm1(f64::from(off_ln.abs())), 100.0 * sigma_ln);
            let side = if off_ln < 0.0 { "richer" } else { "leaner" };
            format!(
                ": the reading is {off:.1} % {side} than the mixture burned (standard deviation {sigma:.1} %)"
            )
        },
    );
    let crank = format!(
        "1 % more fuel changes the idle speed by {slope:+.2} % ({count:.0} half periods of dither){burned}"
    );
    let codes: Vec<String> =
        state.dtcs().stored().map(|dtc| format!("{}: {}", dtc.code(), dtc.meaning())).collect();
    match cause {
        Cause::SensorReading => vec![crank, corrections],
        Cause::UpstreamAir => {
            let refusals = state.counts().of(Refusal::UpstreamAir);
            let learning = format!("{refusals} readings at low flow were not learned from because of it");
            vec![crank, corrections, learning]
        }
        Cause::FuelScale if evidence.stalls > 0 => {
            vec![corrections, format!("the engine stopped {} times", evidence.stalls)]
        }
        Cause::FuelScale | Cause::OpeningDelay => vec![corrections],
        Cause::VacuumLeak => {
            vec![format!(
                "the idle valve gives {:+.0} % duty beyond the usual",
                100.0 * evidence.idle_extra.value()
            )]
        }
        Cause::FuelSupply if evidence.starved > 0 => {
            vec![format!("stalls and attempts to start without rail pressure: {}", evidence.starved)]
        }
        Cause::FuelSupply => {
            vec![format!("rail pressure fell to {} of the target", percent(evidence.rail_min_ln))]
        }
        Cause::SensorSlow => {
            let mut seen = Vec::new();
            if evidence.air_late_s.count() > 0 {
                let late_s = evidence.air_late_s.value();
                seen.push(format!(
                    "after a fuel cut the reading showed air {late_s:.2} s later than expected"
                ));
            }
            if evidence.mixture_late_s.count() > 0 {
                let back_s = evidence.mixture_late_s.value();
                seen.push(format!(
                    "after the cut the reading showed the mixture {back_s:.2} s later than expected"
                ));
            }
            seen.extend(state.self_check().measured().map(|measured| {
                let (delay_s, expected_s) = (measured.delay_s, measured.expected_delay_s);
                format!("the fuel dither appeared in the reading after {delay_s:.2} s instead of {expected_s:.2} s")
            }));
            seen
        }
        Cause::CrankSignal => {
            let (lost, rejected) = (state.crank().lost_pulses(), state.crank().rejected_pulses());
            vec![format!("{lost} pulses probably lost, {rejected} rejected")]
        }
        Cause::Charging | Cause::Wiring => {
            let [standing, running] = evidence.battery_v.map(|volts| volts.value());
            vec![format!("{standing:.1} V with the engine stopped, {running:.1} V running")]
        }
        Cause::Thermostat => {
            vec![format!("{:.0} degC from ten minutes after the start", evidence.ect_late_k.value() - 273.15)]
        }
        _ => codes,
    }
}

/// Lessons for each one that may end at a limit without a finding: the mixture wanders near a limit, and the wall film's properties
/// overshoot while a cold wall warms (engineering judgement: fault-free cold starts need up to one in a hundred).
const LESSONS_PER_LIMITED: u32 = 50;

/// Finding when corrections reached their limit.
fn limits(controller: &Controller) -> Option<Finding> {
    let counts = controller.state().counts();
    let bounded = counts.of(Refusal::Authority);
    (bounded > counts.lessons() / LESSONS_PER_LIMITED).then(|| Finding {
        title: "The learned map reached the limit of its corrections".to_owned(),
        weight: Weight::Act,
        evidence: vec![format!("{bounded} lessons ended at the limit of a cell")],
        causes: vec!["a setup answer is wrong".to_owned(), "a part is broken".to_owned()],
        tell_apart: vec!["other findings name parts; without them an answer is likely".to_owned()],
        check: vec!["the answered camshaft, displacement, injector flow and pressure".to_owned()],
    })
}

/// Finding when the required correction differs between cold and warm.
fn cold(evidence: &Evidence) -> Option<Finding> {
    let [cold, warm] = &evidence.required_ln;
    let more_ln = cold.value() - warm.value();
    (cold.count() > 500 && more_ln.abs() > 0.25).then(|| Finding {
        title: "The engine needs a different correction cold than warm".to_owned(),
        weight: Weight::Note,
        evidence: vec![format!(
            "{:+.0} % of fuel more below 45 degC than warm",
            100.0 * libm::expm1(more_ln)
        )],
        causes: vec!["warm-up enrichment".to_owned(), "more or less fuel on the cold wall".to_owned()],
        tell_apart: vec![
            "wall fuel shows when the throttle moves, enrichment also at constant throttle".to_owned(),
        ],
        check: vec!["the coolant sensor against a thermometer".to_owned()],
    })
}

/// Finding when there was no lesson.
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
            "{} of {whole} readings were not learned from because: {}",
            counts.of(reason),
            reason.name().replace('_', " ")
        )],
        causes: vec![if short {
            "the drive was too short for the engine to get warm".to_owned()
        } else {
            "those of the other findings and trouble codes".to_owned()
        }],
        tell_apart: Vec::new(),
        check: vec![if short {
            "drive on until the coolant is above 60 degC".to_owned()
        } else {
            "those first, then drive again".to_owned()
        }],
    })
}

/// Finding when cells were not driven.
fn unvisited(controller: &Controller) -> Option<Finding> {
    let learned = controller.state().learned();
    let first = controller.calibration().parameters().learner.prior_sigma_ln;
    let cells = learned.ln.flat().len();
    let known = (0..cells).filter(|cell| learned.sigma_ln(*cell) < KNOWN * first).count();
    (known < cells).then(|| Finding {
        title: "Part of the map was never driven".to_owned(),
        weight: Weight::Note,
        evidence: vec![format!(
            "{} of {cells} cells are hardly more certain than at the start",
            cells - known
        )],
        causes: vec!["the drive did not go there".to_owned()],
        tell_apart: Vec::new(),
        check: vec!["drive the missing speeds and loads gently before using full load".to_owned()],
    })
}

/// Texts of a cause. `leaner`: if the sensor is wrong, the engine is leaner than its reading. `starved`: the engine stopped or did not start
/// for want of rail pressure.
fn words(cause: Cause, leaner: bool, starved: bool) -> Words {
    let circuit = |title| Words {
        title,
        weight: Weight::Act,
        causes: &["broken wire or plug", "short to ground or supply", "the sensor itself"],
        tell_apart: &["unplug the sensor: the reading changes when the wire is intact"],
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
                "a leak fades with flow, a sensor is wrong at every flow; in the drive the two differ by less than fault-free engines do",
                "the reading in open air: if it is correct, it is a leak",
                "a vacuum leak moves the idle valve; these do not",
            ],
            check: &[
                "exhaust joints from the ports to the sensor, cold engine; ventilate: exhaust is poisonous",
            ],
        },
        Cause::SensorReading => Words {
            title: if leaner {
                "The engine is leaner than the oxygen sensor reads"
            } else {
                "The oxygen sensor reads leaner than the engine runs"
            },
            weight: if leaner { Weight::Stop } else { Weight::Act },
            causes: &["ageing sensor", "raised ground of the sensor driver", "position on a bend"],
            tell_apart: &[
                "voltage between the sensor driver's ground and the engine",
                "the reading in open air: the lean end",
            ],
            check: if leaner {
                &["ground and position of the sensor; until then no full load: lean mixtures destroy engines"]
            } else {
                &[
                    "first the joints before the sensor, then its ground and position; meanwhile the engine runs rich",
                ]
            },
        },
        Cause::VacuumLeak => Words {
            title: "Air enters the manifold by another way than the idle valve",
            weight: Weight::Act,
            causes: &["vacuum hose or gasket", "throttle plate does not close"],
            tell_apart: &[
                "the mixture is correct, since manifold pressure includes this air; only the idle valve closes further",
            ],
            check: &["hoses, throttle stop, gasket below the throttle body"],
        },
        Cause::FuelSupply if starved => Words {
            title: "No fuel arrives: the tank is empty, or the fuel pump delivers nothing",
            weight: Weight::Stop,
            causes: &[
                "tank empty",
                "fuel pump, its relay, fuse or wire",
                "filter or line blocked or leaking",
                "vapour in hot fuel",
            ],
            tell_apart: &[
                "the pump is heard for a moment after switching on: silent, it gets no current or is broken",
                "only when hot: vapour",
            ],
            check: &[
                "fuel gauge, then voltage at the pump, then pressure before the filter; fuel under pressure: no flame, relieve it first",
            ],
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
            tell_apart: &[
                "the pressure before the filter distinguishes filter and pump",
                "only when hot: vapour",
            ],
            check: &[
                "no full load until repaired: lean mixtures destroy engines; fuel under pressure: no flame, relieve it first",
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
                "a wrong answer shows from the first day, fuel after filling up, clogging gradually",
            ],
            check: &["the answers, then a sample of the fuel, then the injectors on a bench"],
        },
        Cause::OpeningDelay => Words {
            title: "Corrections change at short pulses",
            weight: Weight::Act,
            causes: &[
                "opening delay of the injectors",
                "volumetric efficiency at idle: another cam than answered",
            ],
            tell_apart: &["a delay shows at all short pulses, a cam only at low speed"],
            check: &["voltage at the injectors; the answered camshaft"],
        },
        Cause::SensorSlow => Words {
            title: "The oxygen sensor responds late",
            weight: Weight::Note,
            causes: &["sensor too far down the pipe", "aged or sooted sensor"],
            tell_apart: &[
                "too far: after a fuel cut mixture and air appear equally late; slow: the mixture much later",
                "too far: late mostly at idle; slow: late at every flow",
            ],
            check: &["distance from the ports; six to eight inches after the tubes merge is common practice"],
        },
        Cause::CrankSignal => Words {
            title: "Pulses of the distributor are lost or added",
            weight: Weight::Act,
            causes: &["pickup, its gap or plug", "interference from the ignition wires"],
            tell_apart: &["lost: gap or plug; added: wires routed together"],
            check: &["gap, plug, shield and routing of the wire"],
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
            tell_apart: &["voltage at the alternator itself"],
            check: &["belt, then voltage at alternator and battery"],
        },
        Cause::Wiring => Words {
            title: "Voltage drop between battery and controller",
            weight: Weight::Act,
            causes: &["corroded ground or plug", "wire too thin"],
            tell_apart: &[
                "voltage drop under load from battery to controller, on the ground and the supply side",
            ],
            check: &["grounds first"],
        },
        Cause::Thermostat => Words {
            title: "The engine does not get warm",
            weight: Weight::Note,
            causes: &["thermostat stays open", "coolant sensor reads cold"],
            tell_apart: &["the upper hose gets warm at once when the thermostat is open"],
            check: &["thermostat; do not open a hot cooling system"],
        },
    }
}
