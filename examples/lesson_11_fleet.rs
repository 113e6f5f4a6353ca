//! Lesson 11: does what works on one engine work on others?
//!
//! A result on one engine may be coincidence. So a fleet is sampled: filling, injectors, wall film, sensor lag and pipe differ, and so do the
//! owners' answers (ranges and reasons: `trimwright_study::sample`). All engines drive the same schedule; the result is that of the worst
//! engine. The disturbances that pass within seconds or minutes hit a good map as hard as a bad one; they are left out of the learned map's
//! error.

mod lesson;

use lesson::plot::Plot;
use lesson::road;
use std::error::Error;
use std::fmt;
use trimwright_control::Strategy;
use trimwright_study::fleet::{FleetEngine, FleetPlan};

/// Number of engines; `trimwright fleet` drives larger fleets.
const ENGINES: u32 = 4;

/// Mixture error of the map alone of one engine, rms, ln: first calibration, and learned map without the disturbances that pass.
pub(crate) struct Driven {
    pub(crate) base: f64,
    pub(crate) learned: f64,
}

pub(crate) struct Answer {
    pub(crate) engines: Vec<Driven>,
}

pub(crate) fn answer() -> Answer {
    let scenario = road::van();
    let plan = FleetPlan { engines: ENGINES, seed: 1, learners: vec![Strategy::Kalman], jobs: 0 };
    let engine = |index| {
        let driven = FleetEngine::drive(&scenario, &plan, index);
        let figures = driven[0].figures().expect("every sampled engine can be driven");
        let [base, learned] =
            [figures.base_map_rms, figures.learned_map_lasting_rms].map(|rms| rms.expect("measured"));
        Driven { base, learned }
    };
    Answer { engines: (0..ENGINES).map(engine).collect() }
}

impl Answer {
    /// The engine whose learned map is worst.
    pub(crate) fn worst(&self) -> &Driven {
        self.engines
            .iter()
            .max_by(|one, other| one.learned.total_cmp(&other.learned))
            .expect("there are engines")
    }

    pub(crate) fn plot(&self) -> Plot {
        let error = |pick: fn(&Driven) -> f64| {
            (1..).zip(&self.engines).map(move |(number, engine)| (f64::from(number), 100.0 * pick(engine)))
        };
        Plot::new("A small fleet, thirteen minutes on the highway each", "engine", "mixture error, rms, %")
            .dots("first calibration", error(|engine| engine.base))
            .dots("learned", error(|engine| engine.learned))
    }
}

impl fmt::Display for Answer {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        for (number, Driven { base, learned }) in (1..).zip(&self.engines) {
            writeln!(
                f,
                "engine {number}: first calibration {:4.1} %, learned map {:.1} %",
                100.0 * base,
                100.0 * learned
            )?;
        }
        write!(f, "The worst engine has {:.1} %.", 100.0 * self.worst().learned)
    }
}

fn main() -> Result<(), Box<dyn Error>> {
    let answer = answer();
    lesson::show("lesson_11_fleet", &answer, &answer.plot())
}
