//! Lesson 7: is the standard deviation that the map estimates for a cell correct?
//!
//! Beside each correction the map keeps a variance. An update with a reading of variance `R` reduces a variance `P` to `1 / (1/P + 1/R)`
//! (Kalman, 1960). If the estimate is correct, 95 % of the cells are within two standard deviations of the truth (normal distribution). It is
//! correct only if the errors of the readings are independent: if each error is repeated four times, four times as many readings are needed,
//! and a learner that assumes independence estimates half the true standard deviation.

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
    /// Share of single cells within two standard deviations with independent errors, and with each error repeated four times.
    pub(crate) independent: f64,
    pub(crate) repeated: f64,
    /// The same for the visited cells of a drive, and standard deviation and error of each, ln.
    pub(crate) driven: f64,
    pub(crate) cells: Vec<(f64, f64)>,
}

/// Updates one cell with readings of a random truth; returns whether it is within two standard deviations of the truth.
fn is_within(chance: &mut Chance, times: usize) -> bool {
    let alone = Weights { cells: [0, 1, 2, 3], shares: [1.0, 0.0, 0.0, 0.0] };
    let parameters = Parameters::DEFAULT;
    let truth_ln = chance.normal(f64::from(parameters.learner.prior_sigma_ln)).clamp(-0.25, 0.25);
    let mut map = parameters.blank_map();
    for _ in 0..READINGS / times {
        let required_ln = (truth_ln + chance.normal(READING_SIGMA_LN)) as f32;
        let variance_ln2 = (READING_SIGMA_LN * READING_SIGMA_LN) as f32;
        for _ in 0..times {
            let lesson =
                Lesson { shares: &LaggedShares::settled(&alone), required_ln, variance_ln2, film: false };
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
    let (independent, repeated) = (share(&mut chance, 1), share(&mut chance, 4));
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
    Answer { independent, repeated, driven: run.summary.learning.within_two_sigma, cells }
}

impl Answer {
    pub(crate) fn plot(&self) -> Plot {
        let widest = self.cells.iter().map(|cell| cell.0).fold(0.0, f64::max) * 100.0;
        let edge = |sign: f64| [(0.0, 0.0), (widest, sign * 2.0 * widest)];
        Plot::new("Cells that a drive visited", "estimated standard deviation, %", "true error, %")
            .dots("a cell", self.cells.iter().map(|cell| (100.0 * cell.0, 100.0 * cell.1)))
            .line("two standard deviations too rich", edge(1.0))
            .dashes("two standard deviations too lean", edge(-1.0))
    }
}

impl fmt::Display for Answer {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        let [independent, repeated, driven] =
            [self.independent, self.repeated, self.driven].map(|share| 100.0 * share);
        writeln!(f, "Independent errors: {independent:.1} % of the cells are within two sigma.")?;
        writeln!(f, "Each error repeated four times: {repeated:.1} %.")?;
        write!(
            f,
            "On the road, with a larger variance for the correlated readings: {driven:.0} % of {} cells.",
            self.cells.len()
        )
    }
}

fn main() -> Result<(), Box<dyn Error>> {
    let answer = answer();
    lesson::show("lesson_07_confidence", &answer, &answer.plot())
}
