//! The processor's side of the line.

use trimwright_control::{Calibration, Controller, LearnedMap};

use crate::digest::Digest;
use crate::message::{Complaint, ToHost, ToProcessor};
use crate::parcel::ParcelError;

/// Runs a controller on what comes along the line.
///
/// ```
/// use trimwright_link::{Complaint, Processor, ToHost, ToProcessor};
/// use trimwright_signals::Frame;
/// let mut processor = Processor::default();
/// let too_soon = processor.answer(Ok((0, ToProcessor::Frame(Frame::default()))));
/// assert_eq!(too_soon, (0, ToHost::Refused(Complaint::NotStarted)));
/// ```
#[derive(Clone, Debug, Default)]
pub struct Processor {
    controller: Option<Controller>,
    due: u32,
}

impl Processor {
    /// What to send back for a message, or for bytes that were none, and under which number. A message out of turn is not acted
    /// on: a controller that missed a frame would go on with another time than the plant's.
    pub fn answer(&mut self, came: Result<(u32, ToProcessor), ParcelError>) -> (u32, ToHost) {
        let due = self.due;
        let answer = match came {
            Err(ParcelError::Version(version)) => ToHost::Refused(Complaint::Version(version)),
            Err(ParcelError::Damaged | ParcelError::TooLong) => ToHost::Refused(Complaint::Damaged),
            Ok((number, _)) if number != due => ToHost::Refused(Complaint::Lost { due, came: number }),
            Ok((_, message)) => {
                self.due = due.wrapping_add(1);
                self.act(message)
            }
        };
        (due, answer)
    }

    fn act(&mut self, message: ToProcessor) -> ToHost {
        match (message, &mut self.controller) {
            (ToProcessor::Start { answers, options, keep_map }, before) => {
                let Ok(calibration) = Calibration::from_answers(&answers) else {
                    return ToHost::Refused(Complaint::Answer);
                };
                let started = Controller::new(calibration.with_options(options));
                let kept =
                    before.as_ref().filter(|_| keep_map).map(|before| before.state().learned().clone());
                *before = Some(match kept {
                    Some(learned) => started.with_learned(learned),
                    None => started,
                });
                ToHost::Ready
            }
            (ToProcessor::Finish, _) => ToHost::Ready,
            (ToProcessor::Frame(frame), Some(controller)) => ToHost::Commands(controller.step(&frame)),
            (ToProcessor::Learned, Some(controller)) => {
                ToHost::Learned(digest_of(&controller.state().learned()))
            }
            (ToProcessor::Frame(_) | ToProcessor::Learned, None) => ToHost::Refused(Complaint::NotStarted),
        }
    }
}

/// Every correction, then every variance, then the film's.
pub fn digest_of(map: &LearnedMap) -> u64 {
    let mut digest = Digest::default();
    for numbers in [map.ln.flat(), map.variance.flat(), &map.film_ln, &map.film_variance] {
        for number in numbers {
            digest.add(number);
        }
    }
    digest.value()
}
