//! Controller on another processor, connected by a serial line.
//!
//! The plant runs here, the controller there: each frame is sent and its commands received before the plant's next step. A second
//! controller runs here on the same frames to show the state; the first difference between their commands ends the run. Encoding:
//! [`trimwright_link::packet`].

use std::io::{self, Read, Write};
use std::path::Path;
use std::process::{Child, Command, Stdio};
use std::sync::mpsc::{Receiver as Channel, RecvTimeoutError, channel};
use std::thread;
use std::time::Duration;

use trimwright_control::{Calibration, LearnedMap, Parameters};
use trimwright_link::{MAX_BYTES, PacketError, Receiver, ToHost, ToProcessor, pack, processor};
use trimwright_signals::{Commands, Frame};

/// Longest wait for an answer. Engineering judgement: a thousand times the emulator's response time.
const TIMEOUT: Duration = Duration::from_secs(5);

/// Why a run on another processor ended.
#[derive(Clone, Debug, PartialEq, thiserror::Error)]
pub enum OnTargetError {
    /// The processor can't be started or reached.
    #[error("the processor can't be reached: {0}")]
    SerialLine(String),
    /// No answer arrived in time.
    #[error("message {number} or its answer was lost: nothing came back within {} s", TIMEOUT.as_secs())]
    Lost {
        /// The message's number.
        number: u32,
    },
    /// The answer is not a valid message.
    #[error("the answer to message {number} arrived {error}")]
    Answer {
        /// The message's number.
        number: u32,
        /// Fault of the packet.
        error: PacketError,
    },
    /// An answer to another message arrived.
    #[error("the answer to message {due} was lost: that to message {came} came in its place")]
    OutOfTurn {
        /// Number expected.
        due: u32,
        /// Number received.
        came: u32,
    },
    /// The processor rejected a message.
    #[error("the processor rejected message {number}: {reason}")]
    Rejected {
        /// The message's number.
        number: u32,
        /// Why.
        reason: trimwright_link::Rejection,
    },
    /// The answer has the wrong type.
    #[error("message {number} was answered by something else")]
    Unexpected {
        /// The message's number.
        number: u32,
    },
    /// The commands of the two controllers differ.
    #[error("at {time_s} s the processor commands {there}, the controller here {here}")]
    Differs {
        /// Time since power-up, s.
        time_s: f64,
        /// Commands of the processor.
        there: String,
        /// Commands of the controller here.
        here: String,
    },
    /// The parameters differ from the firmware's.
    #[error(
        "the processor works from parameters of its own: the line brings it answers and options, but no section [calibration]"
    )]
    Parameters,
    /// The two learned maps differ.
    #[error("the processor has learned another map than the controller here")]
    LearnedDiffers,
}

/// Byte transport to the processor and back.
///
/// ```
/// use std::io;
/// use trimwright_harness::on_target::{SerialLine, OnTarget};
/// use trimwright_link::{MAX_BYTES, Processor, Receiver, pack};
/// # use trimwright_control::{Calibration, Controller, SetupAnswers};
/// # use trimwright_signals::Frame;
///
/// /// A processor in this very program, at the end of a line without length.
/// #[derive(Default)]
/// struct Near { processor: Processor, receiver: Receiver, answers: Vec<u8> }
///
/// impl SerialLine for Near {
///     fn send(&mut self, bytes: &[u8]) -> io::Result<()> {
///         for byte in bytes {
///             let Some(came) = self.receiver.push(*byte) else { continue };
///             let (number, answer) = self.processor.answer(came);
///             self.answers.extend_from_slice(pack(&answer, number, &mut [0; MAX_BYTES]).map_err(io::Error::other)?);
///         }
///         Ok(())
///     }
///     fn receive(&mut self) -> io::Result<Option<Vec<u8>>> {
///         Ok(Some(std::mem::take(&mut self.answers)))
///     }
/// }
///
/// let calibration = Calibration::from_answers(&SetupAnswers::default())?;
/// let mut target = OnTarget::over(Box::new(Near::default()));
/// target.start(&calibration, false)?;
/// let frame = Frame { time_us: 1000, battery_v: 12.5, ..Frame::default() };
/// assert_eq!(target.step(&frame)?, Controller::new(calibration).step(&frame), "there as here");
/// # Ok::<(), Box<dyn std::error::Error>>(())
/// ```
pub trait SerialLine {
    /// Sends these bytes.
    ///
    /// # Errors
    /// When the line is broken.
    fn send(&mut self, bytes: &[u8]) -> io::Result<()>;
    /// Waits for bytes; `None` after a timeout.
    ///
    /// # Errors
    /// When the line is broken.
    fn receive(&mut self) -> io::Result<Option<Vec<u8>>>;
}

/// Connection to the processor.
///
/// ```
/// use std::path::Path;
/// use trimwright_control::{Calibration, SetupAnswers};
/// use trimwright_harness::on_target::{OnTarget, OnTargetError};
/// let calibration = Calibration::from_answers(&SetupAnswers::default())?;
/// let started = OnTarget::emulated(Path::new("no/such/firmware"))
///     .and_then(|mut target| target.start(&calibration, false));
/// assert!(matches!(started, Err(OnTargetError::SerialLine(_))), "the emulator is not there, or has nothing to run");
/// # Ok::<(), trimwright_control::AnswerError>(())
/// ```
pub struct OnTarget {
    line: Box<dyn SerialLine>,
    number: u32,
}

impl OnTarget {
    /// Connection over a given line.
    pub fn over(line: Box<dyn SerialLine>) -> Self {
        Self { line, number: 0 }
    }

    /// Connection to a program on the emulated board, `in_the_loop` of the firmware.
    ///
    /// # Errors
    /// When the emulator can't be started.
    pub fn emulated(program: &Path) -> Result<Self, OnTargetError> {
        let mut command = Command::new("qemu-system-arm");
        command
            .args(["-cpu", "cortex-m4", "-machine", "mps2-an386", "-display", "none"])
            .args(["-serial", "none", "-monitor", "none"])
            .args(["-semihosting-config", "enable=on,target=native,arg=in_the_loop", "-kernel"])
            .arg(program);
        let emulator = Emulator::start(&mut command)
            .map_err(|error| OnTargetError::SerialLine(format!("qemu-system-arm: {error}")))?;
        Ok(Self::over(Box::new(emulator)))
    }

    /// Restarts the controller with this calibration's answers and options, with an empty map or the one learned last.
    ///
    /// # Errors
    /// Any [`OnTargetError`]; [`OnTargetError::Parameters`] when the calibration's parameters are not the defaults.
    pub fn start(&mut self, calibration: &Calibration, keep_map: bool) -> Result<(), OnTargetError> {
        if *calibration.parameters() != Parameters::DEFAULT {
            return Err(OnTargetError::Parameters);
        }
        let (answers, options) = (*calibration.answers(), *calibration.options());
        match self.ask(&ToProcessor::Start { answers, options, keep_map })? {
            ToHost::Ready => Ok(()),
            _ => Err(self.unexpected()),
        }
    }

    /// Sends a frame and returns the commands.
    ///
    /// # Errors
    /// Any [`OnTargetError`].
    pub fn step(&mut self, frame: &Frame) -> Result<Commands, OnTargetError> {
        match self.ask(&ToProcessor::Frame(frame.clone()))? {
            ToHost::Commands(commands) => Ok(commands),
            _ => Err(self.unexpected()),
        }
    }

    /// Compares the processor's learned map with `learned`.
    ///
    /// # Errors
    /// [`OnTargetError::LearnedDiffers`], or a transport error.
    pub fn check_learned(&mut self, learned: &LearnedMap) -> Result<(), OnTargetError> {
        match self.ask(&ToProcessor::Learned)? {
            ToHost::Learned(digest) if digest == processor::digest_of(learned) => Ok(()),
            ToHost::Learned(_) => Err(OnTargetError::LearnedDiffers),
            _ => Err(self.unexpected()),
        }
    }

    fn unexpected(&self) -> OnTargetError {
        OnTargetError::Unexpected { number: self.number.wrapping_sub(1) }
    }

    fn ask(&mut self, message: &ToProcessor) -> Result<ToHost, OnTargetError> {
        let number = self.number;
        self.number = number.wrapping_add(1);
        let broken = |error: io::Error| OnTargetError::SerialLine(error.to_string());
        let mut buffer = [0; MAX_BYTES];
        let sent = pack(message, number, &mut buffer)
            .map_err(|error| OnTargetError::SerialLine(error.to_string()))?;
        self.line.send(sent).map_err(broken)?;
        let mut receiver = Receiver::default();
        loop {
            let bytes = self.line.receive().map_err(broken)?.ok_or(OnTargetError::Lost { number })?;
            let Some(came) = bytes.iter().find_map(|byte| receiver.push::<ToHost>(*byte)) else { continue };
            return match came {
                Err(error) => Err(OnTargetError::Answer { number, error }),
                Ok((came, ToHost::Rejected(reason))) if came <= number => {
                    Err(OnTargetError::Rejected { number, reason })
                }
                Ok((came, _)) if came != number => Err(OnTargetError::OutOfTurn { due: number, came }),
                Ok((_, answer)) => Ok(answer),
            };
        }
    }
}

/// The emulator process, its standard input and output.
struct Emulator {
    child: Child,
    came: Channel<Vec<u8>>,
}

impl Emulator {
    fn start(command: &mut Command) -> io::Result<Self> {
        let mut child = command.stdin(Stdio::piped()).stdout(Stdio::piped()).spawn()?;
        let mut output = child.stdout.take().ok_or(io::ErrorKind::BrokenPipe)?;
        let (sender, came) = channel();
        thread::spawn(move || {
            let mut bytes = [0; MAX_BYTES];
            while let Ok(count @ 1..) = output.read(&mut bytes) {
                if sender.send(bytes[..count].to_vec()).is_err() {
                    break;
                }
            }
        });
        Ok(Self { child, came })
    }
}

impl SerialLine for Emulator {
    fn send(&mut self, bytes: &[u8]) -> io::Result<()> {
        let input = self.child.stdin.as_mut().ok_or(io::ErrorKind::BrokenPipe)?;
        input.write_all(bytes)?;
        input.flush()
    }

    fn receive(&mut self) -> io::Result<Option<Vec<u8>>> {
        match self.came.recv_timeout(TIMEOUT) {
            Ok(bytes) => Ok(Some(bytes)),
            Err(RecvTimeoutError::Timeout) => Ok(None),
            Err(RecvTimeoutError::Disconnected) => Err(io::Error::other("the emulator has ended")),
        }
    }
}

impl Drop for Emulator {
    fn drop(&mut self) {
        // An error means that it has ended already.
        let _ = self.child.kill();
        let _ = self.child.wait();
    }
}

#[cfg(test)]
mod tests;
