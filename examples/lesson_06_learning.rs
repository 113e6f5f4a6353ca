//! Lesson 6: does the map get better while the car is driven?
//!
//! Each reading shows, with a delay, the correction that was required at the operating point of its injection. A lesson updates the cells that
//! had a share in that fuel; the short-term trim corrects the remaining error, which becomes smaller. The mixture error is
//! `ln(lambda_true / lambda_wanted)` of each cylinder event; the result is the error of the map alone, without the trim, in each minute.

mod lesson;

use lesson::plot::Plot;
use lesson::road;
use std::error::Error;
use std::fmt;
use trimwright_control::Options;
use trimwright_harness::drive::{Record, Run, drive_with};

pub(crate) struct Answer {
    pub(crate) run: Run,
}

/// The van on a highway, for thirteen minutes.
pub(crate) fn answer() -> Answer {
    let scenario = road::van();
    let run =
        drive_with(&scenario, Options::default(), Record::Figures, &mut |_| ()).expect("it can be driven");
    Answer { run }
}

impl Answer {
    pub(crate) fn plot(&self) -> Plot {
        let minutes = |pick: fn(&trimwright_harness::mixture_observer::Window) -> f64| {
            self.run.windows.iter().map(move |window| (window.end_s / 60.0, 100.0 * pick(window)))
        };
        let base = 100.0 * self.run.summary.mixture.base_map_rms;
        let last = self.run.windows.last().map_or(0.0, |window| window.end_s / 60.0);
        Plot::new("Mixture error while learning", "time since the start, min", "error, rms, %")
            .dashes(
                "first calibration, whole drive",
                (0..=50).map(|part| (last * f64::from(part) / 50.0, base)),
            )
            .line("map alone", minutes(|window| window.map_rms))
            .dots("with the trim, all events", minutes(|window| window.closed_loop_rms))
    }
}

impl fmt::Display for Answer {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        let (mixture, learning) = (&self.run.summary.mixture, &self.run.summary.learning);
        let [base, learned] = [mixture.base_map_rms, mixture.learned_map_rms].map(|rms| 100.0 * rms);
        writeln!(
            f,
            "First calibration: {base:.1} % error. Map learned in one drive: {learned:.1} %, trim and learning off."
        )?;
        let rejected: u64 = learning.refusals.values().sum();
        writeln!(f, "{} lessons were accepted, {rejected} readings rejected.", learning.lessons)?;
        let [learner, fitted] = [learning.visited_error_rms, learning.offline_fit_rms].map(|rms| 100.0 * rms);
        write!(f, "Error in the visited cells: {learner:.1} %; offline fit of the whole log: {fitted:.1} %.")
    }
}

fn main() -> Result<(), Box<dyn Error>> {
    let answer = answer();
    lesson::show("lesson_06_learning", &answer, &answer.plot())
}
