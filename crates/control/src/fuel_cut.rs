//! Fuel cuts: overrun, rev limit, clear-flood; and the lean guard.

use trimwright_numerics::Real;

use crate::clock::LONG_S;
use crate::estimate::Estimate;
use crate::setup::Setup;

trimwright_numerics::parameters! {
    /// Fuel cuts: overrun, rev limit, clear-flood.
    #[cfg_attr(feature = "defmt", derive(defmt::Format))]
    pub struct FuelCutParameters<f32> "fuel_cut" {
        /// Speed above the warm idle speed at which overrun cuts the fuel.
        number coast_from_rad_per_s { 105.0, 30.0..=400.0 "rad/s", "engineering judgement: about 1000 rpm" }
        /// Speed above the warm idle speed at which the fuel returns, high enough for the engine to catch itself.
        number coast_resume_rad_per_s { 52.0, 5.0..=300.0 "rad/s", "engineering judgement: about 500 rpm" }
        /// Lead time of the returning fuel at a falling speed, for wetting the wall and reaching the cylinders.
        number coast_lead_s { 0.25, 0.0..=2.0 "s", "engineering judgement" }
        /// Upper limit of that lead, as a speed.
        number coast_lead_limit_rad_per_s { 45.0, 0.0..=200.0 "rad/s", "engineering judgement" }
        /// Time constant of the rate of speed.
        number speed_rate_s { 0.06, 0.01..=1.0 "s", "engineering judgement" }
        /// Time with closed throttle before overrun cuts the fuel.
        number coast_delay_s { 0.6, 0.0..=9.0 "s", "engineering judgement" }
        /// Coolant temperature above which overrun cuts the fuel.
        number coast_warm_k { 323.0, 250.0..=370.0 "K", "engineering judgement" }
        /// Speed below the rev limit at which the fuel returns.
        number limit_hysteresis_rad_per_s { 15.0, 1.0..=100.0 "rad/s", "engineering judgement" }
        /// Time in which the torque is blended in after a cut.
        number torque_return_s { 0.4, 0.01..=5.0 "s", "engineering judgement" }
        /// Throttle position above which cranking gets no fuel (clear-flood).
        number clear_flood_tp { 0.85, 0.5..=1.0 "1", "common practice, no source" }
    }
}

trimwright_numerics::parameters! {
    /// Protection of a loaded engine against a lean mixture.
    #[cfg_attr(feature = "defmt", derive(defmt::Format))]
    pub struct LeanGuardParameters<f32> "lean_guard" {
        /// Manifold over barometric pressure above which a lean mixture is dangerous.
        number load_threshold { 0.85, 0.4..=1.0 "1", "engineering judgement" }
        /// Measured over wanted lambda above which the mixture is dangerously lean under load.
        number lean_ratio { 1.12, 1.03..=1.4 "1", "engineering judgement" }
        /// Duration of a dangerous mixture until the fuel is cut.
        number trip_delay_s { 0.8, 0.1..=10.0 "s", "engineering judgement" }
        /// Enrichment until the fuel is cut, share of fuel.
        number enrichment { 0.1, 0.0..=0.3 "1", "engineering judgement" }
        /// Duration of a dangerous mixture from which the guard counts as active and lessons are rejected.
        number active_after_s { 0.1, 0.0..=5.0 "s", "engineering judgement" }
    }
}

/// Reason of a fuel cut.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
#[non_exhaustive]
pub enum Cut {
    /// No fuel cut.
    #[default]
    None,
    /// Closed throttle at speed: deceleration fuel cut-off.
    Coasting,
    /// Above the rev limit.
    OverSpeed,
    /// The lean guard has tripped: dangerously lean under load.
    LeanGuard,
}

/// Stage of the fuel cuts.
///
/// ```
/// use trimwright_control::sensing::Estimate;
/// use trimwright_control::fueling::{Cut, Cuts};
/// use trimwright_control::parameters::FuelCutParameters;
/// use trimwright_control::{Calibration, SetupAnswers};
/// let calibration = Calibration::from_answers(&SetupAnswers::default())?;
/// let (parameters, setup) = (FuelCutParameters::DEFAULT, calibration.setup());
/// let (mut cuts, warm) = (Cuts::default(), Estimate { ect_k: 360.0, ..Estimate::default() });
/// // Overrun of a warm engine at 2100 rpm: the fuel is cut after a delay.
/// let mut after = |steps| (0..steps).map(|_| cuts.step(&parameters, setup, &warm, false, 220.0, 0.01)).last();
/// assert_eq!([after(50), after(20)], [Some(Cut::None), Some(Cut::Coasting)]);
/// # Ok::<(), trimwright_control::AnswerError>(())
/// ```
#[derive(Clone, Copy, Debug, Default, PartialEq)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub struct Cuts {
    cut: Cut,
    closed_s: f32,
    since_cut_s: f32,
    speed_rad_per_s: f32,
    deceleration_rad_per_s2: f32,
}

impl Cuts {
    /// The present fuel cut.
    pub const fn cut(&self) -> Cut {
        self.cut
    }

    /// 10 ms task: decides on the fuel cut.
    pub fn step(
        &mut self,
        parameters: &FuelCutParameters,
        setup: &Setup,
        estimate: &Estimate,
        guard_tripped: bool,
        speed_rad_per_s: f32,
        dt_s: f32,
    ) -> Cut {
        let fell = self.speed_rad_per_s - speed_rad_per_s;
        self.speed_rad_per_s = speed_rad_per_s;
        self.deceleration_rad_per_s2 +=
            (fell - self.deceleration_rad_per_s2 * dt_s) / (parameters.speed_rate_s + dt_s);
        let lead = (parameters.coast_lead_s * self.deceleration_rad_per_s2)
            .held(0.0, parameters.coast_lead_limit_rad_per_s);
        let answers = setup.answers();
        let closed = estimate.throttle_closed;
        self.closed_s = if closed { (self.closed_s + dt_s).at_most(LONG_S) } else { 0.0 };
        let over = speed_rad_per_s - answers.idle_speed_rad_per_s;
        let hysteresis = if self.cut == Cut::OverSpeed { parameters.limit_hysteresis_rad_per_s } else { 0.0 };
        let coasting = if self.cut == Cut::Coasting {
            closed && over > parameters.coast_resume_rad_per_s + lead
        } else {
            self.closed_s > parameters.coast_delay_s
                && over > parameters.coast_from_rad_per_s
                && estimate.ect_k > parameters.coast_warm_k
        };
        self.cut = if guard_tripped {
            Cut::LeanGuard
        } else if speed_rad_per_s > answers.rev_limit_rad_per_s - hysteresis {
            Cut::OverSpeed
        } else if coasting {
            Cut::Coasting
        } else {
            Cut::None
        };
        self.since_cut_s =
            if self.cut == Cut::None { (self.since_cut_s + dt_s).at_most(LONG_S) } else { 0.0 };
        self.cut
    }

    /// Share of torque allowed after a cut, 0 to 1, rising linearly; the spark stage uses it.
    pub fn torque_share(&self, parameters: &FuelCutParameters) -> f32 {
        (self.since_cut_s / parameters.torque_return_s).held(0.0, 1.0)
    }
}

/// Stage of the lean guard.
///
/// ```
/// use trimwright_control::sensing::Estimate;
/// use trimwright_control::fueling::LeanGuard;
/// use trimwright_control::parameters::LeanGuardParameters;
/// let parameters = LeanGuardParameters::DEFAULT;
/// let mut guard = LeanGuard::default();
/// // Full throttle, a fifth leaner than wanted: within a second the guard cuts the fuel.
/// let full = Estimate { tp: 1.0, throttle_closed: false, map_pa: 97e3, ..Estimate::default() };
/// (0..100).for_each(|_| _ = guard.step(&parameters, &full, Some(1.2), 0.01));
/// assert!(guard.tripped());
/// // It comes back when the throttle is closed, not before.
/// guard.step(&parameters, &Estimate { map_pa: 40e3, ..Estimate::default() }, None, 0.01);
/// assert_eq!((guard.tripped(), guard.trips()), (false, 1));
/// ```
#[derive(Clone, Copy, Debug, Default, PartialEq)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub struct LeanGuard {
    lean_s: f32,
    tripped: bool,
    trips: u16,
}

impl LeanGuard {
    /// Whether it has cut the fuel; it resets when the throttle is closed.
    pub const fn tripped(&self) -> bool {
        self.tripped
    }

    /// Number of cuts since power-up.
    pub const fn trips(&self) -> u16 {
        self.trips
    }

    /// 10 ms task: `lean_ratio` is lambda measured over lambda wanted, where the reading is usable. Returns whether to cut the fuel.
    pub fn step(
        &mut self,
        parameters: &LeanGuardParameters,
        estimate: &Estimate,
        lean_ratio: Option<f32>,
        dt_s: f32,
    ) -> bool {
        let loaded = estimate.map_pa > parameters.load_threshold * estimate.baro_pa;
        let lean = loaded && lean_ratio.is_some_and(|ratio| ratio > parameters.lean_ratio);
        self.lean_s = if lean { self.lean_s + dt_s } else { (self.lean_s - dt_s).at_least(0.0) };
        if self.lean_s > parameters.trip_delay_s && !self.tripped {
            self.tripped = true;
            self.trips = self.trips.saturating_add(1);
        }
        if estimate.throttle_closed {
            (self.tripped, self.lean_s) = (false, 0.0);
        }
        self.tripped
    }

    /// Whether it is enriching or cutting.
    pub fn is_active(&self, parameters: &LeanGuardParameters) -> bool {
        self.tripped || self.lean_s > parameters.active_after_s
    }

    /// Enrichment before it trips, fuel factor of 1 or more.
    pub fn factor(&self, parameters: &LeanGuardParameters) -> f32 {
        1.0 + parameters.enrichment * (self.lean_s / parameters.trip_delay_s).held(0.0, 1.0)
    }
}

/// Clear-flood: full throttle while cranking asks for no fuel. A throttle sensor shorted to 5 V must not do so.
pub fn is_clear_flood(parameters: &FuelCutParameters, estimate: &Estimate) -> bool {
    estimate.tp > parameters.clear_flood_tp && !estimate.invalid.tp
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::answers::SetupAnswers;
    use crate::calibration::Calibration;

    const FUEL_CUT: FuelCutParameters = FuelCutParameters::DEFAULT;
    const LEAN_GUARD: LeanGuardParameters = LeanGuardParameters::DEFAULT;

    /// Fuel cuts and lean guard as the controller runs them.
    #[derive(Default)]
    struct Both {
        cuts: Cuts,
        guard: LeanGuard,
    }

    fn run(both: &mut Both, tp: f32, speed: f32, map_pa: f32, lean: Option<f32>, seconds: f32) -> Cut {
        let calibration = Calibration::from_answers(&SetupAnswers::default()).unwrap();
        let throttle_closed = tp < 0.02;
        let estimate = Estimate { tp, throttle_closed, map_pa, ect_k: 360.0, ..Estimate::default() };
        for _ in 0..(seconds * 1000.0) as u32 {
            let tripped = both.guard.step(&LEAN_GUARD, &estimate, lean, 0.001);
            both.cuts.step(&FUEL_CUT, calibration.setup(), &estimate, tripped, speed, 0.001);
        }
        both.cuts.cut
    }

    #[test]
    fn overrun_cuts_after_a_delay_and_the_fuel_returns_above_idle() {
        let mut cuts = Both::default();
        assert_eq!(run(&mut cuts, 0.0, 220.0, 25e3, None, 0.4), Cut::None);
        assert_eq!(run(&mut cuts, 0.0, 220.0, 25e3, None, 0.4), Cut::Coasting);
        for speed in (140..220).rev() {
            assert_eq!(run(&mut cuts, 0.0, speed as f32, 25e3, None, 0.1), Cut::Coasting);
        }
        assert_eq!(run(&mut cuts, 0.0, 120.0, 25e3, None, 0.1), Cut::None);
        assert!((0.2..0.3).contains(&cuts.cuts.torque_share(&FUEL_CUT)));
    }

    #[test]
    fn an_opened_throttle_ends_the_overrun_cut_at_once() {
        let mut cuts = Both::default();
        run(&mut cuts, 0.0, 220.0, 25e3, None, 1.0);
        assert_eq!(run(&mut cuts, 0.1, 220.0, 25e3, None, 0.002), Cut::None);
    }

    #[test]
    fn the_fuel_returns_sooner_when_the_speed_falls_fast() {
        let mut cuts = Both::default();
        run(&mut cuts, 0.0, 260.0, 25e3, None, 1.0);
        // 200 rad/s^2: a free engine after closing the throttle.
        let back = (0..130).map(|step| 260.0 - step as f32).find(|speed| {
            (0..5).fold(Cut::Coasting, |_, _| run(&mut cuts, 0.0, *speed, 15e3, None, 0.001)) == Cut::None
        });
        assert!(back.is_some_and(|speed| speed > 73.3 + FUEL_CUT.coast_resume_rad_per_s + 30.0), "{back:?}");
    }

    #[test]
    fn the_rev_limit_has_a_band() {
        let mut cuts = Both::default();
        assert_eq!(run(&mut cuts, 1.0, 546.0, 95e3, None, 0.01), Cut::OverSpeed);
        assert_eq!(run(&mut cuts, 1.0, 535.0, 95e3, None, 0.01), Cut::OverSpeed);
        assert_eq!(run(&mut cuts, 1.0, 529.0, 95e3, None, 0.01), Cut::None);
    }

    #[test]
    fn lean_at_high_load_enriches_then_cuts_until_the_throttle_closes() {
        let mut cuts = Both::default();
        assert_eq!(run(&mut cuts, 1.0, 300.0, 95e3, Some(1.2), 0.5), Cut::None);
        assert!(cuts.guard.factor(&LEAN_GUARD) > 1.05 && cuts.guard.is_active(&LEAN_GUARD));
        assert_eq!(run(&mut cuts, 1.0, 300.0, 95e3, Some(1.2), 0.5), Cut::LeanGuard);
        assert_eq!(run(&mut cuts, 0.5, 300.0, 60e3, Some(1.0), 1.0), Cut::LeanGuard);
        assert_eq!(run(&mut cuts, 0.0, 150.0, 40e3, None, 0.1), Cut::None);
    }

    #[test]
    fn lean_at_part_load_is_left_to_the_trim() {
        assert_eq!(run(&mut Both::default(), 0.2, 200.0, 50e3, Some(1.3), 5.0), Cut::None);
    }

    #[test]
    fn after_half_its_delay_the_guard_gives_half_its_enrichment() {
        let mut both = Both::default();
        assert_eq!(both.guard.factor(&LEAN_GUARD), 1.0);
        run(&mut both, 1.0, 300.0, 97e3, Some(1.2), 0.4);
        assert!((both.guard.factor(&LEAN_GUARD) - 1.05).abs() < 1e-3);
    }

    #[test]
    fn torque_is_blended_in_after_a_cut() {
        let mut cuts = Both::default();
        run(&mut cuts, 1.0, 560.0, 95e3, None, 0.01);
        assert_eq!(cuts.cuts.torque_share(&FUEL_CUT), 0.0);
        run(&mut cuts, 1.0, 500.0, 95e3, None, 0.2);
        assert!((cuts.cuts.torque_share(&FUEL_CUT) - 0.5).abs() < 1e-3);
        run(&mut cuts, 1.0, 480.0, 95e3, None, 0.5);
        assert_eq!(cuts.cuts.torque_share(&FUEL_CUT), 1.0);
    }

    #[test]
    fn full_throttle_is_clear_flood_and_a_shorted_sensor_is_not() {
        let mut estimate = Estimate { tp: 1.0, ..Estimate::default() };
        assert!(is_clear_flood(&FUEL_CUT, &estimate));
        estimate.invalid.tp = true;
        assert!(!is_clear_flood(&FUEL_CUT, &estimate));
    }

    fn setup(idle_speed_rad_per_s: f32) -> Calibration {
        Calibration::from_answers(&SetupAnswers { idle_speed_rad_per_s, ..SetupAnswers::default() }).unwrap()
    }

    fn coasts() -> Estimate {
        Estimate { throttle_closed: true, ect_k: 360.0, map_pa: 25e3, ..Estimate::default() }
    }

    /// By hand: a fall of 7 rad/s in 10 ms moves a lag of 60 ms by a seventh of 700 rad/s2, the next by a seventh of the rest.
    #[test]
    fn deceleration_is_the_lagged_fall_of_the_speed() {
        let (calibration, mut cuts) = (setup(73.0), Cuts { speed_rad_per_s: 260.0, ..Cuts::default() });
        let mut after = |speed| {
            cuts.step(&FUEL_CUT, calibration.setup(), &Estimate::default(), false, speed, 0.01);
            cuts.deceleration_rad_per_s2
        };
        assert!((after(253.0) - 100.0).abs() < 1e-3 && (after(246.0) - 100.0 - 600.0 / 7.0).abs() < 1e-3);
    }

    /// Steps of a quarter second with a delay of half a second, at an idle speed of 73 rad/s.
    #[test]
    fn at_its_limits_the_overrun_is_not_cut_yet() {
        let parameters = FuelCutParameters { coast_delay_s: 0.5, ..FUEL_CUT };
        let calibration = setup(73.0);
        let cut = |steps: u32, over: f32, estimate: &Estimate| {
            let mut cuts = Cuts { speed_rad_per_s: 73.0 + over, ..Cuts::default() };
            (0..steps).for_each(|_| {
                _ = cuts.step(&parameters, calibration.setup(), estimate, false, 73.0 + over, 0.25);
            });
            cuts.cut()
        };
        assert_eq!((cut(2, 150.0, &coasts()), cut(3, 150.0, &coasts())), (Cut::None, Cut::Coasting));
        assert_eq!((cut(9, 105.0, &coasts()), cut(9, 105.5, &coasts())), (Cut::None, Cut::Coasting));
        assert_eq!(cut(9, 150.0, &Estimate { ect_k: FUEL_CUT.coast_warm_k, ..coasts() }), Cut::None);
    }

    #[test]
    fn without_deceleration_the_fuel_returns_at_its_speed() {
        let calibration = setup(73.0);
        let after = |speed_rad_per_s| {
            let mut cuts = Cuts { cut: Cut::Coasting, speed_rad_per_s, ..Cuts::default() };
            cuts.step(&FUEL_CUT, calibration.setup(), &coasts(), false, speed_rad_per_s, 0.01)
        };
        let resume = 73.0 + FUEL_CUT.coast_resume_rad_per_s;
        assert_eq!((after(resume), after(resume + 0.5)), (Cut::None, Cut::Coasting));
    }

    #[test]
    fn the_band_of_the_rev_limit_counts_only_while_it_cuts() {
        let calibration = setup(73.0);
        let after = |cut, speed_rad_per_s| {
            let mut cuts = Cuts { cut, speed_rad_per_s, ..Cuts::default() };
            cuts.step(
                &FUEL_CUT,
                calibration.setup(),
                &Estimate { throttle_closed: false, ..coasts() },
                false,
                speed_rad_per_s,
                0.01,
            )
        };
        assert_eq!((after(Cut::None, 545.0), after(Cut::None, 546.0)), (Cut::None, Cut::OverSpeed));
        assert_eq!((after(Cut::OverSpeed, 530.0), after(Cut::OverSpeed, 531.0)), (Cut::None, Cut::OverSpeed));
        assert_eq!((after(Cut::None, 535.0), after(Cut::LeanGuard, 535.0)), (Cut::None, Cut::None));
    }

    fn guarded(guard: &mut LeanGuard, load: f32, lean_ratio: f32, steps: u32) {
        let parameters = LeanGuardParameters { trip_delay_s: 0.5, active_after_s: 0.25, ..LEAN_GUARD };
        let estimate =
            Estimate { map_pa: load * 100e3, baro_pa: 100e3, throttle_closed: false, ..Estimate::default() };
        (0..steps).for_each(|_| _ = guard.step(&parameters, &estimate, Some(lean_ratio), 0.25));
    }

    #[test]
    fn at_its_limits_the_lean_guard_does_not_act() {
        for (load, lean_ratio) in [(LEAN_GUARD.load_threshold, 1.3), (0.95, LEAN_GUARD.lean_ratio)] {
            let mut guard = LeanGuard::default();
            guarded(&mut guard, load, lean_ratio, 10);
            assert_eq!(guard, LeanGuard::default());
        }
    }

    /// Steps of a quarter second: it acts after one, trips after two, and forgets as fast.
    #[test]
    fn the_lean_guard_counts_lean_time_up_and_down_and_its_trips() {
        let parameters = LeanGuardParameters { trip_delay_s: 0.5, active_after_s: 0.25, ..LEAN_GUARD };
        let mut guard = LeanGuard::default();
        guarded(&mut guard, 0.95, 1.3, 1);
        assert!(!guard.is_active(&parameters));
        guarded(&mut guard, 0.95, 1.3, 1);
        assert!(guard.is_active(&parameters) && !guard.tripped());
        guarded(&mut guard, 0.95, 1.0, 1);
        assert!((guard.factor(&parameters) - 1.05).abs() < 1e-6);
        guarded(&mut guard, 0.95, 1.3, 2);
        assert_eq!((guard.tripped(), guard.trips()), (true, 1));
        guarded(&mut guard, 0.95, 1.0, 10);
        assert!(
            guard.is_active(&parameters) && guard.factor(&parameters) == 1.0,
            "tripped until the throttle closes"
        );
    }

    #[test]
    fn a_throttle_at_the_limit_does_not_clear_a_flood() {
        let at_limit = Estimate { tp: FUEL_CUT.clear_flood_tp, ..Estimate::default() };
        assert!(!is_clear_flood(&FUEL_CUT, &at_limit));
    }
}
