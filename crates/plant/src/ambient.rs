//! Outside air: pressure, temperature and humidity by altitude.

use crate::gas::{GRAVITY_M_PER_S2, ICE_K, R_DRY_AIR};
use trimwright_numerics::Real;

/// Temperature lapse rate of the standard atmosphere, K/m. ISO 2533.
const LAPSE_K_PER_M: f64 = 0.0065;
/// Standard temperature at sea level, K. ISO 2533.
const STANDARD_K: f64 = 288.15;
/// Nominal earth radius for the geopotential altitude, m. ISO 2533.
const EARTH_M: f64 = 6_356_766.0;

trimwright_numerics::parameters! {
    /// Weather and altitude.
    pub struct Ambient<f64> "ambient" {
        /// Altitude above sea level; a schedule with altitudes overrides it.
        number altitude_m { 0.0, -500.0..=5000.0 "m", "engineering judgement" }
        /// Air temperature at sea level; it falls by 6.5 K per km of altitude.
        number sea_level_k { 293.15, 220.0..=330.0 "K", "engineering judgement; the lapse rate: ISO 2533" }
        /// Air pressure at sea level.
        number sea_level_pa { 101_325.0, 90e3..=108e3 "Pa", "ISO 2533" }
        /// Relative humidity at the start; the mass fraction of water that follows stays constant over the run.
        number relative_humidity { 0.5, 0.0..=1.0 "1", "engineering judgement" }
    }
}

/// Outside air at one altitude.
#[derive(Clone, Copy, Debug, PartialEq)]
#[non_exhaustive]
pub struct Air {
    /// Pressure, Pa.
    pub pressure_pa: f64,
    /// Temperature, K.
    pub temperature_k: f64,
}

impl Ambient {
    /// Outside air at `altitude_m`, by the troposphere of ISO 2533 (valid to 11 km) with these sea-level values.
    ///
    /// `p = p0 (1 - L H / T0)^(g / (R L))`, with the geopotential height `H = h r / (r + h)`.
    pub fn air(&self, altitude_m: f64) -> Air {
        let geopotential_m = altitude_m * EARTH_M / (EARTH_M + altitude_m);
        let exponent = GRAVITY_M_PER_S2 / (R_DRY_AIR * LAPSE_K_PER_M);
        let ratio = Real::powf(1.0 - LAPSE_K_PER_M * geopotential_m / STANDARD_K, exponent);
        Air {
            pressure_pa: self.sea_level_pa * ratio,
            temperature_k: self.sea_level_k - LAPSE_K_PER_M * geopotential_m,
        }
    }

    /// Mass of water per mass of moist air at the start, from the relative humidity, kg/kg.
    pub fn water_share(&self) -> f64 {
        let air = self.air(self.altitude_m);
        let vapour_pa = self.relative_humidity * saturation_pa(air.temperature_k);
        let ratio = WATER_TO_AIR * vapour_pa / (air.pressure_pa - vapour_pa);
        ratio / (1.0 + ratio)
    }
}

/// Molar mass of water over that of dry air (IUPAC 2021; ISO 2533).
const WATER_TO_AIR: f64 = 18.015_27 / 28.964_42;

/// Saturation pressure of water vapour over liquid water, Pa: `611.2 exp(17.62 t / (243.12 + t))`, t in degC (WMO Guide to
/// Instruments and Methods of Observation, annex 4.B, formula from memory; checked against a property table in
/// the tests).
pub fn saturation_pa(temperature_k: f64) -> f64 {
    let celsius = temperature_k - ICE_K;
    611.2 * Real::exp(17.62 * celsius / (243.12 + celsius))
}

/// Gas constant of air with `water_share` of water vapour by mass, J/(kg K).
pub(crate) fn moist_gas_constant(water_share: f64) -> f64 {
    R_DRY_AIR * (1.0 - water_share + water_share / WATER_TO_AIR)
}

#[cfg(test)]
mod tests {
    use super::*;

    fn ambient() -> Ambient {
        Ambient { altitude_m: 0.0, sea_level_k: 288.15, sea_level_pa: 101_325.0, relative_humidity: 0.0 }
    }

    #[test]
    fn val_standard_atmosphere() {
        // ISO 2533 by fluids 1.3.1, geometric height: shared/reference/atmosphere.csv.
        for (altitude_m, pressure_pa, temperature_k) in [
            (-500.0, 107_478.01, 291.4003),
            (0.0, 101_325.0, 288.15),
            (500.0, 95_461.29, 284.9003),
            (1500.0, 84_559.67, 278.4023),
            (3000.0, 70_121.14, 268.6592),
        ] {
            let air = ambient().air(altitude_m);
            assert!((air.pressure_pa / pressure_pa - 1.0).abs() < 2e-6, "{altitude_m}: {air:?}");
            assert!((air.temperature_k - temperature_k).abs() < 1e-3, "{altitude_m}: {air:?}");
        }
    }

    #[test]
    fn val_humid_air() {
        // CoolProp 8.0.0, water per dry air: shared/reference/humid_air.csv.
        for (celsius, humidity, ratio) in
            [(0.0, 0.6, 0.0022685), (15.0, 1.0, 0.0106938), (25.0, 0.6, 0.011949), (35.0, 0.3, 0.0105899)]
        {
            let ambient = Ambient { sea_level_k: ICE_K + celsius, relative_humidity: humidity, ..ambient() };
            let share = ambient.water_share();
            assert!((share / (1.0 - share) / ratio - 1.0).abs() < 0.01, "{celsius}: {share}");
        }
    }

    #[test]
    fn moist_air_is_lighter() {
        // 25 degC, 60 %: 1.175966 kg/m^3 by CoolProp 8.0.0.
        let share = 0.011_949 / 1.011_949;
        let density = 101_325.0 / (moist_gas_constant(share) * 298.15);
        assert!((density / 1.175_966 - 1.0).abs() < 1e-3, "{density}");
    }
}
