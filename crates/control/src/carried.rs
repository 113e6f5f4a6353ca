//! Values that one step hands to the next, beside the memory of the stages.

use trimwright_numerics::Weights;

use crate::film::FILM;

/// Results of the fuel path at the last firing.
#[derive(Clone, Copy, Debug, PartialEq)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub(crate) struct Injected {
    /// Cells of the map and their shares.
    pub(crate) weights: Weights<f32>,
    /// Wanted lambda, with all enrichments.
    pub(crate) wanted_lambda: f32,
    /// Air flow of the engine, kg/s.
    pub(crate) air_flow_kg_per_s: f32,
    /// Corrections applied, ln: learned, short-term trim, dither.
    pub(crate) learned_ln: f32,
    pub(crate) trim_ln: f32,
    pub(crate) dither_ln: f32,
    /// Fuel wanted in the cylinder, kg.
    pub(crate) wanted_fuel_kg: f32,
}

impl Injected {
    /// Correction applied at the firing without the learned film properties, ln of fuel.
    pub(crate) fn applied_ln(&self) -> f32 {
        self.learned_ln + self.trim_ln + self.dither_ln
    }
}

/// Values that later steps need from earlier ones, beside the memory of the stages.
#[derive(Clone, Copy, Debug, PartialEq)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub(crate) struct Carried {
    /// The last firing.
    pub(crate) injected: Injected,
    /// Sensitivity of the fuel of the last 20 ms to the film's properties, relative change by ln.
    pub(crate) film: [f32; FILM],
    /// Lambda wanted for the gas that was at the sensor in the last 10 ms task.
    pub(crate) expected_lambda: f32,
}

impl Default for Carried {
    fn default() -> Self {
        let injected = Injected {
            weights: Weights { cells: [0; 4], shares: [0.0; 4] },
            wanted_lambda: 1.0,
            air_flow_kg_per_s: 0.0,
            learned_ln: 0.0,
            trim_ln: 0.0,
            dither_ln: 0.0,
            wanted_fuel_kg: 0.0,
        };
        Self { injected, film: [0.0; FILM], expected_lambda: 1.0 }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn ident_what_was_applied_is_the_sum_of_its_parts() {
        let nothing = Carried::default().injected;
        let injected = Injected { learned_ln: 0.125, trim_ln: -0.5, dither_ln: 0.0625, ..nothing };
        assert_eq!(injected.applied_ln(), -0.3125);
    }
}
