//! One session: a scenario's car and its controller, who works the car and its faults, step by step.
//!
//! Everything in the workspace that closes the loop for a while stands on [`Session::run`]: drives, trials, examinations, the fault matrix, the
//! bench in the terminal. What is kept of it is the business of an [`Observer`]. A session owns its scenario and knows of no clock, file or thread.

use trimwright_control::{Calibration, Controller, LearnedMap, Options};
use trimwright_plant::{DriverInputs, Plant, View};

use crate::closed_loop::{ClosedLoop, STEP_S};
use crate::driver_or_operator::DriverOrOperator;
use crate::faults::{Fault, Timeline};
use crate::run_error::RunError;
use crate::scenario::Scenario;
use crate::schedule::Schedule;
use crate::starting::{PERIOD_S, Starting};

/// A session in the making: what differs from the scenario as it is.
///
/// ```
/// use trimwright_control::{Options, Strategy};
/// use trimwright_harness::{scenario::Scenario, session::{SessionBuilder, Until}};
/// let options = Options { strategy: Strategy::Integral, ..Options::default() };
/// let mut session = SessionBuilder::new(Scenario::load("delivery-van")?).with_options(options).build()?;
/// session.run(Until::After(12.0), &mut ())?;
/// assert!(session.starting().is_running(), "12 s after key on it idles by itself");
/// # Ok::<(), Box<dyn std::error::Error>>(())
/// ```
#[derive(Clone, Debug)]
pub struct SessionBuilder {
    scenario: Scenario,
    calibration: Option<Calibration>,
    options: Option<Options>,
    learned: Option<LearnedMap>,
    step_s: f64,
    by_hand: bool,
}

impl SessionBuilder {
    /// The scenario as it is: its answers and parameters, default options, nothing learned, steps of [`STEP_S`].
    pub fn new(scenario: Scenario) -> Self {
        Self { scenario, calibration: None, options: None, learned: None, step_s: STEP_S, by_hand: false }
    }

    /// Another calibration than that of the scenario's answers and parameters.
    #[must_use]
    pub fn with_calibration(self, calibration: Calibration) -> Self {
        Self { calibration: Some(calibration), ..self }
    }

    /// Other options of the controller.
    #[must_use]
    pub fn with_options(self, options: Options) -> Self {
        Self { options: Some(options), ..self }
    }

    /// What was learned before.
    #[must_use]
    pub fn with_learned(self, learned: LearnedMap) -> Self {
        Self { learned: Some(learned), ..self }
    }

    /// Another length of the step, s.
    #[must_use]
    pub fn with_step(self, step_s: f64) -> Self {
        Self { step_s, ..self }
    }

    /// Nobody follows the schedule: pedals, key and the rest are where [`Session::inputs_mut`] puts them.
    #[must_use]
    pub fn by_hand(self) -> Self {
        Self { by_hand: true, ..self }
    }

    /// The session: the engine stands and the key is off.
    ///
    /// # Errors
    /// [`RunError`] when the scenario's truth, answers or parameters are outside their ranges.
    pub fn build(self) -> Result<Session, RunError> {
        let Self { scenario, calibration, options, learned, step_s, by_hand } = self;
        let timeline = Timeline::new(&scenario);
        let calibration = calibration.map_or_else(|| timeline.calibration(), Ok)?;
        let calibration = match options {
            Some(options) => calibration.with_options(options),
            None => calibration,
        };
        let plant = Plant::new(timeline.truth(0.0), scenario.seed)?;
        let controller = Controller::new(calibration);
        let controller = match learned {
            Some(learned) => controller.with_learned(learned),
            None => controller,
        };
        Ok(Session {
            next_change_s: timeline.next_change_s(0.0),
            closed_loop: ClosedLoop::with_step(plant, controller, step_s),
            driver: (!by_hand).then(|| DriverOrOperator::for_schedule(&scenario.schedule, &scenario.truth)),
            inputs: DriverInputs::default(),
            seen: View::default(),
            pass: 0,
            pass_step: 0,
            scenario,
        })
    }
}

/// When a run is over.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum Until {
    /// The schedule was driven as often as the scenario says.
    Driven,
    /// So many seconds went by.
    After(f64),
}

/// One step of a session, for those who look on.
#[derive(Clone, Copy, Debug)]
pub struct Moment<'a> {
    /// Plant and controller after the step.
    pub closed_loop: &'a ClosedLoop,
    /// What is driven.
    pub schedule: &'a Schedule,
    /// What driver or operator do.
    pub inputs: &'a DriverInputs,
    /// What they saw when they decided that, in a step in which they did.
    pub decided: Option<&'a View>,
    /// Which pass through the schedule it is, from 0.
    pub pass: u32,
    /// Which step of this pass it was, from 0.
    pub pass_step: u64,
    /// It was the last step of the pass.
    pub is_last: bool,
}

impl Moment<'_> {
    /// Place in the schedule at which the step began, s.
    pub fn schedule_s(&self) -> f64 {
        self.pass_step as f64 * self.closed_loop.step_s()
    }

    /// The speed that the schedule asks for there, m/s.
    pub fn wanted_m_per_s(&self) -> f64 {
        self.schedule.speed_m_per_s(self.schedule_s())
    }

    /// Whether this is one of the steps of the pass that are so many apart, the first being one.
    pub fn is_each(&self, steps: u64) -> bool {
        self.pass_step.is_multiple_of(steps)
    }
}

/// Sees every step of a session and changes nothing in it. A function of a [`Moment`] is one.
///
/// ```
/// use trimwright_harness::{scenario::Scenario, session::{Moment, SessionBuilder, Until}};
/// let mut session = SessionBuilder::new(Scenario::load("delivery-van")?).build()?;
/// let mut hottest_k = f64::MIN;
/// session.run(Until::After(30.0), &mut |now: &Moment<'_>| hottest_k = hottest_k.max(now.closed_loop.view().coolant_k))?;
/// assert!(hottest_k > session.scenario().truth.thermal.start_k, "the engine warms up");
/// # Ok::<(), Box<dyn std::error::Error>>(())
/// ```
pub trait Observer {
    /// A step was made.
    fn observe(&mut self, now: &Moment<'_>);
}

impl<F: FnMut(&Moment<'_>)> Observer for F {
    fn observe(&mut self, now: &Moment<'_>) {
        self(now);
    }
}

/// Records nothing.
impl Observer for () {
    fn observe(&mut self, _: &Moment<'_>) {}
}

/// A car with its controller on its way; can be copied at any moment.
///
/// ```
/// use trimwright_harness::{scenario::Scenario, schedule::Schedule, session::{SessionBuilder, Until}};
/// let schedule = Schedule::parse("trip", "trip.csv", "time [s],speed [km/h]\n0,0\n20,0\n30,36\n40,36\n")?;
/// let van = Scenario { schedule, passes: 1, ..Scenario::load("delivery-van")? };
/// let mut session = SessionBuilder::new(van).build()?;
/// session.run(Until::Driven, &mut ())?;
/// assert!((session.closed_loop().view().vehicle_m_per_s - 10.0).abs() < 0.7, "36 km/h");
/// # Ok::<(), Box<dyn std::error::Error>>(())
/// ```
#[derive(Clone, Debug)]
pub struct Session {
    scenario: Scenario,
    closed_loop: ClosedLoop,
    /// Who follows the schedule, if anyone does.
    driver: Option<DriverOrOperator>,
    inputs: DriverInputs,
    /// What whoever works the car saw at the last decision.
    seen: View,
    /// When a fault comes or goes next, s since power-up.
    next_change_s: f64,
    pass: u32,
    pass_step: u64,
}

impl Session {
    /// Goes on until then; the learner is the one that the controller's options name.
    ///
    /// # Errors
    /// [`RunError::Truth`] when faults together push a part out of its range.
    pub fn run(&mut self, until: Until, observer: &mut impl Observer) -> Result<(), RunError> {
        let step = |closed_loop: &mut ClosedLoop, inputs: &DriverInputs| {
            closed_loop.step(inputs);
            Ok(())
        };
        self.run_by(step, until, observer)
    }

    /// The same with a step of one's own: another learner ([`ClosedLoop::step_with`]), or commands from another processor
    /// ([`ClosedLoop::step_on`]).
    ///
    /// ```
    /// use trimwright_control::LearnedMap;
    /// use trimwright_control::learning::{Lesson, Outcome};
    /// use trimwright_control::parameters::LearnerParameters;
    /// use trimwright_control::Learner;
    /// use trimwright_harness::{scenario::Scenario, session::{SessionBuilder, Until}};
    /// /// Hears every lesson and keeps none.
    /// struct Deaf;
    /// impl Learner for Deaf {
    ///     fn learn(&self, _: &LearnerParameters, _: &mut LearnedMap, _: &Lesson<'_>) -> Outcome {
    ///         Outcome::Taken
    ///     }
    /// }
    /// let mut van = Scenario::load("delivery-van")?;
    /// van.truth.thermal.start_k = 363.15;
    /// let mut session = SessionBuilder::new(van).build()?;
    /// session.run_by(|closed_loop, inputs| Ok(closed_loop.step_with(&Deaf, inputs)), Until::After(60.0), &mut ())?;
    /// let state = session.closed_loop().controller().state();
    /// assert!(state.counts().lessons() > 0 && state.learned().ln.flat().iter().all(|ln| *ln == 0.0));
    /// # Ok::<(), Box<dyn std::error::Error>>(())
    /// ```
    ///
    /// # Errors
    /// What the step gives, and as [`Session::run`].
    pub fn run_by(
        &mut self,
        mut step: impl FnMut(&mut ClosedLoop, &DriverInputs) -> Result<(), RunError>,
        until: Until,
        observer: &mut impl Observer,
    ) -> Result<(), RunError> {
        let step_s = self.closed_loop.step_s();
        let pass_steps = steps(self.scenario.schedule.duration_s(), step_s);
        let act_steps = steps(PERIOD_S, step_s);
        let left = match until {
            Until::Driven => {
                let left = u64::from(self.scenario.passes.saturating_sub(self.pass)) * pass_steps;
                left.saturating_sub(self.pass_step)
            }
            Until::After(seconds) => steps(seconds, step_s),
        };
        for _ in 0..left {
            let decides = self.pass_step.is_multiple_of(act_steps);
            if decides {
                self.decide();
            }
            self.change_faults()?;
            step(&mut self.closed_loop, &self.inputs)?;
            let is_last = self.pass_step + 1 == pass_steps;
            observer.observe(&Moment {
                closed_loop: &self.closed_loop,
                schedule: &self.scenario.schedule,
                inputs: &self.inputs,
                decided: decides.then_some(&self.seen),
                pass: self.pass,
                pass_step: self.pass_step,
                is_last,
            });
            (self.pass, self.pass_step) =
                if is_last { (self.pass + 1, 0) } else { (self.pass, self.pass_step + 1) };
        }
        Ok(())
    }

    /// Whoever works the car looks at it and acts.
    fn decide(&mut self) {
        self.seen = self.closed_loop.view();
        if let Some(driver) = &mut self.driver {
            let time_s = self.closed_loop.time_s();
            let schedule_s = self.pass_step as f64 * self.closed_loop.step_s();
            self.inputs = driver.act(time_s, schedule_s, &self.scenario.schedule, &self.seen).clone();
        }
    }

    /// Lets faults come and go that do so at this time.
    fn change_faults(&mut self) -> Result<(), RunError> {
        let time_s = self.closed_loop.time_s();
        if time_s >= self.next_change_s {
            let timeline = Timeline::new(&self.scenario);
            self.next_change_s = timeline.next_change_s(time_s);
            self.closed_loop.set_truth(timeline.truth(time_s))?;
        }
        Ok(())
    }

    /// Drives another schedule from its start, from now on.
    pub fn begin(&mut self, schedule: Schedule) {
        self.scenario.schedule = schedule;
        (self.pass, self.pass_step) = (0, 0);
    }

    /// Gives the car these faults instead of those it had; where they can't be together it is left as it was.
    ///
    /// # Errors
    /// [`RunError::Truth`] when they push a part out of its range.
    pub fn set_faults(&mut self, faults: Vec<Fault>) -> Result<(), RunError> {
        let before = std::mem::replace(&mut self.scenario.faults, faults);
        let time_s = self.closed_loop.time_s();
        let timeline = Timeline::new(&self.scenario);
        let (truth, next_change_s) = (timeline.truth(time_s), timeline.next_change_s(time_s));
        if let Err(error) = self.closed_loop.set_truth(truth) {
            self.scenario.faults = before;
            return Err(error.into());
        }
        self.next_change_s = next_change_s;
        Ok(())
    }

    /// Steps in so many seconds.
    pub fn steps(&self, seconds: f64) -> u64 {
        steps(seconds, self.closed_loop.step_s())
    }

    /// What is driven.
    pub fn scenario(&self) -> &Scenario {
        &self.scenario
    }

    /// Plant and controller.
    pub fn closed_loop(&self) -> &ClosedLoop {
        &self.closed_loop
    }

    /// Plant and controller, for one who interferes.
    pub fn closed_loop_mut(&mut self) -> &mut ClosedLoop {
        &mut self.closed_loop
    }

    /// Pedals, key, gear lever and the rest.
    pub fn inputs(&self) -> &DriverInputs {
        &self.inputs
    }

    /// The same, to be moved; a driver moves them back every [`PERIOD_S`].
    pub fn inputs_mut(&mut self) -> &mut DriverInputs {
        &mut self.inputs
    }

    /// How driver or operator started the engine and kept it running; as new in a session [by hand](SessionBuilder::by_hand).
    pub fn starting(&self) -> &Starting {
        static NOBODY: Starting = Starting::new();
        self.driver.as_ref().map_or(&NOBODY, DriverOrOperator::starting)
    }
}

/// Steps in so many seconds.
fn steps(seconds: f64, step_s: f64) -> u64 {
    (seconds / step_s).round() as u64
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::faults::find;

    fn trip(passes: u32) -> Scenario {
        let schedule =
            Schedule::parse("trip", "trip.csv", "time [s],speed [km/h]\n0,0\n20,0\n30,36\n40,36\n");
        let van = Scenario::load("delivery-van").expect("shipped");
        Scenario { schedule: schedule.expect("a schedule"), ..van.with_passes(passes) }
    }

    #[test]
    fn it_ends_where_the_last_pass_ends_in_whatever_parts_it_is_driven() {
        let mut whole = SessionBuilder::new(trip(2)).build().expect("in range");
        let mut parts = whole.clone();
        let (mut ends, mut decisions) = (Vec::new(), 0);
        let observer = &mut |now: &Moment<'_>| {
            decisions += u32::from(now.decided.is_some());
            if now.is_last {
                ends.push((now.pass, now.pass_step, now.closed_loop.time_s()));
            }
        };
        whole.run(Until::Driven, observer).expect("no faults");
        assert_eq!(ends, [(0, 39_999, 40.0), (1, 39_999, 80.0)]);
        assert_eq!(decisions, 4000);
        parts.run(Until::After(47.0), &mut ()).expect("no faults");
        parts.run(Until::Driven, &mut ()).expect("no faults");
        assert_eq!(parts.closed_loop().view(), whole.closed_loop().view());
        whole
            .run(Until::Driven, &mut |_: &Moment<'_>| panic!("nothing is left to drive"))
            .expect("no faults");
    }

    #[test]
    fn faults_that_do_not_go_together_leave_the_car_as_it_is() {
        let mut scenario = trip(1);
        scenario.truth.injectors.delay_s = [9.8e-3; 5];
        let mut session = SessionBuilder::new(scenario.clone()).by_hand().build().expect("in range");
        let late = Fault::usual(find("late_injectors").expect("a kind"));
        assert!(matches!(session.set_faults(vec![late]), Err(RunError::Truth(_))));
        session.run(Until::After(1.0), &mut ()).expect("without it");
        assert_eq!((session.scenario(), session.closed_loop().plant().truth()), (&scenario, &scenario.truth));
    }
}
