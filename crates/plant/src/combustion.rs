//! Combustion: heat release by mixture, work by speed, spark advance and residual gas, misfire, cyclic variation.

use crate::fuel::{ATMOSPHERE_PA, Fuel};
use crate::gas::RPM;
use trimwright_numerics::{AxisError, Curve, Real};

/// Lambda of the first entry of [`RELEASED`] and the step of the table.
const RELEASED_FROM: f64 = 0.65;
const RELEASED_STEP: f64 = 0.05;
/// Fraction of the heating value released at lambda 0.65, 0.70 ... 1.00: CH1.87, water-gas equilibrium 3.5,
/// heating value 43.0 MJ/kg (atom balance with species data of cantera). Extrapolated below 0.65; 1 above lambda 1.
const RELEASED: [f64; 8] = [0.53763, 0.60233, 0.66753, 0.73321, 0.79934, 0.86588, 0.93278, 1.0];

/// Control of the spark advance.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
#[non_exhaustive]
pub enum Ignition {
    /// The controller's command is in effect.
    Commanded,
    /// A distributor with centrifugal and vacuum advance; the command is ignored.
    Distributor,
}

trimwright_numerics::choice!(Ignition {
    Commanded = "commanded",
    Distributor = "distributor",
});

trimwright_numerics::parameters! {
    /// Combustion of a spark-ignition engine.
    pub struct Combustion<f64> "combustion" {
        /// Control of the spark advance.
        choice ignition { Ignition = Ignition::Distributor, "engineering judgement" }
        /// Indicated efficiency over that of the ideal Otto cycle (gamma 1.28) at MBT, lambda 1 and 3000 rpm.
        number work_share { 0.90, 0.5..=1.0 "1", "Hendricks and Sorenson, SAE 900616: 0.41 at 3000 rpm" }
        /// Indicated efficiency lost at 1000 rpm over that at very high speed: heat to the walls, leakage. It falls with speed to the power
        /// of -0.36.
        number speed_loss { 0.392, 0.0..=0.8 "1", "Hendricks and Sorenson, SAE 900616" }
        /// Fraction of the vaporized fuel that leaves a charge that burns as hydrocarbons: crevices, quenched layers.
        number unburned_share { 0.015, 0.0..=0.1 "1", "Heywood ch. 11, from memory: 1 to 2.5 %" }
        /// Fraction of the released heat that the gas gives to the coolant, at 1 g/s of charge in a cylinder of 0.5 L; more at idle and less
        /// at load and speed, see [`crate::coolant_share_factor`].
        number coolant_share { 0.33, 0.1..=0.5 "1", "common practice, no source: 0.35 to 0.45 at idle with friction; Heywood ch. 12, from memory: 0.17 to 0.26 at full power" }
        /// Advance for maximum brake torque at 1000 rpm and full load, before top dead centre.
        number mbt_base_deg { 17.0, 0.0..=40.0 "deg", "engineering judgement" }
        /// Lambda above which charges start to misfire.
        number lean_limit { 1.32, 1.1..=1.8 "1", "engineering judgement" }
        /// Lambda below which charges start to misfire.
        number rich_limit { 0.60, 0.4..=0.8 "1", "engineering judgement" }
        /// Residual gas fraction at which a stoichiometric charge no longer burns at idle: there the laminar flame speed, `1 - 2.06 x^0.77` of that
        /// without residual gas, is zero.
        number residual_limit { 0.39, 0.2..=0.6 "1", "Rhodes and Keck, SAE 850047, from memory" }
        /// Cyclic variation of the work: standard deviation over mean without residual gas.
        number variation { 0.015, 0.0..=0.1 "1", "Heywood ch. 9, from memory: some per cent, more when diluted" }
        /// Fraction of a cylinder's fuel that reaches its cold walls; the rest evaporates in the charge.
        number wall_wetting { 0.4, 0.0..=1.0 "1", "engineering judgement" }
        /// Temperature of the fuel on the walls over the coolant's, by compression.
        number compression_rise_k { 8.0, 0.0..=60.0 "K step", "engineering judgement" }
        /// Temperature of the charge over that of its walls while the engine fires, by residual gas and hot valves.
        number firing_rise_k { 60.0, 0.0..=150.0 "K step", "engineering judgement: a tenth of residual gas at 900 K" }
    }
}

/// Result of the combustion of one charge.
#[derive(Clone, Copy, Debug, PartialEq)]
#[non_exhaustive]
pub struct Burn {
    /// Fraction of the burned fuel's heat released, 0 to 1.
    pub released: f64,
    /// Fraction of the released heat that becomes indicated work.
    pub work_share: f64,
    /// Probability of a misfire, 0 to 1.
    pub misfire: f64,
    /// Standard deviation over mean of the work from cycle to cycle.
    pub variation: f64,
}

/// Condition of a charge at the spark.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct ChargeState {
    /// Lambda of air and vaporized fuel.
    pub lambda: f64,
    /// Spark advance over that for maximum brake torque, degrees; negative when retarded.
    pub off_mbt_deg: f64,
    /// Mass fraction of residual gas, 0 to 1.
    pub residual: f64,
    /// Crank speed, rad/s.
    pub speed_rad_per_s: f64,
}

/// Crank speeds of the efficiency curve, rad/s.
const EFFICIENCY_SPEEDS: [f64; EFFICIENCY_POINTS] = [
    600.0 * RPM,
    750.0 * RPM,
    950.0 * RPM,
    1250.0 * RPM,
    1650.0 * RPM,
    2200.0 * RPM,
    3000.0 * RPM,
    4000.0 * RPM,
    5500.0 * RPM,
    8000.0 * RPM,
];
const EFFICIENCY_POINTS: usize = 10;
/// Lowest speed of the efficiency law, 1000 rpm (engineering judgement: it is published from an idle speed on, and cranking is below).
const SLOWEST_KRPM: f64 = 0.6;
/// Speed at which [`Combustion::work_share`] holds, 1000 rpm.
const WORK_SHARE_KRPM: f64 = 3.0;
/// Exponent of the speed in the efficiency loss (Hendricks and Sorenson, SAE 900616).
const SPEED_EXPONENT: f64 = -0.36;
/// Loss of work per squared degree from MBT: the torque is 0.952, 0.892, 0.808 and 0.700 at 10, 15, 20 and 25 degrees (Hendricks and
/// Sorenson, SAE 900616).
const SPARK_LOSS_PER_DEG2: f64 = 4.8e-4;
/// Residual fraction from which the burn becomes so slow and incomplete that it costs work, and the work lost per squared excess
/// (engineering judgement, trend of Heywood ch. 9): 5 % at 0.30, 11 % at 0.35, 20 % at 0.40. Below it the loss is part of that over speed.
const SLOW_FROM: f64 = 0.2;
const SLOW_LOSS: f64 = 5.0;
/// Residual fraction above which the variation of the work rises steeply (Heywood ch. 9, from memory: 0.25 to 0.30).
const ROUGH_FROM: f64 = 0.28;
/// Largest standard deviation over mean of the work.
const MAX_VARIATION: f64 = 0.5;
/// Degrees by which the best spark is later per mass fraction of nitrous oxide in air and nitrous oxide: at 0.13 they have 22.6 % of oxygen in
/// place of 21 %, with which the flame is about a quarter faster (engineering judgement, from flames in enriched air, from memory).
const NITROUS_LATER_DEG: f64 = 40.0;
/// Width of the scatter of burn limits between charges, in residual fraction: first misfires at this much over half below the limit, no
/// charge burns at half of it above (engineering judgement).
const MISFIRE_BAND: f64 = 0.12;
/// Rise of the residual limit per 1000 rpm above 1000: turbulence rises with speed (engineering judgement).
const LIMIT_PER_KRPM: f64 = 0.02;

/// Indicated efficiency at MBT and lambda 1 over crank speed, prepared for repeated evaluation.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct EfficiencyCurve(Curve<f64, EFFICIENCY_POINTS>);

impl EfficiencyCurve {
    /// The curve of an engine.
    ///
    /// # Errors
    /// Never: its speeds rise.
    pub fn new(combustion: &Combustion, compression_ratio: f64) -> Result<Self, AxisError> {
        let values = EFFICIENCY_SPEEDS.map(|speed| combustion.best_efficiency(compression_ratio, speed));
        Curve::new(EFFICIENCY_SPEEDS, values).map(Self)
    }

    /// Indicated efficiency at a crank speed, within 0.4 % of [`Combustion::best_efficiency`].
    #[inline]
    pub fn at(&self, speed_rad_per_s: f64) -> f64 {
        self.0.at(speed_rad_per_s)
    }
}

/// Fraction of the fuel's heating value released at `lambda`, 0 to 1: rich mixtures lack oxygen. Valid from 0.5, for
/// petrol without ethanol.
pub fn heat_released(lambda: f64) -> f64 {
    let place = (lambda - RELEASED_FROM) / RELEASED_STEP;
    let index = (place.held(0.0, 6.0) as u32 as usize).min(RELEASED.len() - 2);
    let (low, high) = (RELEASED[index], RELEASED[index + 1]);
    (low + (place - index as f64) * (high - low)).held(0.0, 1.0)
}

/// Degrees by which the spark for maximum brake torque is later with a mass fraction of nitrous oxide in air and nitrous oxide, 0 to 1:
/// more oxygen burns faster. Common practice, no source: two to four degrees for each 50 hp.
///
/// ```
/// // 0.03 kg/s, some 65 hp, beside 0.2 kg/s of air.
/// assert!((2.6..6.0).contains(&trimwright_plant::nitrous_later_deg(0.13)));
/// ```
pub fn nitrous_later_deg(nitrous_share: f64) -> f64 {
    NITROUS_LATER_DEG * nitrous_share.held(0.0, 1.0)
}

impl Combustion {
    /// Indicated efficiency of burned fuel at MBT and lambda 1: that of the ideal Otto cycle `1 - rc^(1 - gamma)`, gamma 1.28 for burned
    /// gas (Heywood ch. 5), times [`Combustion::work_share`], times `1 - 0.392 n^-0.36` over its value at 3000 rpm, n in 1000 rpm, above
    /// 600 rpm (Hendricks and Sorenson, SAE 900616).
    ///
    /// ```
    /// let combustion = trimwright_plant::Truth::mild_v8().combustion;
    /// let [idle, fast] = [700.0, 4000.0].map(|rpm| combustion.best_efficiency(8.8, rpm * trimwright_plant::gas::RPM));
    /// assert!((fast / idle - 1.37).abs() < 0.01);
    /// ```
    pub fn best_efficiency(&self, compression_ratio: f64, speed_rad_per_s: f64) -> f64 {
        let kept = |krpm: f64| 1.0 - self.speed_loss * Real::powf(krpm, SPEED_EXPONENT);
        let by_speed =
            kept((speed_rad_per_s / (1000.0 * RPM)).held(SLOWEST_KRPM, 20.0)) / kept(WORK_SHARE_KRPM);
        let otto = 1.0 - Real::powf(compression_ratio, -0.28);
        (self.work_share * otto * by_speed).held(0.02, 0.6)
    }

    /// Fraction of a cylinder's fuel that is vaporized and can burn, 0 to 1; the rest leaves unburned. Both the fuel on the walls and that
    /// in the charge evaporate up to equilibrium at atmospheric pressure ([`Fuel::evaporated_share`]); `firing` is the fraction of the
    /// last charges that burned, 0 to 1, and `air_fuel_ratio` the charge's by mass.
    ///
    /// ```
    /// use trimwright_plant::Truth;
    /// let truth = Truth::mild_v8();
    /// let share = |coolant_k, firing| truth.combustion.vapour_share(&truth.fuel, coolant_k, firing, 10.0);
    /// assert!(share(255.0, 0.0) < 0.6 && share(255.0, 1.0) > share(255.0, 0.0) + 0.15 && share(360.0, 1.0) == 1.0);
    /// ```
    pub fn vapour_share(&self, fuel: &Fuel, coolant_k: f64, firing: f64, air_fuel_ratio: f64) -> f64 {
        let wall_k = coolant_k + self.compression_rise_k;
        let on_walls = fuel.evaporated_share(wall_k, ATMOSPHERE_PA, air_fuel_ratio);
        if on_walls >= 1.0 || firing <= 0.0 {
            return on_walls;
        }
        let charge_k = wall_k + self.firing_rise_k * firing;
        let in_charge = fuel.evaporated_share(charge_k, ATMOSPHERE_PA, air_fuel_ratio);
        in_charge + self.wall_wetting * (on_walls - in_charge)
    }

    /// Standard deviation over mean of a charge's work by residual gas: 1.1 times [`Combustion::variation`] at full load, three to six
    /// times at a stock engine's idle, and steeply rising from a fraction of 0.28 (trend of Heywood ch. 9; numbers are engineering
    /// judgement).
    pub fn variation_at(&self, residual: f64) -> f64 {
        let over = residual / ROUGH_FROM;
        let squared = over * over;
        (self.variation * (1.0 + squared * (3.7 + squared * squared))).held(0.0, MAX_VARIATION)
    }

    /// Spark advance for maximum brake torque, degrees before top dead centre: increases with speed, with dilution at low load and by
    /// residual gas beyond that of a stock idle, and away from lambda 0.9 (trends of Heywood ch. 9 and 15; numbers are engineering judgement).
    pub fn mbt_deg(&self, pressure_pa: f64, speed_rad_per_s: f64, lambda: f64, residual: f64) -> f64 {
        let krpm = (speed_rad_per_s / (1000.0 * RPM)).held(0.0, 8.0);
        let thin = (1.0 - pressure_pa * 1e-5).held(0.0, 0.9);
        let off = (lambda - 0.9).abs().held(0.0, 0.5);
        let slow = (residual - SLOW_FROM).held(0.0, 0.3);
        self.mbt_base_deg + 7.0 * (krpm - 1.0).held(-1.0, 2.5) + 20.0 * thin + 25.0 * off + 30.0 * slow
    }

    /// Spark advance of a distributor with centrifugal weights and vacuum unit, degrees before top dead centre: 8 degrees at idle, 20 more
    /// by 3000 rpm, and 15 by vacuum between 0.15 and 0.35 bar (common practice, no source: 4.4 to 10 inHg).
    pub fn distributor_deg(&self, pressure_pa: f64, ambient_pa: f64, speed_rad_per_s: f64) -> f64 {
        let krpm = speed_rad_per_s / (1000.0 * RPM);
        let vacuum = (ambient_pa - pressure_pa) * 1e-5;
        8.0 + 10.0 * (krpm - 0.8).held(0.0, 2.2) + (75.0 * (vacuum - 0.15)).held(0.0, 15.0)
    }

    /// Combustion of a charge; `best` is its [`Combustion::best_efficiency`].
    ///
    /// Spark efficiency `1 - 4.8e-4 d^2`, d in degrees from MBT (Hendricks and Sorenson, SAE 900616). Lean mixtures are more efficient,
    /// +0.2 per unit of lambda (Heywood fig. 5-9, trend from memory). Residual gas lowers the lean limit by 0.3 per unit, and lean or rich
    /// mixture the limit of residual gas (engineering judgement).
    pub fn burn(&self, best: f64, charge: &ChargeState) -> Burn {
        let ChargeState { lambda, off_mbt_deg, residual, speed_rad_per_s } = *charge;
        let spark = (1.0 - SPARK_LOSS_PER_DEG2 * off_mbt_deg * off_mbt_deg).held(0.2, 1.0);
        let lean = 1.0 + 0.2 * (lambda - 1.0).held(0.0, 0.4);
        let excess = (residual - SLOW_FROM).held(0.0, 0.3);
        let complete = 1.0 - SLOW_LOSS * excess * excess;
        let too_lean = ((lambda - self.lean_limit + 0.3 * residual) / 0.2).held(0.0, 1.0);
        let too_rich = ((self.rich_limit - lambda) / 0.12).held(0.0, 1.0);
        let mixture = 0.3 * (lambda - 1.0).held(0.0, 0.4) + 0.1 * (0.7 - lambda).held(0.0, 0.4);
        let krpm = (speed_rad_per_s / (1000.0 * RPM)).held(0.0, 4.0);
        let limit = self.residual_limit + LIMIT_PER_KRPM * (krpm - 1.0).at_least(0.0);
        let weak = ((residual + mixture - limit) / MISFIRE_BAND + 0.5).held(0.0, 1.0);
        Burn {
            released: heat_released(lambda),
            work_share: best * spark * lean * complete,
            misfire: if lambda > 0.0 { too_lean.max(too_rich).max(weak * weak) } else { 1.0 },
            variation: self.variation_at(residual),
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn val_heat_released_against_lambda() {
        // Chemistry, cantera species data, CH1.87: shared/reference/combustion_eff.csv; rows between the
        // table's own.
        for (lambda, share) in
            [(0.82, 0.75961), (0.84, 0.78608), (0.88, 0.83922), (0.92, 0.8926), (0.98, 0.97308), (1.1, 1.0)]
        {
            assert!(
                (heat_released(lambda) / share - 1.0).abs() < 1e-3,
                "{lambda}: {}",
                heat_released(lambda)
            );
        }
        assert!(heat_released(0.55) < 0.45 && heat_released(0.0) == 0.0);
    }

    fn charge(lambda: f64, off_mbt_deg: f64, residual: f64) -> ChargeState {
        ChargeState { lambda, off_mbt_deg, residual, speed_rad_per_s: 90.0 }
    }

    #[test]
    fn outside_the_burn_limits_every_charge_misfires() {
        let combustion = crate::Truth::mild_v8().combustion;
        let misfire = |lambda, residual| combustion.burn(0.36, &charge(lambda, 0.0, residual)).misfire;
        assert_eq!([misfire(0.3, 0.1), misfire(2.0, 0.1), misfire(0.0, 0.1), misfire(1.0, 0.5)], [1.0; 4]);
        assert_eq!([misfire(0.7, 0.1), misfire(1.0, 0.25), misfire(1.15, 0.1)], [0.0; 3]);
        assert!(misfire(1.25, 0.3) > misfire(1.25, 0.2) && misfire(1.25, 0.3) > 0.0);
    }

    #[test]
    fn residual_gas_costs_work_and_steadiness_and_more_of_it_makes_charges_misfire() {
        let combustion = crate::Truth::mild_v8().combustion;
        let at = |residual| combustion.burn(0.36, &charge(0.95, 0.0, residual));
        let [stock, rough, last] = [0.18, 0.35, 0.42].map(at);
        assert!(stock.variation < 0.05 && rough.variation > 0.12 && last.variation > 0.25);
        assert!(stock.misfire == 0.0 && rough.misfire > 0.0 && rough.misfire < 0.1 && last.misfire > 0.3);
        assert!(rough.work_share < 0.93 * stock.work_share && stock.work_share == 0.36);
    }

    #[test]
    fn the_curve_follows_the_formula() {
        let combustion = crate::Truth::mild_v8().combustion;
        let curve = EfficiencyCurve::new(&combustion, 8.8).unwrap();
        for step in 0..100 {
            let speed = (300.0 + 70.0 * f64::from(step)) * RPM;
            let ratio = curve.at(speed) / combustion.best_efficiency(8.8, speed);
            assert!((ratio - 1.0).abs() < 0.004, "{speed}: {ratio}");
        }
    }
}
