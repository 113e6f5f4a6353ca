use super::*;
use trimwright_control::{Controller, Parameters, SetupAnswers};
use trimwright_link::{Processor, Rejection};

/// Damage done to each message on the line, by its number.
type Damage = Box<dyn FnMut(u32, &mut Vec<u8>)>;

/// A processor at the end of a line that damages messages.
struct Faulty {
    processor: Processor,
    receiver: Receiver,
    answers: Vec<u8>,
    sent: u32,
    damage: Damage,
}

impl SerialLine for Faulty {
    fn send(&mut self, bytes: &[u8]) -> io::Result<()> {
        let mut bytes = bytes.to_vec();
        (self.damage)(self.sent, &mut bytes);
        self.sent += 1;
        for byte in bytes {
            if let Some(came) = self.receiver.push(byte) {
                let (number, answer) = self.processor.answer(came);
                let mut buffer = [0; MAX_BYTES];
                self.answers.extend_from_slice(pack(&answer, number, &mut buffer).expect("it fits"));
            }
        }
        Ok(())
    }

    fn receive(&mut self) -> io::Result<Option<Vec<u8>>> {
        let answers = std::mem::take(&mut self.answers);
        Ok(if answers.is_empty() { None } else { Some(answers) })
    }
}

fn over(damage: impl FnMut(u32, &mut Vec<u8>) + 'static) -> OnTarget {
    OnTarget::over(Box::new(Faulty {
        processor: Processor::default(),
        receiver: Receiver::default(),
        answers: Vec::new(),
        sent: 0,
        damage: Box::new(damage),
    }))
}

fn calibration() -> Calibration {
    Calibration::from_answers(&SetupAnswers::default()).expect("answers in range")
}

fn frames() -> impl Iterator<Item = Frame> {
    (0..500).map(|step| Frame { time_us: 1000 * step, battery_v: 12.5, map_v: 4.0, ..Frame::default() })
}

/// Runs until the first error.
fn run(target: &mut OnTarget) -> Result<(), OnTargetError> {
    target.start(&calibration(), false)?;
    let mut here = Controller::new(calibration());
    for frame in frames() {
        assert_eq!(target.step(&frame)?, here.step(&frame));
    }
    target.check_learned(here.state().learned())
}

#[test]
fn ident_both_ends_of_an_intact_line_agree() {
    assert_eq!(run(&mut over(|_, _| {})), Ok(()));
}

#[test]
fn a_damaged_message_is_reported() {
    let mut target = over(|number, bytes| {
        if number == 7 {
            bytes[5] ^= 0x10;
        }
    });
    let error = run(&mut target).unwrap_err();
    assert_eq!(error, OnTargetError::Rejected { number: 7, reason: Rejection::Damaged });
    assert_eq!(error.to_string(), "the processor rejected message 7: it arrived damaged");
}

#[test]
fn a_lost_message_is_reported() {
    let error = run(&mut over(|number, bytes| {
        if number == 9 {
            bytes.clear();
        }
    }));
    assert_eq!(error, Err(OnTargetError::Lost { number: 9 }));
}

#[test]
fn what_follows_a_lost_message_is_rejected() {
    let mut target = over(|number, bytes| {
        if number == 3 {
            bytes.clear();
        }
    });
    assert!(run(&mut target).is_err());
    let reason = Rejection::OutOfSequence { expected: 3, received: 4 };
    assert_eq!(target.step(&Frame::default()), Err(OnTargetError::Rejected { number: 4, reason }));
}

#[test]
fn parameters_that_the_line_does_not_carry_are_rejected() {
    let mut parameters = Parameters::DEFAULT;
    parameters.feedback.hold_s += 1.0;
    let other = Calibration::new(&SetupAnswers::default(), parameters).expect("in range");
    let error = over(|_, _| {}).start(&other, false).expect_err("rejected");
    assert!(error.to_string().ends_with("but no section [calibration]"), "{error}");
}

#[test]
fn another_map_is_noticed() {
    let mut target = over(|_, _| {});
    assert_eq!(target.start(&calibration(), false), Ok(()));
    let mut other = Parameters::DEFAULT.blank_map();
    other.ln.flat_mut()[9] = 1e-7;
    assert_eq!(target.check_learned(&other), Err(OnTargetError::LearnedDiffers));
}

#[test]
fn a_program_that_cannot_be_started_is_an_error() {
    let Err(error) =
        OnTarget::emulated(Path::new("/nowhere/in_the_loop")).and_then(|mut target| run(&mut target))
    else {
        panic!("it ran");
    };
    assert!(matches!(error, OnTargetError::SerialLine(_)), "{error}");
}
