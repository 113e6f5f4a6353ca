//! Fuel: petrol with ethanol, and how much of it evaporates.

use trimwright_numerics::Real;

/// Petrol CH1.87: mass of dry air (ISO 2533 composition) per mass of fuel at stoichiometric, by atom balance.
const PETROL_AFR: f64 = 14.6022;
/// Ethanol, by the same atom balance.
const ETHANOL_AFR: f64 = 9.0041;
/// Density of petrol CH1.87 at 15 degC, kg/m^3 (middle of the usual band, common practice, no source).
const PETROL_KG_PER_M3: f64 = 745.0;
/// Density of ethanol at 15 degC, kg/m^3. CoolProp 8.0.0.
const ETHANOL_KG_PER_M3: f64 = 793.9;
/// Lower heating value of petrol, J/kg (as in the heat-release table of [`crate::heat_released`]).
const PETROL_J_PER_KG: f64 = 43.0e6;
/// Lower heating value of liquid ethanol, J/kg. Atom balance and CoolProp 8.0.0.
const ETHANOL_J_PER_KG: f64 = 26.81e6;

/// Pressure of a distillation by ASTM D86, Pa: the standard atmosphere (ISO 2533).
pub(crate) const ATMOSPHERE_PA: f64 = 101_325.0;
/// Entropy of evaporation at the boiling point over the gas constant: Trouton's rule, which has 85 to 88 J/(mol K); here 88 (engineering
/// judgement).
const TROUTON: f64 = 10.6;
/// Growth of the heat of evaporation below the boiling point (engineering judgement: within a fifth of the vapour pressures of n-pentane to
/// n-nonane and toluene by CoolProp 8.0.0 from -25 degC on; without it, that of n-octane there is three times too high).
const COLDER_HOLDS: f64 = 0.28;
/// Molar mass of petrol, kg/mol (common practice, no source).
const PETROL_KG_PER_MOL: f64 = 0.100;
/// Molar mass of ethanol (IUPAC 2021, abridged) and of dry air (ISO 2533), kg/mol.
const ETHANOL_KG_PER_MOL: f64 = 0.046_07;
const AIR_KG_PER_MOL: f64 = 0.028_965;
/// Molar mass of petrol over that of air.
pub(crate) const PETROL_OVER_AIR: f64 = PETROL_KG_PER_MOL / AIR_KG_PER_MOL;
/// Boiling point of ethanol, K (CoolProp 8.0.0).
const ETHANOL_BOILS_K: f64 = 351.4;
/// Half the range over which a blend loses its ethanol, K (engineering judgement).
const ETHANOL_RANGE_K: f64 = 5.0;
/// Distance from T10 to the initial boiling point over that from T10 to T50, and likewise at the other end (common practice, no source).
const END_SHARE: f64 = 0.5;
/// Smallest evaporated fraction, and when and after how many steps the solution of the equilibrium is good enough.
const MIN_EVAPORATED: f64 = 0.005;
const EVAPORATED_TOLERANCE: f64 = 1e-4;
const EVAPORATED_STEPS: usize = 20;

trimwright_numerics::parameters! {
    /// The fuel in the tank; by default a petrol for summer. [`Fuel::WINTER`] is one for winter.
    pub struct Fuel<f64> "fuel" {
        /// Volume fraction of ethanol.
        number ethanol_share { 0.0, 0.0..=0.85 "1", "engineering judgement" }
        /// Octane number, for the knock index.
        number octane { 91.0, 80.0..=110.0 "1", "common practice, no source" }
        /// Vapour pressure at 37.8 degC; fuel vapour at the pump's inlet reduces its delivery.
        number vapour_pressure_pa { 60e3, 30e3..=110e3 "Pa", "common practice, no source" }
        /// Temperature at which 10 % of the petrol without ethanol has distilled (ASTM D86).
        number t10_k { 331.15, 308.15..=343.15 "K", "from memory: usual for summer; the limit is that of ASTM D4814" }
        /// Temperature at which 50 % of the petrol without ethanol has distilled (ASTM D86).
        number t50_k { 375.15, 345.15..=394.15 "K", "from memory: usual for summer; the limit is that of ASTM D4814" }
        /// Temperature at which 90 % of the petrol without ethanol has distilled (ASTM D86).
        number t90_k { 438.15, 400.0..=463.15 "K", "from memory: usual for summer; the limit is that of ASTM D4814" }
    }
}

impl Fuel {
    /// A winter petrol without ethanol: half as much again vapour pressure and a lighter front end (from memory: usual for winter; within
    /// the limits of the most volatile class of ASTM D4814: 103 kPa, T10 50 degC, T50 77 to 110 degC, T90 185 degC).
    pub const WINTER: Self =
        Self { vapour_pressure_pa: 90e3, t10_k: 318.15, t50_k: 366.15, t90_k: 435.15, ..Self::DEFAULT };

    /// Fraction of the fuel that has distilled at a temperature at atmospheric pressure (ASTM D86), 0 to 1, and its slope, 1/K. Petrol:
    /// linear between the end points, T10, T50 and T90. Ethanol adds its own fraction near its boiling point, which flattens the middle of
    /// the curve (common practice, no source); azeotropes with the light end are left out.
    fn distilled(&self, temperature_k: f64) -> (f64, f64) {
        let (low_k, high_k) = (self.t50_k - self.t10_k, self.t90_k - self.t50_k);
        let (petrol, petrol_slope) = if temperature_k < self.t10_k {
            let slope = 0.1 / (END_SHARE * low_k);
            (0.1 + slope * (temperature_k - self.t10_k), slope)
        } else if temperature_k < self.t50_k {
            (0.1 + 0.4 * (temperature_k - self.t10_k) / low_k, 0.4 / low_k)
        } else if temperature_k < self.t90_k {
            (0.5 + 0.4 * (temperature_k - self.t50_k) / high_k, 0.4 / high_k)
        } else {
            let slope = 0.1 / (END_SHARE * high_k);
            (0.9 + slope * (temperature_k - self.t90_k), slope)
        };
        let petrol = (petrol.held(0.0, 1.0), petrol_slope);
        if self.ethanol_share <= 0.0 {
            return petrol;
        }
        let share = self.ethanol_by_mass();
        let slope = 0.5 / ETHANOL_RANGE_K;
        let ethanol = 0.5 + slope * (temperature_k - ETHANOL_BOILS_K);
        let ethanol_slope = if (0.0..1.0).contains(&ethanol) { slope } else { 0.0 };
        (
            petrol.0 + share * (ethanol.held(0.0, 1.0) - petrol.0),
            petrol.1 + share * (ethanol_slope - petrol.1),
        )
    }

    /// Fraction of the fuel that has distilled at a temperature at atmospheric pressure (ASTM D86), 0 to 1.
    ///
    /// ```
    /// use trimwright_plant::Fuel;
    /// let fuel = Fuel::DEFAULT;
    /// for (temperature_k, share) in [(fuel.t10_k, 0.1), (fuel.t50_k, 0.5), (fuel.t90_k, 0.9)] {
    ///     assert!((fuel.distilled_share(temperature_k) - share).abs() < 1e-12);
    /// }
    /// ```
    pub fn distilled_share(&self, temperature_k: f64) -> f64 {
        self.distilled(temperature_k).0
    }

    /// Fraction of the fuel that is vapour in equilibrium with air, 0 to 1, at a temperature, a pressure and a mass of air per mass of
    /// fuel: equilibrium air distillation. The fraction `e` is that which distils at the temperature at which a substance with the
    /// vapour's partial pressure `y p` boils at atmospheric pressure, [`Fuel::vapour_pressure_of_cut_pa`]:
    /// `e = distilled(T_b)`, `p_v(T_b, T) = y p`, `y = (e / M_fuel) / (e / M_fuel + afr / M_air)`. Without air and at atmospheric pressure it
    /// is the distillation curve itself.
    ///
    /// ```
    /// use trimwright_plant::Fuel;
    /// // At -29 degC and 2 parts of air to one of fuel, the richest a cold engine is cranked with, about a seventh evaporates.
    /// let share = Fuel::DEFAULT.evaporated_share(244.0, 101_325.0, 2.0);
    /// assert!((0.08..0.2).contains(&share), "{share}");
    /// ```
    pub fn evaporated_share(&self, temperature_k: f64, pressure_pa: f64, air_fuel_ratio: f64) -> f64 {
        let ethanol = self.ethanol_by_mass();
        let mol_per_kg = ethanol / ETHANOL_KG_PER_MOL + (1.0 - ethanol) / PETROL_KG_PER_MOL;
        let air = air_fuel_ratio.held(0.0, 1e3) / (AIR_KG_PER_MOL * mol_per_kg);
        let pressure = pressure_pa.held(1e3, 1e7) / ATMOSPHERE_PA;
        // Share that has distilled where the vapour of this share boils, and its slope against the logarithm of pressure.
        let at = |share: f64| {
            let ln_drop = -Real::ln(share / (share + air) * pressure);
            let root = Real::sqrt((1.0 + 4.0 * COLDER_HOLDS / TROUTON * ln_drop).at_least(0.01));
            let (distilled, slope) =
                self.distilled(temperature_k * (1.0 + (root - 1.0) / (2.0 * COLDER_HOLDS)));
            (distilled, slope * temperature_k / (TROUTON * root))
        };
        if at(1.0).0 >= 1.0 {
            return 1.0;
        }
        // Newton's method within a bracket: more vapour needs a higher boiling point, so that the solution is unique.
        let (mut low, mut high, mut share) = (MIN_EVAPORATED, 1.0, 0.5);
        for _ in 0..EVAPORATED_STEPS {
            let (distilled, slope) = at(share);
            if distilled > share {
                low = share
            } else {
                high = share
            }
            let by_ln = slope * air / (share + air);
            let next = share + (distilled - share) / (1.0 + by_ln / share);
            let next = if next > low && next < high { next } else { 0.5 * (low + high) };
            let step = (next - share).abs();
            share = next;
            if step < EVAPORATED_TOLERANCE {
                break;
            }
        }
        share
    }

    /// Vapour pressure, Pa, of the part of the petrol that distils at `boils_k` at atmospheric pressure: `ln(p0 / p) = 10.6 s (1 + 0.28 s)`,
    /// `s = T_b / T - 1`: Clausius-Clapeyron and Trouton's rule, with a heat of evaporation that grows in the cold.
    ///
    /// ```
    /// // n-heptane boils at 98.4 degC; at 20 degC it has 4.7 kPa.
    /// let vapour_pa = trimwright_plant::Fuel::vapour_pressure_of_cut_pa(371.5, 293.15);
    /// assert!((vapour_pa / 4.73e3 - 1.0).abs() < 0.05, "{vapour_pa}");
    /// ```
    pub fn vapour_pressure_of_cut_pa(boils_k: f64, temperature_k: f64) -> f64 {
        let colder = boils_k / temperature_k.held(150.0, 600.0) - 1.0;
        ATMOSPHERE_PA * Real::exp(-TROUTON * colder * (1.0 + COLDER_HOLDS * colder))
    }

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
            let fuel = Fuel { ethanol_share: volume, ..Fuel::DEFAULT };
            assert!((fuel.stoich_afr() / afr - 1.0).abs() < 1e-4, "{volume}: {}", fuel.stoich_afr());
        }
    }

    #[test]
    fn val_molar_masses_and_the_boiling_point_of_ethanol() {
        // C2H6O with the molar masses of IUPAC 2021; dry air by its density in ISO 2533, 1.2250 kg/m3 at sea level, and the molar gas
        // constant of CODATA 2018.
        let ethanol_g = 2.0 * 12.011 + 6.0 * 1.008 + 15.999;
        assert!((1e3 * ETHANOL_KG_PER_MOL / ethanol_g - 1.0).abs() < 1e-4, "{ethanol_g}");
        let air_kg = 1.225 * 8.314_463 * 288.15 / 101_325.0;
        assert!((AIR_KG_PER_MOL / air_kg - 1.0).abs() < 1e-4, "{air_kg}");
        // Handbooks: 78.3 degC at 101 325 Pa (from memory).
        assert!((ETHANOL_BOILS_K - 273.15 - 78.3).abs() < 0.3);
    }

    #[test]
    fn ident_without_air_the_equilibrium_is_the_distillation_curve() {
        for fuel in [Fuel::DEFAULT, Fuel::WINTER, Fuel { ethanol_share: 0.1, ..Fuel::DEFAULT }] {
            for temperature_k in [320.0, 340.0, 360.0, 380.0, 420.0, 460.0] {
                let share = fuel.evaporated_share(temperature_k, ATMOSPHERE_PA, 0.0);
                assert!(
                    (share - fuel.distilled_share(temperature_k)).abs() < 6e-3,
                    "{temperature_k}: {share}"
                );
            }
        }
    }

    /// The fraction found is in equilibrium, over the whole range of temperature, pressure and mixture.
    #[test]
    fn ident_the_evaporated_fraction_is_in_equilibrium() {
        for fuel in [Fuel::DEFAULT, Fuel::WINTER, Fuel { ethanol_share: 0.85, ..Fuel::DEFAULT }] {
            for step in 0..40 {
                let temperature_k = 240.0 + 3.0 * f64::from(step);
                for (pressure_pa, afr) in [(30e3, 14.6), (101e3, 14.6), (101e3, 6.0), (101e3, 2.0)] {
                    let share = fuel.evaporated_share(temperature_k, pressure_pa, afr);
                    let ethanol = fuel.ethanol_by_mass();
                    let mol = share * (ethanol / ETHANOL_KG_PER_MOL + (1.0 - ethanol) / PETROL_KG_PER_MOL);
                    let vapour_pa = pressure_pa * mol / (mol + afr / AIR_KG_PER_MOL);
                    // The temperature at which this vapour boils, by bisection.
                    let (mut low_k, mut high_k) = (100.0, 900.0);
                    for _ in 0..60 {
                        let middle_k = 0.5 * (low_k + high_k);
                        let boils_sooner =
                            Fuel::vapour_pressure_of_cut_pa(middle_k, temperature_k) > vapour_pa;
                        *(if boils_sooner { &mut low_k } else { &mut high_k }) = middle_k;
                    }
                    let want = fuel.distilled_share(low_k).max(MIN_EVAPORATED);
                    assert!(
                        (share - want).abs() < 0.01,
                        "{temperature_k} {pressure_pa} {afr}: {share} {want}"
                    );
                }
            }
        }
    }

    #[test]
    fn band_mixture_that_a_cold_engine_needs() {
        // From 2:1 in deep cold to 12:1 warm while cranking: textbook figure, common practice, no source. What evaporates there gives
        // mixtures near 13:1 to 20:1, which ignite.
        for (temperature_k, afr) in [(244.0, 2.0), (300.0, 12.0)] {
            let burning = afr / Fuel::DEFAULT.evaporated_share(temperature_k, ATMOSPHERE_PA, afr);
            assert!((12.0..21.0).contains(&burning), "{temperature_k}: {burning}");
        }
        // A stoichiometric mixture is nearly dry at some 40 to 60 degC: common practice, no source.
        let dry = |temperature_k| Fuel::DEFAULT.evaporated_share(temperature_k, ATMOSPHERE_PA, 14.6);
        assert!(dry(303.0) < 0.9 && dry(333.0) > 0.92, "{} {}", dry(303.0), dry(333.0));
    }

    #[test]
    fn winter_petrol_evaporates_better_and_ethanol_worse_in_the_cold() {
        let at = |fuel: &Fuel| fuel.evaporated_share(255.0, ATMOSPHERE_PA, 6.0);
        let summer = at(&Fuel::DEFAULT);
        assert!(at(&Fuel::WINTER) > 1.15 * summer);
        assert!(at(&Fuel { ethanol_share: 0.85, ..Fuel::DEFAULT }) < 0.75 * summer);
    }

    /// Published limits of ASTM D4814 (from memory) of a summer and a winter class.
    #[test]
    fn band_both_petrols_are_within_their_class() {
        for (fuel, pressure_pa, t10_k, t50_k, t90_k) in
            [(Fuel::DEFAULT, 62e3, 343.15, 394.15, 463.15), (Fuel::WINTER, 103e3, 323.15, 383.15, 458.15)]
        {
            assert!(fuel.vapour_pressure_pa <= pressure_pa && fuel.t10_k <= t10_k && fuel.t90_k <= t90_k);
            assert!((350.15..=t50_k).contains(&fuel.t50_k), "{}", fuel.t50_k);
        }
    }
}
