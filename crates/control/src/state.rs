//! Everything the controller remembers from step to step.

use trimwright_signals::Commands;

use crate::attribution::Attribution;
use crate::believe::Belief;
use crate::clock::Clock;
use crate::common::Round;
use crate::crank::Crank;
use crate::cuts::Cuts;
use crate::enrichment::Prime;
use crate::fans::Fans;
use crate::feedback::Feedback;
use crate::film::{Film, Shot};
use crate::gates::Gates;
use crate::idle::Idle;
use crate::insight::Insight;
use crate::learned_map::LearnedMap;
use crate::nitrous::Nitrous;
use crate::open_time::OpenTime;
use crate::parameters::Parameters;
use crate::phase::PhaseState;
use crate::pump::Pump;
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
    pub clock: Clock,
    /// Crank speed.
    pub crank: Crank,
    /// Believed quantities.
    pub belief: Belief,
    /// Trouble codes.
    pub dtcs: Dtcs,
    /// Phase of the engine.
    pub phase: PhaseState,
    /// Fuel cuts and guard.
    pub cuts: Cuts,
    /// Extra fuel for an engine that stumbles.
    pub stumble: Stumble,
    /// Prime pulse.
    pub prime: Prime,
    /// Wall film.
    pub film: Film,
    /// Accelerator-pump shot.
    pub shot: Shot,
    /// Injectors.
    pub open_time: OpenTime,
    /// What was injected in the past.
    pub attribution: Attribution,
    /// When a reading teaches.
    pub gates: Gates,
    /// Short-term trim.
    pub feedback: Feedback,
    /// Long-term trim.
    pub learned: LearnedMap,
    /// What draws from the cells what they have in common.
    pub round: Round,
    /// What the loop knows of itself.
    pub self_check: SelfCheck,
    /// Lessons taken and refused.
    pub counts: Counts,
    /// Idle air.
    pub idle: Idle,
    /// Fans and compressor.
    pub fans: Fans,
    /// Fuel pump.
    pub pump: Pump,
    /// Nitrous.
    pub nitrous: Nitrous,
    /// The last commands.
    pub commands: Commands,
    /// What the last step worked out.
    pub insight: Insight,
}

impl State {
    /// Before the first frame, with nothing learned.
    pub fn new(parameters: &Parameters) -> Self {
        Self {
            clock: Clock::default(),
            crank: Crank::default(),
            belief: Belief::default(),
            dtcs: Dtcs::default(),
            phase: PhaseState::default(),
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
            insight: Insight::default(),
        }
    }
}
