//! Messages between host and processor.

use serde::{Deserialize, Serialize};
use trimwright_control::{Options, SetupAnswers};
use trimwright_signals::{Commands, Frame};

/// Message from the host, which runs the plant, to the processor, which runs the controller. Each is answered by one [`ToHost`].
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
#[non_exhaustive]
pub enum ToProcessor {
    /// Restart the controller; answered by [`ToHost::Ready`].
    Start {
        /// Setup answers.
        answers: SetupAnswers,
        /// Options: functions switched off, learning strategy.
        options: Options,
        /// Keep the learned map instead of starting with an empty one.
        keep_map: bool,
    },
    /// Sensor frame; answered by [`ToHost::Commands`].
    Frame(Frame),
    /// Request for the digest of the learned map; answered by [`ToHost::Learned`].
    Learned,
    /// Last message; answered by [`ToHost::Ready`].
    Finish,
}

/// Answer of the processor to the host.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
#[non_exhaustive]
pub enum ToHost {
    /// Done.
    Ready,
    /// Commands until the next frame.
    Commands(Commands),
    /// FNV-1a digest over all fields of the learned map, by [`digest_of`](crate::processor::digest_of).
    Learned(u64),
    /// The message was rejected.
    Rejected(Rejection),
}

/// Why the processor rejected a message.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize)]
#[non_exhaustive]
pub enum Rejection {
    /// The packet was damaged.
    Damaged,
    /// The packet has this other version.
    Version(u8),
    /// Another sequence number was expected: one or more messages were lost.
    OutOfSequence {
        /// Sequence number that was expected.
        expected: u32,
        /// Sequence number of the message.
        received: u32,
    },
    /// A setup answer is out of range.
    AnswerOutOfRange,
    /// No [`ToProcessor::Start`] came before.
    NotStarted,
}

impl core::fmt::Display for Rejection {
    fn fmt(&self, f: &mut core::fmt::Formatter<'_>) -> core::fmt::Result {
        match self {
            Self::Damaged => f.write_str("it arrived damaged"),
            Self::Version(version) => write!(f, "it has version {version} of the encoding"),
            Self::OutOfSequence { expected, received } => {
                write!(f, "message {expected} was lost: {received} came in its place")
            }
            Self::AnswerOutOfRange => f.write_str("a setup answer is out of range"),
            Self::NotStarted => f.write_str("no start came before it"),
        }
    }
}
