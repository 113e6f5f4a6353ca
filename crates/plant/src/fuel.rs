//! What the tank holds: petrol with a share of ethanol.

use crate::check::{OutOfRange, within};

/// Petrol CH1.87: mass of dry air (ISO 2533 composition) per mass of fuel at stoichiometric, by atom balance.
const PETROL_AFR: f64 = 14.6022;
/// Ethanol, likewise.
const ETHANOL_AFR: f64 = 9.0041;
/// Density of petrol CH1.87 at 15 degC, kg/m^3 (middle of the usual band, common practice, no source).
const PETROL_KG_PER_M3: f64 = 745.0;
/// Density of ethanol at 15 degC, kg/m^3. CoolProp 8.0.0.
const ETHANOL_KG_PER_M3: f64 = 793.9;
/// Lower heating value of petrol, J/kg (the value that heat-release tables are made with).
const PETROL_J_PER_KG: f64 = 43.0e6;
/// Lower heating value of liquid ethanol, J/kg. Atom balance and CoolProp 8.0.0.
const ETHANOL_J_PER_KG: f64 = 26.81e6;

/// The fuel in the tank.
#[derive(Clone, Debug, PartialEq)]
pub struct Fuel {
    /// Share of ethanol by volume, 0 to 0.85.
    pub ethanol_share: f64,
    /// Octane number for the knock index, 80 to 110.
    pub octane: f64,
    /// Vapour pressure at 37.8 degC, Pa, 30 kPa to 110 kPa: hot fuel above it starves the pump.
    pub vapour_pressure_pa: f64,
}

impl Fuel {
    /// Share of ethanol by mass.
    pub fn ethanol_by_mass(&self) -> f64 {
        let ethanol = self.ethanol_share * ETHANOL_KG_PER_M3;
        ethanol / (ethanol + (1.0 - self.ethanol_share) * PETROL_KG_PER_M3)
    }

    /// Mass of dry air per mass of fuel at stoichiometric. Exact by mass: air demands add up.
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

    pub(crate) fn check(&self) -> Result<(), OutOfRange> {
        within("fuel.ethanol_share", self.ethanol_share, 0.0, 0.85)?;
        within("fuel.octane", self.octane, 80.0, 110.0)?;
        within("fuel.vapour_pressure_pa", self.vapour_pressure_pa, 30e3, 110e3)
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
