//! Nitrous oxide from a bottle: pressure, jet, cooling of the bottle.

use crate::check::{OutOfRange, within};
use trimwright_numerics::{Curve, Real};

/// Saturation pressure of nitrous oxide, Pa, over temperature, K; above the critical point (309.5 K) held. Values from memory of printed property tables,
/// the one at 293.15 K by CoolProp 8.0.0.
const SATURATION_K: [f64; 6] = [253.15, 263.15, 273.15, 283.15, 293.15, 308.15];
const SATURATION_PA: [f64; 6] = [18.0e5, 24.0e5, 31.3e5, 40.1e5, 50.525e5, 70.3e5];
/// Liquid density near room temperature, kg/m^3 (engineering judgement; it falls towards the critical point).
const LIQUID_KG_PER_M3: f64 = 780.0;
/// Heat of evaporation near room temperature, J/kg (engineering judgement).
const EVAPORATION_J_PER_KG: f64 = 180e3;

/// A bottle with a jet into the manifold. An engine without one has `bottle_kg` 0.
#[derive(Clone, Debug, PartialEq)]
pub struct Nitrous {
    /// Content at the start, kg, 0 to 20.
    pub bottle_kg: f64,
    /// Temperature of the bottle at the start, K, 250 to 320.
    pub bottle_k: f64,
    /// Heat capacity of the empty bottle, J/K, 500 to 20000.
    pub bottle_j_per_k: f64,
    /// Effective area of the jet, m^2, 0 to 1e-5.
    pub jet_m2: f64,
    /// Fuel from its own jet per nitrous oxide by mass, 0 (the injectors give it) to 0.3.
    pub fuel_jet_ratio: f64,
}

impl Nitrous {
    pub(crate) fn check(&self) -> Result<(), OutOfRange> {
        within("nitrous.bottle_kg", self.bottle_kg, 0.0, 20.0)?;
        within("nitrous.bottle_k", self.bottle_k, 250.0, 320.0)?;
        within("nitrous.bottle_j_per_k", self.bottle_j_per_k, 500.0, 20e3)?;
        within("nitrous.jet_m2", self.jet_m2, 0.0, 1e-5)?;
        within("nitrous.fuel_jet_ratio", self.fuel_jet_ratio, 0.0, 0.3)
    }
}

/// Saturation pressure of nitrous oxide, Pa, 253 to 308 K.
///
/// ```
/// assert!((trimwright_plant::nitrous_saturation_pa(293.15) - 50.525e5).abs() < 1.0);
/// ```
pub fn nitrous_saturation_pa(temperature_k: f64) -> f64 {
    Curve::new(SATURATION_K, SATURATION_PA).map_or(0.0, |curve| curve.at(temperature_k))
}

/// What is left in the bottle and what flows.
#[derive(Clone, Debug, PartialEq)]
pub(crate) struct NitrousState {
    pub(crate) bottle_kg: f64,
    bottle_k: f64,
    pub(crate) flow_kg_per_s: f64,
}

impl NitrousState {
    pub(crate) fn new(nitrous: &Nitrous) -> Self {
        Self { bottle_kg: nitrous.bottle_kg, bottle_k: nitrous.bottle_k, flow_kg_per_s: 0.0 }
    }

    /// Flow through the jet, `A sqrt(2 rho dp)`, and the bottle cooled by what evaporates to fill its place; every 10 ms.
    pub(crate) fn step(&mut self, nitrous: &Nitrous, open: bool, manifold_pa: f64, dt_s: f64) {
        self.flow_kg_per_s = 0.0;
        if !open || self.bottle_kg <= 0.0 {
            return;
        }
        let drop_pa = nitrous_saturation_pa(self.bottle_k) - manifold_pa;
        let flow = nitrous.jet_m2 * Real::sqrt((2.0 * LIQUID_KG_PER_M3 * drop_pa).held(0.0, 1e12));
        self.flow_kg_per_s = flow.held(0.0, self.bottle_kg / dt_s);
        let drawn_kg = self.flow_kg_per_s * dt_s;
        self.bottle_kg -= drawn_kg;
        // Vapour fills the volume that the liquid left: about a fifth of its mass near room temperature.
        let evaporated_kg = 0.2 * drawn_kg;
        // Liquid nitrous oxide holds about 2.5 kJ/(kg K) (engineering judgement).
        let capacity = nitrous.bottle_j_per_k + 2500.0 * self.bottle_kg;
        self.bottle_k = (self.bottle_k - evaporated_kg * EVAPORATION_J_PER_KG / capacity).held(200.0, 330.0);
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn ident_the_bottle_empties_by_what_flows_and_cools() {
        let nitrous = Nitrous {
            bottle_kg: 4.5,
            bottle_k: 300.0,
            bottle_j_per_k: 5e3,
            jet_m2: 8e-7,
            fuel_jet_ratio: 0.0,
        };
        let mut state = NitrousState::new(&nitrous);
        let (mut drawn_kg, mut first) = (0.0, 0.0);
        for step in 0..6000 {
            state.step(&nitrous, true, 95e3, 0.01);
            drawn_kg += 0.01 * state.flow_kg_per_s;
            if step == 0 {
                first = state.flow_kg_per_s;
            }
        }
        assert!((4.5 - drawn_kg - state.bottle_kg).abs() < 1e-9);
        assert!(state.bottle_k < 300.0 && first > 0.05 && first < 0.1, "{first}");
        state.step(&nitrous, false, 95e3, 0.01);
        assert_eq!(state.flow_kg_per_s, 0.0);
    }
}
