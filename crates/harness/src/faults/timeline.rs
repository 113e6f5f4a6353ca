//! Lets the faults of a scenario come and go while it is driven.

use crate::closed_loop::ClosedLoop;
use crate::faults::Fault;
use crate::scenario::Scenario;
use trimwright_control::SetupAnswers;
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
    faults: &'a [Fault],
    next_change_s: f64,
}

impl<'a> Timeline<'a> {
    /// The faults of this scenario.
    pub fn new(scenario: &'a Scenario) -> Self {
        let (sound, faults) = (&scenario.truth, scenario.faults.as_slice());
        Self { sound, answers: scenario.answers, faults, next_change_s: next_change_s(faults, 0.0) }
    }

    /// The truth at this time since power-up.
    pub fn truth(&self, time_s: f64) -> Truth {
        self.at(time_s).0
    }

    /// What the owner answered, wrong answers included.
    pub fn answers(&self) -> SetupAnswers {
        self.at(0.0).1
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
