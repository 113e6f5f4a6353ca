//! Spark advance: base by speed and load, and what pulls it back.

use trimwright_numerics::Real;
use trimwright_numerics::parameters::along;

use crate::believe::Belief;
use crate::setup::{LEAST_BARO_PA, Setup};

trimwright_numerics::parameters! {
    /// Spark advance, degrees of the crank before top dead centre, where the controller sets it.
    #[cfg_attr(feature = "defmt", derive(defmt::Format))]
    pub struct SparkParameters<f32> "spark" {
        /// Advance at full load against crank speed: the flame needs a share of a turn that grows with speed.
        curve full_load_deg { [8] = [(40.0, 8.0), (80.0, 12.0), (200.0, 24.0), (350.0, 31.0), (600.0, 33.0)], 0.0..=1500.0 "rad/s" => -10.0..=60.0 "deg", "engineering judgement" }
        /// Advance added at part load against manifold over outside pressure: thin charge burns slowly.
        curve part_load_deg { [8] = [(0.3, 12.0), (0.5, 10.0), (0.8, 3.0), (1.0, 0.0)], 0.0..=2.0 "1" => -20.0..=40.0 "deg", "engineering judgement" }
        /// Advance while cranking, and throughout when the controller does not set the spark.
        number cranking_deg { 8.0, -5.0..=25.0 "deg", "engineering judgement" }
        /// Advance of a warm idle: less than best, so that there is torque in hand.
        number idle_deg { 15.0, -5.0..=40.0 "deg", "engineering judgement" }
        /// Advance added for speed below the idle target, and taken off above.
        number idle_gain_deg_s_per_rad { 0.9, 0.0..=5.0 "deg s/rad", "engineering judgement" }
        /// Farthest that goes.
        number idle_reach_deg { 9.0, 0.0..=20.0 "deg", "engineering judgement" }
        /// Compression ratio above which advance is taken off at load.
        number compression_from { 9.0, 6.0..=14.0 "1", "engineering judgement" }
        /// Advance taken off at full load for each unit of compression ratio above that.
        number compression_retard_deg { 2.0, 0.0..=10.0 "deg", "engineering judgement" }
        /// Advance taken off against coolant temperature: a hot engine knocks.
        curve hot_retard_deg { [4] = [(373.0, 0.0), (388.0, 8.0)], 200.0..=450.0 "K" => 0.0..=30.0 "deg", "engineering judgement" }
        /// Advance taken off under nitrous.
        number nitrous_retard_deg { 8.0, 0.0..=25.0 "deg", "engineering judgement" }
        /// Advance held back right after a fuel cut.
        number after_cut_retard_deg { 12.0, 0.0..=30.0 "deg", "engineering judgement: the torque is blended in" }
        /// Least advance.
        number least_deg { -5.0, -20.0..=15.0 "deg", "engineering judgement" }
        /// Greatest advance.
        number greatest_deg { 45.0, 15.0..=60.0 "deg", "engineering judgement" }
    }
}

/// What acts on the spark besides speed and load.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct SparkHands {
    /// Crank speed, rad/s.
    pub speed_rad_per_s: f32,
    /// The engine has started.
    pub started: bool,
    /// Idle speed that is being held, rad/s, if so.
    pub idle_rad_per_s: Option<f32>,
    /// Share of torque allowed after a cut.
    pub returned: f32,
    /// Nitrous is on.
    pub nitrous: bool,
}

/// Advance, degrees before top dead centre. When the controller does not set the spark it is the cranking value throughout.
///
/// ```
/// use trimwright_control::believe::Belief;
/// use trimwright_control::spark::{SparkHands, spark_deg};
/// use trimwright_control::{Calibration, SetupAnswers};
/// let calibration = Calibration::from_answers(&SetupAnswers::default())?;
/// let deg = |map_pa| {
///     let mut belief = Belief::default();
///     belief.map_pa = map_pa;
///     let hands = SparkHands { speed_rad_per_s: 250.0, started: true, idle_rad_per_s: None, returned: 1.0, nitrous: false };
///     spark_deg(&calibration.parameters().spark, calibration.setup(), &belief, &hands)
/// };
/// assert!(deg(40e3) > deg(98e3) + 8.0, "thin charge burns slowly and is lit earlier");
/// # Ok::<(), trimwright_control::AnswerError>(())
/// ```
pub fn spark_deg(parameters: &SparkParameters, setup: &Setup, belief: &Belief, hands: &SparkHands) -> f32 {
    if !hands.started || !setup.answers().controls_spark {
        return parameters.cranking_deg;
    }
    let load = belief.map_pa / belief.baro_pa.at_least(LEAST_BARO_PA);
    let base = if let Some(idle_rad_per_s) = hands.idle_rad_per_s {
        let slow = idle_rad_per_s - hands.speed_rad_per_s;
        let reach_deg = parameters.idle_reach_deg;
        parameters.idle_deg + (parameters.idle_gain_deg_s_per_rad * slow).held(-reach_deg, reach_deg)
    } else {
        let more = (setup.answers().compression_ratio - parameters.compression_from).at_least(0.0);
        let squeezed = more * parameters.compression_retard_deg;
        along(&parameters.full_load_deg, hands.speed_rad_per_s) + along(&parameters.part_load_deg, load)
            - squeezed * load.held(0.0, 1.0)
    };
    let back = along(&parameters.hot_retard_deg, belief.ect_k)
        + if hands.nitrous { parameters.nitrous_retard_deg } else { 0.0 }
        + parameters.after_cut_retard_deg * (1.0 - hands.returned);
    (base - back).held(parameters.least_deg, parameters.greatest_deg)
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::answers::SetupAnswers;
    use crate::calibration::Calibration;

    const SPARK: SparkParameters = SparkParameters::DEFAULT;
    const DRIVING: SparkHands = SparkHands {
        speed_rad_per_s: 250.0,
        started: true,
        idle_rad_per_s: None,
        returned: 1.0,
        nitrous: false,
    };

    fn deg(map_pa: f32, ect_k: f32, hands: SparkHands) -> f32 {
        deg_with(&SPARK, map_pa, ect_k, hands)
    }

    fn deg_with(parameters: &SparkParameters, map_pa: f32, ect_k: f32, hands: SparkHands) -> f32 {
        let calibration = Calibration::from_answers(&SetupAnswers::default()).unwrap();
        let belief = Belief { map_pa, ect_k, ..Belief::default() };
        spark_deg(parameters, calibration.setup(), &belief, &hands)
    }

    #[test]
    fn thin_charge_and_high_speed_want_more_advance() {
        assert!(deg(40e3, 360.0, DRIVING) > deg(95e3, 360.0, DRIVING) + 5.0);
        let faster = SparkHands { speed_rad_per_s: 400.0, ..DRIVING };
        assert!(deg(95e3, 360.0, faster) > deg(95e3, 360.0, DRIVING));
    }

    #[test]
    fn heat_nitrous_and_the_return_from_a_cut_pull_it_back() {
        let base = deg(95e3, 360.0, DRIVING);
        assert!(deg(95e3, 385.0, DRIVING) < base - 5.0);
        let (boosted, returning) =
            (SparkHands { nitrous: true, ..DRIVING }, SparkHands { returned: 0.0, ..DRIVING });
        assert_eq!(deg(95e3, 360.0, boosted), base - SPARK.nitrous_retard_deg);
        assert_eq!(deg(95e3, 360.0, returning), base - SPARK.after_cut_retard_deg);
    }

    #[test]
    fn a_sagging_idle_gets_advance() {
        let at = |speed_rad_per_s| {
            deg(35e3, 360.0, SparkHands { speed_rad_per_s, idle_rad_per_s: Some(73.0), ..DRIVING })
        };
        assert!(at(68.0) > SPARK.idle_deg && at(73.0) == SPARK.idle_deg && at(78.0) < SPARK.idle_deg);
        assert_eq!(at(20.0), SPARK.idle_deg + SPARK.idle_reach_deg);
    }

    #[test]
    fn other_curves_are_another_advance() {
        let mut later = SPARK;
        later.full_load_deg.iter_mut().for_each(|(_, deg)| *deg -= 3.0);
        assert!((deg_with(&later, 95e3, 360.0, DRIVING) - deg(95e3, 360.0, DRIVING) + 3.0).abs() < 1e-5);
    }
}
