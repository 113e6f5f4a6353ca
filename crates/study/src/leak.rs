//! Air that leaks into the exhaust before the oxygen sensor: what it makes of the learned map, and whether it is found.
//!
//! Engines and owners are those of [`Draw`]. The leak's strength is how much leaner than it burns the engine reads at warm idle in gear: its
//! air over that of the sensor's bank. Each engine is driven with each strength without the self-check, to see how far the learned
//! correction at idle goes rich, and with it, to see whether learning stops there and what the verdicts say first.

use rayon::prelude::*;
use trimwright_control::{Controller, Options, Refusal};
use trimwright_harness::csv_text::csv_text;
use trimwright_harness::drive::{Learned, RunError, learn};
use trimwright_harness::faults::examination::experience;
use trimwright_harness::faults::{Fault, find};
use trimwright_harness::scenario::Scenario;
use trimwright_harness::verdicts::{Cause, rank};

use crate::draw::Draw;

/// Strengths of the table.
///
/// ```
/// use trimwright_study::leak::{STRENGTHS, csv};
/// let table = csv(&[]);
/// assert_eq!(table.lines().count(), 1 + 1 + STRENGTHS.len(), "heads, sound engines, a row for each");
/// assert!(table.ends_with("\n0.12,0,,,0,0,0,0\n"), "the strongest last");
/// ```
pub const STRENGTHS: [f64; 5] = [0.02, 0.03, 0.05, 0.08, 0.12];
/// Time of the drive in which the idle flow is looked at, s: the first half of the schedule, warm from here.
const IDLE_FROM_S: f64 = 400.0;
const IDLE_UNTIL_S: f64 = 800.0;
/// Slower than this the car stands, m/s.
const STANDS_M_PER_S: f64 = 0.1;
/// Exhaust flow at which the leak of the simulated pipe takes in no air any more, kg/s.
const NO_LEAK_KG_PER_S: f64 = 0.06;

/// One engine with one leak.
///
/// ```
/// use trimwright_harness::verdicts::Cause;
/// use trimwright_study::leak::{Leaking, csv};
/// let leaking = Leaking {
///     strength: 0.05,
///     richer_ln: Some([0.048, 0.006]),
///     flagged: true,
///     refused: 120,
///     said: vec![Cause::UpstreamAir],
/// };
/// let table = csv(&[leaking]);
/// assert!(table.contains("\n0.05,1,0.0492,0.0060,"), "4.9 % too rich without the check, 0.6 % with it");
/// ```
#[derive(Clone, Debug, PartialEq)]
pub struct Leaking {
    /// Strength, ratio; 0 in a sound engine.
    pub strength: f64,
    /// The learned correction at idle against that of the same engine without a leak, ln, without the self-check and with it; none for
    /// a sound engine.
    pub richer_ln: Option<[f64; 2]>,
    /// Whether the self-check says that air enters before the sensor.
    pub flagged: bool,
    /// Readings that were not learned from because of it.
    pub refused: u32,
    /// Causes said, heaviest first.
    pub said: Vec<Cause>,
}

/// Drives engines `first..first + leaking` of the fleet with all leaks, and `sound` of them without one.
///
/// ```
/// use trimwright_harness::{scenario::Scenario, schedule::Schedule};
/// use trimwright_study::leak::leaks;
/// let trip = "time [s],speed [km/h]\n0,0\n10,0\n20,30\n50,30\n";
/// let schedule = Schedule::parse("trip", "trip.csv", trip)?;
/// let scenario = Scenario { schedule, ..Scenario::load("delivery-van")? };
/// let sound = leaks(&scenario, 1, 2, 0)?;
/// assert!(sound.len() == 2 && sound.iter().all(|run| !run.flagged && run.refused == 0));
/// # Ok::<(), Box<dyn std::error::Error>>(())
/// ```
///
/// # Errors
/// [`RunError`] when a drawn truth or answer is outside its range.
pub fn leaks(scenario: &Scenario, seed: u64, sound: u32, leaking: u32) -> Result<Vec<Leaking>, RunError> {
    let scenario = scenario.clone().with_passes(1);
    let engines: Result<Vec<Vec<Leaking>>, RunError> = (0..sound.max(leaking))
        .into_par_iter()
        .map(|index| engine(&Draw::of(seed, index).scenario(&scenario), index < sound, index < leaking))
        .collect();
    Ok(engines?.into_iter().flatten().collect())
}

/// Seed of the kept table: limits were set while looking at seeds 3 to 6, this one was not looked at before.
pub const SEED: u64 = 8;

/// The first four engines of the kept table, sound and leaking.
///
/// # Errors
/// [`RunError`] when an engine can't be driven.
pub fn few(scenario: &Scenario) -> Result<Vec<Leaking>, RunError> {
    leaks(scenario, SEED, 4, 4)
}

fn engine(scenario: &Scenario, sound: bool, leaking: bool) -> Result<Vec<Leaking>, RunError> {
    let drive = |leak_kg_per_s: f64, self_check: bool| {
        let mut scenario = scenario.clone();
        if leak_kg_per_s > 0.0
            && let Some(kind) = find("exhaust_leak")
        {
            scenario.faults.push(Fault { strength: leak_kg_per_s, ..Fault::usual(kind) });
        }
        learn(&scenario, Options { self_check, ..Options::default() })
    };
    let checked = drive(0.0, true)?;
    let mut runs = Vec::new();
    if sound {
        runs.push(told(0.0, None, &checked));
    }
    if leaking {
        let unchecked = drive(0.0, false)?;
        let air_kg_per_s = idle_air_kg_per_s(scenario)?;
        for strength in STRENGTHS {
            let leak_kg_per_s = leak_kg_per_s(scenario, strength, air_kg_per_s);
            let (without, with) = (drive(leak_kg_per_s, false)?, drive(leak_kg_per_s, true)?);
            let at = &unchecked.controller;
            let richer = [
                correction_ln(&without.controller, at) - correction_ln(at, at),
                correction_ln(&with.controller, at) - correction_ln(&checked.controller, at),
            ];
            runs.push(told(strength, Some(richer), &with));
        }
    }
    Ok(runs)
}

fn told(strength: f64, richer_ln: Option<[f64; 2]>, learned: &Learned) -> Leaking {
    let state = learned.controller.state();
    Leaking {
        strength,
        richer_ln,
        flagged: state.self_check().upstream_air_kg_per_s() > 0.0,
        refused: state.counts().of(Refusal::UpstreamAir),
        said: rank(&learned.evidence, &learned.controller).iter().map(|(cause, _)| *cause).collect(),
    }
}

/// The leak whose air makes the idle read leaner by `strength`.
fn leak_kg_per_s(scenario: &Scenario, strength: f64, air_kg_per_s: f64) -> f64 {
    let bank_kg_per_s = air_kg_per_s / f64::from(scenario.truth.exhaust.banks);
    strength * bank_kg_per_s / (1.0 - air_kg_per_s / NO_LEAK_KG_PER_S)
}

/// Air through the standing, warm engine in gear, kg/s: the truth's.
fn idle_air_kg_per_s(scenario: &Scenario) -> Result<f64, RunError> {
    let (mut sum, mut looks) = (0.0, 0.0);
    experience(scenario, IDLE_UNTIL_S, &mut |closed_loop| {
        let view = closed_loop.view();
        if closed_loop.time_s() > IDLE_FROM_S && view.vehicle_m_per_s < STANDS_M_PER_S {
            sum += view.engine_kg_per_s;
            looks += 1.0;
        }
    })?;
    Ok(sum / looks)
}

/// What the learned map does at the place where `at` idles in the end, ln: the cells' share and that of the opening delay.
fn correction_ln(controller: &Controller, at: &Controller) -> f64 {
    let (state, insight) = (controller.state(), at.state().insight());
    let flow_kg_per_s = at.calibration().injector_flow_kg_per_s(at.state().estimate().drop_pa());
    let flows_s = insight.injected_fuel_kg / (f32::from(insight.injectors) * flow_kg_per_s);
    let late = f64::from(state.learned().common.delay_s / flows_s);
    f64::from(state.learned().at(&insight.weights)) + libm::log1p(late)
}

/// The table as CSV: a row for each strength, the sound engines first.
///
/// ```
/// use trimwright_study::leak::{Leaking, csv};
/// let sound = Leaking { strength: 0.0, richer_ln: None, flagged: false, refused: 0, said: vec![] };
/// let table = csv(&[sound.clone(), sound]);
/// assert!(table.starts_with("strength,engines,richer_without_check,richer_with_check,flagged,"));
/// assert_eq!(table.lines().nth(1), Some("0,2,,,0,0,0,0"), "two sound engines, none accused");
/// ```
pub fn csv(runs: &[Leaking]) -> String {
    let head = [
        "strength",
        "engines",
        "richer_without_check",
        "richer_with_check",
        "flagged",
        "learning_refused",
        "named",
        "named_first",
    ];
    let row = |strength: f64| {
        let of: Vec<&Leaking> = runs.iter().filter(|run| run.strength == strength).collect();
        let count = |is: &dyn Fn(&Leaking) -> bool| of.iter().filter(|run| is(run)).count().to_string();
        let richer = |which: usize| {
            let values: Vec<f64> = of.iter().filter_map(|run| Some(run.richer_ln?[which])).collect();
            let mean_ln = values.iter().sum::<f64>() / values.len() as f64;
            if values.is_empty() { String::new() } else { format!("{:.4}", libm::expm1(mean_ln)) }
        };
        [
            strength.to_string(),
            of.len().to_string(),
            richer(0),
            richer(1),
            count(&|run| run.flagged),
            count(&|run| run.refused > 0),
            count(&|run| run.said.contains(&Cause::UpstreamAir)),
            count(&|run| run.said.first() == Some(&Cause::UpstreamAir)),
        ]
    };
    csv_text(head, [0.0].into_iter().chain(STRENGTHS).map(row))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_table_counts_every_run_once() {
        let sound = Leaking { strength: 0.0, richer_ln: None, flagged: false, refused: 0, said: vec![] };
        let leaking = Leaking {
            strength: 0.05,
            richer_ln: Some([0.04, 0.01]),
            flagged: true,
            refused: 3,
            said: vec![Cause::SensorReading, Cause::UpstreamAir],
        };
        let table = csv(&[sound, leaking]);
        assert!(table.contains("\n0,1,,,0,0,0,0\n"), "{table}");
        assert!(table.contains("\n0.05,1,0.0408,0.0101,1,1,1,0\n"), "{table}");
    }

    #[test]
    fn ident_a_leak_reads_as_lean_as_its_strength_says() {
        let scenario = Scenario::load("delivery-van").expect("shipped");
        // Two banks: 3 g/s each; nine tenths of the leak are taken in at 6 of 60 g/s.
        assert!((leak_kg_per_s(&scenario, 0.05, 6e-3) - 0.05 * 3e-3 / 0.9).abs() < 1e-12);
    }
}
