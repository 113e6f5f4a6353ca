//! Combustion: heat release by mixture, work by spark advance, misfire limits, cyclic variation.

use crate::fuel::{ATMOSPHERE_PA, Fuel};
use crate::gas::RPM;
use trimwright_numerics::Real;

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
        /// Indicated efficiency over that of the ideal Otto cycle (gamma 1.28) at MBT and lambda 1.
        number work_share { 0.83, 0.5..=1.0 "1", "engineering judgement" }
        /// Fraction of the released heat that goes into the coolant: 17 to 26 % of the fuel's energy at full power, more at part load.
        number coolant_share { 0.27, 0.1..=0.5 "1", "Heywood ch. 12, from memory" }
        /// Advance for maximum brake torque at 1000 rpm and full load, before top dead centre.
        number mbt_base_deg { 17.0, 0.0..=40.0 "deg", "engineering judgement" }
        /// Lambda above which charges start to misfire.
        number lean_limit { 1.32, 1.1..=1.8 "1", "engineering judgement" }
        /// Lambda below which charges start to misfire.
        number rich_limit { 0.60, 0.4..=0.8 "1", "engineering judgement" }
        /// Cyclic variation of the work: standard deviation over mean at full load; three times as much at low load.
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
pub(crate) struct Burn {
    /// Fraction of the vaporized fuel's heat released, 0 to 1.
    pub(crate) released: f64,
    /// Fraction of the released heat that becomes indicated work.
    pub(crate) work_share: f64,
    /// Probability of a misfire, 0 to 1.
    pub(crate) misfire: f64,
}

/// Fraction of the fuel's heating value released at `lambda`, 0 to 1: rich mixtures lack oxygen. Valid from 0.5, for
/// petrol without ethanol.
pub fn heat_released(lambda: f64) -> f64 {
    let place = (lambda - RELEASED_FROM) / RELEASED_STEP;
    let index = (place.held(0.0, 6.0) as u32 as usize).min(RELEASED.len() - 2);
    let (low, high) = (RELEASED[index], RELEASED[index + 1]);
    (low + (place - index as f64) * (high - low)).held(0.0, 1.0)
}

impl Combustion {
    /// Indicated efficiency at MBT and lambda 1: that of the ideal Otto cycle `1 - rc^(1 - gamma)`, gamma 1.28 for burned gas
    /// (Heywood ch. 5), times [`Combustion::work_share`].
    pub(crate) fn best_work_share(&self, compression_ratio: f64) -> f64 {
        self.work_share * (1.0 - Real::powf(compression_ratio, -0.28))
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

    /// Standard deviation over mean of a charge's work, by manifold pressure and residual gas.
    pub(crate) fn variation_at(&self, pressure_pa: f64, residual: f64) -> f64 {
        self.variation * (1.0 + 3.0 * (1.0 - pressure_pa * 1e-5).held(0.0, 0.67) + 4.0 * residual)
    }

    /// Spark advance for maximum brake torque, degrees before top dead centre: increases with speed, with dilution at low load and by
    /// residual gas, and away from lambda 0.9 (trends of Heywood ch. 9 and 15; numbers are engineering judgement).
    pub fn mbt_deg(&self, pressure_pa: f64, speed_rad_per_s: f64, lambda: f64, residual: f64) -> f64 {
        let krpm = (speed_rad_per_s / (1000.0 * RPM)).held(0.0, 8.0);
        let thin = (1.0 - pressure_pa * 1e-5).held(0.0, 0.9);
        let off = (lambda - 0.9).abs().held(0.0, 0.5);
        self.mbt_base_deg + 7.0 * (krpm - 1.0).held(-1.0, 2.5) + 24.0 * thin + 25.0 * off + 10.0 * residual
    }

    /// Spark advance of a distributor with centrifugal weights and vacuum unit, degrees before top dead centre (engineering
    /// judgement: the usual curves).
    pub fn distributor_deg(&self, pressure_pa: f64, ambient_pa: f64, speed_rad_per_s: f64) -> f64 {
        let krpm = speed_rad_per_s / (1000.0 * RPM);
        let vacuum = (ambient_pa - pressure_pa) * 1e-5;
        8.0 + 10.0 * (krpm - 0.8).held(0.0, 2.2) + (40.0 * (vacuum - 0.15)).held(0.0, 15.0)
    }

    /// Combustion of a charge of mixture `lambda`, ignited `off_mbt_deg` away from MBT; `best` is [`Combustion::best_work_share`].
    ///
    /// Spark efficiency `1 - 3.2e-4 d^2`: 3 % loss at 10 degrees, 13 % at 20 degrees (usual shape of spark hooks, engineering
    /// judgement). Lean mixtures are more efficient, +0.2 per unit of lambda (Heywood fig. 5-9, trend from memory). Residual gas lowers
    /// the lean limit by 0.3 per unit of `residual` (engineering judgement).
    pub(crate) fn burn(&self, best: f64, lambda: f64, off_mbt_deg: f64, residual: f64) -> Burn {
        let spark = (1.0 - 3.2e-4 * off_mbt_deg * off_mbt_deg).held(0.2, 1.0);
        let lean = 1.0 + 0.2 * (lambda - 1.0).held(0.0, 0.4);
        let too_lean = ((lambda - self.lean_limit + 0.3 * residual) / 0.2).held(0.0, 1.0);
        let too_rich = ((self.rich_limit - lambda) / 0.12).held(0.0, 1.0);
        Burn {
            released: heat_released(lambda),
            work_share: best * spark * lean,
            misfire: if lambda > 0.0 { too_lean.max(too_rich) } else { 1.0 },
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

    #[test]
    fn outside_the_burn_limits_every_charge_misfires() {
        let combustion = crate::Truth::mild_v8().combustion;
        let misfire = |lambda| combustion.burn(0.36, lambda, 0.0, 0.0).misfire;
        assert_eq!([misfire(0.3), misfire(2.0), misfire(0.0)], [1.0; 3]);
        assert_eq!([misfire(0.7), misfire(1.0), misfire(1.15)], [0.0; 3]);
        assert!(combustion.burn(0.36, 1.25, 0.0, 0.5).misfire > 0.0);
    }
}
