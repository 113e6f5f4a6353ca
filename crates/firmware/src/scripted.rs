//! A drive that needs no files: an invented van whose driver inputs follow a table.

use trimwright_control::{AnswerError, Calibration, Controller, Parameters, SetupAnswers};
use trimwright_link::Digest;
use trimwright_plant::{DriverInputs, GearRange, Key, OutOfRange, Plant, Truth};
use trimwright_signals::{Commands, Frame};

/// The parameters stay in flash.
static PARAMETERS: Parameters = Parameters::DEFAULT;

/// A calibration whose parameters stay in flash.
pub type InFlash = Calibration<&'static Parameters>;

/// Time between two frames, s.
pub const STEP_S: f64 = 1e-3;
/// Frames per second.
pub const STEPS_PER_S: u32 = 1000;
/// Seed of the plant's noise.
const SEED: u64 = 20_250_101;

/// Pedals over time: seconds since power-up, throttle and brake from then on, 0 to 1. The table repeats from its first driving
/// entry.
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
/// End of the table and the time from which it repeats, s.
const REPEAT_S: (u32, u32) = (110, 12);

/// Why the drive cannot be set up.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum SetupError {
    /// The truth is out of range.
    Truth(OutOfRange),
    /// A setup answer is out of range.
    Answer(AnswerError),
}

/// The engine: its filling deviates from what the setup answers predict, and its sensors are noisy.
pub fn truth() -> Truth {
    let mut truth = Truth::mild_v8();
    truth.filling.deviation = 0.10;
    truth.filling.deviation_seed = 3;
    truth
}

/// Driver inputs at this time since power-up, s.
pub fn driver_inputs(time_s: f64) -> DriverInputs {
    let key = if (2.0..4.5).contains(&time_s) { Key::Start } else { Key::On };
    let range = if time_s < 11.0 { GearRange::Park } else { GearRange::Drive };
    let (end_s, repeat_s) = (f64::from(REPEAT_S.0), f64::from(REPEAT_S.1));
    let mut table_s = time_s;
    while table_s >= end_s {
        table_s -= end_s - repeat_s;
    }
    let pedals = PEDALS.iter().take_while(|(from_s, ..)| f64::from(*from_s) <= table_s).last();
    let &(_, throttle, brake) = pedals.unwrap_or(&PEDALS[0]);
    let ac = table_s > 65.0;
    DriverInputs { key, throttle, brake, range, ac, ..DriverInputs::default() }
}

/// State of the drive.
#[derive(Clone, Debug)]
pub struct Drive {
    plant: Plant,
    controller: Controller<InFlash>,
    commands: Commands,
    steps: u32,
    digest: Digest,
}

impl Drive {
    /// The drive at power-up.
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

    /// One step of plant and controller; returns the controller's frame.
    pub fn step(&mut self) -> &Frame {
        let inputs = driver_inputs(f64::from(self.steps) * STEP_S);
        let frame = self.plant.step(&self.commands, &inputs, STEP_S);
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

    /// Digest of every frame and command so far.
    pub fn digest(&self) -> Digest {
        self.digest
    }

    /// The plant.
    pub fn plant(&self) -> &Plant {
        &self.plant
    }

    /// The plant, for putting in faults.
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
    fn the_engine_starts_the_car_drives_and_the_map_learns() {
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
