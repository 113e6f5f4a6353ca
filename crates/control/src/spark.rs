//! Spark advance: base advance by speed and load, and retards.

use trimwright_numerics::Real;
use trimwright_numerics::parameters::along;

use crate::estimate::Estimate;
use crate::setup::{MIN_BARO_PA, Setup};

trimwright_numerics::parameters! {
    /// Spark advance, degrees before top dead centre, where the controller sets it.
    #[cfg_attr(feature = "defmt", derive(defmt::Format))]
    pub struct SparkParameters<f32> "spark" {
        /// Advance at full load against crank speed.
        curve full_load_deg { [8] = [(40.0, 8.0), (80.0, 12.0), (200.0, 24.0), (350.0, 31.0), (600.0, 33.0)], 0.0..=1500.0 "rad/s" => -10.0..=60.0 "deg", "engineering judgement" }
        /// Advance added at part load against manifold over barometric pressure: a thin charge burns slowly.
        curve part_load_deg { [8] = [(0.3, 12.0), (0.5, 10.0), (0.8, 3.0), (1.0, 0.0)], 0.0..=2.0 "1" => -20.0..=40.0 "deg", "engineering judgement" }
        /// Advance while cranking, and always when the controller does not set the spark.
        number cranking_deg { 8.0, -5.0..=25.0 "deg", "engineering judgement" }
        /// Advance of a warm idle: below MBT for a torque reserve.
        number idle_deg { 18.0, -5.0..=40.0 "deg", "engineering judgement" }
        /// Advance per speed below the idle target.
        number idle_gain_deg_s_per_rad { 0.9, 0.0..=5.0 "deg s/rad", "engineering judgement" }
        /// Limit of that advance, either way.
        number idle_limit_deg { 9.0, 0.0..=20.0 "deg", "engineering judgement" }
        /// Compression ratio above which advance is reduced at load.
        number compression_from { 9.0, 6.0..=14.0 "1", "engineering judgement" }
        /// Retard at full load per unit of compression ratio above that.
        number compression_retard_deg { 2.0, 0.0..=10.0 "deg", "engineering judgement" }
        /// Retard against coolant temperature, for knock.
        curve hot_retard_deg { [4] = [(373.0, 0.0), (388.0, 8.0)], 200.0..=450.0 "K" => 0.0..=30.0 "deg", "engineering judgement" }
        /// Retard with nitrous.
        number nitrous_retard_deg { 8.0, 0.0..=25.0 "deg", "engineering judgement" }
        /// Retard right after a fuel cut, to blend in the torque.
        number after_cut_retard_deg { 12.0, 0.0..=30.0 "deg", "engineering judgement: the torque is blended in" }
        /// Lower limit of the advance.
        number min_advance_deg { -5.0, -20.0..=15.0 "deg", "engineering judgement" }
        /// Upper limit of the advance.
        number max_advance_deg { 45.0, 15.0..=60.0 "deg", "engineering judgement" }
    }
}

/// Inputs of the spark advance beside the sensor estimates.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct SparkInputs {
    /// Crank speed, rad/s.
    pub speed_rad_per_s: f32,
    /// The engine has started.
    pub started: bool,
    /// Target idle speed while idle feedback is active, rad/s.
    pub idle_rad_per_s: Option<f32>,
    /// Share of torque allowed after a cut, 0 to 1.
    pub torque_share: f32,
    /// Nitrous is on.
    pub nitrous: bool,
}

/// Spark advance, degrees before top dead centre.
///
/// ```
/// use trimwright_control::sensing::Estimate;
/// use trimwright_control::outputs::{SparkInputs, spark_deg};
/// use trimwright_control::{Calibration, SetupAnswers};
/// let calibration = Calibration::from_answers(&SetupAnswers::default())?;
/// let deg = |map_pa| {
///     let mut estimate = Estimate::default();
///     estimate.map_pa = map_pa;
///     let inputs = SparkInputs { speed_rad_per_s: 250.0, started: true, idle_rad_per_s: None, torque_share: 1.0, nitrous: false };
///     spark_deg(&calibration.parameters().spark, calibration.setup(), &estimate, &inputs)
/// };
/// assert!(deg(40e3) > deg(98e3) + 8.0, "thin charge burns slowly and is lit earlier");
/// # Ok::<(), trimwright_control::AnswerError>(())
/// ```
pub fn spark_deg(
    parameters: &SparkParameters,
    setup: &Setup,
    estimate: &Estimate,
    inputs: &SparkInputs,
) -> f32 {
    if !inputs.started || !setup.answers().controls_spark {
        return parameters.cranking_deg;
    }
    let load = estimate.map_pa / estimate.baro_pa.at_least(MIN_BARO_PA);
    let base = if let Some(idle_rad_per_s) = inputs.idle_rad_per_s {
        let slow = idle_rad_per_s - inputs.speed_rad_per_s;
        let limit_deg = parameters.idle_limit_deg;
        parameters.idle_deg + (parameters.idle_gain_deg_s_per_rad * slow).held(-limit_deg, limit_deg)
    } else {
        let more = (setup.answers().compression_ratio - parameters.compression_from).at_least(0.0);
        let for_compression = more * parameters.compression_retard_deg;
        along(&parameters.full_load_deg, inputs.speed_rad_per_s) + along(&parameters.part_load_deg, load)
            - for_compression * load.held(0.0, 1.0)
    };
    let retard = along(&parameters.hot_retard_deg, estimate.ect_k)
        + if inputs.nitrous { parameters.nitrous_retard_deg } else { 0.0 }
        + parameters.after_cut_retard_deg * (1.0 - inputs.torque_share);
    (base - retard).held(parameters.min_advance_deg, parameters.max_advance_deg)
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::answers::SetupAnswers;
    use crate::calibration::Calibration;

    const SPARK: SparkParameters = SparkParameters::DEFAULT;
    const DRIVING: SparkInputs = SparkInputs {
        speed_rad_per_s: 250.0,
        started: true,
        idle_rad_per_s: None,
        torque_share: 1.0,
        nitrous: false,
    };

    fn deg(map_pa: f32, ect_k: f32, inputs: SparkInputs) -> f32 {
        deg_with(&SPARK, map_pa, ect_k, inputs)
    }

    fn deg_with(parameters: &SparkParameters, map_pa: f32, ect_k: f32, inputs: SparkInputs) -> f32 {
        let calibration = Calibration::from_answers(&SetupAnswers::default()).unwrap();
        let estimate = Estimate { map_pa, ect_k, ..Estimate::default() };
        spark_deg(parameters, calibration.setup(), &estimate, &inputs)
    }

    #[test]
    fn thin_charge_and_high_speed_want_more_advance() {
        assert!(deg(40e3, 360.0, DRIVING) > deg(95e3, 360.0, DRIVING) + 5.0);
        let faster = SparkInputs { speed_rad_per_s: 400.0, ..DRIVING };
        assert!(deg(95e3, 360.0, faster) > deg(95e3, 360.0, DRIVING));
    }

    #[test]
    fn heat_nitrous_and_the_return_from_a_cut_retard() {
        let base = deg(95e3, 360.0, DRIVING);
        assert!(deg(95e3, 385.0, DRIVING) < base - 5.0);
        let (boosted, returning) =
            (SparkInputs { nitrous: true, ..DRIVING }, SparkInputs { torque_share: 0.0, ..DRIVING });
        assert_eq!(deg(95e3, 360.0, boosted), base - SPARK.nitrous_retard_deg);
        assert_eq!(deg(95e3, 360.0, returning), base - SPARK.after_cut_retard_deg);
    }

    #[test]
    fn a_slow_idle_gets_advance() {
        let at = |speed_rad_per_s| {
            deg(35e3, 360.0, SparkInputs { speed_rad_per_s, idle_rad_per_s: Some(73.0), ..DRIVING })
        };
        assert!(at(68.0) > SPARK.idle_deg && at(73.0) == SPARK.idle_deg && at(78.0) < SPARK.idle_deg);
        assert_eq!(at(20.0), SPARK.idle_deg + SPARK.idle_limit_deg);
    }

    #[test]
    fn the_curve_shifts_the_advance() {
        let mut later = SPARK;
        later.full_load_deg.iter_mut().for_each(|(_, deg)| *deg -= 3.0);
        assert!((deg_with(&later, 95e3, 360.0, DRIVING) - deg(95e3, 360.0, DRIVING) + 3.0).abs() < 1e-5);
    }

    /// By hand: 24 deg at 200 rad/s plus a third of 7 to 350; 3 deg at a load of 0.8; 2 deg per unit of compression above 9 at full load.
    #[test]
    fn base_advance_is_by_speed_and_load_less_compression() {
        let deg = |compression_ratio| {
            let answers = SetupAnswers { compression_ratio, ..SetupAnswers::default() };
            let calibration = Calibration::from_answers(&answers).unwrap();
            let estimate = Estimate { map_pa: 80e3, baro_pa: 100e3, ect_k: 360.0, ..Estimate::default() };
            spark_deg(&SPARK, calibration.setup(), &estimate, &DRIVING)
        };
        let base_deg = 24.0 + 7.0 / 3.0 + 3.0;
        assert!((deg(9.0) - base_deg).abs() < 1e-4 && (deg(8.0) - base_deg).abs() < 1e-4);
        assert!((deg(11.5) - base_deg + 2.5 * 2.0 * 0.8).abs() < 1e-4);
    }

    #[test]
    fn while_cranking_or_with_a_spark_of_its_own_the_engine_gets_the_fixed_advance() {
        let deg = |controls_spark, started| {
            let answers = SetupAnswers { controls_spark, ..SetupAnswers::default() };
            let calibration = Calibration::from_answers(&answers).unwrap();
            spark_deg(&SPARK, calibration.setup(), &Estimate::default(), &SparkInputs { started, ..DRIVING })
        };
        assert_eq!([deg(false, true), deg(true, false)], [SPARK.cranking_deg; 2]);
        assert!(deg(true, true) > SPARK.cranking_deg);
    }
}
