//! Fuel: petrol with ethanol.

/// Petrol CH1.87: mass of dry air (ISO 2533 composition) per mass of fuel at stoichiometric, by atom balance.
const PETROL_AFR: f64 = 14.6022;
/// Ethanol, likewise.
const ETHANOL_AFR: f64 = 9.0041;
/// Density of petrol CH1.87 at 15 degC, kg/m^3 (middle of the usual band, common practice, no source).
const PETROL_KG_PER_M3: f64 = 745.0;
/// Density of ethanol at 15 degC, kg/m^3. CoolProp 8.0.0.
const ETHANOL_KG_PER_M3: f64 = 793.9;
/// Lower heating value of petrol, J/kg (as in the heat-release table of [`crate::heat_released`]).
const PETROL_J_PER_KG: f64 = 43.0e6;
/// Lower heating value of liquid ethanol, J/kg. Atom balance and CoolProp 8.0.0.
const ETHANOL_J_PER_KG: f64 = 26.81e6;

trimwright_numerics::parameters! {
    /// The fuel in the tank.
    pub struct Fuel<f64> "fuel" {
        /// Volume fraction of ethanol.
        number ethanol_share { 0.0, 0.0..=0.85 "1", "engineering judgement" }
        /// Octane number, for the knock index.
        number octane { 91.0, 80.0..=110.0 "1", "common practice, no source" }
        /// Vapour pressure at 37.8 degC; fuel vapour at the pump's inlet reduces its delivery.
        number vapour_pressure_pa { 60e3, 30e3..=110e3 "Pa", "common practice, no source" }
    }
}

impl Fuel {
    /// Mass fraction of ethanol.
    pub fn ethanol_by_mass(&self) -> f64 {
        let ethanol = self.ethanol_share * ETHANOL_KG_PER_M3;
        ethanol / (ethanol + (1.0 - self.ethanol_share) * PETROL_KG_PER_M3)
    }

    /// Stoichiometric air-fuel ratio (dry air), kg/kg: mean of the components by mass.
    pub fn stoich_afr(&self) -> f64 {
        let ethanol = self.ethanol_by_mass();
        ethanol * ETHANOL_AFR + (1.0 - ethanol) * PETROL_AFR
    }

    /// Lower heating value, J/kg.
    pub fn heating_value_j_per_kg(&self) -> f64 {
        let ethanol = self.ethanol_by_mass();
        ethanol * ETHANOL_J_PER_KG + (1.0 - ethanol) * PETROL_J_PER_KG
    }

    /// Density at 15 degC, kg/m^3.
    pub fn density_kg_per_m3(&self) -> f64 {
        self.ethanol_share * ETHANOL_KG_PER_M3 + (1.0 - self.ethanol_share) * PETROL_KG_PER_M3
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn val_stoichiometric_ratio_of_blends() {
        // Atom balance with ISO 2533 air, densities of CoolProp 8.0.0: shared/reference/stoich_blends.csv.
        for (volume, afr) in [(0.0, 14.6022), (0.05, 14.3049), (0.10, 14.0095), (0.15, 13.7161)] {
            let fuel = Fuel { ethanol_share: volume, octane: 91.0, vapour_pressure_pa: 60e3 };
            assert!((fuel.stoich_afr() / afr - 1.0).abs() < 1e-4, "{volume}: {}", fuel.stoich_afr());
        }
    }
}
