//! A session: a scenario's car with its controller, driver or operator, and faults, step by step.
//!
//! All drives, trials, fault examinations and the terminal bench use [`Session::run`]; an [`Observer`] records them. A session owns its
//! scenario and uses no clock, file or thread.

use trimwright_control::{Calibration, Controller, LearnedMap, Options};
use trimwright_plant::{DriverInputs, Plant, View};

use crate::closed_loop::{ClosedLoop, STEP_S};
use crate::driver_or_operator::DriverOrOperator;
use crate::faults::{Fault, Timeline};
use crate::run_error::RunError;
use crate::scenario::Scenario;
use crate::schedule::Schedule;
use crate::starting::{PERIOD_S, Starting};

/// Builder of a [`Session`].
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
    /// The scenario's answers and parameters, default options, an empty map, steps of [`STEP_S`].
    pub fn new(scenario: Scenario) -> Self {
        Self { scenario, calibration: None, options: None, learned: None, step_s: STEP_S, by_hand: false }
    }

    /// Sets the calibration in place of the scenario's.
    #[must_use]
    pub fn with_calibration(self, calibration: Calibration) -> Self {
        Self { calibration: Some(calibration), ..self }
    }

    /// Sets the controller's options.
    #[must_use]
    pub fn with_options(self, options: Options) -> Self {
        Self { options: Some(options), ..self }
    }

    /// Sets the learned map to start with.
    #[must_use]
    pub fn with_learned(self, learned: LearnedMap) -> Self {
        Self { learned: Some(learned), ..self }
    }

    /// Sets the step, s.
    #[must_use]
    pub fn with_step(self, step_s: f64) -> Self {
        Self { step_s, ..self }
    }

    /// Without driver or operator: the inputs stay where [`Session::inputs_mut`] sets them.
    #[must_use]
    pub fn by_hand(self) -> Self {
        Self { by_hand: true, ..self }
    }

    /// Builds the session with the engine stopped and the key off.
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
            decision_view: View::default(),
            pass: 0,
            pass_step: 0,
            scenario,
        })
    }
}

/// End of a run.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum Until {
    /// After all passes of the scenario.
    Driven,
    /// After this time, s.
    After(f64),
}

/// One step of a session, for observers.
#[derive(Clone, Copy, Debug)]
pub struct Moment<'a> {
    /// Plant and controller after the step.
    pub closed_loop: &'a ClosedLoop,
    /// Schedule being driven.
    pub schedule: &'a Schedule,
    /// Driver inputs of the step.
    pub inputs: &'a DriverInputs,
    /// View at the driver's decision, in steps with a decision.
    pub decided: Option<&'a View>,
    /// Pass through the schedule, from 0.
    pub pass: u32,
    /// Step of the pass, from 0.
    pub pass_step: u64,
    /// True in the last step of the pass.
    pub is_last: bool,
}

impl Moment<'_> {
    /// Place in the schedule at the start of the step, s.
    pub fn schedule_s(&self) -> f64 {
        self.pass_step as f64 * self.closed_loop.step_s()
    }

    /// Scheduled speed at that place, m/s.
    pub fn wanted_m_per_s(&self) -> f64 {
        self.schedule.speed_m_per_s(self.schedule_s())
    }

    /// True every `steps` steps of the pass, beginning with the first.
    pub fn is_each(&self, steps: u64) -> bool {
        self.pass_step.is_multiple_of(steps)
    }
}

/// Called after every step of a session; changes nothing in it. A function of a [`Moment`] is an observer.
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
    /// Called after each step.
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

/// A car with its controller during a run; can be cloned at any time.
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
    /// Driver or operator, unless inputs are set by hand.
    driver: Option<DriverOrOperator>,
    inputs: DriverInputs,
    /// View at the last decision of the driver or operator.
    decision_view: View,
    /// Next time at which a fault begins or ends, s since power-up.
    next_change_s: f64,
    pass: u32,
    pass_step: u64,
}

impl Session {
    /// Runs until `until` with the learner named in the controller's options.
    ///
    /// # Errors
    /// [`RunError::Truth`] when faults together move a parameter out of its range.
    pub fn run(&mut self, until: Until, observer: &mut impl Observer) -> Result<(), RunError> {
        let step = |closed_loop: &mut ClosedLoop, inputs: &DriverInputs| {
            closed_loop.step(inputs);
            Ok(())
        };
        self.run_by(step, until, observer)
    }

    /// The same with a given step function: another learner ([`ClosedLoop::step_with`]), or commands from another processor
    /// ([`ClosedLoop::step_on`]).
    ///
    /// ```
    /// use trimwright_control::LearnedMap;
    /// use trimwright_control::learning::{Lesson, Outcome};
    /// use trimwright_control::parameters::LearnerParameters;
    /// use trimwright_control::Learner;
    /// use trimwright_harness::{scenario::Scenario, session::{SessionBuilder, Until}};
    /// /// Ignores every lesson.
    /// struct Ignoring;
    /// impl Learner for Ignoring {
    ///     fn learn(&self, _: &LearnerParameters, _: &mut LearnedMap, _: &Lesson<'_>) -> Outcome {
    ///         Outcome::Accepted
    ///     }
    /// }
    /// let mut van = Scenario::load("delivery-van")?;
    /// van.truth.thermal.start_k = 363.15;
    /// let mut session = SessionBuilder::new(van).build()?;
    /// session.run_by(|closed_loop, inputs| Ok(closed_loop.step_with(&Ignoring, inputs)), Until::After(60.0), &mut ())?;
    /// let state = session.closed_loop().controller().state();
    /// assert!(state.counts().lessons() > 0 && state.learned().ln.flat().iter().all(|ln| *ln == 0.0));
    /// # Ok::<(), Box<dyn std::error::Error>>(())
    /// ```
    ///
    /// # Errors
    /// Errors of the step, and those of [`Session::run`].
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
                self.update_inputs();
            }
            self.change_faults()?;
            step(&mut self.closed_loop, &self.inputs)?;
            let is_last = self.pass_step + 1 == pass_steps;
            observer.observe(&Moment {
                closed_loop: &self.closed_loop,
                schedule: &self.scenario.schedule,
                inputs: &self.inputs,
                decided: decides.then_some(&self.decision_view),
                pass: self.pass,
                pass_step: self.pass_step,
                is_last,
            });
            (self.pass, self.pass_step) =
                if is_last { (self.pass + 1, 0) } else { (self.pass, self.pass_step + 1) };
        }
        Ok(())
    }

    /// Updates the driver inputs from the present view.
    fn update_inputs(&mut self) {
        self.decision_view = self.closed_loop.view();
        if let Some(driver) = &mut self.driver {
            let time_s = self.closed_loop.time_s();
            let schedule_s = self.pass_step as f64 * self.closed_loop.step_s();
            self.inputs =
                driver.act(time_s, schedule_s, &self.scenario.schedule, &self.decision_view).clone();
        }
    }

    /// Applies faults that begin or end at this time.
    fn change_faults(&mut self) -> Result<(), RunError> {
        let time_s = self.closed_loop.time_s();
        if time_s >= self.next_change_s {
            let timeline = Timeline::new(&self.scenario);
            self.next_change_s = timeline.next_change_s(time_s);
            self.closed_loop.set_truth(timeline.truth(time_s))?;
        }
        Ok(())
    }

    /// Continues with another schedule from its start.
    pub fn begin(&mut self, schedule: Schedule) {
        self.scenario.schedule = schedule;
        (self.pass, self.pass_step) = (0, 0);
    }

    /// Replaces the faults; if they are not possible together, nothing changes.
    ///
    /// # Errors
    /// [`RunError::Truth`] when they move a parameter out of its range.
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

    /// Number of steps in `seconds`.
    pub fn steps(&self, seconds: f64) -> u64 {
        steps(seconds, self.closed_loop.step_s())
    }

    /// Scenario being driven.
    pub fn scenario(&self) -> &Scenario {
        &self.scenario
    }

    /// Plant and controller.
    pub fn closed_loop(&self) -> &ClosedLoop {
        &self.closed_loop
    }

    /// Plant and controller, mutable.
    pub fn closed_loop_mut(&mut self) -> &mut ClosedLoop {
        &mut self.closed_loop
    }

    /// Driver inputs: pedals, key, gear lever and the rest.
    pub fn inputs(&self) -> &DriverInputs {
        &self.inputs
    }

    /// The same, mutable; a driver overwrites them every [`PERIOD_S`].
    pub fn inputs_mut(&mut self) -> &mut DriverInputs {
        &mut self.inputs
    }

    /// Start and stall record of driver or operator; empty in a session [by hand](SessionBuilder::by_hand).
    pub fn starting(&self) -> &Starting {
        static UNUSED: Starting = Starting::new();
        self.driver.as_ref().map_or(&UNUSED, DriverOrOperator::starting)
    }
}

/// Number of steps in `seconds`.
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
