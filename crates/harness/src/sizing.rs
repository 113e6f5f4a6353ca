//! Sizing before the first start: injectors, pump, lines, wiring, sensor position, fans and nitrous against the engine's demand.
//!
//! Based on the ratings of the parts (the engine file with a scenario's changes, without the deviations), the owner's answers and section
//! `[installation]`. Each [`Line`] has value, limit, formula with its numbers, what to change, and source. Every verdict comes from a
//! computed margin, none from a horsepower table.

mod car;
mod cooling;
mod demand;
mod electrical;
mod feed;
mod injectors;
mod installation;
mod line;
mod nitrous;
mod oxygen;
mod plumbing;
mod power;
mod pump;

use crate::scenario::Scenario;
use crate::units::UnitSystem;
use car::Car;
pub use demand::{Demand, POUND_PER_HORSEPOWER_HOUR};
pub use electrical::{copper_ohm_per_m, gauge_m2};
pub use feed::PETROL_VISCOSITY_PA_S;
pub(crate) use installation::{ALIASES as INSTALLATION_ALIASES, read};
pub use installation::{Clamps, Installation, SensorPlace};
pub use line::{Limit, Line, Verdict};
pub use plumbing::Suction;
pub use pump::delivery_kg_per_s;
use serde::Serialize;
use trimwright_control::CalibrationError;

/// Result of a sizing.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct Sizing {
    /// Name of the scenario.
    pub scenario: String,
    /// Lines from the demand to nitrous oxide.
    pub lines: Vec<Line>,
    /// Safety notes.
    pub cautions: Vec<String>,
}

impl Sizing {
    /// Worst of all verdicts.
    pub fn verdict(&self) -> Verdict {
        self.lines.iter().map(|line| line.verdict).max().unwrap_or(Verdict::NoLimit)
    }

    /// Line of this name.
    pub fn line(&self, what: &str) -> Option<&Line> {
        self.lines.iter().find(|line| line.what == what)
    }
}

/// Sizes a scenario's car, with values in these units.
///
/// ```
/// use trimwright_harness::{scenario::Scenario, sizing::size, units::UnitSystem};
/// let mut van = Scenario::load("delivery-van")?;
/// let duty = |van: &Scenario| size(van, UnitSystem::Si).ok()?.line("share of time open").map(|line| line.value);
/// let with_four = duty(&van);
/// van.answers.injectors = 2;
/// assert!(duty(&van) > with_four, "two injectors have to be open for longer");
/// # Ok::<(), trimwright_harness::error::InputError>(())
/// ```
///
/// # Errors
/// [`CalibrationError`] when a setup answer or a parameter is out of its range.
pub fn size(scenario: &Scenario, system: UnitSystem) -> Result<Sizing, CalibrationError> {
    let calibration = scenario.calibration()?;
    let (parts, installation) = (&scenario.nameplate, &scenario.installation);
    let demand = Demand::of(&calibration, parts, installation);
    let pump_v = electrical::pump_v(parts, installation);
    let delivery_kg_per_s =
        pump::delivered(&parts.fuel_system, parts.fuel.density_kg_per_m3(), pump_v, &demand);
    let car = Car { parts, installation, calibration, demand, pump_v, delivery_kg_per_s, system };
    let with_nitrous = nitrous::is_fitted(&car);
    let lines = [
        power::lines(&car),
        injectors::lines(&car),
        pump::lines(&car),
        plumbing::lines(&car),
        electrical::lines(&car),
        oxygen::lines(&car),
        cooling::lines(&car),
        if with_nitrous { nitrous::lines(&car) } else { Vec::new() },
    ]
    .concat();
    Ok(Sizing { scenario: scenario.name.clone(), lines, cautions: cautions(with_nitrous, system) })
}

fn cautions(with_nitrous: bool, system: UnitSystem) -> Vec<String> {
    let mut cautions = [
        "These are calculations about parts as printed and a model of an engine. They do not show that a real car is safe.",
        "Fuel under pressure sprays, and petrol vapour burns: release the pressure and take the battery's earth off before \
         opening a line, work cold and in the open, keep a fire extinguisher at hand, and look for leaks under pressure before starting.",
        "Lines, hoses, clamps and fuses must be rated for the pressure, fuel and current. Follow the makers' instructions and local \
         rules; have licensed people do what requires it, such as welding on exhausts and anything at a fuel tank.",
        "A car that is raised must stand on stands. Exhausts stay hot for a long time. Fans may start by themselves.",
        "A lean mixture at high load destroys engines: watch lambda at the first full throttle and lift at once when it is lean.",
    ]
    .map(str::to_owned)
    .to_vec();
    if with_nitrous {
        let pressure = system.pick("6 MPa", "900 psi");
        cautions.push(format!(
            "Nitrous oxide is a gas under some {pressure} that freezes skin and feeds fire. Secure the bottle, never heat it with a \
             flame, lead its relief outside, never breathe it, and follow its maker's instructions and local rules.",
        ));
    }
    cautions
}

#[cfg(test)]
mod tests;
