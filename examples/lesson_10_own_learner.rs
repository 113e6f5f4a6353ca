//! Lesson 10: what does it take to write a learner of one's own?
//!
//! A [`Learner`] gets a [`Lesson`]: the cells that had a share `phi_i` in a reading, and the correction `y` that would have been right. What
//! the map says is `sum phi_i theta_i`; the difference is the innovation. The customary rule moves each cell by a fixed part of it,
//! which is either slow at first or restless later. The one written here counts: a cell that was seen `n` times moves by
//! `1 / n` of it, but never by less than a floor, so that it keeps following an engine that ages. A mean is the best estimate
//! of a constant (Gauss); the floor makes it a fading one. [`LearnedMap::update`] holds each cell within its authority and keeps the
//! map's confidence. `Controller::step_with` and `ClosedLoop::step_with` take such a learner along.

mod lesson;

use lesson::plot::Plot;
use lesson::road::{self, Heard, Road};
use std::cell::RefCell;
use std::error::Error;
use std::fmt;
use trimwright_control::LearnedMap;
use trimwright_control::Learner;
use trimwright_control::learning::{Integral, Kalman};
use trimwright_control::learning::{Lesson, Outcome};
use trimwright_control::parameters::LearnerParameters;
use trimwright_control::{CELLS, Parameters};

/// The whole learner: how much of each cell it has seen, and the smallest part that a cell still moves by.
struct Counting {
    seen: RefCell<[f32; CELLS]>,
    floor: f32,
}

impl Learner for Counting {
    fn learn(&self, parameters: &LearnerParameters, map: &mut LearnedMap, lesson: &Lesson<'_>) -> Outcome {
        let mut seen = self.seen.borrow_mut();
        for (cell, share) in lesson.shares.iter().filter(|(cell, _)| *cell < CELLS) {
            seen[cell] += share;
        }
        let rest = |cell: usize| seen.get(cell).map_or(0.0, |seen| (1.0 / (1.0 + seen)).max(self.floor));
        map.update(parameters, lesson, |cell, share, _| share * rest(cell))
    }
}

pub(crate) struct Answer {
    /// Name of each learner, and minutes and rms error of the visited cells, ln, along the drive.
    pub(crate) errors: Vec<(&'static str, Vec<(f64, f64)>)>,
}

/// How the error of one learner goes down while it hears the lessons of the drive.
fn taught(learner: &dyn Learner, road: &Road) -> Vec<(f64, f64)> {
    let mut map = Parameters::DEFAULT.blank_map();
    let mut errors = Vec::new();
    for (number, Heard { minute, shares, required_ln }) in road.lessons.iter().enumerate() {
        let lesson = Lesson { shares, required_ln: *required_ln, variance_ln2: 0.02, film: false };
        learner.learn(&LearnerParameters::DEFAULT, &mut map, &lesson);
        if number.is_multiple_of(100) {
            let error_ln = road.cells.error_rms(|cell| f64::from(map.ln.flat()[cell]), &road.right_ln);
            errors.push((*minute, error_ln));
        }
    }
    errors
}

/// All learners hear the same lessons.
pub(crate) fn answer() -> Answer {
    let road = road::drive();
    let counting = Counting { seen: RefCell::new([0.0; CELLS]), floor: 0.002 };
    let learners: [(_, &dyn Learner); 3] =
        [("counting", &counting), ("integral", &Integral { gain: 0.01 }), ("kalman", &Kalman)];
    Answer { errors: learners.map(|(name, learner)| (name, taught(learner, &road))).into() }
}

/// Lines of this file that the learner takes.
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
            let (_, errors) = self.errors.iter().find(|(each, _)| *each == name).expect("it was taught");
            errors.iter().map(|(minute, error_ln)| (*minute, 100.0 * error_ln)).collect::<Vec<_>>()
        };
        let error = "error of the visited cells, rms, %";
        Plot::new("Learners that hear the same lessons", "time since the start, min", error)
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
                "{name:8}: {:.1} % off at first, {:.1} % after a tenth of the lessons, {:.1} % after all",
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
