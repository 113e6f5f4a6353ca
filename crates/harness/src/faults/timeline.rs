//! Lets the faults of a scenario come and go while it is driven.

use crate::closed_loop::ClosedLoop;
use crate::faults::Fault;
use crate::scenario::Scenario;
use trimwright_control::{Calibration, CalibrationError, Parameters, SetupAnswers};
use trimwright_plant::{OutOfRange, Truth};

/// Which faults are there, moment by moment.
///
/// ```
/// use trimwright_harness::faults::{Fault, Timeline, find};
/// use trimwright_harness::scenario::Scenario;
/// let weak = Fault { from_s: 60.0, ..Fault::usual(find("weak_pump").expect("a kind")) };
/// let scenario = Scenario { faults: vec![weak], ..Scenario::load("delivery-van")? };
/// let timeline = Timeline::new(&scenario);
/// assert_eq!([59.0, 61.0].map(|time_s| timeline.truth(time_s).faults.weak_pump), [0.0, 0.6]);
/// # Ok::<(), trimwright_harness::error::InputError>(())
/// ```
#[derive(Clone, Debug)]
pub struct Timeline<'a> {
    sound: &'a Truth,
    answers: SetupAnswers,
    parameters: &'a Parameters,
    faults: &'a [Fault],
    next_change_s: f64,
}

impl<'a> Timeline<'a> {
    /// The faults of this scenario.
    ///
    /// ```
    /// use trimwright_harness::{faults::Timeline, scenario::Scenario};
    /// let van = Scenario::load("delivery-van")?;
    /// assert_eq!(Timeline::new(&van).truth(1e4), van.truth, "nothing is wrong with it at any time");
    /// # Ok::<(), trimwright_harness::error::InputError>(())
    /// ```
    pub fn new(scenario: &'a Scenario) -> Self {
        let (sound, faults) = (&scenario.truth, scenario.faults.as_slice());
        let (answers, parameters) = (scenario.answers, &scenario.parameters);
        Self { sound, answers, parameters, faults, next_change_s: next_change_s(faults, 0.0) }
    }

    /// The truth at this time since power-up.
    ///
    /// ```
    /// use trimwright_harness::{faults::Timeline, scenario::Scenario};
    /// let tired = Scenario::load("tired-van")?;
    /// let timeline = Timeline::new(&tired);
    /// let leaks = [0.0, 301.0].map(|time_s| timeline.truth(time_s).faults.exhaust_leak_kg_per_s);
    /// assert!(leaks[0] == 0.0 && (leaks[1] - 0.4e-3).abs() < 1e-9, "the gasket opens after five minutes");
    /// # Ok::<(), trimwright_harness::error::InputError>(())
    /// ```
    pub fn truth(&self, time_s: f64) -> Truth {
        self.at(time_s).0
    }

    /// What the owner answered, wrong answers included.
    ///
    /// ```
    /// use trimwright_harness::faults::{Fault, Timeline, find};
    /// use trimwright_harness::scenario::Scenario;
    /// let faults = vec![Fault::usual(find("wrong_cylinders").expect("a kind"))];
    /// let van = Scenario { faults, ..Scenario::load("delivery-van")? };
    /// assert_eq!((van.answers.cylinders, Timeline::new(&van).answers().cylinders), (8, 6));
    /// # Ok::<(), trimwright_harness::error::InputError>(())
    /// ```
    pub fn answers(&self) -> SetupAnswers {
        self.at(0.0).1
    }

    /// What the controller works from, wrong answers included.
    ///
    /// ```
    /// use trimwright_harness::faults::{Fault, Timeline, find};
    /// use trimwright_harness::scenario::Scenario;
    /// let faults = vec![Fault::usual(find("wrong_cylinders").expect("a kind"))];
    /// let van = Scenario { faults, ..Scenario::load("delivery-van")? };
    /// assert_eq!(Timeline::new(&van).calibration().expect("in range").answers().cylinders, 6);
    /// # Ok::<(), trimwright_harness::error::InputError>(())
    /// ```
    ///
    /// # Errors
    /// When an answer or a parameter is out of its range.
    pub fn calibration(&self) -> Result<Calibration, CalibrationError> {
        Calibration::new(&self.answers(), self.parameters.clone())
    }

    fn at(&self, time_s: f64) -> (Truth, SetupAnswers) {
        let (mut truth, mut answers) = (self.sound.clone(), self.answers);
        for fault in self.faults.iter().filter(|fault| fault.is_there(time_s)) {
            fault.apply(&mut truth, &mut answers);
        }
        (truth, answers)
    }

    /// To be called before every step: changes the plant when a fault comes or goes.
    ///
    /// ```
    /// # use trimwright_control::{Calibration, Controller};
    /// use trimwright_harness::faults::{Fault, Timeline, find};
    /// use trimwright_harness::{closed_loop::ClosedLoop, scenario::Scenario};
    /// use trimwright_plant::{DriverInputs, Plant};
    /// let fault = Fault { from_s: 0.5, ..Fault::usual(find("fans_dead").expect("a kind")) };
    /// let van = Scenario { faults: vec![fault], ..Scenario::load("delivery-van")? };
    /// # let controller = Controller::new(Calibration::from_answers(&van.answers)?);
    /// let mut timeline = Timeline::new(&van);
    /// let mut closed_loop = ClosedLoop::new(Plant::new(timeline.truth(0.0), van.seed)?, controller);
    /// for step in 1..=1000 {
    ///     timeline.step(&mut closed_loop)?;
    ///     closed_loop.step(&DriverInputs::default());
    ///     assert_eq!(closed_loop.plant().truth().faults.fans_dead, step > 500);
    /// }
    /// # Ok::<(), Box<dyn std::error::Error>>(())
    /// ```
    ///
    /// # Errors
    /// [`OutOfRange`] when faults together push a part out of its range.
    #[inline]
    pub fn step(&mut self, closed_loop: &mut ClosedLoop) -> Result<(), OutOfRange> {
        let time_s = closed_loop.time_s();
        if time_s < self.next_change_s {
            return Ok(());
        }
        self.next_change_s = next_change_s(self.faults, time_s);
        closed_loop.set_truth(self.truth(time_s))
    }
}

/// The first time after this one at which any of the faults may come or go.
fn next_change_s(faults: &[Fault], time_s: f64) -> f64 {
    faults.iter().map(|fault| fault.next_change_s(time_s)).fold(f64::INFINITY, f64::min)
}
