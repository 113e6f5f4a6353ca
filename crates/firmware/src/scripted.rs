//! A drive that needs no file: an invented van, and hands that follow a table.

use trimwright_control::{AnswerError, Calibration, Controller, Parameters, SetupAnswers};
use trimwright_link::Digest;
use trimwright_plant::{Hands, Key, OutOfRange, Plant, Range, Truth};
use trimwright_signals::{Commands, Frame};

/// The parameters stay in flash.
static PARAMETERS: Parameters = Parameters::DEFAULT;

/// A calibration whose parameters stay there.
pub type InFlash = Calibration<&'static Parameters>;

/// Time between two frames.
pub const STEP_S: f64 = 1e-3;
/// The same in steps a second.
pub const STEPS_PER_S: u32 = 1000;
/// Start of the random numbers.
const SEED: u64 = 20_250_101;

/// From when on the pedals are where: seconds since power-up, throttle, brake. After the last the table begins anew at the
/// first that drives.
const PEDALS: [(u32, f64, f64); 14] = [
    (0, 0.0, 0.3),
    (12, 0.18, 0.0),
    (22, 0.30, 0.0),
    (28, 0.22, 0.0),
    (38, 0.0, 0.0),
    (42, 0.0, 0.3),
    (50, 0.12, 0.0),
    (58, 0.55, 0.0),
    (61, 0.25, 0.0),
    (72, 0.16, 0.0),
    (80, 0.95, 0.0),
    (83, 0.20, 0.0),
    (92, 0.0, 0.15),
    (104, 0.0, 0.35),
];
/// When the table begins anew, and where.
const ROUND_S: (u32, u32) = (110, 12);

/// Why the drive cannot begin.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum SetupError {
    /// The truth is out of range.
    Truth(OutOfRange),
    /// An answer is out of range.
    Answer(AnswerError),
}

/// The engine: its filling is off from what its owner's answers let expect, and its sensors are noisy.
pub fn truth() -> Truth {
    let mut truth = Truth::mild_v8();
    truth.filling.deviation = 0.10;
    truth.filling.deviation_seed = 3;
    truth
}

/// What hands and feet do at this time.
///
/// ```
/// use trimwright_firmware::scripted::hands;
/// assert!(hands(25.0).throttle > 0.2);
/// assert_eq!(hands(1.0).throttle, 0.0);
/// ```
pub fn hands(time_s: f64) -> Hands {
    let key = if (2.0..4.5).contains(&time_s) { Key::Start } else { Key::On };
    let range = if time_s < 11.0 { Range::Park } else { Range::Drive };
    let (end_s, again_s) = (f64::from(ROUND_S.0), f64::from(ROUND_S.1));
    let mut place_s = time_s;
    while place_s >= end_s {
        place_s -= end_s - again_s;
    }
    let pedals = PEDALS.iter().take_while(|(from_s, ..)| f64::from(*from_s) <= place_s).last();
    let &(_, throttle, brake) = pedals.unwrap_or(&PEDALS[0]);
    let ac = place_s > 65.0;
    Hands { key, throttle, brake, range, ac, ..Hands::default() }
}

/// The drive as it goes on.
#[derive(Clone, Debug)]
pub struct Drive {
    plant: Plant,
    controller: Controller<InFlash>,
    commands: Commands,
    steps: u32,
    digest: Digest,
}

impl Drive {
    /// At power-up.
    ///
    /// # Errors
    /// [`SetupError`] when truth or answers are out of range; those of this module are not.
    pub fn new() -> Result<Self, SetupError> {
        let calibration =
            Calibration::from_checked(&SetupAnswers::default(), &PARAMETERS).map_err(SetupError::Answer)?;
        Ok(Self {
            plant: Plant::new(truth(), SEED).map_err(SetupError::Truth)?,
            controller: Controller::new(calibration),
            commands: Commands::default(),
            steps: 0,
            digest: Digest::default(),
        })
    }

    /// One step of plant and controller; gives the frame that the controller took.
    pub fn step(&mut self) -> &Frame {
        let hands = hands(f64::from(self.steps) * STEP_S);
        let frame = self.plant.step(&self.commands, &hands, STEP_S);
        self.commands = self.controller.step(frame);
        self.digest.add(frame);
        self.digest.add(&self.commands);
        self.steps += 1;
        frame
    }

    /// Steps so far.
    pub fn steps(&self) -> u32 {
        self.steps
    }

    /// Of every frame and command so far.
    pub fn digest(&self) -> Digest {
        self.digest
    }

    /// The plant.
    pub fn plant(&self) -> &Plant {
        &self.plant
    }

    /// The plant, to break something.
    pub fn plant_mut(&mut self) -> &mut Plant {
        &mut self.plant
    }

    /// The controller.
    pub fn controller(&self) -> &Controller<InFlash> {
        &self.controller
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_engine_starts_the_car_drives_and_the_map_is_taught() {
        let mut drive = Drive::new().unwrap();
        let mut fastest_m_per_s = 0.0_f64;
        for _ in 0..120 * STEPS_PER_S {
            drive.step();
            fastest_m_per_s = fastest_m_per_s.max(drive.plant().view().vehicle_m_per_s);
        }
        assert!((12.0..50.0).contains(&fastest_m_per_s), "{fastest_m_per_s} m/s");
        assert!(
            drive.controller().state().counts().lessons() > 200,
            "{:?}",
            drive.controller().state().counts()
        );
    }
}
