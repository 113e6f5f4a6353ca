//! Nitrous oxide system: bottle pressure, jet flow, cooling of the bottle.

use trimwright_numerics::{Curve, Real};

/// Saturated nitrous oxide, CoolProp 8.0.0, end values outside: temperature, K; pressure, Pa; density of the liquid, kg/m^3; density of
/// the vapour over that of the liquid; heat of evaporation, J/kg.
const SATURATION_K: [f64; 8] = [253.15, 263.15, 273.15, 283.15, 288.15, 293.15, 298.15, 303.15];
const SATURATION_PA: [f64; 8] = [1.797e6, 2.393e6, 3.122e6, 4.001e6, 4.504e6, 5.052_5e6, 5.652e6, 6.308e6];
const LIQUID_KG_PER_M3: [f64; 8] = [998.1, 954.9, 907.1, 852.2, 820.7, 785.1, 742.9, 688.1];
const VAPOUR_SHARE: [f64; 8] = [0.0468, 0.0663, 0.0939, 0.1348, 0.1635, 0.2012, 0.2541, 0.3382];
const EVAPORATION_J_PER_KG: [f64; 8] =
    [276.5e3, 256.1e3, 232.7e3, 204.9e3, 188.6e3, 169.9e3, 147.6e3, 118.4e3];
/// Gas constant of nitrous oxide, J/(kg K): 8314.46 / 44.013.
pub(crate) const R_NITROUS: f64 = 188.91;
/// Heat of evaporation of nitrous oxide in the manifold, J/kg: of a jet flashed to about -20 degC.
pub(crate) const JET_EVAPORATION_J_PER_KG: f64 = 276.5e3;

fn saturated(values: [f64; 8], temperature_k: f64) -> f64 {
    Curve::new(SATURATION_K, values).map_or(0.0, |curve| curve.at(temperature_k))
}

trimwright_numerics::parameters! {
    /// Bottle with a jet into the manifold. An engine without one has `bottle_kg` 0.
    pub struct Nitrous<f64> "nitrous" {
        /// Content of the bottle at the start; 0 for an engine without one.
        number bottle_kg { 0.0, 0.0..=20.0 "kg", "engineering judgement" }
        /// Temperature of the bottle at the start.
        number bottle_k { 295.0, 250.0..=320.0 "K", "engineering judgement" }
        /// Heat capacity of the empty bottle.
        number bottle_j_per_k { 5e3, 500.0..=20e3 "J/K", "engineering judgement" }
        /// Effective area of the jet.
        number jet_m2 { 0.0, 0.0..=1e-5 "m2", "engineering judgement" }
        /// Fuel from the system's own jet over nitrous oxide, by mass; 0 when the injectors deliver it.
        number fuel_jet_ratio { 0.0, 0.0..=0.3 "1", "engineering judgement" }
        /// Fraction of the nitrous oxide's heat of evaporation taken from the air in the manifold; the rest comes from walls and inside the
        /// cylinder.
        number air_heat_share { 0.3, 0.0..=1.0 "1", "engineering judgement" }
    }
}

/// Saturation pressure of nitrous oxide, Pa, 253 to 303 K (to 309 K with the last slope). CoolProp 8.0.0.
pub fn nitrous_saturation_pa(temperature_k: f64) -> f64 {
    let beyond_k = (temperature_k - SATURATION_K[7]).held(0.0, 6.0);
    saturated(SATURATION_PA, temperature_k) + 0.144e6 * beyond_k
}

/// Density of saturated liquid nitrous oxide, kg/m^3, 253 to 303 K. CoolProp 8.0.0.
pub fn nitrous_liquid_kg_per_m3(temperature_k: f64) -> f64 {
    saturated(LIQUID_KG_PER_M3, temperature_k)
}

/// Content and temperature of the bottle, and flow.
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

    /// 10 ms task: jet flow `A sqrt(2 rho dp)`, and cooling of the bottle by the vapour that replaces the liquid.
    pub(crate) fn step(&mut self, nitrous: &Nitrous, open: bool, manifold_pa: f64, dt_s: f64) {
        self.flow_kg_per_s = 0.0;
        if !open || self.bottle_kg <= 0.0 {
            return;
        }
        let drop_pa = nitrous_saturation_pa(self.bottle_k) - manifold_pa;
        let density = nitrous_liquid_kg_per_m3(self.bottle_k);
        let flow = nitrous.jet_m2 * Real::sqrt((2.0 * density * drop_pa).held(0.0, 1e12));
        self.flow_kg_per_s = flow.held(0.0, self.bottle_kg / dt_s);
        let drawn_kg = self.flow_kg_per_s * dt_s;
        self.bottle_kg -= drawn_kg;
        // Vapour fills the volume that the liquid left.
        let evaporated_kg = drawn_kg * saturated(VAPOUR_SHARE, self.bottle_k);
        // Liquid nitrous oxide holds about 2.5 kJ/(kg K) (engineering judgement).
        let heat = saturated(EVAPORATION_J_PER_KG, self.bottle_k);
        let capacity = nitrous.bottle_j_per_k + 2500.0 * self.bottle_kg;
        self.bottle_k = (self.bottle_k - evaporated_kg * heat / capacity).held(200.0, 330.0);
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn ident_the_bottle_empties_by_what_flows_and_cools() {
        let none = crate::Truth::mild_v8().nitrous;
        let nitrous = Nitrous { bottle_kg: 4.5, bottle_k: 300.0, jet_m2: 8e-7, ..none };
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
