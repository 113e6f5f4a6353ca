//! Every fault of every sensor in every situation: effects on engine, codes and learned map.
//!
//! Each case starts from a copy of a warm car with a learned map and a driver who does not react to the fault. The fault lasts
//! [`FAULT_S`], then the car is observed for [`AFTER_S`]. In situation `start` the fault is present from the beginning, at the scenario's
//! temperature and with the learned map.

use rayon::prelude::*;
use trimwright_control::{Dtc, LearnedMap, Parameters};
use trimwright_harness::closed_loop::ClosedLoop;
use trimwright_harness::csv_text::csv_text;
use trimwright_harness::drive::RunError;
use trimwright_harness::faults::{Fault, find};
use trimwright_harness::scenario::Scenario;
use trimwright_harness::schedule::Schedule;
use trimwright_harness::session::{Session, SessionBuilder, Until};
use trimwright_harness::starting;
use trimwright_plant::{Key, Truth};

/// Duration of the fault, s.
pub const FAULT_S: f64 = 15.0;
/// Observation time after the fault, s.
pub const AFTER_S: f64 = 20.0;
/// Time after the fault at which the map is compared, s: the injections during the fault have been measured by then.
const MEASURED_AFTER_S: f64 = 2.0;
/// Time in a situation before the fault begins, s.
const BEFORE_S: f64 = 60.0;
/// Additional pulses of a noisy trigger, 1/s: 20 % of those of an idling V8.
const EXTRA_PULSES_HZ: f64 = 10.0;
/// The engine counts as running above this speed, rad/s.
const RUNNING_RAD_PER_S: f64 = 30.0;
/// Longest time without combustion while the throttle is open, s.
pub const CUT_S: f64 = 1.5;
/// Throttle opening above which the driver demands power, ratio.
const POWER_DEMAND: f64 = 0.03;

/// The sensors.
pub const SENSORS: [&str; 8] = ["map", "tp", "ect", "iat", "o2", "trigger", "battery", "frp"];
/// Types of faults.
pub const FAULT_TYPES: [&str; 5] = ["open", "grounded", "supplied", "stuck", "noisy"];
/// Name and schedule of each situation; the fault begins at 60 s, in `start` at 0 s.
pub const SITUATIONS: [(&str, &str); 4] = [
    ("start", "time [s],speed [km/h]\n0,0\n200,0\n"),
    ("idle", "time [s],speed [km/h]\n0,0\n200,0\n"),
    ("cruise", "time [s],speed [km/h]\n0,0\n5,0\n25,80\n200,80\n"),
    ("acceleration", "time [s],speed [km/h]\n0,0\n5,0\n20,45\n60,45\n72,105\n200,105\n"),
];

/// Result of one fault of one sensor in one situation.
///
/// ```
/// use trimwright_study::fault_matrix::Case;
/// let case = Case {
///     sensor: "map",
///     fault_type: "open",
///     situation: "cruise",
///     keeps_running: true,
///     code: Some("P0107"),
///     seconds_to_code: Some(0.3),
///     other_codes: vec![],
///     map_moved: 0.001,
///     healed_s: Some(1.2),
/// };
/// assert!(case.can_run() && case.keeps_running, "the engine keeps running");
/// assert!(case.code.is_some_and(|code| case.expected_codes().contains(&code)));
/// ```
#[derive(Clone, Debug, PartialEq)]
pub struct Case {
    /// The sensor.
    pub sensor: &'static str,
    /// Type of the fault.
    pub fault_type: &'static str,
    /// The situation.
    pub situation: &'static str,
    /// Whether the engine ran all the time with at most [`CUT_S`] without combustion under power demand; in `start`, from the first run on.
    pub keeps_running: bool,
    /// The expected code, if set.
    pub code: Option<&'static str>,
    /// Time from the fault to that code, s; in `start` from the first run of the engine or, without one, from cranking; 0 when the code was
    /// set before.
    pub seconds_to_code: Option<f64>,
    /// Other codes that were set during or after the fault.
    pub other_codes: Vec<&'static str>,
    /// Largest movement of a cell outside the interval between its value before the fault and that of the fault-free car, ratio.
    pub map_moved: f64,
    /// Time from the end of the fault until all signals were valid, no code was set and the engine ran, s.
    pub healed_s: Option<f64>,
}

impl Case {
    /// Acceptable codes (SAE J2012); empty where [`Case::why`] gives a reason.
    ///
    /// ```
    /// # use trimwright_study::fault_matrix::Case;
    /// # let broken = |sensor, fault_type| Case {
    /// #     sensor, fault_type, situation: "cruise", keeps_running: true, code: None, seconds_to_code: None,
    /// #     other_codes: vec![], map_moved: 0.0, healed_s: None,
    /// # };
    /// // `broken` is a case at steady speed.
    /// assert_eq!(broken("ect", "open").expected_codes(), ["P0118"], "reads very cold");
    /// assert_eq!(broken("ect", "grounded").expected_codes(), ["P0117"], "reads very hot");
    /// assert!(broken("tp", "stuck").expected_codes().is_empty(), "like a constant pedal");
    /// ```
    pub fn expected_codes(&self) -> &'static [&'static str] {
        expected_codes(self.sensor, self.fault_type, self.situation)
    }

    /// Whether the engine can run with this fault.
    pub fn can_run(&self) -> bool {
        self.sensor != "trigger" || (self.fault_type == "noisy" && self.situation != "start")
    }

    /// Reason why no code is expected or why the engine cannot run; empty otherwise.
    ///
    /// ```
    /// # use trimwright_study::fault_matrix::Case;
    /// # let broken = |sensor, fault_type, situation| Case {
    /// #     sensor, fault_type, situation, keeps_running: true, code: None, seconds_to_code: None,
    /// #     other_codes: vec![], map_moved: 0.0, healed_s: None,
    /// # };
    /// // `broken` is a case in a situation.
    /// assert_eq!(broken("o2", "open", "start").why(), "a cold sensor's wire means nothing yet");
    /// assert_eq!(broken("o2", "open", "cruise").why(), "", "a code is expected");
    /// ```
    pub fn why(&self) -> &'static str {
        match (self.sensor, self.fault_type) {
            ("trigger", "noisy") if self.situation == "start" => "false pulses inject too much for a start",
            ("trigger", "noisy") => "",
            ("trigger", _) => "without pulses nothing tells when to inject",
            ("ect" | "iat", "stuck") => "a temperature stands as still by itself for minutes",
            ("battery", "stuck") => "a supply under steady load stands as still by itself",
            ("o2", _) if self.situation == "start" => "a cold sensor's wire means nothing yet",
            ("tp", "stuck") if self.expected_codes().is_empty() => "a foot held still is no fault",
            _ => "",
        }
    }
}

fn expected_codes(sensor: &str, fault_type: &str, situation: &str) -> &'static [&'static str] {
    match (sensor, fault_type) {
        ("map" | "tp" | "frp", "open" | "grounded") => match sensor {
            "map" => &["P0107"],
            "tp" => &["P0122"],
            _ => &["P0192"],
        },
        ("map", "supplied") => &["P0108"],
        ("map", _) => &["P0106"],
        ("tp", "supplied") => &["P0123"],
        ("tp", "stuck") if situation != "acceleration" => &[],
        ("tp", _) => &["P0121"],
        ("ect" | "iat", "stuck") | ("battery", "stuck") => &[],
        ("ect", "open" | "supplied") => &["P0118"],
        ("ect", "grounded") => &["P0117"],
        ("ect", _) => &["P0116"],
        ("iat", "open" | "supplied") => &["P0113"],
        ("iat", "grounded") => &["P0112"],
        ("iat", _) => &["P0111"],
        ("o2", _) if situation == "start" => &[],
        ("o2", "open" | "grounded") => &["P0131"],
        ("o2", "supplied") => &["P0132"],
        ("o2", "stuck") => &["P0134"],
        ("o2", _) => &["P0130"],
        ("trigger", "noisy") => &["P0336"],
        ("trigger", _) => &["P0335"],
        ("battery", "supplied") => &["P0563"],
        ("battery", "noisy") => &["P0561"],
        ("battery", _) => &["P0562"],
        ("frp", "supplied") => &["P0193"],
        _ => &["P0191"],
    }
}

/// A driven car that can be copied.
#[derive(Clone)]
struct DrivenCar {
    session: Session,
    /// Fuel burned up to the last sample, kg, and time without combustion under power demand, s.
    burned_kg: f64,
    unburned_s: f64,
}

impl DrivenCar {
    fn new(scenario: &Scenario, schedule: Schedule, learned: LearnedMap) -> Result<Self, RunError> {
        let scenario = Scenario { schedule, faults: Vec::new(), ..scenario.clone() };
        let session = SessionBuilder::new(scenario).with_learned(learned).build()?;
        Ok(Self { session, burned_kg: 0.0, unburned_s: 0.0 })
    }

    /// Drives for `seconds`; `observe` is called before each decision of the driver.
    fn drive(&mut self, seconds: f64, mut observe: impl FnMut(&Self)) -> Result<(), RunError> {
        for _ in 0..(seconds / starting::PERIOD_S).round() as u64 {
            self.update_combustion();
            observe(self);
            self.session.run(Until::After(starting::PERIOD_S), &mut ())?;
        }
        Ok(())
    }

    fn closed_loop(&self) -> &ClosedLoop {
        self.session.closed_loop()
    }

    fn learned_ln(&self) -> Vec<f32> {
        self.closed_loop().controller().state().learned().ln.flat().to_vec()
    }

    fn active(&self) -> impl Iterator<Item = Dtc> + '_ {
        self.closed_loop().controller().state().dtcs().active()
    }

    fn update_combustion(&mut self) {
        let burned_kg = self.closed_loop().plant().balances().fuel_burned_kg;
        let starved = burned_kg == self.burned_kg && self.session.inputs().throttle > POWER_DEMAND;
        self.unburned_s = if starved { self.unburned_s + starting::PERIOD_S } else { 0.0 };
        self.burned_kg = burned_kg;
    }

    fn is_running(&self) -> bool {
        self.closed_loop().view().speed_rad_per_s > RUNNING_RAD_PER_S && self.unburned_s < CUT_S
    }
}

/// A situation with the learned map before it and that of the fault-free car after it.
struct Situation {
    name: &'static str,
    car: DrivenCar,
    before_ln: Vec<f32>,
    fault_free_ln: Vec<f32>,
}

/// The whole matrix: by sensor, fault and situation.
///
/// ```
/// use trimwright_harness::scenario::Scenario;
/// use trimwright_study::fault_matrix::matrix;
/// let mut van = Scenario::load("delivery-van")?;
/// van.truth.vehicle.mass_kg = -1.0;
/// let rejected = matrix(&van).map_err(|error| error.to_string());
/// assert!(rejected.is_err_and(|words| words.contains("vehicle.mass_kg")), "checked before driving");
/// # Ok::<(), Box<dyn std::error::Error>>(())
/// ```
///
/// # Errors
/// [`RunError`] when answers or truth are outside their ranges.
pub fn matrix(scenario: &Scenario) -> Result<Vec<Case>, RunError> {
    let mut warm = DrivenCar::new(scenario, scenario.schedule.clone(), Parameters::DEFAULT.blank_map())?;
    warm.drive(scenario.schedule.duration_s(), |_| ())?;
    let situations: Vec<Situation> = SITUATIONS
        .par_iter()
        .map(|&(name, text)| situation(scenario, &warm, name, text))
        .collect::<Result<_, _>>()?;
    let cells: Vec<(&'static str, &'static str, &Situation)> = SENSORS
        .iter()
        .flat_map(|&sensor| FAULT_TYPES.iter().map(move |&fault_type| (sensor, fault_type)))
        .flat_map(|(sensor, fault_type)| {
            situations.iter().map(move |situation| (sensor, fault_type, situation))
        })
        .collect();
    cells
        .par_iter()
        .map(|&(sensor, fault_type, situation)| case(scenario, sensor, fault_type, situation))
        .collect()
}

fn situation(
    scenario: &Scenario,
    warm: &DrivenCar,
    name: &'static str,
    text: &str,
) -> Result<Situation, RunError> {
    let schedule = Schedule::parse(name, name, text).expect("valid schedules");
    let mut car = if name == "start" {
        let learned = warm.closed_loop().controller().state().learned().clone();
        DrivenCar::new(scenario, schedule, learned)?
    } else {
        let mut car = warm.clone();
        car.session.begin(schedule);
        car.drive(BEFORE_S, |_| ())?;
        car
    };
    let mut fault_free = car.clone();
    fault_free.drive(FAULT_S + MEASURED_AFTER_S, |_| ())?;
    let (before_ln, fault_free_ln) = (car.learned_ln(), fault_free.learned_ln());
    if name == "start" {
        // The signals are read once before the fault.
        car.drive(2.0 * starting::PERIOD_S, |_| ())?;
    }
    Ok(Situation { name, car, before_ln, fault_free_ln })
}

fn broken(sensor: &str, fault_type: &str, fault_free: &Truth, scenario: &Scenario) -> Truth {
    let (kind, strength) = match (sensor, fault_type) {
        ("trigger", "noisy") => ("extra_pulses".to_owned(), EXTRA_PULSES_HZ),
        ("trigger", _) => ("lost_pulses".to_owned(), 1.0),
        _ => (format!("{sensor}_{fault_type}"), 0.0),
    };
    let kind = find(&kind).expect("every sensor has every fault");
    let mut truth = fault_free.clone();
    Fault { strength, ..Fault::usual(kind) }.apply(&mut truth, &mut scenario.answers.clone());
    truth
}

fn case(
    scenario: &Scenario,
    sensor: &'static str,
    fault_type: &'static str,
    situation: &Situation,
) -> Result<Case, RunError> {
    let expected = expected_codes(sensor, fault_type, situation.name);
    let mut car = situation.car.clone();
    let previous: Vec<Dtc> = car.active().collect();
    let begin_s = car.closed_loop().time_s();
    let is_start = situation.name == "start";
    let (mut ran, mut stopped) = (car.is_running(), false);
    // Time from which a code is expected.
    let mut expected_from_s = (!is_start).then_some(begin_s);
    let mut set: Vec<(&'static str, f64)> = Vec::new();
    let note = |car: &DrivenCar, set: &mut Vec<(&'static str, f64)>| {
        for dtc in car.active().filter(|dtc| !previous.contains(dtc)) {
            if set.iter().all(|(code, _)| *code != dtc.code()) {
                set.push((dtc.code(), car.closed_loop().time_s()));
            }
        }
    };
    car.session.closed_loop_mut().set_truth(broken(sensor, fault_type, &scenario.truth, scenario))?;
    let mut cranked_s = None;
    car.drive(FAULT_S, |car| {
        let time_s = car.closed_loop().time_s();
        if car.session.inputs().key == Key::Start {
            cranked_s = cranked_s.or(Some(time_s));
        }
        stopped |= ran && !car.is_running();
        ran |= car.closed_loop().view().speed_rad_per_s > 2.0 * RUNNING_RAD_PER_S;
        if ran {
            expected_from_s = expected_from_s.or(Some(time_s));
        }
        note(car, &mut set);
    })?;
    let expected_from_s = expected_from_s.or(cranked_s).unwrap_or(begin_s);
    let code = set.iter().copied().find(|(code, _)| expected.contains(code));
    let keeps_running = ran && !stopped;
    let fault_end_s = car.closed_loop().time_s();
    car.session.closed_loop_mut().set_truth(scenario.truth.clone())?;
    car.unburned_s = 0.0;
    let mut healed_s: Option<f64> = None;
    let mut after_ln = car.learned_ln();
    car.drive(AFTER_S, |car| {
        if car.closed_loop().time_s() - fault_end_s < MEASURED_AFTER_S {
            after_ln = car.learned_ln();
        }
        let state = car.closed_loop().controller().state();
        let invalid = state.estimate().invalid;
        let fault_free =
            car.is_running() && !invalid.any_fuel_input() && car.active().all(|dtc| previous.contains(&dtc));
        let ready = !invalid.lambda || is_start;
        healed_s =
            (fault_free && ready).then(|| healed_s.unwrap_or(car.closed_loop().time_s() - fault_end_s));
        note(car, &mut set);
    })?;
    let (code, seconds_to_code) =
        code.map(|(code, set_s)| (code, (set_s - expected_from_s).max(0.0))).unzip();
    Ok(Case {
        sensor,
        fault_type,
        situation: situation.name,
        keeps_running,
        code,
        seconds_to_code,
        other_codes: set.iter().map(|(other, _)| *other).filter(|other| Some(*other) != code).collect(),
        map_moved: moved(&situation.before_ln, &situation.fault_free_ln, &after_ln),
        healed_s,
    })
}

/// Largest movement of a cell outside the interval between its value before and that of the fault-free car, ratio.
fn moved(before_ln: &[f32], fault_free_ln: &[f32], after_ln: &[f32]) -> f64 {
    let outside =
        before_ln.iter().zip(fault_free_ln).zip(after_ln).map(|((&before, &fault_free), &after)| {
            let (low, high) = (before.min(fault_free), before.max(fault_free));
            (low - after).max(after - high).max(0.0)
        });
    libm::expm1(f64::from(outside.fold(0.0, f32::max)))
}

/// The matrix as CSV.
///
/// ```
/// # use trimwright_study::fault_matrix::Case;
/// use trimwright_study::fault_matrix::csv;
/// # let case = Case {
/// #     sensor: "map", fault_type: "open", situation: "cruise", keeps_running: true, code: Some("P0107"),
/// #     seconds_to_code: Some(0.3), other_codes: vec![], map_moved: 0.001, healed_s: None,
/// # };
/// // `case`: MAP wire open at a steady speed, code after 0.3 s, not healed.
/// let table = csv(&[case]);
/// assert_eq!(table.lines().nth(1), Some("map,open,cruise,yes,P0107,0.30,,0.10,,"));
/// ```
pub fn csv(cases: &[Case]) -> String {
    let head = [
        "sensor",
        "fault",
        "situation",
        "keeps_running",
        "code",
        "seconds_to_code",
        "other_codes",
        "map_moved [%]",
        "healed_s",
        "why",
    ];
    let seconds = |seconds: Option<f64>| seconds.map_or(String::new(), |seconds| format!("{seconds:.2}"));
    let row = |case: &Case| {
        [
            case.sensor.to_owned(),
            case.fault_type.to_owned(),
            case.situation.to_owned(),
            if case.keeps_running { "yes" } else { "no" }.to_owned(),
            case.code.unwrap_or_default().to_owned(),
            seconds(case.seconds_to_code),
            case.other_codes.join(" "),
            format!("{:.2}", 100.0 * case.map_moved),
            seconds(case.healed_s),
            case.why().to_owned(),
        ]
    };
    csv_text(head, cases.iter().map(row))
}
