//! Air charge of the next cylinder by speed density: `m = eta p V / (R T)`.

use trimwright_numerics::Weights;
use trimwright_numerics::parameters::along;

use crate::estimate::Estimate;
use crate::setup::Setup;

trimwright_numerics::parameters! {
    /// Charge temperature.
    #[cfg_attr(feature = "defmt", derive(defmt::Format))]
    pub struct AirChargeParameters<f32> "air_charge" {
        /// Charge temperature between intake air (0) and coolant temperature (1), against air flow per displacement: slow air warms up more.
        curve warming { [8] = [(0.5, 0.55), (1.5, 0.42), (4.0, 0.28), (10.0, 0.17), (25.0, 0.10)], 0.0..=60.0 "kg/(s m3)" => 0.0..=1.0 "1", "engineering judgement" }
    }
}

/// Air charge of one cylinder and its place on the map.
#[derive(Clone, Copy, Debug, PartialEq)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
#[non_exhaustive]
pub struct AirCharge {
    /// Cells of the map and their shares.
    pub weights: Weights<f32>,
    /// Charge temperature, K.
    pub charge_k: f32,
    /// Air mass of one cylinder, kg.
    pub air_kg: f32,
}

/// Air charge of one cylinder at the manifold pressure `map_pa`, Pa. `flow_kg_per_s` is the engine's air flow at the previous firing, which
/// sets how much the air warms up on its way.
///
/// ```
/// use trimwright_control::parameters::AirChargeParameters;
/// use trimwright_control::fueling::air_charge;
/// use trimwright_control::sensing::Estimate;
/// use trimwright_control::{Calibration, SetupAnswers};
/// let calibration = Calibration::from_answers(&SetupAnswers::default())?;
/// let warm = Estimate { ect_k: 360.0, iat_k: 300.0, ..Estimate::default() };
/// let air = |map_pa, flow_kg_per_s| {
///     let parameters = &AirChargeParameters::DEFAULT;
///     air_charge(parameters, calibration.setup(), &warm, map_pa, 150.0, flow_kg_per_s)
/// };
/// // Twice the pressure is more than twice the air: the old exhaust gas in the cylinder takes up less room.
/// assert!(air(90e3, 0.05).air_kg > 2.0 * air(45e3, 0.05).air_kg);
/// // Slow air has time to warm up in the manifold: nearly half of the way to the coolant's temperature.
/// assert!((320.0..330.0).contains(&air(40e3, 0.007).charge_k));
/// # Ok::<(), trimwright_control::AnswerError>(())
/// ```
pub fn air_charge(
    parameters: &AirChargeParameters,
    setup: &Setup,
    estimate: &Estimate,
    map_pa: f32,
    speed_rad_per_s: f32,
    flow_kg_per_s: f32,
) -> AirCharge {
    let per_m3 = flow_kg_per_s / setup.answers().displacement_m3;
    let charge_k = estimate.iat_k + (estimate.ect_k - estimate.iat_k) * along(&parameters.warming, per_m3);
    let weights = setup.weights_under(map_pa, estimate.baro_pa, speed_rad_per_s);
    AirCharge { weights, charge_k, air_kg: setup.air_charge_kg(&weights, map_pa, charge_k) }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::answers::SetupAnswers;
    use crate::calibration::Calibration;

    fn charge(estimate: &Estimate, speed_rad_per_s: f32, flow_kg_per_s: f32) -> AirCharge {
        let calibration = Calibration::from_answers(&SetupAnswers::default()).unwrap();
        let parameters = &AirChargeParameters::DEFAULT;
        air_charge(parameters, calibration.setup(), estimate, estimate.map_pa, speed_rad_per_s, flow_kg_per_s)
    }

    #[test]
    fn slow_air_is_warmed_more_and_has_less_mass() {
        let estimate = Estimate { map_pa: 50e3, iat_k: 300.0, ect_k: 360.0, ..Estimate::default() };
        let (slow, fast) = (charge(&estimate, 150.0, 0.005), charge(&estimate, 150.0, 0.1));
        assert!(slow.charge_k > fast.charge_k && slow.air_kg < fast.air_kg);
        assert!((300.0..360.0).contains(&slow.charge_k) && (300.0..360.0).contains(&fast.charge_k));
    }

    #[test]
    fn the_map_is_entered_with_the_ratio_to_barometric_pressure() {
        let at = |map_pa, baro_pa| charge(&Estimate { map_pa, baro_pa, ..Estimate::default() }, 150.0, 0.02);
        let (sea, pass) = (at(60e3, 101_325.0), at(42e3, 0.7 * 101_325.0));
        assert_eq!(sea.weights.cells, pass.weights.cells);
        assert!((pass.air_kg / sea.air_kg - 0.7).abs() < 1e-4, "the same filling, of thinner air");
    }

    /// Ideal gas by hand: at eta 1, 101 325 Pa and 288.15 K the charge is 1.225 kg/m3 (ISO 2533) times the cylinder.
    #[test]
    fn val_the_charge_is_filling_times_standard_density() {
        let calibration = Calibration::from_answers(&SetupAnswers::default()).unwrap();
        let setup = calibration.setup();
        let charge = charge(&Estimate { iat_k: 288.15, ect_k: 288.15, ..Estimate::default() }, 200.0, 0.05);
        let eta = setup.filling().at(&charge.weights);
        assert!((charge.air_kg / (eta * 1.225 * setup.cylinder_m3()) - 1.0).abs() < 1e-4);
    }
}
