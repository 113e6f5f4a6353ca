//! Outside air: the standard atmosphere, its temperature and its water.

use crate::check::{OutOfRange, within};
use crate::gas::{GRAVITY_M_PER_S2, ICE_K, R_DRY_AIR};
use trimwright_numerics::Real;

/// Fall of temperature with height in the standard atmosphere, K/m. ISO 2533.
const LAPSE_K_PER_M: f64 = 0.0065;
/// Standard temperature at sea level, K. ISO 2533.
const STANDARD_K: f64 = 288.15;
/// Radius of the earth that turns height into geopotential height, m. ISO 2533.
const EARTH_M: f64 = 6_356_766.0;

/// Weather and place.
#[derive(Clone, Debug, PartialEq)]
pub struct Ambient {
    /// Height above sea level, m, -500 to 5000. [`crate::Hands::altitude_m`] overrules it while driving.
    pub altitude_m: f64,
    /// Air temperature at sea level, K, 220 to 330; it falls by 6.5 K per km (ISO 2533).
    pub sea_level_k: f64,
    /// Air pressure at sea level, Pa, 90 kPa to 108 kPa.
    pub sea_level_pa: f64,
    /// Relative humidity at the start of the run, 0 to 1. The water share of the air is worked out once and carried along.
    pub relative_humidity: f64,
}

/// Air as the engine finds it.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Air {
    /// Pressure, Pa.
    pub pressure_pa: f64,
    /// Temperature, K.
    pub temperature_k: f64,
}

impl Ambient {
    /// Air at `altitude_m`, by the troposphere of ISO 2533 (valid to 11 km), with the truth's own sea-level values.
    ///
    /// `p = p0 (1 - L H / T0)^(g / (R L))`, with the geopotential height `H = h r / (r + h)`.
    ///
    /// ```
    /// let air = trimwright_plant::Truth::mild_v8().ambient.air(0.0);
    /// assert_eq!(air.pressure_pa, 101_325.0);
    /// ```
    pub fn air(&self, altitude_m: f64) -> Air {
        let geopotential_m = altitude_m * EARTH_M / (EARTH_M + altitude_m);
        let exponent = GRAVITY_M_PER_S2 / (R_DRY_AIR * LAPSE_K_PER_M);
        let ratio = Real::powf(1.0 - LAPSE_K_PER_M * geopotential_m / STANDARD_K, exponent);
        Air {
            pressure_pa: self.sea_level_pa * ratio,
            temperature_k: self.sea_level_k - LAPSE_K_PER_M * geopotential_m,
        }
    }

    /// Mass of water per mass of moist air at the start, from the relative humidity.
    pub fn water_share(&self) -> f64 {
        let air = self.air(self.altitude_m);
        let vapour_pa = self.relative_humidity * saturation_pa(air.temperature_k);
        let ratio = WATER_TO_AIR * vapour_pa / (air.pressure_pa - vapour_pa);
        ratio / (1.0 + ratio)
    }

    pub(crate) fn check(&self) -> Result<(), OutOfRange> {
        within("ambient.altitude_m", self.altitude_m, -500.0, 5000.0)?;
        within("ambient.sea_level_k", self.sea_level_k, 220.0, 330.0)?;
        within("ambient.sea_level_pa", self.sea_level_pa, 90e3, 108e3)?;
        within("ambient.relative_humidity", self.relative_humidity, 0.0, 1.0)
    }
}

/// Molar mass of water over that of dry air.
const WATER_TO_AIR: f64 = 18.015_27 / 28.964_42;

/// Saturation pressure of water over water, Pa: `611.2 exp(17.62 t / (243.12 + t))`, t in degC (WMO Guide to
/// Instruments and Methods of Observation, annex 4.B, formula from memory; held against a property table in the tests).
pub fn saturation_pa(temperature_k: f64) -> f64 {
    let celsius = temperature_k - ICE_K;
    611.2 * Real::exp(17.62 * celsius / (243.12 + celsius))
}

/// Gas constant of air with `water_share` of water vapour by mass, J/(kg K).
pub(crate) fn moist_gas_constant(water_share: f64) -> f64 {
    R_DRY_AIR * (1.0 - water_share + water_share / WATER_TO_AIR)
}
