//! Ten seconds of driving with a warm engine for benchmarks: whole loop, plant alone, controller alone.

use std::hint::black_box;
use trimwright_harness::closed_loop::{ClosedLoop, STEP_S};
use trimwright_harness::scenario::Scenario;
use trimwright_harness::session::{SessionBuilder, Until};
use trimwright_plant::{DriverInputs, GearRange, Key};
use trimwright_signals::{Commands, Frame};

/// Number of steps.
pub(crate) const STEPS: usize = 10_000;

/// State at the beginning of the section, and its frames and commands.
pub(crate) struct Stretch {
    start: ClosedLoop,
    inputs: DriverInputs,
    frames: Vec<Frame>,
    commands: Vec<Commands>,
}

impl Stretch {
    /// Starts the default engine and drives for 30 s.
    pub(crate) fn new() -> Self {
        let scenario = Scenario::load("delivery-van").expect("it is shipped");
        let mut session = SessionBuilder::new(scenario).by_hand().build().expect("it was checked");
        let inputs = |key, range, throttle| DriverInputs { key, range, throttle, ..DriverInputs::default() };
        let drive = inputs(Key::On, GearRange::Drive, 0.2);
        for (seconds, inputs) in [
            (2.0, inputs(Key::On, GearRange::Park, 0.0)),
            (2.5, inputs(Key::Start, GearRange::Park, 0.0)),
            (5.0, inputs(Key::On, GearRange::Park, 0.0)),
            (30.0, drive.clone()),
        ] {
            *session.inputs_mut() = inputs;
            session.run(Until::After(seconds), &mut ()).expect("it has no faults");
        }
        let start = session.closed_loop().clone();
        let mut running = start.clone();
        let mut commands = Vec::with_capacity(STEPS);
        for _ in 0..STEPS {
            commands.push(*running.commands());
            running.step(&drive);
        }
        assert!(running.view().vehicle_m_per_s > 5.0, "the car drives");
        let mut plant = start.plant().clone();
        let frames = commands.iter().map(|now| plant.step(now, &drive, STEP_S).clone()).collect();
        Self { start, inputs: drive, frames, commands }
    }

    /// Runs the closed loop.
    pub(crate) fn drive(&self) {
        let mut running = self.start.clone();
        for _ in 0..STEPS {
            running.step(black_box(&self.inputs));
        }
        black_box(running);
    }

    /// Runs the plant alone with the recorded commands.
    pub(crate) fn drive_plant(&self) {
        let mut plant = self.start.plant().clone();
        for commands in &self.commands {
            black_box(plant.step(black_box(commands), &self.inputs, STEP_S));
        }
    }

    /// Runs the controller alone with the recorded frames.
    pub(crate) fn run_controller(&self) {
        let mut controller = self.start.controller().clone();
        for frame in &self.frames {
            black_box(controller.step(black_box(frame)));
        }
    }
}
