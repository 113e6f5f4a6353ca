//! Lesson 10: what does it take to write a learner of one's own?
//!
//! A [`Learner`] receives a [`Lesson`]: the cells with their shares `phi_i` in a reading, and the required correction `y`. The map gives
//! `sum phi_i theta_i`; the difference is the innovation. The usual rule updates each cell by a fixed share of it, which is either slow at
//! first or noisy later. The learner here counts: a cell with `n` lessons is updated by `1 / n` of the innovation, but never by less than a
//! lower limit, so that it follows an ageing engine. A mean is the best estimate of a constant (Gauss); the limit makes it a fading one.
//! [`LearnedMap::update`] limits each cell to its authority and updates its variance. `Controller::step_with` and
//! `ClosedLoop::step_with` accept such a learner.

mod lesson;

use lesson::plot::Plot;
use lesson::road::{self, RecordedLesson, Road};
use std::cell::RefCell;
use std::error::Error;
use std::fmt;
use trimwright_control::LearnedMap;
use trimwright_control::Learner;
use trimwright_control::learning::{Integral, Kalman};
use trimwright_control::learning::{Lesson, Outcome};
use trimwright_control::parameters::LearnerParameters;
use trimwright_control::{CELLS, Parameters};

/// The whole learner: sum of the shares of each cell, and lower limit of the gain.
struct Counting {
    shares: RefCell<[f32; CELLS]>,
    floor: f32,
}

impl Learner for Counting {
    fn learn(&self, parameters: &LearnerParameters, map: &mut LearnedMap, lesson: &Lesson<'_>) -> Outcome {
        let mut shares = self.shares.borrow_mut();
        for (cell, share) in lesson.shares.iter().filter(|(cell, _)| *cell < CELLS) {
            shares[cell] += share;
        }
        let gain = |cell: usize| shares.get(cell).map_or(0.0, |sum| (1.0 / (1.0 + sum)).max(self.floor));
        map.update(parameters, lesson, |cell, share, _| share * gain(cell))
    }
}

pub(crate) struct Answer {
    /// Name of each learner, and minutes and rms error of the visited cells, ln, along the drive.
    pub(crate) errors: Vec<(&'static str, Vec<(f64, f64)>)>,
}

/// Error of one learner over the lessons of the drive.
fn errors_of(learner: &dyn Learner, road: &Road) -> Vec<(f64, f64)> {
    let mut map = Parameters::DEFAULT.blank_map();
    let mut errors = Vec::new();
    for (number, RecordedLesson { minute, shares, required_ln }) in road.lessons.iter().enumerate() {
        let lesson = Lesson {
            shares,
            required_ln: *required_ln,
            variance_ln2: LearnerParameters::DEFAULT.sample_variance_ln2,
            film: false,
        };
        learner.learn(&LearnerParameters::DEFAULT, &mut map, &lesson);
        if number.is_multiple_of(100) {
            let error_ln = road.cells.error_rms(|cell| f64::from(map.ln.flat()[cell]), &road.true_ln);
            errors.push((*minute, error_ln));
        }
    }
    errors
}

/// All learners get the same lessons.
pub(crate) fn answer() -> Answer {
    let road = road::drive();
    let counting = Counting { shares: RefCell::new([0.0; CELLS]), floor: 0.002 };
    let learners: [(_, &dyn Learner); 3] =
        [("counting", &counting), ("integral", &Integral { gain: 0.01 }), ("kalman", &Kalman)];
    Answer { errors: learners.map(|(name, learner)| (name, errors_of(learner, &road))).into() }
}

/// Number of lines of the learner in this file.
pub(crate) fn learner_lines() -> usize {
    let lines = include_str!("lesson_10_own_learner.rs").lines();
    lines
        .skip_while(|line| !line.starts_with("struct Counting"))
        .take_while(|line| !line.contains("struct Answer"))
        .count()
}

impl Answer {
    pub(crate) fn plot(&self) -> Plot {
        let percent = |name: &str| {
            let (_, errors) = self.errors.iter().find(|(each, _)| *each == name).expect("a learner");
            errors.iter().map(|(minute, error_ln)| (*minute, 100.0 * error_ln)).collect::<Vec<_>>()
        };
        let error = "error of the visited cells, rms, %";
        Plot::new("Learners with the same lessons", "time since the start, min", error)
            .line("counting", percent("counting"))
            .dashes("integral", percent("integral"))
            .dots("kalman", percent("kalman"))
    }
}

impl fmt::Display for Answer {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        for (name, errors) in &self.errors {
            let at = |share: f64| 100.0 * errors[((errors.len() - 1) as f64 * share) as usize].1;
            writeln!(
                f,
                "{name:8}: error {:.1} % at first, {:.1} % after 10 % of the lessons, {:.1} % after all",
                at(0.0),
                at(0.1),
                at(1.0)
            )?;
        }
        write!(f, "A learner is one function; this one has {} lines.", learner_lines())
    }
}

fn main() -> Result<(), Box<dyn Error>> {
    let answer = answer();
    lesson::show("lesson_10_own_learner", &answer, &answer.plot())
}
