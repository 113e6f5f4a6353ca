//! The mixture wanted in the cylinder: by load, by warmth, by time since the start.
//!
//! `lambda = load term * warm-up term * after-start term`, held between 0.6 and 1.1. Engineering judgement throughout:
//! common practice for petrol engines, for a cautious start.

use trimwright_numerics::Real;

use crate::answers::Cam;
use crate::believe::Belief;
use crate::enrichment;
use crate::setup::Setup;
use trimwright_numerics::parameters::along;

/// Lambda against the ratio of MAP to barometric pressure: power enrichment.
const BY_LOAD: [(f32, f32); 4] = [(0.0, 1.0), (0.86, 1.0), (0.95, 0.88), (1.0, 0.87)];
/// Lambda against throttle position: a foot to the floor asks for power before the pressure shows it.
const BY_THROTTLE: [(f32, f32); 3] = [(0.0, 1.0), (0.65, 1.0), (0.85, 0.87)];
/// Lambda of a lumpy idle: a hot cam burns badly there at lambda 1.
const HOT_CAM_IDLE: f32 = 0.94;
/// Lambda against coolant temperature, K: vapour is scarce in a cold manifold.
const BY_ECT: [(f32, f32); 6] =
    [(253.0, 0.80), (273.0, 0.85), (293.0, 0.91), (313.0, 0.955), (333.0, 0.99), (345.0, 1.0)];

/// Wanted lambda. `leaned` is how far a lumpy idle is taken to lambda 1 to be checked, 0 to 1.
///
/// ```
/// use trimwright_control::believe::Belief;
/// use trimwright_control::wanted_lambda::wanted_lambda;
/// use trimwright_control::{Calibration, SetupAnswers};
/// let calibration = Calibration::from_answers(&SetupAnswers::default())?;
/// let lambda = |map_pa, ect_k| {
///     let mut belief = Belief::default();
///     (belief.map_pa, belief.ect_k) = (map_pa, ect_k);
///     wanted_lambda(&calibration, &belief, 200.0, 600.0, 0.0)
/// };
/// // Warm and cruising, at full load, cold.
/// assert_eq!(lambda(45e3, 360.0), 1.0);
/// assert!(lambda(100e3, 360.0) < 0.89 && lambda(45e3, 273.0) < 0.89);
/// # Ok::<(), trimwright_control::AnswerError>(())
/// ```
pub fn wanted_lambda(
    setup: &Setup,
    belief: &Belief,
    speed_rad_per_s: f32,
    since_start_s: f32,
    leaned: f32,
) -> f32 {
    let load = along(&BY_LOAD, belief.map_pa / belief.baro_pa.max(30e3));
    let throttle = along(&BY_THROTTLE, belief.tp);
    let idle = setup.answers().idle_speed_rad_per_s;
    let lumpy = setup.answers().cam == Cam::Hot && belief.tp < 0.03 && speed_rad_per_s < 1.3 * idle;
    let steady = load.min(throttle) * if lumpy { HOT_CAM_IDLE + leaned * (1.0 - HOT_CAM_IDLE) } else { 1.0 };
    let cold = along(&BY_ECT, belief.ect_k);
    (steady * cold / enrichment::after_start(belief.ect_k, since_start_s)).held(0.6, 1.1)
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::answers::SetupAnswers;
    use crate::calibration::Calibration;

    fn lambda(map_pa: f32, tp: f32, ect_k: f32, since_start_s: f32) -> f32 {
        let calibration = Calibration::from_answers(&SetupAnswers::default()).unwrap();
        wanted_lambda(
            &calibration,
            &Belief { map_pa, tp, ect_k, ..Belief::default() },
            200.0,
            since_start_s,
            0.0,
        )
    }

    #[test]
    fn warm_cruise_is_stoichiometric() {
        assert_eq!(lambda(45e3, 0.1, 360.0, 600.0), 1.0);
    }

    #[test]
    fn full_load_or_full_throttle_is_rich() {
        assert!((0.86..0.89).contains(&lambda(100e3, 0.3, 360.0, 600.0)));
        assert!((0.86..0.89).contains(&lambda(60e3, 1.0, 360.0, 600.0)));
    }

    #[test]
    fn cold_and_just_started_is_richer_than_cold_is_richer_than_warm() {
        let (just_started, cold, warm) =
            (lambda(45e3, 0.0, 273.0, 1.0), lambda(45e3, 0.0, 273.0, 300.0), 1.0);
        assert!(just_started < 0.95 * cold && cold < 0.95 * warm && just_started >= 0.6);
    }

    #[test]
    fn a_hot_cam_idles_rich_unless_it_is_checked() {
        let answers = SetupAnswers { cam: Cam::Hot, ..SetupAnswers::default() };
        let calibration = Calibration::from_answers(&answers).unwrap();
        let belief = Belief { map_pa: 50e3, ect_k: 360.0, ..Belief::default() };
        assert!(wanted_lambda(&calibration, &belief, 80.0, 600.0, 0.0) < 0.95);
        assert_eq!(wanted_lambda(&calibration, &belief, 80.0, 600.0, 1.0), 1.0);
    }
}
