//! Spark advance: base by speed and load, and what pulls it back.

use trimwright_numerics::Real;

use crate::believe::Belief;
use crate::idle::Idle;
use crate::setup::Setup;
use trimwright_numerics::parameters::along;

/// Advance at full load against speed, (rad/s, degrees): the flame needs a share of a turn that grows with speed (engineering judgement).
const BY_SPEED: [(f32, f32); 5] = [(40.0, 8.0), (80.0, 12.0), (200.0, 24.0), (350.0, 31.0), (600.0, 33.0)];
/// Added at part load, (MAP over barometric pressure, degrees): thin charge burns slowly.
const BY_LOAD: [(f32, f32); 4] = [(0.3, 12.0), (0.5, 10.0), (0.8, 3.0), (1.0, 0.0)];
/// Advance while cranking, degrees.
const CRANKING_DEG: f32 = 8.0;
/// Advance of a warm idle, degrees: less than best, so that there is torque in hand.
const IDLE_DEG: f32 = 15.0;
/// Advance per rad/s below the idle target, degrees.
const IDLE_HAND: f32 = 0.9;
/// Farthest the idle hand goes, degrees.
const IDLE_HAND_DEG: f32 = 9.0;
/// Compression ratio above which advance is taken off at load, and how much for each unit, degrees.
const COMPRESSION: (f32, f32) = (9.0, 2.0);
/// Taken off against coolant temperature, (K, degrees): a hot engine knocks.
const HOT: [(f32, f32); 2] = [(373.0, 0.0), (388.0, 8.0)];
/// Taken off under nitrous, degrees.
const NITROUS_DEG: f32 = 8.0;
/// Held back right after a fuel cut, degrees.
const RETURN_DEG: f32 = 12.0;
/// Least and greatest advance, degrees.
const LIMITS_DEG: (f32, f32) = (-5.0, 45.0);

/// What acts on the spark besides speed and load.
///
/// ```
/// use trimwright_control::believe::Belief;
/// use trimwright_control::idle::Idle;
/// use trimwright_control::spark::{SparkHands, spark_deg};
/// use trimwright_control::{Calibration, SetupAnswers};
/// let calibration = Calibration::from_answers(&SetupAnswers::default())?;
/// let idle = Idle::default();
/// let driving = SparkHands { speed_rad_per_s: 250.0, started: true, idle: &idle, returned: 1.0, nitrous: false };
/// let deg = |hands| spark_deg(&calibration, &Belief::default(), &hands);
/// // Back from a fuel cut the torque is blended in: 12 degrees are held back at first.
/// assert_eq!(deg(driving) - deg(SparkHands { returned: 0.0, ..driving }), 12.0);
/// # Ok::<(), trimwright_control::AnswerError>(())
/// ```
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct SparkHands<'a> {
    /// Crank speed, rad/s.
    pub speed_rad_per_s: f32,
    /// The engine has started.
    pub started: bool,
    /// Idle control.
    pub idle: &'a Idle,
    /// Share of torque allowed after a cut.
    pub returned: f32,
    /// Nitrous is on.
    pub nitrous: bool,
}

/// Advance, degrees before top dead centre. When the controller does not set the spark it is the cranking value throughout.
///
/// ```
/// use trimwright_control::believe::Belief;
/// use trimwright_control::idle::Idle;
/// use trimwright_control::spark::{SparkHands, spark_deg};
/// use trimwright_control::{Calibration, SetupAnswers};
/// let calibration = Calibration::from_answers(&SetupAnswers::default())?;
/// let deg = |map_pa| {
///     let (mut belief, idle) = (Belief::default(), Idle::default());
///     belief.map_pa = map_pa;
///     let hands = SparkHands { speed_rad_per_s: 250.0, started: true, idle: &idle, returned: 1.0, nitrous: false };
///     spark_deg(&calibration, &belief, &hands)
/// };
/// assert!(deg(40e3) > deg(98e3) + 8.0, "thin charge burns slowly and is lit earlier");
/// # Ok::<(), trimwright_control::AnswerError>(())
/// ```
pub fn spark_deg(setup: &Setup, belief: &Belief, hands: &SparkHands<'_>) -> f32 {
    if !hands.started || !setup.answers().controls_spark {
        return CRANKING_DEG;
    }
    let load = belief.map_pa / belief.baro_pa.max(30e3);
    let base = if hands.idle.active {
        let slow = hands.idle.target_rad_per_s - hands.speed_rad_per_s;
        IDLE_DEG + (IDLE_HAND * slow).held(-IDLE_HAND_DEG, IDLE_HAND_DEG)
    } else {
        let squeezed = (setup.answers().compression_ratio - COMPRESSION.0).max(0.0) * COMPRESSION.1;
        along(&BY_SPEED, hands.speed_rad_per_s) + along(&BY_LOAD, load) - squeezed * load.held(0.0, 1.0)
    };
    let back = along(&HOT, belief.ect_k)
        + if hands.nitrous { NITROUS_DEG } else { 0.0 }
        + RETURN_DEG * (1.0 - hands.returned);
    (base - back).held(LIMITS_DEG.0, LIMITS_DEG.1)
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::answers::SetupAnswers;
    use crate::calibration::Calibration;

    fn deg(map_pa: f32, ect_k: f32, change: impl Fn(&mut SparkHands<'_>)) -> f32 {
        let calibration = Calibration::from_answers(&SetupAnswers::default()).unwrap();
        let idle = Idle { target_rad_per_s: 73.0, ..Idle::default() };
        let mut hands =
            SparkHands { speed_rad_per_s: 250.0, started: true, idle: &idle, returned: 1.0, nitrous: false };
        change(&mut hands);
        spark_deg(&calibration, &Belief { map_pa, ect_k, ..Belief::default() }, &hands)
    }

    #[test]
    fn thin_charge_and_high_speed_want_more_advance() {
        assert!(deg(40e3, 360.0, |_| ()) > deg(95e3, 360.0, |_| ()) + 5.0);
        assert!(deg(95e3, 360.0, |hands| hands.speed_rad_per_s = 400.0) > deg(95e3, 360.0, |_| ()));
    }

    #[test]
    fn heat_nitrous_and_the_return_from_a_cut_pull_it_back() {
        let base = deg(95e3, 360.0, |_| ());
        assert!(deg(95e3, 385.0, |_| ()) < base - 5.0);
        assert_eq!(deg(95e3, 360.0, |hands| hands.nitrous = true), base - NITROUS_DEG);
        assert_eq!(deg(95e3, 360.0, |hands| hands.returned = 0.0), base - RETURN_DEG);
    }

    #[test]
    fn a_sagging_idle_gets_advance() {
        let idle = Idle { target_rad_per_s: 73.0, active: true, ..Idle::default() };
        let calibration = Calibration::from_answers(&SetupAnswers::default()).unwrap();
        let at = |speed_rad_per_s| {
            let hands =
                SparkHands { speed_rad_per_s, started: true, idle: &idle, returned: 1.0, nitrous: false };
            spark_deg(&calibration, &Belief { ect_k: 360.0, ..Belief::default() }, &hands)
        };
        assert!(at(68.0) > IDLE_DEG && at(73.0) == IDLE_DEG && at(78.0) < IDLE_DEG);
        assert_eq!(at(20.0), IDLE_DEG + IDLE_HAND_DEG);
    }
}
