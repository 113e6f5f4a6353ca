//! When the fuel is cut: coasting, too much speed, clear-flood; and the lean guard.

use trimwright_numerics::Real;

use crate::believe::Belief;
use crate::setup::Setup;

/// Why the fuel is cut.
///
/// ```
/// use trimwright_control::believe::Belief;
/// use trimwright_control::cuts::{Cut, Cuts};
/// use trimwright_control::{Calibration, SetupAnswers};
/// let calibration = Calibration::from_answers(&SetupAnswers::default())?;
/// let mut cuts = Cuts::default();
/// assert_eq!(cuts.cut, Cut::None);
/// // 560 rad/s, and the limit is 545.
/// cuts.step(&calibration, &Belief::default(), 560.0, None, 0.01);
/// assert_eq!(cuts.cut, Cut::OverSpeed);
/// # Ok::<(), trimwright_control::AnswerError>(())
/// ```
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub enum Cut {
    /// It is not.
    #[default]
    None,
    /// Closed throttle at speed: deceleration fuel cut-off.
    Coasting,
    /// Above the rev limit, or the lean guard has tripped.
    OverSpeed,
}

/// Throttle position below which the foot is off, ratio.
const CLOSED_TP: f32 = 0.02;
/// Speed above idle from which coasting cuts, rad/s (about 1000 rpm).
const COAST_FROM_RAD_PER_S: f32 = 105.0;
/// Speed above idle at which fuel comes back, rad/s (about 500 rpm): above any idle flare, so that the engine catches itself.
const COAST_TO_RAD_PER_S: f32 = 52.0;
/// Time by which the fuel leads the speed on its way down, s: it has to wet the wall and wait in the cylinders first.
const COAST_LEAD_S: f32 = 0.25;
/// Time constant of the rate of speed, s.
const FALLS_S: f32 = 0.06;
/// Farthest that lead goes, rad/s.
const COAST_LEAD_RAD_PER_S: f32 = 45.0;
/// Time the throttle must have been closed before coasting cuts, s.
const COAST_AFTER_S: f32 = 0.6;
/// Coolant temperature from which coasting cuts, K.
const COAST_WARM_K: f32 = 323.0;
/// Speed below the rev limit at which fuel comes back, rad/s.
const LIMIT_BAND_RAD_PER_S: f32 = 15.0;
/// Time in which a cut's return is blended in, s.
///
/// ```
/// use trimwright_control::believe::Belief;
/// use trimwright_control::cuts::{Cuts, RETURN_S};
/// use trimwright_control::{Calibration, SetupAnswers};
/// let calibration = Calibration::from_answers(&SetupAnswers::default())?;
/// let mut cuts = Cuts::default();
/// cuts.step(&calibration, &Belief::default(), 560.0, None, 0.01);
/// // Half of the time after the fuel came back, half of the torque.
/// cuts.step(&calibration, &Belief::default(), 400.0, None, 0.5 * RETURN_S);
/// assert_eq!(cuts.returned(), 0.5);
/// # Ok::<(), trimwright_control::AnswerError>(())
/// ```
pub const RETURN_S: f32 = 0.4;

/// Load (MAP over barometric pressure) above which a lean mixture is dangerous, ratio.
const GUARD_LOAD: f32 = 0.85;
/// Lambda over wanted lambda that counts as dangerous there, ratio.
const GUARD_LEAN: f32 = 1.12;
/// Time of it until the fuel is cut, s.
const GUARD_S: f32 = 0.8;

/// The cuts' memory.
///
/// ```
/// use trimwright_control::believe::Belief;
/// use trimwright_control::cuts::{Cut, Cuts};
/// use trimwright_control::{Calibration, SetupAnswers};
/// let calibration = Calibration::from_answers(&SetupAnswers::default())?;
/// let (mut cuts, mut belief) = (Cuts::default(), Belief::default());
/// // Down a hill with a warm engine at 2100 rpm: the fuel is cut when the foot has been off for a while.
/// (belief.tp, belief.ect_k) = (0.0, 360.0);
/// let mut after = |slots| {
///     (0..slots).for_each(|_| cuts.step(&calibration, &belief, 220.0, None, 0.01));
///     cuts.cut
/// };
/// assert_eq!([after(50), after(20)], [Cut::None, Cut::Coasting]);
/// # Ok::<(), trimwright_control::AnswerError>(())
/// ```
#[derive(Clone, Copy, Debug, Default, PartialEq)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub struct Cuts {
    /// The cut of this instant.
    pub cut: Cut,
    closed_s: f32,
    since_cut_s: f32,
    lean_s: f32,
    speed_rad_per_s: f32,
    falls_rad_per_s2: f32,
    /// The lean guard has cut the fuel; it lets go when the throttle is closed.
    pub guard_tripped: bool,
    /// Times the lean guard has cut since power-up.
    pub guard_trips: u16,
}

impl Cuts {
    /// Decides on the cut. `lean_ratio` is lambda read over lambda wanted then, where the reading is usable.
    ///
    /// ```
    /// use trimwright_control::believe::Belief;
    /// use trimwright_control::cuts::{Cut, Cuts};
    /// use trimwright_control::{Calibration, SetupAnswers};
    /// let calibration = Calibration::from_answers(&SetupAnswers::default())?;
    /// let (mut cuts, mut belief) = (Cuts::default(), Belief::default());
    /// // Full throttle, a fifth leaner than wanted: within a second the guard cuts the fuel.
    /// (belief.tp, belief.map_pa) = (1.0, 97e3);
    /// (0..100).for_each(|_| cuts.step(&calibration, &belief, 300.0, Some(1.2), 0.01));
    /// assert!(cuts.guard_tripped && cuts.cut == Cut::OverSpeed);
    /// // It comes back when the throttle is closed, not before.
    /// belief.tp = 0.0;
    /// cuts.step(&calibration, &belief, 150.0, None, 0.01);
    /// assert_eq!((cuts.cut, cuts.guard_trips), (Cut::None, 1));
    /// # Ok::<(), trimwright_control::AnswerError>(())
    /// ```
    pub fn step(
        &mut self,
        setup: &Setup,
        belief: &Belief,
        speed_rad_per_s: f32,
        lean_ratio: Option<f32>,
        dt_s: f32,
    ) {
        let fell = self.speed_rad_per_s - speed_rad_per_s;
        self.speed_rad_per_s = speed_rad_per_s;
        self.falls_rad_per_s2 += (fell - self.falls_rad_per_s2 * dt_s) / (FALLS_S + dt_s);
        let lead = (COAST_LEAD_S * self.falls_rad_per_s2).held(0.0, COAST_LEAD_RAD_PER_S);
        let answers = setup.answers();
        let closed = throttle_is_closed(belief);
        self.closed_s = if closed { (self.closed_s + dt_s).min(10.0) } else { 0.0 };
        self.guard(belief, closed, lean_ratio, dt_s);
        let over = speed_rad_per_s - answers.idle_speed_rad_per_s;
        let limit =
            answers.rev_limit_rad_per_s - if self.cut == Cut::OverSpeed { LIMIT_BAND_RAD_PER_S } else { 0.0 };
        let coasting = if self.cut == Cut::Coasting {
            closed && over > COAST_TO_RAD_PER_S + lead
        } else {
            self.closed_s > COAST_AFTER_S && over > COAST_FROM_RAD_PER_S && belief.ect_k > COAST_WARM_K
        };
        self.cut = if speed_rad_per_s > limit || self.guard_tripped {
            Cut::OverSpeed
        } else if coasting {
            Cut::Coasting
        } else {
            Cut::None
        };
        self.since_cut_s = if self.cut == Cut::None { (self.since_cut_s + dt_s).min(10.0) } else { 0.0 };
    }

    /// Share of torque to allow after a cut, 0 to 1, rising smoothly: the spark stage holds back by it.
    ///
    /// ```
    /// use trimwright_control::believe::Belief;
    /// use trimwright_control::cuts::Cuts;
    /// use trimwright_control::{Calibration, SetupAnswers};
    /// let calibration = Calibration::from_answers(&SetupAnswers::default())?;
    /// let mut cuts = Cuts::default();
    /// let mut after = |speed_rad_per_s, seconds| {
    ///     cuts.step(&calibration, &Belief::default(), speed_rad_per_s, None, seconds);
    ///     cuts.returned()
    /// };
    /// // Over the rev limit, below it again, and half a second later.
    /// assert!(after(560.0, 0.01) == 0.0 && after(500.0, 0.1) < 0.3 && after(480.0, 0.5) == 1.0);
    /// # Ok::<(), trimwright_control::AnswerError>(())
    /// ```
    pub fn returned(&self) -> f32 {
        (self.since_cut_s / RETURN_S).held(0.0, 1.0)
    }

    /// Whether the guard is enriching or cutting.
    ///
    /// ```
    /// use trimwright_control::believe::Belief;
    /// use trimwright_control::cuts::Cuts;
    /// use trimwright_control::{Calibration, SetupAnswers};
    /// let calibration = Calibration::from_answers(&SetupAnswers::default())?;
    /// // 0.3 s of a mixture that is a fifth too lean.
    /// let guarding_at = |map_pa| {
    ///     let (mut cuts, mut belief) = (Cuts::default(), Belief::default());
    ///     (belief.tp, belief.map_pa) = (0.5, map_pa);
    ///     (0..30).for_each(|_| cuts.step(&calibration, &belief, 300.0, Some(1.2), 0.01));
    ///     cuts.guarding()
    /// };
    /// assert!(guarding_at(95e3) && !guarding_at(60e3), "at part load lean does no harm");
    /// # Ok::<(), trimwright_control::AnswerError>(())
    /// ```
    pub fn guarding(&self) -> bool {
        self.guard_tripped || self.lean_s > 0.1
    }

    /// Fuel factor of the guard: up to 10 % more while it waits to see whether the mixture comes back.
    ///
    /// ```
    /// use trimwright_control::believe::Belief;
    /// use trimwright_control::cuts::Cuts;
    /// use trimwright_control::{Calibration, SetupAnswers};
    /// let calibration = Calibration::from_answers(&SetupAnswers::default())?;
    /// let (mut cuts, mut belief) = (Cuts::default(), Belief::default());
    /// (belief.tp, belief.map_pa) = (1.0, 97e3);
    /// assert_eq!(cuts.guard_factor(), 1.0);
    /// (0..40).for_each(|_| cuts.step(&calibration, &belief, 300.0, Some(1.2), 0.01));
    /// assert!((cuts.guard_factor() - 1.05).abs() < 1e-3, "half of the time it waits, half of the help");
    /// # Ok::<(), trimwright_control::AnswerError>(())
    /// ```
    pub fn guard_factor(&self) -> f32 {
        1.0 + 0.1 * (self.lean_s / GUARD_S).held(0.0, 1.0)
    }

    fn guard(&mut self, belief: &Belief, closed: bool, lean_ratio: Option<f32>, dt_s: f32) {
        let loaded = belief.map_pa > GUARD_LOAD * belief.baro_pa;
        let lean = loaded && lean_ratio.is_some_and(|ratio| ratio > GUARD_LEAN);
        self.lean_s = if lean { self.lean_s + dt_s } else { (self.lean_s - dt_s).max(0.0) };
        if self.lean_s > GUARD_S && !self.guard_tripped {
            self.guard_tripped = true;
            self.guard_trips = self.guard_trips.saturating_add(1);
        }
        if closed {
            (self.guard_tripped, self.lean_s) = (false, 0.0);
        }
    }
}

/// Whether the throttle is known to be closed.
pub(crate) fn throttle_is_closed(belief: &Belief) -> bool {
    belief.tp < CLOSED_TP && !belief.doubts.tp
}

/// Clear-flood: full throttle while cranking asks for air only.
///
/// ```
/// use trimwright_control::believe::Belief;
/// use trimwright_control::cuts::clears_flood;
/// let mut belief = Belief::default();
/// belief.tp = 1.0;
/// assert!(clears_flood(&belief), "the pedal is down");
/// // A wire shorted to 5 V must not keep the engine from starting.
/// belief.doubts.tp = true;
/// assert!(!clears_flood(&belief));
/// ```
pub fn clears_flood(belief: &Belief) -> bool {
    belief.tp > 0.85 && !belief.doubts.tp
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::answers::SetupAnswers;
    use crate::calibration::Calibration;

    fn run(cuts: &mut Cuts, tp: f32, speed: f32, map_pa: f32, lean: Option<f32>, seconds: f32) -> Cut {
        let calibration = Calibration::from_answers(&SetupAnswers::default()).unwrap();
        let belief = Belief { tp, map_pa, ect_k: 360.0, ..Belief::default() };
        for _ in 0..(seconds * 1000.0) as u32 {
            cuts.step(&calibration, &belief, speed, lean, 0.001);
        }
        cuts.cut
    }

    #[test]
    fn coasting_cuts_after_a_while_and_returns_above_idle() {
        let mut cuts = Cuts::default();
        assert_eq!(run(&mut cuts, 0.0, 220.0, 25e3, None, 0.4), Cut::None);
        assert_eq!(run(&mut cuts, 0.0, 220.0, 25e3, None, 0.4), Cut::Coasting);
        for speed in (140..220).rev() {
            assert_eq!(run(&mut cuts, 0.0, speed as f32, 25e3, None, 0.1), Cut::Coasting);
        }
        assert_eq!(run(&mut cuts, 0.0, 120.0, 25e3, None, 0.1), Cut::None);
        assert!((0.2..0.3).contains(&cuts.returned()));
    }

    #[test]
    fn a_foot_on_the_throttle_ends_coasting_at_once() {
        let mut cuts = Cuts::default();
        run(&mut cuts, 0.0, 220.0, 25e3, None, 1.0);
        assert_eq!(run(&mut cuts, 0.1, 220.0, 25e3, None, 0.002), Cut::None);
    }

    #[test]
    fn fuel_comes_back_sooner_when_the_speed_falls_fast() {
        let mut cuts = Cuts::default();
        run(&mut cuts, 0.0, 260.0, 25e3, None, 1.0);
        // 200 rad/s^2: an engine let go out of gear.
        let back = (0..130).map(|slot| 260.0 - slot as f32).find(|speed| {
            (0..5).fold(Cut::Coasting, |_, _| run(&mut cuts, 0.0, *speed, 15e3, None, 0.001)) == Cut::None
        });
        assert!(back.is_some_and(|speed| speed > 73.3 + COAST_TO_RAD_PER_S + 30.0), "{back:?}");
    }

    #[test]
    fn the_rev_limit_has_a_band() {
        let mut cuts = Cuts::default();
        assert_eq!(run(&mut cuts, 1.0, 546.0, 95e3, None, 0.01), Cut::OverSpeed);
        assert_eq!(run(&mut cuts, 1.0, 535.0, 95e3, None, 0.01), Cut::OverSpeed);
        assert_eq!(run(&mut cuts, 1.0, 529.0, 95e3, None, 0.01), Cut::None);
    }

    #[test]
    fn lean_at_high_load_enriches_then_cuts_until_the_throttle_closes() {
        let mut cuts = Cuts::default();
        assert_eq!(run(&mut cuts, 1.0, 300.0, 95e3, Some(1.2), 0.5), Cut::None);
        assert!(cuts.guard_factor() > 1.05 && cuts.guarding());
        assert_eq!(run(&mut cuts, 1.0, 300.0, 95e3, Some(1.2), 0.5), Cut::OverSpeed);
        assert_eq!(run(&mut cuts, 0.5, 300.0, 60e3, Some(1.0), 1.0), Cut::OverSpeed);
        assert_eq!(run(&mut cuts, 0.0, 150.0, 40e3, None, 0.1), Cut::None);
    }

    #[test]
    fn lean_at_part_load_is_left_to_the_trim() {
        assert_eq!(run(&mut Cuts::default(), 0.2, 200.0, 50e3, Some(1.3), 5.0), Cut::None);
    }
}
