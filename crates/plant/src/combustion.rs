//! Combustion: heat release by mixture, work by spark advance, misfire limits, cyclic variation.

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
        /// Fraction of the released heat that the gas gives to the coolant, at 1 g/s of charge in a cylinder of 0.5 L; more at idle and less
        /// at load and speed, see [`crate::coolant_share_factor`].
        number coolant_share { 0.33, 0.1..=0.5 "1", "common practice, no source: 0.35 to 0.45 at idle with friction; Heywood ch. 12, from memory: 0.17 to 0.26 at full power" }
        /// Advance for maximum brake torque at 1000 rpm and full load, before top dead centre.
        number mbt_base_deg { 17.0, 0.0..=40.0 "deg", "engineering judgement" }
        /// Lambda above which charges start to misfire.
        number lean_limit { 1.32, 1.1..=1.8 "1", "engineering judgement" }
        /// Lambda below which charges start to misfire.
        number rich_limit { 0.60, 0.4..=0.8 "1", "engineering judgement" }
        /// Cyclic variation of the work: standard deviation over mean at full load; three times as much at low load.
        number variation { 0.015, 0.0..=0.1 "1", "Heywood ch. 9, from memory: some per cent, more when diluted" }
        /// Fraction of a cylinder's fuel that is vaporized and can burn at a coolant temperature of 253 K; 1 from 333 K on.
        number cold_vapour { 0.72, 0.3..=1.0 "1", "engineering judgement" }
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

    /// Fraction of a cylinder's fuel that is vaporized and can burn, 0 to 1 (engineering judgement); the rest leaves unburned.
    pub fn vapour_share(&self, coolant_k: f64) -> f64 {
        let warm = ((coolant_k - 253.15) / 80.0).held(0.0, 1.0);
        self.cold_vapour + (1.0 - self.cold_vapour) * warm
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
