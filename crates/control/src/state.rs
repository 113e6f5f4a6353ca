//! Everything the controller remembers from step to step.

use trimwright_signals::Commands;

use crate::attribution::Attribution;
use crate::believe::Estimate;
use crate::clock::Clock;
use crate::common::Round;
use crate::crank::Crank;
use crate::cuts::{Cuts, LeanGuard};
use crate::dtc::Dtcs;
use crate::enrichment::Prime;
use crate::fans::Fans;
use crate::feedback::Feedback;
use crate::film::Film;
use crate::gates::{Counts, Gates};
use crate::idle::Idle;
use crate::insight::Insight;
use crate::learner::LearnedMap;
use crate::nitrous::Nitrous;
use crate::open_time::OpenTime;
use crate::phase::PhaseState;
use crate::pump::Pump;
use crate::pump_shot::Shot;
use crate::self_check::SelfCheck;
use crate::stumble::Stumble;

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
#[derive(Clone, Debug, Default, PartialEq)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub struct State {
    /// Time.
    pub clock: Clock,
    /// Crank speed.
    pub crank: Crank,
    /// Believed quantities.
    pub estimate: Estimate,
    /// Trouble codes.
    pub dtcs: Dtcs,
    /// Phase of the engine.
    pub phase: PhaseState,
    /// Guard from a lean mixture.
    pub lean_guard: LeanGuard,
    /// Fuel cuts.
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
