//! Lesson 4: why does an engine go lean when the throttle is opened, and what helps?
//!
//! A share `X` of the injected fuel wets the manifold wall; the film of `m` kg evaporates with `m / tau` (Aquino, SAE 810494):
//! `dm/dt = X q - m / tau`. In steady state `m = X tau q`, and the engine receives all injected fuel. When the throttle is opened, `q` and the
//! film grow, and the fuel that the film gains is missing in the cylinders. With known `X` and `tau` the controller inverts the equation and
//! injects the additional fuel for the film.

mod lesson;

use lesson::plot::Plot;
use lesson::stand::Stand;
use std::error::Error;
use std::fmt;
use trimwright_control::Options;
use trimwright_plant::Balances;

/// One tip-in.
pub(crate) struct TipIn {
    /// Time since the throttle was opened, s, and lambda in the cylinders.
    pub(crate) lambda: Vec<(f64, f64)>,
    /// Film mass before the tip-in, kg: simulated, and in theory.
    pub(crate) film_kg: f64,
    pub(crate) rest_film_kg: f64,
    /// Fuel gained by the film in the tip-in, kg, and fuel that entered the manifold but was not drawn in the same time, kg.
    pub(crate) gained_kg: f64,
    pub(crate) missing_kg: f64,
}

pub(crate) struct Answer {
    pub(crate) without: TipIn,
    pub(crate) with: TipIn,
}

/// Opens the throttle at 1800 rpm with feedback and learning off.
fn tip_in(film_compensation: bool) -> TipIn {
    let options = Options { film_compensation, feedback: false, learning: false, ..Options::default() };
    let mut stand = Stand::start(options, |truth| (truth.film.x_scale, truth.film.tau_scale) = (1.0, 1.0));
    stand.hold_rpm(1800.0);
    stand.inputs().throttle = 0.10;
    stand.run(60.0, |_| ());
    let mut injected_kg_per_s = 0.0;
    stand.run(1.0, |closed_loop| injected_kg_per_s += closed_loop.view().injected_kg_per_s / 1000.0);
    let (before, balances) = (stand.closed_loop().view(), stand.closed_loop().plant().balances());

    let mut lambda = Vec::new();
    for step in 0..100 {
        stand.inputs().throttle = 0.10 + 0.12 * f64::from(step.min(10)) / 10.0;
        stand.run(0.03, |closed_loop| {
            let events = closed_loop.plant().events().iter();
            lambda.extend(events.map(|event| (event.time_s - before.time_s, event.lambda)));
        });
    }
    let (after, balances_after) = (stand.closed_loop().view(), stand.closed_loop().plant().balances());
    // Fuel through the injectors, and vapour from canister and crankcase.
    let entered = |b: &Balances| b.fuel_injected_kg + b.fuel_vapour_kg;
    let not_on_walls = |b: &Balances| b.fuel_drawn_kg + b.fuel_airborne_kg + b.fuel_vapour_pending_kg;
    let gained = |sum: fn(&Balances) -> f64| sum(&balances_after) - sum(&balances);
    TipIn {
        lambda,
        film_kg: before.film_kg,
        rest_film_kg: before.film_x * before.film_tau_s * injected_kg_per_s,
        gained_kg: after.film_kg - before.film_kg,
        missing_kg: gained(entered) - gained(not_on_walls),
    }
}

pub(crate) fn answer() -> Answer {
    Answer { without: tip_in(false), with: tip_in(true) }
}

impl TipIn {
    /// Lean excursion beyond the mixtures before and after, ln.
    pub(crate) fn lean_ln(&self) -> f64 {
        let ends = [self.lambda.first(), self.lambda.last()].map(|event| event.expect("events").1);
        let leanest = self.lambda.iter().map(|event| event.1).fold(0.0, f64::max);
        libm::log(leanest / ends[0].max(ends[1]))
    }
}

impl Answer {
    pub(crate) fn plot(&self) -> Plot {
        let lambda = |tip_in: &TipIn| tip_in.lambda.clone();
        Plot::new("Throttle opened at 1800 rpm", "time since then, s", "lambda in the cylinders")
            .dashes("without compensation", lambda(&self.without))
            .line("with compensation", lambda(&self.with))
    }
}

impl fmt::Display for Answer {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        let grams = [
            self.without.film_kg,
            self.without.rest_film_kg,
            self.without.gained_kg,
            self.without.missing_kg,
        ];
        let [film_g, rest_g, gained_g, missing_g] = grams.map(|kg| kg * 1e3);
        writeln!(f, "In steady state {film_g:.2} g of fuel are on the wall; X tau q is {rest_g:.2} g.")?;
        writeln!(
            f,
            "With the throttle open the film gains {gained_g:.2} g, and {missing_g:.2} g are missing in the cylinders."
        )?;
        let [without, with] = [&self.without, &self.with].map(|tip_in| 100.0 * tip_in.lean_ln());
        write!(f, "The engine goes {without:.0} % lean without compensation and {with:.0} % lean with it.")
    }
}

fn main() -> Result<(), Box<dyn Error>> {
    let answer = answer();
    lesson::show("lesson_04_film", &answer, &answer.plot())
}
