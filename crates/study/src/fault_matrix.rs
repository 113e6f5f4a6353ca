//! Every sensor broken in every way, one at a time, in every situation: what engine, controller and learned map make of it.
//!
//! Each case begins with a copy of one warmed-up car that has learned its map, driven by a driver who goes on as if nothing had
//! happened. The fault lasts [`FAULT_S`], then [`AFTER_S`] are watched. A start begins with the fault, at the scenario's own
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

/// How long the fault is there, s.
///
/// ```
/// use trimwright_harness::schedule::Schedule;
/// use trimwright_study::fault_matrix::{FAULT_S, SITUATIONS};
/// let (name, text) = SITUATIONS[3];
/// let schedule = Schedule::parse(name, name, text)?;
/// let [begins, ends] = [60.0, 60.0 + FAULT_S].map(|time_s| schedule.speed_m_per_s(time_s));
/// assert!(ends > begins + 10.0, "the car accelerates while the wire is broken");
/// # Ok::<(), Box<dyn std::error::Error>>(())
/// ```
pub const FAULT_S: f64 = 15.0;
/// How long the car is watched after that, s.
///
/// ```
/// use trimwright_harness::schedule::Schedule;
/// use trimwright_study::fault_matrix::{AFTER_S, FAULT_S, SITUATIONS};
/// for (name, text) in SITUATIONS {
///     let asked_s = Schedule::parse(name, name, text)?.duration_s();
///     assert!(60.0 + FAULT_S + AFTER_S < asked_s, "{name}: the driver knows what to do to the end");
/// }
/// # Ok::<(), Box<dyn std::error::Error>>(())
/// ```
pub const AFTER_S: f64 = 20.0;
/// How long after the end of the fault the map is looked at, s: what was injected under it has been read by then, and what is learned
/// later is learned from sound wires.
const READ_S: f64 = 2.0;
/// How long the driver is in a situation before the fault comes, s.
const BEFORE_S: f64 = 60.0;
/// Pulses a second of a noisy trigger: one in five of those of an idling eight.
const EXTRA_PULSES_HZ: f64 = 10.0;
/// The engine counts as running above this speed, rad/s.
const RUNS_RAD_PER_S: f64 = 30.0;
/// Longest time without any fuel burned under a foot that asks for power, s.
pub const CUT_S: f64 = 1.5;
/// Pedal from which a foot asks for power, ratio.
const ASKS: f64 = 0.03;

/// What is read.
///
/// ```
/// use trimwright_harness::faults::find;
/// use trimwright_study::fault_matrix::SENSORS;
/// let wired = SENSORS.iter().filter(|sensor| find(&format!("{sensor}_open")).is_some());
/// assert_eq!(wired.count(), 7, "all but the trigger, whose pulses are lost or added");
/// ```
pub const SENSORS: [&str; 8] = ["map", "tp", "ect", "iat", "o2", "trigger", "battery", "frp"];
/// How it is broken.
///
/// ```
/// use trimwright_harness::faults::find;
/// use trimwright_study::fault_matrix::WAYS;
/// assert!(WAYS.iter().all(|way| find(&format!("map_{way}")).is_some()));
/// ```
pub const WAYS: [&str; 5] = ["open", "grounded", "supplied", "stuck", "noisy"];
/// Names of the situations and what the driver does in each; the fault comes at 60 s. A start begins with the fault.
///
/// ```
/// use trimwright_harness::schedule::Schedule;
/// use trimwright_study::fault_matrix::SITUATIONS;
/// let read = SITUATIONS.map(|(name, text)| Schedule::parse(name, name, text));
/// let [start, idle, cruise, acceleration] = read.map(|it| it.map(|it| it.speed_m_per_s(60.0)));
/// assert_eq!((start?, idle?), (0.0, 0.0));
/// assert!((cruise? - 80.0 / 3.6).abs() < 1e-9 && (acceleration? - 45.0 / 3.6).abs() < 1e-9);
/// # Ok::<(), Box<dyn std::error::Error>>(())
/// ```
pub const SITUATIONS: [(&str, &str); 4] = [
    ("start", "time [s],speed [km/h]\n0,0\n200,0\n"),
    ("idle", "time [s],speed [km/h]\n0,0\n200,0\n"),
    ("cruise", "time [s],speed [km/h]\n0,0\n5,0\n25,80\n200,80\n"),
    ("acceleration", "time [s],speed [km/h]\n0,0\n5,0\n20,45\n60,45\n72,105\n200,105\n"),
];

/// What came of one sensor broken in one way in one situation.
///
/// ```
/// use trimwright_study::fault_matrix::Case;
/// let case = Case {
///     sensor: "map",
///     way: "open",
///     situation: "cruise",
///     keeps_running: true,
///     code: Some("P0107"),
///     seconds_to_code: Some(0.3),
///     other_codes: vec![],
///     map_moved: 0.001,
///     healed_s: Some(1.2),
/// };
/// assert!(case.can_run() && case.keeps_running, "without the sensor the engine runs on");
/// assert!(case.code.is_some_and(|code| case.right_codes().contains(&code)));
/// ```
#[derive(Clone, Debug, PartialEq)]
pub struct Case {
    /// What is broken.
    pub sensor: &'static str,
    /// How.
    pub way: &'static str,
    /// When.
    pub situation: &'static str,
    /// The engine turned and burned fuel all the time, but for [`CUT_S`] at most while the foot asked for power; at a start, once it
    /// had caught.
    pub keeps_running: bool,
    /// The right code, when it set.
    pub code: Option<&'static str>,
    /// Time from the fault to that code, s; at a start from when the engine first ran, or if it never did the starter turned; 0 when the
    /// code was set before.
    pub seconds_to_code: Option<f64>,
    /// Codes that set beside it, or afterwards.
    pub other_codes: Vec<&'static str>,
    /// How far the farthest cell of the map moved, ratio: beyond where it was, and beyond where the sound car's came to.
    pub map_moved: f64,
    /// Time from the end of the fault until nothing was doubted, no code was set and the engine ran, s.
    pub healed_s: Option<f64>,
}

impl Case {
    /// Codes of which one is right (SAE J2012); none where [`Case::why`] says so.
    ///
    /// ```
    /// # use trimwright_study::fault_matrix::Case;
    /// # let broken = |sensor, way| Case {
    /// #     sensor, way, situation: "cruise", keeps_running: true, code: None, seconds_to_code: None,
    /// #     other_codes: vec![], map_moved: 0.0, healed_s: None,
    /// # };
    /// // `broken` makes the case of a sensor that breaks at a steady speed.
    /// assert_eq!(broken("ect", "open").right_codes(), ["P0118"], "as if it were very cold");
    /// assert_eq!(broken("ect", "grounded").right_codes(), ["P0117"], "as if it were very hot");
    /// assert!(broken("tp", "stuck").right_codes().is_empty(), "as a foot held still");
    /// ```
    pub fn right_codes(&self) -> &'static [&'static str] {
        right_codes(self.sensor, self.way, self.situation)
    }

    /// Whether physics lets the engine run on.
    ///
    /// ```
    /// # use trimwright_study::fault_matrix::Case;
    /// # let broken = |sensor, way| Case {
    /// #     sensor, way, situation: "cruise", keeps_running: true, code: None, seconds_to_code: None,
    /// #     other_codes: vec![], map_moved: 0.0, healed_s: None,
    /// # };
    /// // `broken` makes the case of a sensor that breaks at a steady speed.
    /// assert!(!broken("trigger", "open").can_run(), "no pulses, no fuel");
    /// assert!(broken("trigger", "noisy").can_run() && broken("map", "open").can_run());
    /// ```
    pub fn can_run(&self) -> bool {
        self.sensor != "trigger" || self.way == "noisy"
    }

    /// Why no code is to be had, or why the engine cannot run.
    ///
    /// ```
    /// # use trimwright_study::fault_matrix::Case;
    /// # let broken = |sensor, way, situation| Case {
    /// #     sensor, way, situation, keeps_running: true, code: None, seconds_to_code: None,
    /// #     other_codes: vec![], map_moved: 0.0, healed_s: None,
    /// # };
    /// // `broken` makes the case of a sensor that breaks in a situation.
    /// assert_eq!(broken("o2", "open", "start").why(), "a cold sensor's wire means nothing yet");
    /// assert_eq!(broken("o2", "open", "cruise").why(), "", "a code is due");
    /// ```
    pub fn why(&self) -> &'static str {
        match (self.sensor, self.way) {
            ("trigger", "noisy") => "",
            ("trigger", _) => "without pulses nothing tells when to inject",
            ("ect" | "iat", "stuck") => "a temperature stands as still by itself for minutes",
            ("battery", "stuck") => "a supply under steady load stands as still by itself",
            ("o2", _) if self.situation == "start" => "a cold sensor's wire means nothing yet",
            ("tp", "stuck") if self.right_codes().is_empty() => "a foot held still is no fault",
            _ => "",
        }
    }
}

fn right_codes(sensor: &str, way: &str, situation: &str) -> &'static [&'static str] {
    match (sensor, way) {
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

/// A car on its way, which can be copied.
#[derive(Clone)]
struct DrivenCar {
    session: Session,
    /// Fuel burned up to the last look, kg, and time since which none was under a foot that asks for power, s.
    burned_kg: f64,
    unburned_s: f64,
}

impl DrivenCar {
    fn new(scenario: &Scenario, schedule: Schedule, learned: LearnedMap) -> Result<Self, RunError> {
        let scenario = Scenario { schedule, faults: Vec::new(), ..scenario.clone() };
        let session = SessionBuilder::new(scenario).with_learned(learned).build()?;
        Ok(Self { session, burned_kg: 0.0, unburned_s: 0.0 })
    }

    /// Drives on for so long; `look` sees the car before each of the driver's decisions.
    fn drive(&mut self, seconds: f64, mut look: impl FnMut(&Self)) -> Result<(), RunError> {
        for _ in 0..(seconds / starting::PERIOD_S).round() as u64 {
            self.watch_burning();
            look(self);
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

    fn watch_burning(&mut self) {
        let burned_kg = self.closed_loop().plant().balances().fuel_burned_kg;
        let starved = burned_kg == self.burned_kg && self.session.inputs().throttle > ASKS;
        self.unburned_s = if starved { self.unburned_s + starting::PERIOD_S } else { 0.0 };
        self.burned_kg = burned_kg;
    }

    fn runs(&self) -> bool {
        self.closed_loop().view().speed_rad_per_s > RUNS_RAD_PER_S && self.unburned_s < CUT_S
    }
}

/// A situation, and how the sound car comes through it.
struct Situation {
    name: &'static str,
    car: DrivenCar,
    before_ln: Vec<f32>,
    sound_ln: Vec<f32>,
}

/// The whole matrix: sensor by sensor, way by way, situation by situation.
///
/// ```
/// use trimwright_harness::scenario::Scenario;
/// use trimwright_study::fault_matrix::matrix;
/// let mut van = Scenario::load("delivery-van")?;
/// van.truth.vehicle.mass_kg = -1.0;
/// let refused = matrix(&van).map_err(|error| error.to_string());
/// assert!(refused.is_err_and(|words| words.contains("vehicle.mass_kg")), "before anything is driven");
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
        .flat_map(|&sensor| WAYS.iter().map(move |&way| (sensor, way)))
        .flat_map(|(sensor, way)| situations.iter().map(move |situation| (sensor, way, situation)))
        .collect();
    cells.par_iter().map(|&(sensor, way, situation)| case(scenario, sensor, way, situation)).collect()
}

fn situation(
    scenario: &Scenario,
    warm: &DrivenCar,
    name: &'static str,
    text: &str,
) -> Result<Situation, RunError> {
    let schedule = Schedule::parse(name, name, text).expect("the texts above are schedules");
    let mut car = if name == "start" {
        let learned = warm.closed_loop().controller().state().learned().clone();
        DrivenCar::new(scenario, schedule, learned)?
    } else {
        let mut car = warm.clone();
        car.session.begin(schedule);
        car.drive(BEFORE_S, |_| ())?;
        car
    };
    let mut sound = car.clone();
    sound.drive(FAULT_S + READ_S, |_| ())?;
    let (before_ln, sound_ln) = (car.learned_ln(), sound.learned_ln());
    if name == "start" {
        // The wires have been read once before they break.
        car.drive(2.0 * starting::PERIOD_S, |_| ())?;
    }
    Ok(Situation { name, car, before_ln, sound_ln })
}

fn broken(sensor: &str, way: &str, sound: &Truth, scenario: &Scenario) -> Truth {
    let (kind, strength) = match (sensor, way) {
        ("trigger", "noisy") => ("extra_pulses".to_owned(), EXTRA_PULSES_HZ),
        ("trigger", _) => ("lost_pulses".to_owned(), 1.0),
        _ => (format!("{sensor}_{way}"), 0.0),
    };
    let kind = find(&kind).expect("every sensor breaks in every way");
    let mut truth = sound.clone();
    Fault { strength, ..Fault::usual(kind) }.apply(&mut truth, &mut scenario.answers.clone());
    truth
}

fn case(
    scenario: &Scenario,
    sensor: &'static str,
    way: &'static str,
    situation: &Situation,
) -> Result<Case, RunError> {
    let right = right_codes(sensor, way, situation.name);
    let mut car = situation.car.clone();
    let had: Vec<Dtc> = car.active().collect();
    let begins_s = car.closed_loop().time_s();
    let starts = situation.name == "start";
    let (mut ran, mut stopped) = (car.runs(), false);
    // From when a code is due.
    let mut due_s = (!starts).then_some(begins_s);
    let mut set: Vec<(&'static str, f64)> = Vec::new();
    let note = |car: &DrivenCar, set: &mut Vec<(&'static str, f64)>| {
        for dtc in car.active().filter(|dtc| !had.contains(dtc)) {
            if set.iter().all(|(code, _)| *code != dtc.code()) {
                set.push((dtc.code(), car.closed_loop().time_s()));
            }
        }
    };
    car.session.closed_loop_mut().set_truth(broken(sensor, way, &scenario.truth, scenario))?;
    let mut turned_s = None;
    car.drive(FAULT_S, |car| {
        let time_s = car.closed_loop().time_s();
        if car.session.inputs().key == Key::Start {
            turned_s = turned_s.or(Some(time_s));
        }
        stopped |= ran && !car.runs();
        ran |= car.closed_loop().view().speed_rad_per_s > 2.0 * RUNS_RAD_PER_S;
        if ran {
            due_s = due_s.or(Some(time_s));
        }
        note(car, &mut set);
    })?;
    let due_s = due_s.or(turned_s).unwrap_or(begins_s);
    let code = set.iter().copied().find(|(code, _)| right.contains(code));
    let keeps_running = ran && !stopped;
    let mended_s = car.closed_loop().time_s();
    car.session.closed_loop_mut().set_truth(scenario.truth.clone())?;
    car.unburned_s = 0.0;
    let mut healed_s: Option<f64> = None;
    let mut after_ln = car.learned_ln();
    car.drive(AFTER_S, |car| {
        if car.closed_loop().time_s() - mended_s < READ_S {
            after_ln = car.learned_ln();
        }
        let state = car.closed_loop().controller().state();
        let invalid = state.estimate().invalid;
        let sound = car.runs() && !invalid.any_fuel_input() && car.active().all(|dtc| had.contains(&dtc));
        let ready = !invalid.lambda || starts;
        healed_s = (sound && ready).then(|| healed_s.unwrap_or(car.closed_loop().time_s() - mended_s));
        note(car, &mut set);
    })?;
    let (code, seconds_to_code) = code.map(|(code, set_s)| (code, (set_s - due_s).max(0.0))).unzip();
    Ok(Case {
        sensor,
        way,
        situation: situation.name,
        keeps_running,
        code,
        seconds_to_code,
        other_codes: set.iter().map(|(other, _)| *other).filter(|other| Some(*other) != code).collect(),
        map_moved: moved(&situation.before_ln, &situation.sound_ln, &after_ln),
        healed_s,
    })
}

/// How far the farthest cell lies outside the way from where it was to where the sound car's came to, ratio.
fn moved(before_ln: &[f32], sound_ln: &[f32], after_ln: &[f32]) -> f64 {
    let outside = before_ln.iter().zip(sound_ln).zip(after_ln).map(|((&before, &sound), &after)| {
        let (low, high) = (before.min(sound), before.max(sound));
        (low - after).max(after - high).max(0.0)
    });
    libm::expm1(f64::from(outside.fold(0.0, f32::max)))
}

/// The matrix as a table.
///
/// ```
/// # use trimwright_study::fault_matrix::Case;
/// use trimwright_study::fault_matrix::csv;
/// # let case = Case {
/// #     sensor: "map", way: "open", situation: "cruise", keeps_running: true, code: Some("P0107"),
/// #     seconds_to_code: Some(0.3), other_codes: vec![], map_moved: 0.001, healed_s: None,
/// # };
/// // `case`: MAP wire open at a steady speed, code after 0.3 s, not healed within the time.
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
            case.way.to_owned(),
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
