//! Nitrous oxide system: bottle pressure, jet flow, cooling of the bottle.

use trimwright_numerics::Real;

/// Critical temperature, pressure and density of nitrous oxide. CoolProp 8.0.0.
const CRITICAL_K: f64 = 309.5207;
const CRITICAL_PA: f64 = 7.2448e6;
const CRITICAL_KG_PER_M3: f64 = 452.93;
/// Range of the saturation formulas, K: up to 0.3 K below the critical temperature.
const SATURATION_K: (f64, f64) = (200.0, 309.2);
/// `ln(p / p_c) T / T_c` in powers 1, 3/2, 5/2 and 5 of `1 - T / T_c`. This and the next three have the form of ESDU 91022, thermophysical
/// properties of nitrous oxide; coefficients fitted to CoolProp 8.0.0 from 200 to 309.2 K, largest error 0.05 %.
const PRESSURE: [f64; 4] = [-6.8283, 1.7278, -2.1577, -0.995_93];
/// `ln(rho / rho_c)` of the liquid in powers 1/3 to 4/3 of `1 - T / T_c`; largest error 0.5 % of CoolProp 8.0.0.
const LIQUID: [f64; 4] = [1.7238, -0.843_16, 0.418_59, 0.068_269];
/// `ln(rho / rho_c)` of the vapour in powers 1/3 to 5/3 of `T_c / T - 1`; largest error 0.5 % of CoolProp 8.0.0.
const VAPOUR: [f64; 5] = [-1.592, -3.3303, 2.7716, -5.7606, 0.961_41];
/// Heat of evaporation, kJ/kg, in powers 1/3 to 5/3 of `1 - T / T_c`; largest error 0.9 % of CoolProp 8.0.0, at the upper end.
const EVAPORATION_KJ_PER_KG: [f64; 5] = [319.75, 840.26, -2493.1, 4111.9, -2477.9];
/// Gas constant of nitrous oxide, J/(kg K): 8314.46 / 44.013 (CODATA 2018; IUPAC 2021, abridged).
pub(crate) const R_NITROUS: f64 = 188.91;
/// Heat of evaporation of nitrous oxide in the manifold, J/kg: of a jet flashed to about -20 degC (CoolProp 8.0.0).
pub(crate) const JET_EVAPORATION_J_PER_KG: f64 = 276.5e3;

/// Sum of the coefficients times `x^(1/3)`, `x^(2/3)`, `x` ...
fn in_third_powers<const N: usize>(coefficients: [f64; N], x: f64) -> f64 {
    let root = Real::powf(x, 1.0 / 3.0);
    coefficients.into_iter().rev().fold(0.0, |sum, coefficient| (sum + coefficient) * root)
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

/// Saturation pressure of nitrous oxide, Pa, from 200 to 309.2 K, the end values outside. Within 0.05 % of CoolProp 8.0.0.
///
/// ```
/// // CoolProp 8.0.0 at 22.5 degC.
/// assert!((trimwright_plant::nitrous_saturation_pa(295.65) / 5.3455e6 - 1.0).abs() < 1e-3);
/// ```
pub fn nitrous_saturation_pa(temperature_k: f64) -> f64 {
    let ratio = temperature_k.held(SATURATION_K.0, SATURATION_K.1) / CRITICAL_K;
    let x = 1.0 - ratio;
    let [first, second, third, fourth] = PRESSURE;
    let root = Real::sqrt(x);
    let sum = x * (first + root * (second + x * (third + fourth * x * x * root)));
    CRITICAL_PA * Real::exp(sum / ratio)
}

/// Density of saturated liquid nitrous oxide, kg/m^3, from 200 to 309.2 K, the end values outside. Within 0.5 % of CoolProp 8.0.0.
pub fn nitrous_liquid_kg_per_m3(temperature_k: f64) -> f64 {
    let ratio = temperature_k.held(SATURATION_K.0, SATURATION_K.1) / CRITICAL_K;
    CRITICAL_KG_PER_M3 * Real::exp(in_third_powers(LIQUID, 1.0 - ratio))
}

/// Density of saturated nitrous oxide vapour, kg/m^3, from 200 to 309.2 K, the end values outside. Within 0.5 % of CoolProp 8.0.0.
pub fn nitrous_vapour_kg_per_m3(temperature_k: f64) -> f64 {
    let ratio = temperature_k.held(SATURATION_K.0, SATURATION_K.1) / CRITICAL_K;
    CRITICAL_KG_PER_M3 * Real::exp(in_third_powers(VAPOUR, 1.0 / ratio - 1.0))
}

/// Heat of evaporation of nitrous oxide, J/kg, from 200 to 309.2 K, the end values outside. Within 0.9 % of CoolProp 8.0.0.
pub fn nitrous_evaporation_j_per_kg(temperature_k: f64) -> f64 {
    let ratio = temperature_k.held(SATURATION_K.0, SATURATION_K.1) / CRITICAL_K;
    1e3 * in_third_powers(EVAPORATION_KJ_PER_KG, 1.0 - ratio)
}

/// Content and temperature of the bottle, and flow.
#[derive(Clone, Copy, Debug, PartialEq)]
#[non_exhaustive]
pub struct NitrousState {
    /// Content of the bottle, kg.
    pub bottle_kg: f64,
    /// Temperature of the bottle, K.
    pub bottle_k: f64,
    /// Flow through the jet, kg/s.
    pub flow_kg_per_s: f64,
}

impl NitrousState {
    /// The bottle as it is at the start.
    pub const fn new(nitrous: &Nitrous) -> Self {
        Self { bottle_kg: nitrous.bottle_kg, bottle_k: nitrous.bottle_k, flow_kg_per_s: 0.0 }
    }

    /// 10 ms task: jet flow `A sqrt(2 rho dp)`, and cooling of the bottle by the vapour that replaces the liquid.
    ///
    /// ```
    /// use trimwright_plant::{Nitrous, NitrousState, Truth};
    /// let nitrous = Nitrous { bottle_kg: 4.5, jet_m2: 3.3e-7, ..Truth::mild_v8().nitrous };
    /// let mut state = NitrousState::new(&nitrous);
    /// state.step(&nitrous, true, 95e3, 0.01);
    /// assert!(state.flow_kg_per_s > 0.025 && state.bottle_kg < 4.5);
    /// ```
    pub fn step(&mut self, nitrous: &Nitrous, open: bool, manifold_pa: f64, dt_s: f64) {
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
        let evaporated_kg = drawn_kg * nitrous_vapour_kg_per_m3(self.bottle_k) / density;
        // Liquid nitrous oxide holds about 2.5 kJ/(kg K) (engineering judgement).
        let heat = nitrous_evaporation_j_per_kg(self.bottle_k);
        let capacity = nitrous.bottle_j_per_k + 2500.0 * self.bottle_kg;
        self.bottle_k = (self.bottle_k - evaporated_kg * heat / capacity).held(200.0, 330.0);
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn val_gas_constant_and_heat_of_the_jet() {
        // Molar volume of an ideal gas at 0 degC and 101 325 Pa, 22.41397 L/mol (CODATA 2018); molar masses of IUPAC 2021.
        let kg_per_mol = (2.0 * 14.007 + 15.999) * 1e-3;
        let gas_constant = 101_325.0 * 22.413_97e-3 / (273.15 * kg_per_mol);
        assert!((R_NITROUS / gas_constant - 1.0).abs() < 1e-4, "{gas_constant}");
        // CoolProp 8.0.0 at -20 degC: shared/reference/nitrous_saturation.csv.
        assert!((JET_EVAPORATION_J_PER_KG / 276_527.0 - 1.0).abs() < 1e-3);
    }

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
