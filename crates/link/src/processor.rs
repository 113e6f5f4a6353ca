//! The processor's side of the line.

use trimwright_control::learning::CommonCorrection;
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
                ToHost::Learned(digest_of(controller.state().learned()))
            }
            (ToProcessor::Frame(_) | ToProcessor::Learned, None) => ToHost::Refused(Complaint::NotStarted),
        }
    }
}

/// Every number of a map, in the order of its declaration. A field that is added to the map has to be added here.
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
    fn every_number_of_the_map_counts() {
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
        let told = seen.len();
        seen.sort_unstable();
        seen.dedup();
        assert_eq!(seen.len(), told, "two maps with one digest");
    }
}
