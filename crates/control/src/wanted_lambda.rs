//! Wanted lambda: by load, coolant temperature and time since the start.
//!
//! `lambda = load term * idle or cruise term * warm-up term / after-start term`, within two limits.

use trimwright_numerics::Real;
use trimwright_numerics::parameters::along;

use crate::answers::Cam;
use crate::estimate::Estimate;
use crate::setup::Setup;

trimwright_numerics::parameters! {
    /// Wanted lambda.
    #[cfg_attr(feature = "defmt", derive(defmt::Format))]
    pub struct WantedLambdaParameters<f32> "wanted_lambda" {
        /// Lambda at cruise: part load off idle, warm; fades out with power enrichment.
        number cruise { 1.0, 0.8..=1.15 "1", "common practice, no source" }
        /// Lambda at idle: closed throttle near idle speed, warm.
        number idle { 1.0, 0.8..=1.1 "1", "common practice, no source" }
        /// Factor on the idle lambda with a hot cam, whose idle burns badly at lambda 1.
        number hot_cam_idle { 0.94, 0.75..=1.0 "1", "engineering judgement" }
        /// Throttle position below which the idle lambda may apply.
        number idle_tp { 0.03, 0.005..=0.1 "1", "engineering judgement" }
        /// Speed over the idle speed below which the idle lambda may apply.
        number idle_speed { 1.3, 1.05..=2.5 "1", "engineering judgement" }
        /// Power enrichment: lambda against manifold over barometric pressure.
        curve by_load { [8] = [(0.0, 1.0), (0.86, 1.0), (0.95, 0.88), (1.0, 0.87)], 0.0..=1.2 "1" => 0.65..=1.1 "1", "engineering judgement" }
        /// Power enrichment: lambda against throttle position, ahead of the pressure.
        curve by_throttle { [8] = [(0.0, 1.0), (0.65, 1.0), (0.85, 0.87)], 0.0..=1.0 "1" => 0.65..=1.1 "1", "engineering judgement" }
        /// Warm-up enrichment: factor on lambda against coolant temperature.
        curve by_ect { [8] = [(253.0, 0.76), (273.0, 0.85), (293.0, 0.91), (313.0, 0.955), (333.0, 0.99), (345.0, 1.0)], 220.0..=400.0 "K" => 0.5..=1.1 "1", "engineering judgement: a cautious start" }
        /// Lambda of best power; a mixture at full load is not judged against a richer one.
        number best_power { 0.86, 0.75..=0.95 "1", "common practice, no source" }
        /// Lower limit of lambda of a started engine.
        number richest { 0.6, 0.4..=0.85 "1", "engineering judgement" }
        /// Upper limit of lambda of a started engine.
        number leanest { 1.1, 1.0..=1.3 "1", "engineering judgement" }
    }
}

/// Wanted lambda. `after_start` is the after-start enrichment, fuel ratio; `lean_blend` the blend from a rich idle target (0) to lambda 1
/// (1) for the self-check.
///
/// ```
/// use trimwright_control::sensing::Estimate;
/// use trimwright_control::parameters::WantedLambdaParameters;
/// use trimwright_control::fueling::wanted_lambda;
/// use trimwright_control::{Calibration, SetupAnswers};
/// let calibration = Calibration::from_answers(&SetupAnswers::default())?;
/// let lambda = |map_pa, ect_k| {
///     let estimate = Estimate { map_pa, ect_k, ..Estimate::default() };
///     wanted_lambda(&WantedLambdaParameters::DEFAULT, calibration.setup(), &estimate, 200.0, 1.0, 0.0)
/// };
/// // Warm and cruising, at full load, cold.
/// assert_eq!(lambda(45e3, 360.0), 1.0);
/// assert!(lambda(100e3, 360.0) < 0.89 && lambda(45e3, 273.0) < 0.89);
/// # Ok::<(), trimwright_control::AnswerError>(())
/// ```
pub fn wanted_lambda(
    parameters: &WantedLambdaParameters,
    setup: &Setup,
    estimate: &Estimate,
    speed_rad_per_s: f32,
    after_start: f32,
    lean_blend: f32,
) -> f32 {
    let power =
        along(&parameters.by_load, estimate.load()).at_most(along(&parameters.by_throttle, estimate.tp));
    let answers = setup.answers();
    let idles = estimate.tp < parameters.idle_tp
        && speed_rad_per_s < parameters.idle_speed * answers.idle_speed_rad_per_s;
    let factor = if idles {
        let hot_cam = parameters.hot_cam_idle;
        parameters.idle * if answers.cam == Cam::Hot { hot_cam + lean_blend * (1.0 - hot_cam) } else { 1.0 }
    } else {
        let part = (power - parameters.best_power) / (1.0 - parameters.best_power);
        1.0 + (parameters.cruise - 1.0) * part.held(0.0, 1.0)
    };
    let cold = along(&parameters.by_ect, estimate.ect_k);
    (power * factor * cold / after_start).held(parameters.richest, parameters.leanest)
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::answers::SetupAnswers;
    use crate::calibration::Calibration;

    const WANTED: WantedLambdaParameters = WantedLambdaParameters::DEFAULT;

    fn lambda_by(parameters: &WantedLambdaParameters, cam: Cam, estimate: Estimate, speed: f32) -> f32 {
        let answers = SetupAnswers { cam, ..SetupAnswers::default() };
        let calibration = Calibration::from_answers(&answers).unwrap();
        wanted_lambda(parameters, calibration.setup(), &estimate, speed, 1.0, 0.0)
    }

    fn lambda(map_pa: f32, tp: f32, ect_k: f32) -> f32 {
        lambda_by(&WANTED, Cam::Mild, Estimate { map_pa, tp, ect_k, ..Estimate::default() }, 200.0)
    }

    #[test]
    fn warm_cruise_is_stoichiometric() {
        assert_eq!(lambda(45e3, 0.1, 360.0), 1.0);
    }

    #[test]
    fn full_load_or_full_throttle_is_rich() {
        assert!((0.86..0.89).contains(&lambda(100e3, 0.3, 360.0)));
        assert!((0.86..0.89).contains(&lambda(60e3, 1.0, 360.0)));
    }

    #[test]
    fn cold_and_just_started_is_richer_than_cold_is_richer_than_warm() {
        let calibration = Calibration::from_answers(&SetupAnswers::default()).unwrap();
        let estimate = Estimate { map_pa: 45e3, ect_k: 273.0, ..Estimate::default() };
        let just_started = wanted_lambda(&WANTED, calibration.setup(), &estimate, 200.0, 1.17, 0.0);
        let (cold, warm) = (lambda(45e3, 0.0, 273.0), 1.0);
        assert!(just_started < 0.95 * cold && cold < 0.95 * warm && just_started >= 0.6);
    }

    #[test]
    fn a_hot_cam_idles_rich_except_during_a_self_check() {
        let answers = SetupAnswers { cam: Cam::Hot, ..SetupAnswers::default() };
        let calibration = Calibration::from_answers(&answers).unwrap();
        let estimate = Estimate { map_pa: 50e3, ect_k: 360.0, ..Estimate::default() };
        assert!(wanted_lambda(&WANTED, calibration.setup(), &estimate, 80.0, 1.0, 0.0) < 0.95);
        assert_eq!(wanted_lambda(&WANTED, calibration.setup(), &estimate, 80.0, 1.0, 1.0), 1.0);
    }

    #[test]
    fn idle_and_cruise_lambda_are_independent_and_leave_full_load_alone() {
        let parameters = WantedLambdaParameters { cruise: 1.05, idle: 0.97, ..WANTED };
        let at = |map_pa, tp, speed| {
            let estimate = Estimate { map_pa, tp, ect_k: 360.0, ..Estimate::default() };
            lambda_by(&parameters, Cam::Mild, estimate, speed)
        };
        assert_eq!((at(40e3, 0.0, 80.0), at(45e3, 0.1, 200.0)), (0.97, 1.05));
        assert_eq!(at(45e3, 0.0, 200.0), 1.05, "a closed throttle at speed is no idle");
        assert!((at(101e3, 1.0, 300.0) - lambda(101e3, 1.0, 360.0)).abs() < 0.005, "power as before");
        let hot = Estimate { map_pa: 50e3, ect_k: 360.0, ..Estimate::default() };
        assert!((lambda_by(&parameters, Cam::Hot, hot, 80.0) - 0.97 * WANTED.hot_cam_idle).abs() < 1e-6);
    }

    #[test]
    fn at_the_limits_of_throttle_or_speed_it_is_no_idle() {
        let parameters = WantedLambdaParameters { cruise: 1.05, idle: 0.97, ..WANTED };
        let at = |tp, speed| {
            lambda_by(
                &parameters,
                Cam::Mild,
                Estimate { map_pa: 40e3, tp, ect_k: 360.0, ..Estimate::default() },
                speed,
            )
        };
        let idle_speed = SetupAnswers::default().idle_speed_rad_per_s;
        assert_eq!([at(0.0, idle_speed), at(WANTED.idle_tp, idle_speed)], [0.97, 1.05]);
        assert_eq!(at(0.0, WANTED.idle_speed * idle_speed), 1.05);
    }
}
