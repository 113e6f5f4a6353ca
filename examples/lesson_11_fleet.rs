//! Lesson 11: does what works on one engine work on others?
//!
//! One engine proves little: it may just suit the controller. So a fleet is drawn by lot: breathing, injectors, wall film, sensor lag
//! and pipe differ, and so does what the owners answered (see `trimwright_study::sample` for what is drawn, and why so far). Each
//! engine drives the same way; what counts is not the best of them but the one that is worst off.

mod lesson;

use lesson::plot::Plot;
use lesson::road;
use std::error::Error;
use std::fmt;
use trimwright_control::Strategy;
use trimwright_study::fleet::{FleetEngine, FleetPlan};

/// Engines in the fleet; `trimwright fleet` drives as many as are asked for.
const ENGINES: u32 = 4;

/// One engine: rms mixture error of the map alone, with the first guess and with what was learned, ln.
pub(crate) struct Driven {
    pub(crate) guessed: f64,
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
        let figures = driven[0].figures().expect("every drawn engine can be driven");
        let (guessed, learned) =
            (figures.base_map_rms.expect("measured"), figures.learned_map_rms.expect("measured"));
        Driven { guessed, learned }
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
            .dots("first guess", error(|engine| engine.guessed))
            .dots("learned", error(|engine| engine.learned))
    }
}

impl fmt::Display for Answer {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        for (number, Driven { guessed, learned }) in (1..).zip(&self.engines) {
            writeln!(
                f,
                "engine {number}: {:4.1} % off by the first guess, {:.1} % with what was learned",
                100.0 * guessed,
                100.0 * learned
            )?;
        }
        write!(f, "The worst of them is left with {:.1} %.", 100.0 * self.worst().learned)
    }
}

fn main() -> Result<(), Box<dyn Error>> {
    let answer = answer();
    lesson::show("lesson_11_fleet", &answer, &answer.plot())
}
