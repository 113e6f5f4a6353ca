//! State: everything the controller remembers from step to step.

use trimwright_signals::Commands;

use crate::attribution::Attribution;
use crate::carried::Carried;
use crate::clock::Clock;
use crate::common_correction::CommonEstimator;
use crate::crank::CrankDecoder;
use crate::enable_conditions::EnableConditions;
use crate::enrichment::Prime;
use crate::estimate::{Estimate, Estimator};
use crate::fans::Fans;
use crate::feedback::{Feedback, FeedbackParameters};
use crate::film::Film;
use crate::fuel_cut::{Cuts, LeanGuard};
use crate::fuel_pump::Pump;
use crate::idle::Idle;
use crate::insight::Insight;
use crate::learned_map::LearnedMap;
use crate::nitrous::Nitrous;
use crate::open_time::OpenTime;
use crate::parameters::Parameters;
use crate::phase::PhaseState;
use crate::pump_shot::PumpShot;
use crate::refusal::LessonCounts;
use crate::self_check::SelfCheck;
use crate::start_assist::StartAssist;
use crate::trouble_codes::Dtcs;

/// Everything a controller remembers: a value that can be copied, compared and restored.
#[derive(Clone, Debug, PartialEq)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub struct State {
    /// Time.
    pub(crate) clock: Clock,
    /// Crank speed.
    pub(crate) crank: CrankDecoder,
    /// Sensor estimates.
    pub(crate) estimator: Estimator,
    /// Trouble codes.
    pub(crate) dtcs: Dtcs,
    /// Phase of the engine.
    pub(crate) phase: PhaseState,
    /// Lean guard.
    pub(crate) lean_guard: LeanGuard,
    /// Fuel cuts.
    pub(crate) cuts: Cuts,
    /// Start assist.
    pub(crate) start_assist: StartAssist,
    /// Prime pulse.
    pub(crate) prime: Prime,
    /// Wall film.
    pub(crate) film: Film,
    /// Accelerator-pump shot.
    pub(crate) pump_shot: PumpShot,
    /// Injectors.
    pub(crate) open_time: OpenTime,
    /// Past injections.
    pub(crate) attribution: Attribution,
    /// Enable conditions of learning.
    pub(crate) enable_conditions: EnableConditions,
    /// Short-term trim.
    pub(crate) feedback: Feedback,
    /// Long-term trim.
    pub(crate) learned: LearnedMap,
    /// Estimator of the corrections that all cells share.
    pub(crate) common_estimator: CommonEstimator,
    /// Self-check.
    pub(crate) self_check: SelfCheck,
    /// Lessons and rejected samples.
    pub(crate) counts: LessonCounts,
    /// Idle air.
    pub(crate) idle: Idle,
    /// Fans and compressor.
    pub(crate) fans: Fans,
    /// Fuel pump.
    pub(crate) pump: Pump,
    /// Nitrous.
    pub(crate) nitrous: Nitrous,
    /// The last commands.
    pub(crate) commands: Commands,
    /// Values that later steps need from earlier ones.
    pub(crate) carried: Carried,
    /// Intermediate values of the last step.
    pub(crate) insight: Insight,
}

impl State {
    /// State before the first frame, with nothing learned.
    pub fn new(parameters: &Parameters) -> Self {
        Self {
            clock: Clock::default(),
            crank: CrankDecoder::default(),
            estimator: Estimator::default(),
            dtcs: Dtcs::default(),
            phase: PhaseState::default(),
            lean_guard: LeanGuard::default(),
            cuts: Cuts::default(),
            start_assist: StartAssist::default(),
            prime: Prime::default(),
            film: Film::default(),
            pump_shot: PumpShot::default(),
            open_time: OpenTime::default(),
            attribution: Attribution::default(),
            enable_conditions: EnableConditions::default(),
            feedback: Feedback::default(),
            learned: parameters.blank_map(),
            common_estimator: CommonEstimator::default(),
            self_check: SelfCheck::default(),
            counts: LessonCounts::default(),
            idle: Idle::default(),
            fans: Fans::default(),
            pump: Pump::default(),
            nitrous: Nitrous::default(),
            commands: Commands::default(),
            carried: Carried::default(),
            insight: Insight::default(),
        }
    }

    /// Crank speed and pulses.
    pub const fn crank(&self) -> &CrankDecoder {
        &self.crank
    }

    /// Estimated quantities.
    pub const fn estimate(&self) -> &Estimate {
        self.estimator.estimate()
    }

    /// Trouble codes.
    pub const fn dtcs(&self) -> &Dtcs {
        &self.dtcs
    }

    /// Phase of the engine.
    pub const fn phase(&self) -> &PhaseState {
        &self.phase
    }

    /// Lean guard.
    pub const fn lean_guard(&self) -> &LeanGuard {
        &self.lean_guard
    }

    /// Fuel cuts.
    pub const fn cuts(&self) -> &Cuts {
        &self.cuts
    }

    /// Wall film.
    pub const fn film(&self) -> &Film {
        &self.film
    }

    /// Injectors.
    pub const fn open_time(&self) -> &OpenTime {
        &self.open_time
    }

    /// Past injections, and what the last reading described.
    pub const fn attribution(&self) -> &Attribution {
        &self.attribution
    }

    /// Short-term trim.
    pub const fn feedback(&self) -> &Feedback {
        &self.feedback
    }

    /// Long-term trim.
    pub const fn learned(&self) -> &LearnedMap {
        &self.learned
    }

    /// Self-check.
    pub const fn self_check(&self) -> &SelfCheck {
        &self.self_check
    }

    /// Lessons and rejected samples.
    pub const fn counts(&self) -> &LessonCounts {
        &self.counts
    }

    /// Idle air.
    pub const fn idle(&self) -> &Idle {
        &self.idle
    }

    /// Fans and compressor.
    pub const fn fans(&self) -> &Fans {
        &self.fans
    }

    /// The last commands.
    pub const fn commands(&self) -> &Commands {
        &self.commands
    }

    /// Intermediate values of the last step.
    pub const fn insight(&self) -> &Insight {
        &self.insight
    }

    /// The same state with the short-term trim moved by a disturbance, ln of fuel, to test the loop.
    #[must_use]
    pub fn with_trim_moved(mut self, parameters: &FeedbackParameters, by_ln: f32) -> Self {
        self.feedback.hand_over(parameters, -by_ln);
        self
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_disturbance_moves_the_trim_by_its_amount() {
        let parameters = Parameters::DEFAULT;
        let moved = State::new(&parameters).with_trim_moved(&parameters.feedback, 0.05);
        assert_eq!(moved.feedback().trim_ln(), 0.05);
    }
}
