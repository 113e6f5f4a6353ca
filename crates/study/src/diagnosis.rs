//! A blind diagnosis: engines drawn by lot, one drawn fault in each, and what the verdicts make of it.
//!
//! Engines and owners are those of [`Draw`]; each fault of [`FAULTS`] is drawn even within its strengths, of either sign where it has
//! one. Strengths are such that the fault stands out of what sound engines differ by: below, no sensor here can see it, and the learned
//! map covers it.

use std::iter;

use rayon::prelude::*;
use trimwright_control::Options;
use trimwright_harness::csv_text::csv_text;
use trimwright_harness::drive::learn;
use trimwright_harness::faults::{Fault, find};
use trimwright_harness::scenario::Scenario;
use trimwright_harness::verdicts::{Cause, rank};

use crate::draw::{Draw, Lot};

/// One fault that may be drawn: its kind, its strengths, and whether it may also have the other sign. What is answered wrong has the
/// inverse instead of the other sign.
///
/// ```
/// use trimwright_harness::faults::find;
/// use trimwright_study::diagnosis::FAULTS;
/// let leak = FAULTS.iter().find(|drawn| drawn.kind == "vacuum_leak").ok_or("not drawn")?;
/// let allowed = find(leak.kind).and_then(|kind| kind.strength).ok_or("no strength")?;
/// assert!(allowed.low < leak.strengths.0 && leak.strengths.1 < allowed.high, "20 to 80 mm2");
/// # Ok::<(), Box<dyn std::error::Error>>(())
/// ```
#[derive(Clone, Copy, Debug)]
pub struct Drawn {
    /// The cause that is right.
    pub cause: Cause,
    /// Name of the kind.
    pub kind: &'static str,
    /// Least and most strength.
    pub strengths: (f64, f64),
    /// How the other half of the runs has it.
    pub other: Other,
}

/// The other half of the runs.
///
/// ```
/// use trimwright_study::diagnosis::{FAULTS, Other};
/// let other = |kind: &str| FAULTS.iter().find(|drawn| drawn.kind == kind).map(|drawn| drawn.other);
/// assert_eq!(other("shifted_sensor"), Some(Other::Negative), "it may read too lean or too rich");
/// assert_eq!(other("wrong_displacement"), Some(Other::Inverse), "too large or too small an answer");
/// assert_eq!(other("weak_pump"), Some(Other::Same), "it only ever delivers less");
/// ```
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Other {
    /// The same.
    Same,
    /// The other sign.
    Negative,
    /// One over it.
    Inverse,
}

const fn drawn(cause: Cause, kind: &'static str, strengths: (f64, f64), other: Other) -> Drawn {
    Drawn { cause, kind, strengths, other }
}

const fn whole(cause: Cause, kind: &'static str) -> Drawn {
    drawn(cause, kind, (0.0, 0.0), Other::Same)
}

/// The faults, by cause. A drive in town cannot show dead fans; a broken speed wire is read by nothing.
///
/// ```
/// use trimwright_harness::verdicts::Cause;
/// use trimwright_study::diagnosis::FAULTS;
/// let drawn = |cause| FAULTS.iter().filter(|drawn| drawn.cause == cause).count();
/// assert!(Cause::ALL.into_iter().all(|cause| drawn(cause) > 0), "every cause has its turn");
/// assert_eq!(drawn(Cause::FuelScale), 4, "four ways to the same wrong factor");
/// ```
pub const FAULTS: [Drawn; 36] = [
    drawn(Cause::UpstreamAir, "exhaust_leak", (3e-4, 1e-3), Other::Same),
    drawn(Cause::VacuumLeak, "vacuum_leak", (2e-5, 8e-5), Other::Same),
    drawn(Cause::FuelSupply, "weak_pump", (0.65, 0.8), Other::Same),
    drawn(Cause::FuelScale, "clogged_injectors", (0.25, 0.4), Other::Same),
    drawn(Cause::FuelScale, "other_fuel", (0.6, 0.85), Other::Same),
    drawn(Cause::FuelScale, "wrong_displacement", (1.3, 1.5), Other::Inverse),
    drawn(Cause::FuelScale, "wrong_injector_flow", (1.3, 1.5), Other::Inverse),
    drawn(Cause::SensorReading, "shifted_sensor", (0.06, 0.12), Other::Negative),
    drawn(Cause::SensorReading, "bad_ground", (0.35, 0.5), Other::Negative),
    drawn(Cause::SensorReading, "sensor_on_bend", (0.06, 0.1), Other::Negative),
    drawn(Cause::OpeningDelay, "late_injectors", (2.2e-4, 3.5e-4), Other::Negative),
    drawn(Cause::SensorSlow, "slow_sensor", (0.7, 1.8), Other::Same),
    drawn(Cause::SensorSlow, "sensor_far", (2.0, 5.0), Other::Same),
    drawn(Cause::CrankSignal, "lost_pulses", (0.03, 0.15), Other::Same),
    drawn(Cause::CrankSignal, "extra_pulses", (3.0, 30.0), Other::Same),
    whole(Cause::MapCircuit, "map_open"),
    whole(Cause::MapCircuit, "map_grounded"),
    whole(Cause::MapCircuit, "map_supplied"),
    whole(Cause::TpCircuit, "tp_open"),
    whole(Cause::TpCircuit, "tp_grounded"),
    whole(Cause::TpCircuit, "tp_supplied"),
    whole(Cause::EctCircuit, "ect_open"),
    whole(Cause::EctCircuit, "ect_grounded"),
    whole(Cause::EctCircuit, "ect_supplied"),
    whole(Cause::IatCircuit, "iat_open"),
    whole(Cause::IatCircuit, "iat_grounded"),
    whole(Cause::IatCircuit, "iat_supplied"),
    whole(Cause::FrpCircuit, "frp_open"),
    whole(Cause::FrpCircuit, "frp_grounded"),
    whole(Cause::FrpCircuit, "frp_supplied"),
    whole(Cause::OxygenCircuit, "o2_open"),
    whole(Cause::OxygenCircuit, "o2_supplied"),
    whole(Cause::OxygenCircuit, "heater_dead"),
    whole(Cause::Charging, "alternator_dead"),
    drawn(Cause::Wiring, "low_voltage", (2.0, 4.0), Other::Same),
    whole(Cause::Thermostat, "thermostat_open"),
];

/// One run of the study.
///
/// ```
/// use trimwright_harness::{scenario::Scenario, schedule::Schedule, verdicts::Cause};
/// use trimwright_study::diagnosis::diagnose;
/// let trip = "time [s],speed [km/h]\n0,0\n10,0\n20,30\n40,30\n";
/// let schedule = Schedule::parse("trip", "trip.csv", trip)?;
/// let scenario = Scenario { schedule, ..Scenario::load("delivery-van")? };
/// let runs = diagnose(&scenario, 1, 9, 0);
/// let broken_wire = &runs[8];
/// assert_eq!(broken_wire.fault, Some(("map_open", 0.0)));
/// assert_eq!(broken_wire.said, Ok(vec![Cause::MapCircuit]));
/// # Ok::<(), Box<dyn std::error::Error>>(())
/// ```
#[derive(Clone, Debug, PartialEq)]
pub struct Diagnosed {
    /// What was wrong; none in a sound engine.
    pub truth: Option<Cause>,
    /// Name of the fault and its strength, SI.
    pub fault: Option<(&'static str, f64)>,
    /// What was said, heaviest first; `Err` with the reason when the run failed.
    pub said: Result<Vec<Cause>, String>,
}

impl Diagnosed {
    /// Whether the first cause said is the right one, or none is said of a sound engine.
    ///
    /// ```
    /// use trimwright_harness::verdicts::Cause;
    /// use trimwright_study::diagnosis::Diagnosed;
    /// let sound = Diagnosed { truth: None, fault: None, said: Ok(vec![]) };
    /// let accused = Diagnosed { said: Ok(vec![Cause::VacuumLeak]), ..sound.clone() };
    /// assert!(sound.first_right() && !accused.first_right(), "a sound engine is to be left in peace");
    /// ```
    pub fn first_right(&self) -> bool {
        self.said.as_ref().is_ok_and(|said| said.first().copied() == self.truth)
    }

    /// Whether the right one is among the first two.
    ///
    /// ```
    /// use trimwright_harness::verdicts::Cause;
    /// use trimwright_study::diagnosis::Diagnosed;
    /// let said = Ok(vec![Cause::Charging, Cause::Wiring]);
    /// let run = Diagnosed { truth: Some(Cause::Wiring), fault: Some(("low_voltage", 3.0)), said };
    /// assert!(run.within_two() && !run.first_right());
    /// ```
    pub fn within_two(&self) -> bool {
        match (&self.truth, &self.said) {
            (None, Ok(said)) => said.is_empty(),
            (Some(truth), Ok(said)) => said.iter().take(2).any(|cause| cause == truth),
            (_, Err(_)) => false,
        }
    }
}

/// Runs `faulty` engines with one fault each and `sound` with none.
///
/// ```
/// use trimwright_harness::{scenario::Scenario, schedule::Schedule};
/// use trimwright_study::diagnosis::diagnose;
/// let trip = "time [s],speed [km/h]\n0,0\n10,0\n20,30\n40,30\n";
/// let schedule = Schedule::parse("trip", "trip.csv", trip)?;
/// let scenario = Scenario { schedule, ..Scenario::load("delivery-van")? };
/// let runs = diagnose(&scenario, 1, 1, 2);
/// assert_eq!(runs.iter().filter(|run| run.truth.is_some()).count(), 1);
/// assert!(runs[1].first_right() && runs[2].first_right(), "nothing is said of the sound ones");
/// # Ok::<(), Box<dyn std::error::Error>>(())
/// ```
pub fn diagnose(scenario: &Scenario, seed: u64, faulty: u32, sound: u32) -> Vec<Diagnosed> {
    (0..faulty + sound).into_par_iter().map(|index| one(scenario, seed, index, index < faulty)).collect()
}

/// Seed of the kept table: limits were set while looking at seeds 1, 2 and 100 to 136, this one was not looked at before.
pub const SEED: u64 = 7;

/// How many faulty and sound engines the kept table has.
pub const RUNS: (u32, u32) = (300, 100);

/// All runs of the kept table.
pub fn all(scenario: &Scenario) -> Vec<Diagnosed> {
    diagnose(scenario, SEED, RUNS.0, RUNS.1)
}

/// The runs of one row of the kept table.
pub fn row(scenario: &Scenario, cause: Cause) -> Vec<Diagnosed> {
    let of = |index: &u32| Cause::ALL[*index as usize % Cause::ALL.len()] == cause;
    let indices: Vec<u32> = (0..RUNS.0).filter(of).collect();
    indices.into_par_iter().map(|index| one(scenario, SEED, index, true)).collect()
}

fn one(scenario: &Scenario, seed: u64, index: u32, faulty: bool) -> Diagnosed {
    let draw = Draw::of(seed, index);
    let mut drawn = draw.scenario(scenario).with_passes(1);
    let (mut truth, mut put) = (None, None);
    if faulty && let Some((fault, cause)) = fault(index, draw.run_seed) {
        put = Some((fault.kind.name, fault.strength));
        truth = Some(cause);
        drawn.faults.push(fault);
    }
    let options = Options { self_check: true, ..Options::default() };
    let said = learn(&drawn, options)
        .map(|learned| rank(&learned.evidence, &learned.controller).iter().map(|(cause, _)| *cause).collect())
        .map_err(|error| error.to_string());
    Diagnosed { truth, fault: put, said }
}

/// The fault of run `index`: causes take turns, then kinds within the cause; the strength and its sign are drawn, unrelated to what else is
/// drawn of this run.
fn fault(index: u32, run_seed: u64) -> Option<(Fault, Cause)> {
    let cause = Cause::ALL[index as usize % Cause::ALL.len()];
    let turn = index as usize / Cause::ALL.len();
    let kinds: Vec<&Drawn> = FAULTS.iter().filter(|drawn| drawn.cause == cause).collect();
    let drawn = kinds.get(turn % kinds.len().max(1))?;
    let mut fault = Fault::usual(find(drawn.kind)?);
    if fault.kind.strength.is_some() {
        let mut lot = Lot::new(!run_seed);
        let (low, high) = drawn.strengths;
        let strength = low + (high - low) * lot.share();
        fault.strength = match drawn.other {
            Other::Negative if lot.share() < 0.5 => -strength,
            Other::Inverse if lot.share() < 0.5 => 1.0 / strength,
            _ => strength,
        };
    }
    Some((fault, cause))
}

/// The confusion table as CSV: a row for each truth, a column for each first cause said.
///
/// ```
/// use trimwright_harness::verdicts::Cause;
/// use trimwright_study::diagnosis::{Diagnosed, confusion_csv};
/// let said = Ok(vec![Cause::Charging, Cause::Wiring]);
/// let run = Diagnosed { truth: Some(Cause::Wiring), fault: Some(("low_voltage", 3.0)), said };
/// let table = confusion_csv(&[run]);
/// assert!(table.starts_with("truth,runs,first_right,within_two,upstream_air,"));
/// assert!(table.contains("\nwiring,1,0,1,"), "one run, not first right, but within two");
/// ```
pub fn confusion_csv(runs: &[Diagnosed]) -> String {
    let columns: Vec<Option<Cause>> = Cause::ALL.into_iter().map(Some).chain([None]).collect();
    let name = |cause: &Option<Cause>| cause.map_or("nothing", Cause::name);
    let head = ["truth", "runs", "first_right", "within_two"].into_iter().chain(columns.iter().map(name));
    let row = |truth: &Option<Cause>| {
        let of: Vec<&Diagnosed> = runs.iter().filter(|run| run.truth == *truth).collect();
        let right = of.iter().filter(|run| run.first_right()).count();
        let two = of.iter().filter(|run| run.within_two()).count();
        let said = columns.iter().map(|column| {
            let same =
                |run: &&&Diagnosed| run.said.as_ref().is_ok_and(|said| said.first() == column.as_ref());
            of.iter().filter(same).count()
        });
        let counts = [of.len(), right, two].into_iter().chain(said);
        iter::once(name(truth).to_owned()).chain(counts.map(|count| count.to_string())).collect::<Vec<_>>()
    };
    csv_text(head, columns.iter().map(row))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn every_cause_is_drawn_and_every_fault_exists() {
        assert!(FAULTS.iter().all(|drawn| find(drawn.kind).is_some()));
        let causes: Vec<Cause> =
            (0..17).filter_map(|index| fault(index, 1).map(|(_, cause)| cause)).collect();
        assert_eq!(causes, Cause::ALL);
    }

    #[test]
    fn strengths_are_even_within_their_limits_and_of_either_sign() {
        let late = Cause::ALL.iter().position(|cause| *cause == Cause::OpeningDelay).unwrap() as u32;
        let strengths: Vec<f64> =
            (0..2000).filter_map(|seed| fault(late, seed).map(|(fault, _)| fault.strength)).collect();
        let (low, high) = (2.2e-4, 3.5e-4);
        assert!(strengths.iter().all(|strength| (low..high).contains(&strength.abs())));
        let mean = strengths.iter().map(|strength| strength.abs()).sum::<f64>() / 2000.0;
        assert!((mean - 0.5 * (low + high)).abs() < 0.03 * (high - low), "{mean}");
        assert!((900..1100).contains(&strengths.iter().filter(|strength| **strength < 0.0).count()));
    }

    #[test]
    fn a_table_counts_every_run_once() {
        let right = Diagnosed { truth: None, fault: None, said: Ok(vec![]) };
        let wrong = Diagnosed {
            truth: Some(Cause::Wiring),
            said: Ok(vec![Cause::Charging, Cause::Wiring]),
            ..right.clone()
        };
        assert!(right.first_right() && !wrong.first_right() && wrong.within_two());
        let table = confusion_csv(&[right, wrong]);
        assert!(table.contains("wiring,1,0,1,") && table.contains("nothing,1,1,1,"), "{table}");
    }
}
