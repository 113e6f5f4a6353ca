//! Everything the controller remembers from step to step.

use trimwright_signals::Commands;

use crate::attribution::Attribution;
use crate::believe::Estimate;
use crate::carried::Carried;
use crate::clock::Clock;
use crate::common::Round;
use crate::crank::Crank;
use crate::cuts::{Cuts, LeanGuard};
use crate::enrichment::Prime;
use crate::fans::Fans;
use crate::feedback::{Feedback, FeedbackParameters};
use crate::film::Film;
use crate::gates::Gates;
use crate::idle::Idle;
use crate::insight::Insight;
use crate::learned_map::LearnedMap;
use crate::nitrous::Nitrous;
use crate::open_time::OpenTime;
use crate::parameters::Parameters;
use crate::phase::PhaseState;
use crate::pump::Pump;
use crate::pump_shot::Shot;
use crate::refusal::Counts;
use crate::self_check::SelfCheck;
use crate::stumble::Stumble;
use crate::trouble_codes::Dtcs;

/// All memory of a controller: a value that can be copied, compared and put back.
///
/// ```
/// use trimwright_control::{Calibration, Controller, SetupAnswers};
/// use trimwright_signals::Frame;
/// let mut controller = Controller::new(Calibration::from_answers(&SetupAnswers::default())?);
/// let before = controller.state().clone();
/// let frame = Frame { time_us: 10_000, map_v: 4.1, ..Frame::default() };
/// let commands = controller.step(&frame);
/// // Put back and stepped again, it does the same again.
/// controller.restore(before);
/// assert_eq!(controller.step(&frame), commands);
/// # Ok::<(), trimwright_control::AnswerError>(())
/// ```
#[derive(Clone, Debug, PartialEq)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub struct State {
    /// Time.
    pub(crate) clock: Clock,
    /// Crank speed.
    pub(crate) crank: Crank,
    /// Believed quantities.
    pub(crate) estimate: Estimate,
    /// Trouble codes.
    pub(crate) dtcs: Dtcs,
    /// Phase of the engine.
    pub(crate) phase: PhaseState,
    /// Guard from a lean mixture.
    pub(crate) lean_guard: LeanGuard,
    /// Fuel cuts.
    pub(crate) cuts: Cuts,
    /// Extra fuel for an engine that stumbles.
    pub(crate) stumble: Stumble,
    /// Prime pulse.
    pub(crate) prime: Prime,
    /// Wall film.
    pub(crate) film: Film,
    /// Accelerator-pump shot.
    pub(crate) shot: Shot,
    /// Injectors.
    pub(crate) open_time: OpenTime,
    /// What was injected in the past.
    pub(crate) attribution: Attribution,
    /// When a reading teaches.
    pub(crate) gates: Gates,
    /// Short-term trim.
    pub(crate) feedback: Feedback,
    /// Long-term trim.
    pub(crate) learned: LearnedMap,
    /// What draws from the cells what they have in common.
    pub(crate) round: Round,
    /// What the loop knows of itself.
    pub(crate) self_check: SelfCheck,
    /// Lessons taken and refused.
    pub(crate) counts: Counts,
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
    /// What later steps need of earlier ones beside the stages' own memories.
    pub(crate) carried: Carried,
    /// What the last step worked out.
    pub(crate) insight: Insight,
}

impl State {
    /// Before the first frame, with nothing learned.
    pub fn new(parameters: &Parameters) -> Self {
        Self {
            clock: Clock::default(),
            crank: Crank::default(),
            estimate: Estimate::default(),
            dtcs: Dtcs::default(),
            phase: PhaseState::default(),
            lean_guard: LeanGuard::default(),
            cuts: Cuts::default(),
            stumble: Stumble::default(),
            prime: Prime::default(),
            film: Film::default(),
            shot: Shot::default(),
            open_time: OpenTime::default(),
            attribution: Attribution::default(),
            gates: Gates::default(),
            feedback: Feedback::default(),
            learned: parameters.blank_map(),
            round: Round::default(),
            self_check: SelfCheck::default(),
            counts: Counts::default(),
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
    pub const fn crank(&self) -> &Crank {
        &self.crank
    }

    /// Estimated quantities.
    pub const fn estimate(&self) -> &Estimate {
        &self.estimate
    }

    /// Trouble codes.
    pub const fn dtcs(&self) -> &Dtcs {
        &self.dtcs
    }

    /// Phase of the engine.
    pub const fn phase(&self) -> &PhaseState {
        &self.phase
    }

    /// Guard from a lean mixture.
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

    /// What was injected in the past.
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

    /// What the loop knows of itself.
    pub const fn self_check(&self) -> &SelfCheck {
        &self.self_check
    }

    /// Lessons taken and refused.
    pub const fn counts(&self) -> &Counts {
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

    /// What the last step worked out.
    pub const fn insight(&self) -> &Insight {
        &self.insight
    }

    /// The same with the short-term trim moved by a disturbance, ln of fuel: to see how the loop takes it.
    #[must_use]
    pub fn with_trim_moved(mut self, parameters: &FeedbackParameters, by_ln: f32) -> Self {
        self.feedback.hand_over(parameters, -by_ln);
        self
    }
}
