//! Engine phase: standing, priming, cranking, running, fuel cut.

use crate::fuel_cut::Cut;
use crate::setup::Setup;

trimwright_numerics::parameters! {
    /// Engine phase.
    #[cfg_attr(feature = "defmt", derive(defmt::Format))]
    pub struct PhaseParameters<f32> "phase" {
        /// Duration of priming after ignition on.
        number priming_s { 2.0, 0.2..=20.0 "s", "engineering judgement" }
        /// Speed over the idle speed above which a cranked engine has started.
        number started_speed { 0.6, 0.3..=0.95 "1", "engineering judgement" }
        /// Speed over the idle speed below which a started engine counts as cranking again.
        number stalled_speed { 0.3, 0.05..=0.6 "1", "engineering judgement" }
        /// Duration of running up after a start.
        number running_up_s { 3.0, 0.0..=30.0 "s", "engineering judgement" }
    }
}

/// Engine phase.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub enum Phase {
    /// The crank stands.
    #[default]
    Stopped,
    /// Ignition was switched on a moment ago: the pump fills the rail.
    Priming,
    /// The starter turns the crank.
    Cranking,
    /// The engine has just started.
    RunningUp,
    /// The engine runs.
    Running,
    /// Overrun: the fuel is cut.
    FuelCut,
    /// Above the rev limit: the fuel is cut.
    OverSpeed,
    /// The lean guard has cut the fuel.
    LeanGuard,
}

impl Phase {
    /// Whether the engine runs with fuel.
    pub const fn burns(self) -> bool {
        matches!(self, Self::RunningUp | Self::Running)
    }

    /// Whether the engine has started, with or without fuel now.
    pub const fn started(self) -> bool {
        matches!(self, Self::RunningUp | Self::Running | Self::FuelCut | Self::OverSpeed | Self::LeanGuard)
    }
}

/// Stage of the engine phase.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub struct PhaseState {
    phase: Phase,
    for_s: f32,
    since_start_s: f32,
    key_on_s: f32,
    starts: u16,
}

impl PhaseState {
    /// The present phase.
    pub const fn phase(&self) -> Phase {
        self.phase
    }

    /// Time in the present phase, s.
    pub const fn for_s(&self) -> f32 {
        self.for_s
    }

    /// Time since the start, s; 0 before.
    pub const fn since_start_s(&self) -> f32 {
        self.since_start_s
    }

    /// Time since ignition on, s.
    pub const fn key_on_s(&self) -> f32 {
        self.key_on_s
    }

    /// Number of starts since power-up.
    pub const fn starts(&self) -> u16 {
        self.starts
    }

    /// 10 ms task: determines the phase.
    ///
    /// ```
    /// use trimwright_control::fueling::Cut;
    /// use trimwright_control::Phase;
    /// use trimwright_control::parameters::PhaseParameters;
    /// use trimwright_control::fueling::PhaseState;
    /// use trimwright_control::{Calibration, SetupAnswers};
    /// let calibration = Calibration::from_answers(&SetupAnswers::default())?;
    /// let mut state = PhaseState::default();
    /// let mut at = |ignition, speed_rad_per_s| {
    ///     let setup = calibration.setup();
    ///     state.step(&PhaseParameters::DEFAULT, setup, ignition, speed_rad_per_s, Cut::None, 0.01);
    ///     state.phase()
    /// };
    /// // Key on, starter, it catches, key off while it still turns.
    /// let phases = [at(true, 0.0), at(true, 20.0), at(true, 80.0), at(false, 75.0)];
    /// assert_eq!(phases, [Phase::Priming, Phase::Cranking, Phase::RunningUp, Phase::Stopped]);
    /// # Ok::<(), trimwright_control::AnswerError>(())
    /// ```
    pub fn step(
        &mut self,
        parameters: &PhaseParameters,
        setup: &Setup,
        ignition: bool,
        speed_rad_per_s: f32,
        cut: Cut,
        dt_s: f32,
    ) {
        self.for_s += dt_s;
        self.key_on_s = if ignition { self.key_on_s + dt_s } else { 0.0 };
        let idle = setup.answers().idle_speed_rad_per_s;
        let turning = speed_rad_per_s > 0.0;
        let next = match self.phase {
            _ if !ignition || (!turning && self.key_on_s > parameters.priming_s) => Phase::Stopped,
            _ if !turning => Phase::Priming,
            Phase::Stopped | Phase::Priming | Phase::Cranking
                if speed_rad_per_s < parameters.started_speed * idle =>
            {
                Phase::Cranking
            }
            Phase::Stopped | Phase::Priming | Phase::Cranking => Phase::RunningUp,
            _ if speed_rad_per_s < parameters.stalled_speed * idle => Phase::Cranking,
            _ if cut == Cut::OverSpeed => Phase::OverSpeed,
            _ if cut == Cut::LeanGuard => Phase::LeanGuard,
            _ if cut == Cut::Coasting => Phase::FuelCut,
            _ if self.since_start_s < parameters.running_up_s => Phase::RunningUp,
            _ => Phase::Running,
        };
        self.since_start_s = if next.started() { self.since_start_s + dt_s } else { 0.0 };
        if next != self.phase {
            self.starts = self.starts.saturating_add(u16::from(!self.phase.started() && next.started()));
            (self.phase, self.for_s) = (next, 0.0);
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::answers::SetupAnswers;
    use crate::calibration::Calibration;

    fn after(state: &mut PhaseState, ignition: bool, speed: f32, cut: Cut, seconds: f32) -> Phase {
        let calibration = Calibration::from_answers(&SetupAnswers::default()).unwrap();
        for _ in 0..(seconds * 1000.0) as u32 {
            state.step(&PhaseParameters::DEFAULT, calibration.setup(), ignition, speed, cut, 0.001);
        }
        state.phase
    }

    #[test]
    fn a_start_goes_through_every_phase_in_order() {
        let mut state = PhaseState::default();
        assert_eq!(after(&mut state, false, 0.0, Cut::None, 1.0), Phase::Stopped);
        assert_eq!(after(&mut state, true, 0.0, Cut::None, 1.0), Phase::Priming);
        assert_eq!(after(&mut state, true, 20.0, Cut::None, 1.0), Phase::Cranking);
        assert_eq!(after(&mut state, true, 90.0, Cut::None, 1.0), Phase::RunningUp);
        assert_eq!(after(&mut state, true, 75.0, Cut::None, 3.0), Phase::Running);
        assert_eq!(after(&mut state, true, 200.0, Cut::Coasting, 1.0), Phase::FuelCut);
        assert_eq!(after(&mut state, true, 600.0, Cut::OverSpeed, 1.0), Phase::OverSpeed);
        assert_eq!(after(&mut state, true, 75.0, Cut::None, 1.0), Phase::Running);
        assert_eq!(after(&mut state, true, 10.0, Cut::None, 0.1), Phase::Cranking);
        assert_eq!(after(&mut state, true, 0.0, Cut::None, 0.1), Phase::Stopped);
        assert_eq!((state.starts, state.since_start_s), (1, 0.0));
    }

    #[test]
    fn a_key_left_on_stops_priming() {
        assert_eq!(after(&mut PhaseState::default(), true, 0.0, Cut::None, 3.0), Phase::Stopped);
    }

    /// Limits of 40 and 20 rad/s at an idle speed of 80.
    fn next(phase: Phase, speed: f32, cut: Cut, since_start_s: f32) -> Phase {
        let parameters =
            PhaseParameters { started_speed: 0.5, stalled_speed: 0.25, ..PhaseParameters::DEFAULT };
        let answers = SetupAnswers { idle_speed_rad_per_s: 80.0, ..SetupAnswers::default() };
        let calibration = Calibration::from_answers(&answers).unwrap();
        let mut state = PhaseState { phase, since_start_s, ..PhaseState::default() };
        state.step(&parameters, calibration.setup(), true, speed, cut, 0.01);
        state.phase()
    }

    #[test]
    fn an_engine_has_started_at_its_speed_and_stalled_below_another() {
        assert_eq!(
            [39.9, 40.0].map(|speed| next(Phase::Cranking, speed, Cut::None, 0.0)),
            [Phase::Cranking, Phase::RunningUp]
        );
        assert_eq!(
            [19.9, 20.0].map(|speed| next(Phase::Running, speed, Cut::None, 9.0)),
            [Phase::Cranking, Phase::Running]
        );
        let running_up_s = PhaseParameters::DEFAULT.running_up_s;
        assert_eq!(next(Phase::RunningUp, 90.0, Cut::None, running_up_s - 0.1), Phase::RunningUp);
        assert_eq!(next(Phase::RunningUp, 90.0, Cut::None, running_up_s), Phase::Running);
    }

    #[test]
    fn every_cut_has_its_phase_and_a_start_goes_through_running_up_even_so() {
        for (cut, phase) in [
            (Cut::Coasting, Phase::FuelCut),
            (Cut::OverSpeed, Phase::OverSpeed),
            (Cut::LeanGuard, Phase::LeanGuard),
        ] {
            assert_eq!(next(Phase::Running, 200.0, cut, 9.0), phase);
            assert_eq!(next(Phase::Cranking, 200.0, cut, 0.0), Phase::RunningUp);
        }
    }

    /// Steps of a quarter second with the key on.
    #[test]
    fn times_count_from_the_key_the_start_and_the_last_change() {
        let calibration = Calibration::from_answers(&SetupAnswers::default()).unwrap();
        let mut state = PhaseState::default();
        let mut after = |speed, steps: u32| {
            (0..steps).for_each(|_| {
                state.step(&PhaseParameters::DEFAULT, calibration.setup(), true, speed, Cut::None, 0.25);
            });
            (state.phase(), state.key_on_s(), state.since_start_s(), state.for_s(), state.starts())
        };
        assert_eq!(after(0.0, 8), (Phase::Priming, 2.0, 0.0, 1.75, 0));
        assert_eq!(after(0.0, 1), (Phase::Stopped, 2.25, 0.0, 0.0, 0));
        assert_eq!(after(75.0, 5), (Phase::RunningUp, 3.5, 1.25, 1.0, 1));
    }
}
