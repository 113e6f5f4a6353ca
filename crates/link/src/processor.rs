//! Processor side of the protocol: runs a controller on received messages.

use trimwright_control::learning::CommonCorrection;
use trimwright_control::{Calibration, Controller, LearnedMap};

use crate::digest::Digest;
use crate::message::{Rejection, ToHost, ToProcessor};
use crate::packet::PacketError;

/// Runs a controller on received messages and answers them.
///
/// ```
/// use trimwright_link::{Rejection, Processor, ToHost, ToProcessor};
/// use trimwright_signals::Frame;
/// let mut processor = Processor::default();
/// let answer = processor.answer(Ok((0, ToProcessor::Frame(Frame::default()))));
/// assert_eq!(answer, (0, ToHost::Rejected(Rejection::NotStarted)));
/// ```
#[derive(Clone, Debug, Default)]
pub struct Processor {
    controller: Option<Controller>,
    /// Sequence number of the next message.
    expected: u32,
}

impl Processor {
    /// Sequence number and answer to a received message or to an invalid packet. A message out of sequence is rejected: a controller
    /// that missed a frame would differ in time from the plant.
    pub fn answer(&mut self, received: Result<(u32, ToProcessor), PacketError>) -> (u32, ToHost) {
        let expected = self.expected;
        let answer = match received {
            Err(PacketError::Version(version)) => ToHost::Rejected(Rejection::Version(version)),
            Err(PacketError::Damaged | PacketError::TooLong) => ToHost::Rejected(Rejection::Damaged),
            Ok((number, _)) if number != expected => {
                ToHost::Rejected(Rejection::OutOfSequence { expected, received: number })
            }
            Ok((_, message)) => {
                self.expected = expected.wrapping_add(1);
                self.act(message)
            }
        };
        (expected, answer)
    }

    fn act(&mut self, message: ToProcessor) -> ToHost {
        match (message, &mut self.controller) {
            (ToProcessor::Start { answers, options, keep_map }, before) => {
                let Ok(calibration) = Calibration::from_answers(&answers) else {
                    return ToHost::Rejected(Rejection::AnswerOutOfRange);
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
                ToHost::Learned(digest_of(controller.state().learned()))
            }
            (ToProcessor::Frame(_) | ToProcessor::Learned, None) => ToHost::Rejected(Rejection::NotStarted),
        }
    }
}

/// FNV-1a digest over all fields of [`LearnedMap`], in the order of their declaration.
pub fn digest_of(map: &LearnedMap) -> u64 {
    let LearnedMap { ln, variance, film_ln, film_variance, common } = map;
    let CommonCorrection { flow_ln, delay_s, flow_sigma_ln, delay_sigma_s } = common;
    let common = [*flow_ln, *delay_s, *flow_sigma_ln, *delay_sigma_s];
    let mut digest = Digest::default();
    for numbers in [ln.flat(), variance.flat(), film_ln, film_variance, &common] {
        for number in numbers {
            digest.add(number);
        }
    }
    digest.value()
}

#[cfg(test)]
mod tests {
    extern crate std;
    use super::*;
    use std::vec;
    use trimwright_control::Parameters;

    #[test]
    fn every_field_of_the_map_changes_the_digest() {
        let fields: [fn(&mut LearnedMap) -> &mut f32; 11] = [
            |map| &mut map.ln.flat_mut()[0],
            |map| map.ln.flat_mut().last_mut().expect("cells"),
            |map| &mut map.variance.flat_mut()[0],
            |map| map.variance.flat_mut().last_mut().expect("cells"),
            |map| &mut map.film_ln[0],
            |map| &mut map.film_ln[1],
            |map| &mut map.film_variance[1],
            |map| &mut map.common.flow_ln,
            |map| &mut map.common.delay_s,
            |map| &mut map.common.flow_sigma_ln,
            |map| &mut map.common.delay_sigma_s,
        ];
        let mut seen = vec![digest_of(&Parameters::DEFAULT.blank_map())];
        for field in fields {
            let mut map = Parameters::DEFAULT.blank_map();
            *field(&mut map) += 0.2;
            seen.push(digest_of(&map));
        }
        let maps = seen.len();
        seen.sort_unstable();
        seen.dedup();
        assert_eq!(seen.len(), maps, "two maps with one digest");
    }
}
