//! Composition of the exhaust by atom balance.

use crate::fuel::Fuel;
use trimwright_numerics::Real;

/// Equilibrium constant of the water-gas reaction at which a rich mixture's composition freezes, `CO H2O / (CO2 H2)`: as in the
/// heat-release table of [`crate::heat_released`].
const WATER_GAS: f64 = 3.5;
/// Molar masses, kg/mol (IUPAC 2021, abridged).
const C_KG: f64 = 12.011e-3;
const H_KG: f64 = 1.008e-3;
const O_KG: f64 = 15.999e-3;
/// Atoms per carbon of the plant's petrol, CH1.87, and of ethanol.
const PETROL_H_C: f64 = 1.87;
const ETHANOL_H_C: f64 = 3.0;
const ETHANOL_O_C: f64 = 0.5;

/// Atoms of a fuel for one of carbon.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Molecule {
    /// Hydrogen atoms per carbon atom.
    pub hydrogen: f64,
    /// Oxygen atoms per carbon atom.
    pub oxygen: f64,
}

impl Molecule {
    /// Mean molecule of a fuel: petrol CH1.87 with ethanol.
    ///
    /// ```
    /// use trimwright_plant::{Molecule, Truth};
    /// let petrol = Molecule::of(&Truth::mild_v8().fuel);
    /// assert_eq!((petrol.hydrogen, petrol.oxygen), (1.87, 0.0));
    /// assert!((petrol.carbon_share() - 0.8643).abs() < 1e-4);
    /// ```
    pub fn of(fuel: &Fuel) -> Self {
        let [petrol, ethanol] = [(PETROL_H_C, 0.0), (ETHANOL_H_C, ETHANOL_O_C)]
            .map(|(hydrogen, oxygen)| Self { hydrogen, oxygen });
        let by_mass = fuel.ethanol_by_mass();
        // Carbon of each component, and the means over the carbon atoms.
        let carbon = [(1.0 - by_mass) / petrol.kg_per_mol(), by_mass / ethanol.kg_per_mol()];
        let share = carbon[1] / (carbon[0] + carbon[1]);
        let mean = |petrol: f64, ethanol: f64| petrol + share * (ethanol - petrol);
        Self {
            hydrogen: mean(petrol.hydrogen, ethanol.hydrogen),
            oxygen: mean(petrol.oxygen, ethanol.oxygen),
        }
    }

    /// Mass per mole of carbon, kg/mol.
    pub fn kg_per_mol(&self) -> f64 {
        C_KG + H_KG * self.hydrogen + O_KG * self.oxygen
    }

    /// Mass fraction of carbon.
    pub fn carbon_share(&self) -> f64 {
        C_KG / self.kg_per_mol()
    }
}

/// Masses of exhaust gases, kg, without nitrogen and without the water vapour of the air.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
#[non_exhaustive]
pub struct ExhaustSpecies {
    /// Carbon dioxide.
    pub co2_kg: f64,
    /// Carbon monoxide.
    pub co_kg: f64,
    /// Hydrocarbons: fuel that did not burn.
    pub hc_kg: f64,
    /// Hydrogen.
    pub h2_kg: f64,
    /// Oxygen.
    pub o2_kg: f64,
    /// Water of combustion.
    pub h2o_kg: f64,
}

impl ExhaustSpecies {
    /// Carbon in these gases, kg, with hydrocarbons of the fuel's molecule.
    pub fn carbon_kg(&self, fuel: &Molecule) -> f64 {
        C_KG * (self.co2_kg / (C_KG + 2.0 * O_KG) + self.co_kg / (C_KG + O_KG))
            + fuel.carbon_share() * self.hc_kg
    }

    /// Adds the gases of another charge.
    #[inline]
    pub(crate) fn add(&mut self, other: &Self) {
        self.co2_kg += other.co2_kg;
        self.co_kg += other.co_kg;
        self.hc_kg += other.hc_kg;
        self.h2_kg += other.h2_kg;
        self.o2_kg += other.o2_kg;
        self.h2o_kg += other.h2o_kg;
    }
}

/// Exhaust of `fuel_kg` that burn at `lambda` and `unburned_kg` of the same mixture that do not: all carbon to CO2 and all hydrogen to
/// water with enough oxygen, else by the water-gas equilibrium `CO H2O = 3.5 CO2 H2`; the fuel that did not burn leaves as hydrocarbons
/// with its oxygen. Below a lambda of about 0.5, where soot would form, oxygen is taken as enough for CO.
///
/// ```
/// use trimwright_plant::{Molecule, Truth, exhaust_species};
/// let petrol = Molecule::of(&Truth::mild_v8().fuel);
/// let gas = exhaust_species(&petrol, 0.9, 1.0, 0.02);
/// assert!((gas.carbon_kg(&petrol) / (1.02 * petrol.carbon_share()) - 1.0).abs() < 1e-12);
/// assert!(gas.co_kg > 0.3 && gas.hc_kg == 0.02);
/// ```
pub fn exhaust_species(fuel: &Molecule, lambda: f64, fuel_kg: f64, unburned_kg: f64) -> ExhaustSpecies {
    // Oxygen atoms for one of carbon: of the air, and all.
    let needed = 2.0 + 0.5 * fuel.hydrogen - fuel.oxygen;
    let of_air = lambda.held(0.0, 1e3) * needed;
    let burning = (of_air + fuel.oxygen).at_least(1.0);
    let lacking = 2.0 + 0.5 * fuel.hydrogen - burning;
    let (co, h2, o2);
    if lacking > 0.0 {
        // co (burning - 2 + co) = 3.5 (1 - co) (lacking - co).
        let linear = WATER_GAS * (1.0 + lacking) + burning - 2.0;
        let root = linear * linear - 4.0 * (WATER_GAS - 1.0) * WATER_GAS * lacking;
        co = (linear - Real::sqrt(root.at_least(0.0))) / (2.0 * (WATER_GAS - 1.0));
        (h2, o2) = (lacking - co, 0.0);
    } else {
        (co, h2, o2) = (0.0, 0.0, -0.5 * lacking);
    }
    let per_kg = 1.0 / fuel.kg_per_mol();
    let burned_mol = fuel_kg * per_kg;
    let o2_mol = burned_mol * o2 + unburned_kg * per_kg * 0.5 * of_air;
    ExhaustSpecies {
        co2_kg: burned_mol * (1.0 - co) * (C_KG + 2.0 * O_KG),
        co_kg: burned_mol * co * (C_KG + O_KG),
        hc_kg: unburned_kg,
        h2_kg: burned_mol * h2 * 2.0 * H_KG,
        o2_kg: o2_mol * 2.0 * O_KG,
        h2o_kg: burned_mol * (0.5 * fuel.hydrogen - h2) * (2.0 * H_KG + O_KG),
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn ident_atoms_balance_from_rich_to_lean_for_petrol_and_blends() {
        for ethanol_share in [0.0, 0.1, 0.85] {
            let fuel = Molecule::of(&Fuel { ethanol_share, ..crate::Truth::mild_v8().fuel });
            for lambda in [0.6, 0.8, 0.95, 1.0, 1.1, 1.5, 20.0] {
                let gas = exhaust_species(&fuel, lambda, 2.0, 0.1);
                assert!((gas.carbon_kg(&fuel) / (2.1 * fuel.carbon_share()) - 1.0).abs() < 1e-12);
                // Fuel and the oxygen that its air brought leave as these gases.
                let needed = 2.0 + 0.5 * fuel.hydrogen - fuel.oxygen;
                let oxygen_kg = 2.1 / fuel.kg_per_mol() * lambda * needed * O_KG;
                let sum = gas.co2_kg + gas.co_kg + gas.hc_kg + gas.h2_kg + gas.o2_kg + gas.h2o_kg;
                assert!((sum / (2.1 + oxygen_kg) - 1.0).abs() < 1e-12, "{ethanol_share} {lambda}");
                assert!(gas.h2_kg >= 0.0 && gas.co_kg >= 0.0 && gas.o2_kg >= 0.0);
            }
        }
    }
}
