//! Faults of a scenario over time.

use crate::faults::Fault;
use crate::scenario::Scenario;
use trimwright_control::{Calibration, CalibrationError, Parameters, SetupAnswers};
use trimwright_plant::Truth;

/// The faults present at each time.
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
    fault_free: &'a Truth,
    answers: SetupAnswers,
    parameters: &'a Parameters,
    faults: &'a [Fault],
}

impl<'a> Timeline<'a> {
    /// The faults of this scenario.
    pub fn new(scenario: &'a Scenario) -> Self {
        let (fault_free, faults) = (&scenario.truth, scenario.faults.as_slice());
        let (answers, parameters) = (scenario.answers, &scenario.parameters);
        Self { fault_free, answers, parameters, faults }
    }

    /// Truth at this time since power-up, s.
    pub fn truth(&self, time_s: f64) -> Truth {
        self.at(time_s).0
    }

    /// The owner's answers, with the faults in them.
    pub fn answers(&self) -> SetupAnswers {
        self.at(0.0).1
    }

    /// The controller's calibration from these answers.
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
        let (mut truth, mut answers) = (self.fault_free.clone(), self.answers);
        for fault in self.faults.iter().filter(|fault| fault.is_present(time_s)) {
            fault.apply(&mut truth, &mut answers);
        }
        (truth, answers)
    }

    /// First later time at which any fault may begin or end, s since power-up.
    pub fn next_change_s(&self, time_s: f64) -> f64 {
        self.faults.iter().map(|fault| fault.next_change_s(time_s)).fold(f64::INFINITY, f64::min)
    }
}
