//! Connection of plant and controller: the plant's frame goes to the controller, the controller's commands to the plant.

use trimwright_control::Controller;
use trimwright_control::Learner;
use trimwright_plant::{DriverInputs, OutOfRange, Plant, Truth, View};
use trimwright_signals::Commands;

use crate::on_target::{OnTarget, OnTargetError};

/// Time step of the loop, s.
pub const STEP_S: f64 = 1e-3;

/// Plant and controller connected to each other.
///
/// ```
/// use trimwright_control::{Calibration, Controller};
/// use trimwright_harness::closed_loop::ClosedLoop;
/// use trimwright_harness::scenario::Scenario;
/// use trimwright_plant::{DriverInputs, Key, Plant};
///
/// let scenario = Scenario::load("delivery-van")?;
/// let controller = Controller::new(Calibration::from_answers(&scenario.answers)?);
/// let mut closed_loop = ClosedLoop::new(Plant::new(scenario.truth, scenario.seed)?, controller);
/// for (key, steps) in [(Key::On, 2000), (Key::Start, 1500), (Key::On, 3000)] {
///     let inputs = DriverInputs { key, ..DriverInputs::default() };
///     (0..steps).for_each(|_| closed_loop.step(&inputs));
/// }
/// assert!(closed_loop.view().speed_rad_per_s > 60.0, "it has started and idles");
/// assert!((closed_loop.time_s() - 6.5).abs() < 1e-9);
/// # Ok::<(), Box<dyn std::error::Error>>(())
/// ```
#[derive(Clone, Debug)]
pub struct ClosedLoop {
    plant: Plant,
    controller: Controller,
    commands: Commands,
    step_s: f64,
    steps: u64,
}

impl ClosedLoop {
    /// Connects the two; no command has been given yet. The step is [`STEP_S`].
    pub fn new(plant: Plant, controller: Controller) -> Self {
        Self::with_step(plant, controller, STEP_S)
    }

    /// The same with another time step, s; used to check that results do not depend on it.
    pub fn with_step(plant: Plant, controller: Controller, step_s: f64) -> Self {
        Self { plant, controller, commands: Commands::default(), step_s, steps: 0 }
    }

    /// Advances one step: the plant runs on the last commands, and its frame goes to the controller.
    #[inline]
    pub fn step(&mut self, inputs: &DriverInputs) {
        let strategy = self.controller.calibration().options().strategy;
        self.step_with(&strategy, inputs);
    }

    /// The same with another learner than the one that the options name.
    #[inline]
    pub fn step_with(&mut self, learner: &impl Learner, inputs: &DriverInputs) {
        let frame = self.plant.step(&self.commands, inputs, self.step_s);
        self.commands = self.controller.step_with(learner, frame);
        self.steps += 1;
    }

    /// Replaces the plant's truth: a fault begins or ends.
    ///
    /// # Errors
    /// [`OutOfRange`] as for [`Plant::set_truth`].
    pub fn set_truth(&mut self, truth: Truth) -> Result<(), OutOfRange> {
        self.plant.set_truth(truth)
    }

    /// The same with the commands of another processor. The controller here gets the same frames and must give the same commands.
    ///
    /// ```
    /// use trimwright_harness::on_target::{SerialLine, OnTarget, OnTargetError};
    /// # use trimwright_control::{Calibration, Controller};
    /// # use trimwright_harness::{closed_loop::ClosedLoop, scenario::Scenario};
    /// # use trimwright_plant::{DriverInputs, Plant};
    /// /// Nobody is at its other end.
    /// struct Cut;
    /// impl SerialLine for Cut {
    ///     fn send(&mut self, _: &[u8]) -> std::io::Result<()> { Ok(()) }
    ///     fn receive(&mut self) -> std::io::Result<Option<Vec<u8>>> { Ok(None) }
    /// }
    /// # let van = Scenario::load("delivery-van")?;
    /// # let controller = Controller::new(Calibration::from_answers(&van.answers)?);
    /// # let mut closed_loop = ClosedLoop::new(Plant::new(van.truth, van.seed)?, controller);
    /// let stepped = closed_loop.step_on(&DriverInputs::default(), &mut OnTarget::over(Box::new(Cut)));
    /// assert_eq!(stepped, Err(OnTargetError::Lost { number: 0 }));
    /// # Ok::<(), Box<dyn std::error::Error>>(())
    /// ```
    ///
    /// # Errors
    /// When the line fails or the two controllers differ.
    pub fn step_on(&mut self, inputs: &DriverInputs, target: &mut OnTarget) -> Result<(), OnTargetError> {
        let frame = self.plant.step(&self.commands, inputs, self.step_s);
        let here = self.controller.step(frame);
        self.commands = target.step(frame)?;
        self.steps += 1;
        if self.commands == here {
            return Ok(());
        }
        let (there, here) = (format!("{:?}", self.commands), format!("{here:?}"));
        Err(OnTargetError::Differs { time_s: self.time_s(), there, here })
    }

    /// Time since power-up, s.
    pub fn time_s(&self) -> f64 {
        self.steps as f64 * self.step_s
    }

    /// Steps since power-up.
    pub fn steps(&self) -> u64 {
        self.steps
    }

    /// Length of a step, s.
    pub fn step_s(&self) -> f64 {
        self.step_s
    }

    /// Plant.
    pub fn plant(&self) -> &Plant {
        &self.plant
    }

    /// True quantities of the plant after the last step.
    pub fn view(&self) -> View {
        self.plant.view()
    }

    /// Controller.
    pub fn controller(&self) -> &Controller {
        &self.controller
    }

    /// Last commands of the controller.
    pub fn commands(&self) -> &Commands {
        &self.commands
    }
}
