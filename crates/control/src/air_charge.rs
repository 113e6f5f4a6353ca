//! Air that the next cylinder takes in: speed density, `m = eta p V / (R T)`.

use trimwright_numerics::Weights;

use crate::believe::Belief;
use crate::setup::Setup;
use trimwright_numerics::parameters::along;

/// Share of the way from intake air to coolant temperature that the charge goes, against air flow per displacement,
/// (kg/(s m3), ratio): slow air warms up more (engineering judgement).
const WARMING: [(f32, f32); 5] = [(0.5, 0.55), (1.5, 0.42), (4.0, 0.28), (10.0, 0.17), (25.0, 0.10)];

/// The air charge and where on the map it was found.
///
/// ```
/// use trimwright_control::air_charge::air_charge;
/// use trimwright_control::believe::Belief;
/// use trimwright_control::{Calibration, SetupAnswers};
/// let calibration = Calibration::from_answers(&SetupAnswers::default())?;
/// let mut idle = Belief::default();
/// (idle.map_pa, idle.iat_k, idle.ect_k) = (40e3, 300.0, 360.0);
/// let air = air_charge(&calibration, &idle, 73.3, 0.007);
/// // Slow air has time to warm up in the manifold: nearly half of the way to the coolant's temperature.
/// assert!((320.0..330.0).contains(&air.charge_k), "{} K", air.charge_k);
/// # Ok::<(), trimwright_control::AnswerError>(())
/// ```
#[derive(Clone, Copy, Debug, PartialEq)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub struct AirCharge {
    /// Cells and shares.
    pub weights: Weights<f32>,
    /// Charge temperature, K.
    pub charge_k: f32,
    /// Air of one cylinder, kg.
    pub air_kg: f32,
}

/// The charge at the pressure it will meet; `flow_kg_per_s` is the engine's air flow of the charge before.
///
/// ```
/// use trimwright_control::air_charge::air_charge;
/// use trimwright_control::believe::Belief;
/// use trimwright_control::{Calibration, SetupAnswers};
/// let calibration = Calibration::from_answers(&SetupAnswers::default())?;
/// let air_kg = |map_pa| {
///     let mut belief = Belief::default();
///     (belief.map_pa, belief.ect_k) = (map_pa, 360.0);
///     air_charge(&calibration, &belief, 150.0, 0.05).air_kg
/// };
/// // Twice the pressure is more than twice the air: the old exhaust gas in the cylinder takes up less room.
/// assert!(air_kg(90e3) > 2.0 * air_kg(45e3));
/// let fuel_kg = air_kg(90e3) / calibration.answers().stoich_afr;
/// assert!((30e-6..50e-6).contains(&fuel_kg), "{fuel_kg} kg for one cylinder");
/// # Ok::<(), trimwright_control::AnswerError>(())
/// ```
pub fn air_charge(setup: &Setup, belief: &Belief, speed_rad_per_s: f32, flow_kg_per_s: f32) -> AirCharge {
    let per_m3 = flow_kg_per_s / setup.answers().displacement_m3;
    let charge_k = belief.iat_k + (belief.ect_k - belief.iat_k) * along(&WARMING, per_m3);
    let looks_ahead = setup.options().film_compensation;
    let map_pa = if looks_ahead {
        belief.map_ahead_pa(setup.firing_angle_rad() / speed_rad_per_s.max(1.0))
    } else {
        belief.map_pa
    };
    let weights = setup.weights_under(map_pa, belief.baro_pa, speed_rad_per_s);
    AirCharge { weights, charge_k, air_kg: setup.air_charge_kg(&weights, map_pa, charge_k) }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::answers::SetupAnswers;
    use crate::calibration::Calibration;

    #[test]
    fn slow_air_is_warmed_more_and_weighs_less() {
        let calibration = Calibration::from_answers(&SetupAnswers::default()).unwrap();
        let belief = Belief { map_pa: 50e3, iat_k: 300.0, ect_k: 360.0, ..Belief::default() };
        let slow = air_charge(&calibration, &belief, 150.0, 0.005);
        let fast = air_charge(&calibration, &belief, 150.0, 0.1);
        assert!(slow.charge_k > fast.charge_k && slow.air_kg < fast.air_kg);
        assert!((300.0..360.0).contains(&slow.charge_k) && (300.0..360.0).contains(&fast.charge_k));
    }

    #[test]
    fn the_map_is_entered_with_the_ratio_to_the_pressure_outside() {
        let calibration = Calibration::from_answers(&SetupAnswers::default()).unwrap();
        let at = |map_pa, baro_pa| {
            air_charge(&calibration, &Belief { map_pa, baro_pa, ..Belief::default() }, 150.0, 0.02)
        };
        let (sea, pass) = (at(60e3, 101_325.0), at(42e3, 0.7 * 101_325.0));
        assert_eq!(sea.weights.cells, pass.weights.cells);
        assert!((pass.air_kg / sea.air_kg - 0.7).abs() < 1e-4, "the same filling, of thinner air");
    }

    /// Ideal gas by hand: at eta 1, 101 325 Pa and 288.15 K the charge is 1.225 kg/m3 (ISO 2533) times the cylinder.
    #[test]
    fn val_the_charge_is_filling_times_standard_density() {
        let calibration = Calibration::from_answers(&SetupAnswers::default()).unwrap();
        let belief = Belief { iat_k: 288.15, ect_k: 288.15, ..Belief::default() };
        let charge = air_charge(&calibration, &belief, 200.0, 0.05);
        let eta = calibration.filling().at(&charge.weights);
        assert!((charge.air_kg / (eta * 1.225 * calibration.cylinder_m3()) - 1.0).abs() < 1e-4);
    }
}
