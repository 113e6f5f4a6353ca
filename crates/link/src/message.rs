//! What host and processor tell each other.

use serde::{Deserialize, Serialize};
use trimwright_control::{Options, SetupAnswers};
use trimwright_signals::{Commands, Frame};

/// From the host, which runs the plant, to the processor, which runs the controller. Each is answered by one [`ToHost`].
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub enum ToProcessor {
    /// Begin anew with these answers; answered by [`ToHost::Ready`].
    Start {
        /// What the owner answered.
        answers: SetupAnswers,
        /// What is switched off, and which strategy learns.
        options: Options,
        /// Begin with the map learned since the last start instead of an empty one.
        keep_map: bool,
    },
    /// What the pins read; answered by [`ToHost::Commands`].
    Frame(Frame),
    /// Asks for the digest of the learned map; answered by [`ToHost::Learned`].
    Learned,
    /// Nothing follows; answered by [`ToHost::Ready`].
    Finish,
}

/// From the processor to the host.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub enum ToHost {
    /// Done.
    Ready,
    /// What drives the pins until the next frame.
    Commands(Commands),
    /// [`Digest`](crate::Digest) of every correction, then of every variance, then of the film's.
    Learned(u64),
    /// The message was not acted on.
    Refused(Complaint),
}

/// Why a processor did not act on a message.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize)]
pub enum Complaint {
    /// Its bytes were damaged.
    Damaged,
    /// It has another version.
    Version(u8),
    /// Another number was due: one or more messages were lost.
    Lost {
        /// The number that was due.
        due: u32,
        /// The number that came.
        came: u32,
    },
    /// An answer is out of range.
    Answer,
    /// A frame came before a start.
    NotStarted,
}

impl core::fmt::Display for Complaint {
    fn fmt(&self, f: &mut core::fmt::Formatter<'_>) -> core::fmt::Result {
        match self {
            Self::Damaged => f.write_str("it arrived damaged"),
            Self::Version(version) => write!(f, "it has version {version} of the encoding"),
            Self::Lost { due, came } => write!(f, "message {due} was lost: {came} came in its place"),
            Self::Answer => f.write_str("a setup answer is out of range"),
            Self::NotStarted => f.write_str("no start came before it"),
        }
    }
}
