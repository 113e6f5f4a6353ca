//! Lesson 2: how much air does a cylinder draw, and how far is the first estimate from the truth?
//!
//! Speed density: a cylinder of volume `V` filled with air of pressure `p` and temperature `T` would hold `p V / (R T)`, with
//! `R` = 287.05 J/(kg K) (ideal gas; ISO 2533). A real engine draws its filling efficiency times that: residual
//! exhaust in the clearance volume and backflow during valve overlap take up room, most of all at low pressure (Hendricks et al.,
//! SAE 960037). The controller estimates the efficiency from the owner's answers. The remaining error has to be learned.

mod lesson;

use lesson::plot::Plot;
use lesson::{RPM, rms};
use std::error::Error;
use std::fmt;
use trimwright_control::fueling::OUTSIDE_PA;
use trimwright_control::{Calibration, SetupAnswers};
use trimwright_harness::scenario::Scenario;
use trimwright_plant::Truth;

const SPEED: f64 = 800.0 * RPM;
const CHARGE_K: f64 = 320.0;

/// Air of one cylinder at one pressure, kg.
pub(crate) struct Charge {
    pub(crate) map_pa: f64,
    pub(crate) full_kg: f64,
    pub(crate) true_kg: f64,
    pub(crate) estimated_kg: f64,
}

impl Charge {
    /// Error of the first estimate, ln.
    pub(crate) fn error_ln(&self) -> f64 {
        libm::log(self.estimated_kg / self.true_kg)
    }
}

pub(crate) struct Answer {
    pub(crate) charges: Vec<Charge>,
}

/// Charge of a cylinder filled with manifold air, kg.
pub(crate) fn full_charge_kg(answers: &SetupAnswers, map_pa: f64, charge_k: f64) -> f64 {
    let cylinder_m3 = f64::from(answers.displacement_m3) / f64::from(answers.cylinders);
    map_pa * cylinder_m3 / (f64::from(trimwright_control::fueling::R_AIR) * charge_k)
}

fn charge(truth: &Truth, calibration: &Calibration, map_pa: f64) -> Charge {
    let estimated_kg =
        calibration.setup().base_air_charge_kg(map_pa as f32, OUTSIDE_PA, SPEED as f32, CHARGE_K as f32);
    Charge {
        map_pa,
        full_kg: full_charge_kg(calibration.answers(), map_pa, CHARGE_K),
        true_kg: truth.air_charge_kg(map_pa, CHARGE_K, SPEED),
        estimated_kg: f64::from(estimated_kg),
    }
}

pub(crate) fn answer() -> Answer {
    let scenario = Scenario::load("delivery-van").expect("it is shipped");
    let calibration = scenario.calibration().expect("valid answers");
    let pressures = (20..=100).map(|kpa| f64::from(kpa) * 1e3);
    Answer { charges: pressures.map(|map_pa| charge(&scenario.truth, &calibration, map_pa)).collect() }
}

impl Answer {
    /// Root mean square of the error over the pressures, ln.
    pub(crate) fn error_rms(&self) -> f64 {
        rms(self.charges.iter().map(Charge::error_ln))
    }

    pub(crate) fn plot(&self) -> Plot {
        let mg =
            |kg: fn(&Charge) -> f64| self.charges.iter().map(move |each| (each.map_pa / 1e3, kg(each) * 1e6));
        Plot::new("Air of one cylinder at 800 rpm", "manifold pressure, kPa", "air, mg")
            .dashes("filled with manifold air", mg(|each| each.full_kg))
            .line("truth", mg(|each| each.true_kg))
            .line("the controller's first estimate", mg(|each| each.estimated_kg))
    }
}

impl fmt::Display for Answer {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        for charge in self.charges.iter().step_by(20) {
            let [full, drawn, estimated] =
                [charge.full_kg, charge.true_kg, charge.estimated_kg].map(|kg| kg * 1e6);
            let (kpa, error) = (charge.map_pa / 1e3, 100.0 * charge.error_ln());
            writeln!(
                f,
                "{kpa:3.0} kPa: full {full:3.0} mg, drawn {drawn:3.0} mg, estimated {estimated:3.0} mg ({error:+.1} %)"
            )?;
        }
        write!(
            f,
            "The first estimate has an error of {:.1} % rms, which has to be learned.",
            100.0 * self.error_rms()
        )
    }
}

fn main() -> Result<(), Box<dyn Error>> {
    let answer = answer();
    lesson::show("lesson_02_air", &answer, &answer.plot())
}
