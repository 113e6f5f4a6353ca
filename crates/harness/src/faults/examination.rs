//! Drives a scenario with each fault and compares the measurements with those of the fault-free drive.

use crate::closed_loop::ClosedLoop;
pub use crate::faults::experience::Experience;
use crate::faults::high_load::{HighLoad, RUNS_RPM};
use crate::faults::notices::{noticed_by_controller, noticed_by_owner};
use crate::faults::{Fault, FaultKind, KINDS};
use crate::mixture_observer::MixtureObserver;
use crate::run_error::RunError;
use crate::scenario::Scenario;
use crate::schedule::Schedule;
use crate::session::{Moment, Observer, Session, SessionBuilder, Until};
use crate::starting;
use crate::units::RPM_PER_RAD_PER_S;
use serde::Serialize;
use std::sync::Mutex;
use std::sync::atomic::{AtomicUsize, Ordering};
use trimwright_control::{Options, Refusal};
use trimwright_plant::{DriverInputs, View};

/// A drive of 13 min that shows faults: cold start, idling, steady speeds and three accelerations beyond the engine's power, so that the
/// pedal is fully down for a while. Engineering judgement.
const EXAMINATION: &str = "time [s],speed [km/h]\n0,0\n20,0\n40,50\n120,50\n130,0\n155,0\n175,60\n260,60\n\
    285,90\n340,90\n365,0\n400,0\n410,120\n440,120\n470,0\n500,0\n510,120\n540,120\n570,0\n600,0\n610,120\n640,120\n\
    670,0\n690,0\n710,50\n750,50\n765,0\n795,0\n";

/// Schedule on which faults are examined unless another is named.
///
/// # Panics
/// Never: the text is part of the program and read by a test.
pub fn schedule() -> Schedule {
    Schedule::parse("examination", "examination", EXAMINATION).expect("the text above is a schedule")
}

/// A fault and its effects.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct Examined {
    /// Name of the kind; `sound` without a fault, `scenario` for the scenario's own faults.
    pub fault: String,
    /// Title of the fault.
    pub title: String,
    /// What the owner would notice, compared with the fault-free car.
    pub owner: Vec<String>,
    /// What the controller detected.
    pub controller: Vec<String>,
    /// Change of the learned correction compared with the fault-free car, share of fuel.
    pub learned_shift: f64,
    /// Change of the learned correction at idle, share of fuel.
    pub learned_idle_shift: f64,
    /// Measurements of the drive.
    pub experience: Experience,
}

/// Default start of a fault on that drive, s: the engine is warm and has learned a little.
pub const FROM_S: f64 = 300.0;

/// Drives `scenario` on `schedule` without faults, with its own faults if it has any, and with each kind of fault (or `only` this one) of
/// its usual strength: from `from_s` on, or from the start where a fault can't begin later.
///
/// ```
/// use trimwright_harness::faults::examination::examine;
/// use trimwright_harness::{scenario::Scenario, schedule::Schedule};
/// let trip = "time [s],speed [km/h]\n0,0\n20,0\n40,50\n60,50\n";
/// let schedule = Schedule::parse("trip", "trip.csv", trip)?;
/// let examined = examine(&Scenario::load("delivery-van")?, &schedule, 30.0, Some("alternator_dead"))?;
/// let [sound, dead] = examined.as_slice() else { panic!("sound and with the fault") };
/// assert_eq!((sound.fault.as_str(), dead.fault.as_str()), ("sound", "alternator_dead"));
/// assert!(dead.experience.last_v < sound.experience.last_v - 0.7, "the battery feeds it alone");
/// # Ok::<(), Box<dyn std::error::Error>>(())
/// ```
///
/// # Errors
/// [`RunError`] when answers or truth are outside their ranges.
pub fn examine(
    scenario: &Scenario,
    schedule: &Schedule,
    from_s: f64,
    only: Option<&str>,
) -> Result<Vec<Examined>, RunError> {
    let named = |name: &str, title: String, faults: Vec<Fault>| (name.to_owned(), title, faults);
    let mut cases = vec![named("sound", "nothing".to_owned(), Vec::new())];
    if !scenario.faults.is_empty() {
        let title = scenario.faults.iter().map(Fault::title).collect::<Vec<_>>().join("; ");
        cases.push(named("scenario", title, scenario.faults.clone()));
    }
    let kinds = KINDS.iter().filter(|kind| only.is_none_or(|only| only == kind.name));
    let late = |kind: &'static FaultKind| Fault {
        from_s: if kind.is_timed { from_s } else { 0.0 },
        ..Fault::usual(kind)
    };
    cases.extend(kinds.map(late).map(|fault| named(fault.kind.name, fault.title(), vec![fault])));

    let drives: Vec<Scenario> = cases
        .iter()
        .map(|(_, _, faults)| Scenario {
            faults: faults.clone(),
            schedule: schedule.clone(),
            ..scenario.clone()
        })
        .collect();
    let experiences = all_of(&drives)?;
    let reference = experiences.first().cloned().unwrap_or_default();
    let examined = |((fault, title, _), experience): ((String, String, Vec<Fault>), Experience)| Examined {
        fault,
        title,
        owner: noticed_by_owner(&experience, &reference),
        controller: noticed_by_controller(&experience, &reference),
        learned_shift: shift(experience.learned_ln, reference.learned_ln),
        learned_idle_shift: shift(experience.learned_idle_ln, reference.learned_idle_ln),
        experience,
    };
    Ok(cases.into_iter().zip(experiences).map(examined).collect())
}

fn shift(learned_ln: f64, reference_ln: f64) -> f64 {
    libm::expm1(learned_ln - reference_ln)
}

/// Drives all of them in parallel; results are in the order of `drives`, whatever the threads do.
fn all_of(drives: &[Scenario]) -> Result<Vec<Experience>, RunError> {
    let (next, done) = (AtomicUsize::new(0), Mutex::new(vec![None; drives.len()]));
    let threads = std::thread::available_parallelism().map_or(1, usize::from).min(drives.len());
    std::thread::scope(|scope| {
        for _ in 0..threads {
            scope.spawn(|| {
                while let Some((index, drive)) =
                    drives.iter().enumerate().nth(next.fetch_add(1, Ordering::Relaxed))
                {
                    let result = experience(drive, drive.schedule.duration_s(), &mut |_| {});
                    if let Ok(mut done) = done.lock() {
                        done[index] = Some(result);
                    }
                }
            });
        }
    });
    let done = done.into_inner().unwrap_or_else(std::sync::PoisonError::into_inner);
    done.into_iter().flatten().collect()
}

/// Drives a scenario for `seconds` with its faults, learning and self-check on. `each_second` is called with the loop once a second.
///
/// ```
/// use trimwright_harness::{faults::examination::experience, scenario::Scenario};
/// let mut coolant_k = Vec::new();
/// experience(&Scenario::load("delivery-van")?, 30.0, &mut |closed_loop| coolant_k.push(closed_loop.view().coolant_k))?;
/// assert_eq!(coolant_k.len(), 30, "a look each second");
/// assert!(coolant_k[29] > coolant_k[0], "the engine warms up");
/// # Ok::<(), Box<dyn std::error::Error>>(())
/// ```
///
/// # Errors
/// [`RunError`] when answers or truth are outside their ranges.
pub fn experience(
    scenario: &Scenario,
    seconds: f64,
    each_second: &mut dyn FnMut(&ClosedLoop),
) -> Result<Experience, RunError> {
    let options = Options { self_check: true, ..Options::default() };
    let mut session = SessionBuilder::new(scenario.clone()).with_options(options).build()?;
    let mut mixture = MixtureObserver::new(session.closed_loop().controller());
    let mut sums = DriveSums::default();
    let second_steps = session.steps(1.0);
    session.run(Until::After(seconds), &mut |now: &Moment<'_>| {
        if let Some(view) = now.decided {
            sums.add(view, now.inputs, now.wanted_m_per_s());
        }
        mixture.observe(now);
        sums.high_load.sample(now.closed_loop);
        if now.is_each(second_steps) {
            each_second(now.closed_loop);
        }
    })?;
    Ok(sums.finish(&session, &mixture))
}

/// Sums over the driver's decisions.
#[derive(Clone, Debug, Default)]
struct DriveSums {
    decisions: u64,
    ran: u64,
    error_squares: f64,
    idle: [f64; 3],
    hottest_k: f64,
    high_load: HighLoad,
}

/// Coolant temperature above which idling counts as warm, K.
const WARM_K: f64 = 335.0;
/// Vehicle speed below which the car counts as standing, m/s.
const STANDS_M_PER_S: f64 = 0.1;

impl DriveSums {
    fn add(&mut self, view: &View, inputs: &DriverInputs, wanted_m_per_s: f64) {
        let rpm = view.speed_rad_per_s * RPM_PER_RAD_PER_S;
        self.decisions += 1;
        self.ran += u64::from(rpm > RUNS_RPM);
        let error = view.vehicle_m_per_s - wanted_m_per_s;
        self.error_squares += error * error;
        self.hottest_k = self.hottest_k.max(view.coolant_k);
        let idles = inputs.throttle == 0.0 && view.vehicle_m_per_s < STANDS_M_PER_S && rpm > RUNS_RPM;
        if idles && wanted_m_per_s < STANDS_M_PER_S && view.coolant_k > WARM_K {
            for (sum, value) in self.idle.iter_mut().zip([1.0, rpm, rpm * rpm]) {
                *sum += value;
            }
        }
    }

    fn finish(self, session: &Session, mixture: &MixtureObserver) -> Experience {
        let closed_loop = session.closed_loop();
        let (view, balances) = (closed_loop.view(), closed_loop.plant().balances());
        let state = closed_loop.controller().state();
        let [count, sum, squares] = self.idle;
        let idle_rpm = sum / count;
        let charges = balances.charges.max(1) as f64;
        let idle_limit = 1.4 * closed_loop.controller().calibration().answers().idle_speed_rad_per_s;
        Experience {
            ran_s: self.ran as f64 * starting::PERIOD_S,
            crank_s: session.starting().crank_s(),
            stalls: session.starting().stalls(),
            idle_rpm,
            idle_swing_rpm: libm::sqrt((squares / count - idle_rpm * idle_rpm).max(0.0)),
            speed_error_rms_m_per_s: libm::sqrt(self.error_squares / self.decisions as f64),
            distance_m: view.distance_m,
            fuel_kg: balances.fuel_injected_kg,
            hottest_k: self.hottest_k,
            last_k: view.coolant_k,
            last_v: view.supply_v,
            misfires: balances.misfires as f64 / charges,
            knocks: balances.knocks as f64 / charges,
            mixture_ln: mixture.steady.mean(),
            codes: state.dtcs().stored().map(|dtc| dtc.code().to_owned()).collect(),
            guard_trips: state.lean_guard().trips(),
            upstream_air_kg_per_s: f64::from(state.self_check().upstream_air_kg_per_s()),
            lessons: state.counts().lessons(),
            refusals: Refusal::ALL
                .map(|refusal| (refusal.name().to_owned(), state.counts().of(refusal)))
                .into_iter()
                .filter(|(_, count)| *count > 0)
                .collect(),
            learned_ln: learned(closed_loop, mixture, |_| true),
            learned_idle_ln: learned(closed_loop, mixture, |speed| speed < idle_limit),
            high_load: self.high_load,
        }
    }
}

/// Mean learned correction over cells at speeds that `counts`, weighted by steady dwell, ln; NaN when there was none.
fn learned(closed_loop: &ClosedLoop, mixture: &MixtureObserver, counts: impl Fn(f32) -> bool) -> f64 {
    let controller = closed_loop.controller();
    let speeds = controller.calibration().setup().rpm_axis().points();
    let cells = controller.state().learned().ln.flat().iter().zip(mixture.cells.dwell_s());
    let (mut sum, mut weight) = (0.0, 0.0);
    for (cell, (&ln, dwell_s)) in cells.enumerate() {
        if counts(speeds[cell % speeds.len()]) {
            sum += dwell_s * f64::from(ln);
            weight += dwell_s;
        }
    }
    sum / weight
}
