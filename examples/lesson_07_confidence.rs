//! Lesson 7: a cell says how sure it is of itself; may one believe it?
//!
//! Beside each correction the map keeps a variance. A cell of variance `P` that hears a reading of variance `R` has `1 / (1/P + 1/R)` left
//! (Kalman, 1960). If that is honest, 95 of 100 cells are less than two of their standard deviations from the truth
//! (normal distribution). It is honest only if each reading errs in its own way: of readings that repeat each other's error
//! four times as many are needed, and a learner that does not know it claims half the standard deviation it should.

mod lesson;

use lesson::chance::Chance;
use lesson::plot::Plot;
use lesson::road;
use std::error::Error;
use std::fmt;
use trimwright_control::Learner;
use trimwright_control::learning::Kalman;
use trimwright_control::learning::LaggedShares;
use trimwright_control::learning::Lesson;
use trimwright_control::{CELLS, Options, Parameters};
use trimwright_harness::drive::{Record, drive_with};
use trimwright_numerics::Weights;

const READINGS: usize = 48;
const READING_SIGMA_LN: f64 = 0.14;
pub(crate) const TRIES: usize = 2000;

pub(crate) struct Answer {
    /// Share of single cells within two standard deviations, when each reading errs by itself, and when each error comes four times.
    pub(crate) by_itself: f64,
    pub(crate) repeated: f64,
    /// The same of the cells that a drive visited, and each one's standard deviation and error, ln.
    pub(crate) driven: f64,
    pub(crate) cells: Vec<(f64, f64)>,
}

/// One cell hears readings of a truth that was drawn; whether it then is within two standard deviations of it.
fn is_within(chance: &mut Chance, times: usize) -> bool {
    let alone = Weights { cells: [0, 1, 2, 3], shares: [1.0, 0.0, 0.0, 0.0] };
    let parameters = Parameters::DEFAULT;
    let truth_ln = chance.normal(f64::from(parameters.learner.prior_sigma_ln)).clamp(-0.25, 0.25);
    let mut map = parameters.blank_map();
    for _ in 0..READINGS / times {
        let right_ln = (truth_ln + chance.normal(READING_SIGMA_LN)) as f32;
        let variance_ln2 = (READING_SIGMA_LN * READING_SIGMA_LN) as f32;
        for _ in 0..times {
            let lesson = Lesson {
                shares: &LaggedShares::settled(&alone),
                required_ln: right_ln,
                variance_ln2,
                film: false,
            };
            Kalman.learn(&parameters.learner, &mut map, &lesson);
        }
    }
    (f64::from(map.ln.flat()[0]) - truth_ln).abs() < 2.0 * f64::from(map.sigma_ln(0))
}

fn share(chance: &mut Chance, times: usize) -> f64 {
    (0..TRIES).filter(|_| is_within(chance, times)).count() as f64 / TRIES as f64
}

pub(crate) fn answer() -> Answer {
    let mut chance = Chance(1);
    let (by_itself, repeated) = (share(&mut chance, 1), share(&mut chance, 4));
    let scenario = road::van();
    let run =
        drive_with(&scenario, Options::default(), Record::Figures, &mut |_| ()).expect("it can be driven");
    let visited = run.cells.visited();
    let cell = |cell| {
        (
            f64::from(run.learned.sigma_ln(cell)),
            f64::from(run.learned.ln.flat()[cell]) - run.true_correction_ln[cell],
        )
    };
    let cells = (0..CELLS).filter(|&index| visited[index]).map(cell).collect();
    Answer { by_itself, repeated, driven: run.summary.learning.within_two_sigma, cells }
}

impl Answer {
    pub(crate) fn plot(&self) -> Plot {
        let widest = self.cells.iter().map(|cell| cell.0).fold(0.0, f64::max) * 100.0;
        let edge = |sign: f64| [(0.0, 0.0), (widest, sign * 2.0 * widest)];
        Plot::new("Cells that a drive visited", "standard deviation as the cell says, %", "its error, %")
            .dots("a cell", self.cells.iter().map(|cell| (100.0 * cell.0, 100.0 * cell.1)))
            .line("two standard deviations too rich", edge(1.0))
            .dashes("two standard deviations too lean", edge(-1.0))
    }
}

impl fmt::Display for Answer {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        let [by_itself, repeated, driven] =
            [self.by_itself, self.repeated, self.driven].map(|share| 100.0 * share);
        writeln!(
            f,
            "Each reading with an error of its own: {by_itself:.1} % of the cells are within two sigma."
        )?;
        writeln!(f, "Each error heard four times: {repeated:.1} %.")?;
        write!(
            f,
            "On the road, where each reading counts for less because they resemble each other: {driven:.0} % of {} cells.",
            self.cells.len()
        )
    }
}

fn main() -> Result<(), Box<dyn Error>> {
    let answer = answer();
    lesson::show("lesson_07_confidence", &answer, &answer.plot())
}
