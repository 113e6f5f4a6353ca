//! Intermediate values of the last step, for recorders and tests. Written only: no stage reads them.

use trimwright_numerics::Weights;

use crate::air_charge::AirCharge;
use crate::carried::Injected;
use crate::estimate::Estimate;
use crate::film::FILM;
use crate::open_time::OpenTime;
use crate::phase::Phase;
use crate::refusal::Refusal;

/// Intermediate values of the last step; those of the fuel path are from the last firing.
#[derive(Clone, Copy, Debug, PartialEq)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
#[non_exhaustive]
pub struct Insight {
    /// Phase of the engine.
    pub phase: Phase,
    /// Crank speed, rad/s.
    pub speed_rad_per_s: f32,
    /// Estimated manifold pressure, Pa.
    pub map_pa: f32,
    /// Estimated charge temperature, K.
    pub charge_k: f32,
    /// Estimated air charge of one cylinder, kg.
    pub air_kg: f32,
    /// Estimated air flow of the engine, kg/s.
    pub air_flow_kg_per_s: f32,
    /// Wanted lambda, with all enrichments.
    pub wanted_lambda: f32,
    /// Cells of the map at this operating point and their shares.
    pub weights: Weights<f32>,
    /// Long-term trim applied, ln.
    pub learned_ln: f32,
    /// Short-term trim applied, ln.
    pub trim_ln: f32,
    /// Dither applied, ln.
    pub dither_ln: f32,
    /// Sensitivity of the fuel of the last 20 ms to the film's share and time constant, relative change by ln.
    pub film: [f32; FILM],
    /// Effect of the learned film properties on the fuel, ln.
    pub film_ln: f32,
    /// Fuel wanted in the cylinder, kg.
    pub wanted_fuel_kg: f32,
    /// Fuel injected for it, kg.
    pub injected_fuel_kg: f32,
    /// Estimated mass of the wall film, kg.
    pub film_kg: f32,
    /// Open time, s.
    pub open_time_s: f32,
    /// Number of injectors that opened.
    pub injectors: u8,
    /// Share of time the injectors are open.
    pub duty: f32,
    /// The injectors are at their duty limit.
    pub duty_limited: bool,
    /// Lambda measured.
    pub measured_lambda: f32,
    /// Lambda wanted for the gas now at the sensor.
    pub expected_lambda: f32,
    /// Estimated time from injection to reading, s.
    pub delay_s: f32,
    /// Total correction that the gas now at the sensor required, ln of fuel.
    pub required_ln: f32,
    /// Why the last 20 ms sample was rejected; `None` when it became a lesson.
    pub refusal: Option<Refusal>,
}

impl Default for Insight {
    fn default() -> Self {
        Self {
            phase: Phase::Stopped,
            speed_rad_per_s: 0.0,
            map_pa: 0.0,
            charge_k: 0.0,
            air_kg: 0.0,
            air_flow_kg_per_s: 0.0,
            wanted_lambda: 1.0,
            weights: Weights { cells: [0; 4], shares: [0.0; 4] },
            learned_ln: 0.0,
            trim_ln: 0.0,
            dither_ln: 0.0,
            film: [0.0; FILM],
            film_ln: 0.0,
            wanted_fuel_kg: 0.0,
            injected_fuel_kg: 0.0,
            film_kg: 0.0,
            open_time_s: 0.0,
            injectors: 0,
            duty: 0.0,
            duty_limited: false,
            measured_lambda: 1.0,
            expected_lambda: 1.0,
            delay_s: 0.0,
            required_ln: 0.0,
            refusal: Some(Refusal::Starting),
        }
    }
}

/// Written by the step.
impl Insight {
    pub(crate) fn show_injected(
        &mut self,
        injected: &Injected,
        air: &AirCharge,
        inject_kg: f32,
        film_kg: f32,
    ) {
        (self.charge_k, self.air_kg) = (air.charge_k, air.air_kg);
        (self.weights, self.wanted_lambda) = (injected.weights, injected.wanted_lambda);
        self.air_flow_kg_per_s = injected.air_flow_kg_per_s;
        (self.learned_ln, self.trim_ln) = (injected.learned_ln, injected.trim_ln);
        (self.dither_ln, self.wanted_fuel_kg) = (injected.dither_ln, injected.wanted_fuel_kg);
        (self.injected_fuel_kg, self.film_kg) = (inject_kg, film_kg);
    }

    pub(crate) fn show_film(&mut self, film: [f32; FILM], film_ln: f32) {
        (self.film, self.film_ln) = (film, film_ln);
    }

    pub(crate) fn show_feedback(&mut self, required_ln: f32, refusal: Option<Refusal>) {
        (self.required_ln, self.refusal) = (required_ln, refusal);
    }

    pub(crate) fn show_task(&mut self, phase: Phase, speed: f32, estimate: &Estimate, open_time: &OpenTime) {
        (self.phase, self.speed_rad_per_s) = (phase, speed);
        (self.map_pa, self.measured_lambda) = (estimate.map_pa, estimate.lambda);
        (self.open_time_s, self.injectors) = (open_time.open_time_s(), open_time.injectors());
        (self.duty, self.duty_limited) = (open_time.duty(), open_time.limited());
    }
}
