//! The one place where the plant's output becomes the controller's next frame.

use trimwright_control::Controller;
use trimwright_control::Learner;
use trimwright_plant::{DriverInputs, OutOfRange, Plant, Truth, View};
use trimwright_signals::Commands;

use crate::on_target::{OnTarget, OnTargetError};

/// Time step of the loop.
pub const STEP_S: f64 = 1e-3;

/// Controller and plant, wired together.
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
    /// Wires the two together; nothing has been commanded yet.
    ///
    /// ```
    /// use trimwright_control::{Calibration, Controller};
    /// use trimwright_harness::{closed_loop::ClosedLoop, scenario::Scenario};
    /// use trimwright_plant::Plant;
    /// let van = Scenario::load("delivery-van")?;
    /// let controller = Controller::new(Calibration::from_answers(&van.answers)?);
    /// let closed_loop = ClosedLoop::new(Plant::new(van.truth, van.seed)?, controller);
    /// assert_eq!((closed_loop.steps(), closed_loop.commands().pump_duty), (0, 0.0));
    /// # Ok::<(), Box<dyn std::error::Error>>(())
    /// ```
    pub fn new(plant: Plant, controller: Controller) -> Self {
        Self::with_step(plant, controller, STEP_S)
    }

    /// The same with another time step, to see whether the numbers depend on it.
    ///
    /// ```
    /// use trimwright_control::{Calibration, Controller};
    /// use trimwright_harness::{closed_loop::ClosedLoop, scenario::Scenario};
    /// use trimwright_plant::{DriverInputs, Plant};
    /// let van = Scenario::load("delivery-van")?;
    /// let controller = Controller::new(Calibration::from_answers(&van.answers)?);
    /// let mut closed_loop = ClosedLoop::with_step(Plant::new(van.truth, van.seed)?, controller, 5e-4);
    /// (0..100).for_each(|_| closed_loop.step(&DriverInputs::default()));
    /// assert_eq!((closed_loop.steps(), closed_loop.step_s()), (100, 5e-4));
    /// assert!((closed_loop.time_s() - 0.05).abs() < 1e-12);
    /// # Ok::<(), Box<dyn std::error::Error>>(())
    /// ```
    pub fn with_step(plant: Plant, controller: Controller, step_s: f64) -> Self {
        Self { plant, controller, commands: Commands::default(), step_s, steps: 0 }
    }

    /// One step: what the controller commanded acts on the plant, and what the plant's wires then show goes to the controller.
    ///
    /// ```
    /// # use trimwright_control::{Calibration, Controller};
    /// # use trimwright_harness::{closed_loop::ClosedLoop, scenario::Scenario};
    /// # use trimwright_plant::{DriverInputs, Key, Plant};
    /// # let van = Scenario::load("delivery-van")?;
    /// # let controller = Controller::new(Calibration::from_answers(&van.answers)?);
    /// let mut closed_loop = ClosedLoop::new(Plant::new(van.truth, van.seed)?, controller);
    /// let inputs = DriverInputs { key: Key::On, ..DriverInputs::default() };
    /// (0..1000).for_each(|_| closed_loop.step(&inputs));
    /// assert!(closed_loop.view().rail_pa > 200e3, "a second after key on the pump has filled the rail");
    /// # Ok::<(), Box<dyn std::error::Error>>(())
    /// ```
    #[inline]
    pub fn step(&mut self, inputs: &DriverInputs) {
        let strategy = self.controller.calibration().options().strategy;
        self.step_with(&strategy, inputs);
    }

    /// The same with lessons taken by a learner of one's own.
    ///
    /// ```
    /// use trimwright_control::LearnedMap;
    /// use trimwright_control::parameters::LearnerParameters;
    /// use trimwright_control::learning::{Lesson, Outcome};
    /// use trimwright_control::Learner;
    /// # use trimwright_control::{Calibration, Controller};
    /// # use trimwright_harness::{closed_loop::ClosedLoop, scenario::Scenario};
    /// # use trimwright_plant::{DriverInputs, Key, Plant};
    /// # let van = Scenario::load("delivery-van")?;
    /// # let controller = Controller::new(Calibration::from_answers(&van.answers)?);
    /// let mut warm = van.truth.clone();
    /// warm.thermal.start_k = 363.15;
    /// let mut closed_loop = ClosedLoop::new(Plant::new(warm, van.seed)?, controller);
    /// /// Hears every lesson and keeps none.
    /// struct Deaf;
    /// impl Learner for Deaf {
    ///     fn learn(&self, _: &LearnerParameters, _: &mut LearnedMap, _: &Lesson<'_>) -> Outcome {
    ///         Outcome::Accepted
    ///     }
    /// }
    /// for (key, steps) in [(Key::On, 2_000), (Key::Start, 1_500), (Key::On, 60_000)] {
    ///     (0..steps).for_each(|_| closed_loop.step_with(&Deaf, &DriverInputs { key, ..DriverInputs::default() }));
    /// }
    /// let state = closed_loop.controller().state();
    /// assert!(state.counts().lessons() > 0 && state.learned().ln.flat().iter().all(|ln| *ln == 0.0));
    /// # Ok::<(), Box<dyn std::error::Error>>(())
    /// ```
    #[inline]
    pub fn step_with(&mut self, learner: &impl Learner, inputs: &DriverInputs) {
        let frame = self.plant.step(&self.commands, inputs, self.step_s);
        self.commands = self.controller.step_with(learner, frame);
        self.steps += 1;
    }

    /// Lets the plant go on under another truth: a fault comes or goes.
    ///
    /// ```
    /// use trimwright_control::{Calibration, Controller};
    /// use trimwright_harness::{closed_loop::ClosedLoop, scenario::Scenario};
    /// use trimwright_plant::{DriverInputs, Plant};
    /// let van = Scenario::load("delivery-van")?;
    /// let controller = Controller::new(Calibration::from_answers(&van.answers)?);
    /// let mut broken = van.truth.clone();
    /// let mut closed_loop = ClosedLoop::new(Plant::new(van.truth, van.seed)?, controller);
    /// broken.injectors.static_flow_kg_per_s *= 0.9;
    /// closed_loop.set_truth(broken.clone())?;
    /// assert_eq!(closed_loop.plant().truth(), &broken);
    /// # Ok::<(), Box<dyn std::error::Error>>(())
    /// ```
    ///
    /// # Errors
    /// [`OutOfRange`] as [`Plant::set_truth`] has it.
    pub fn set_truth(&mut self, truth: Truth) -> Result<(), OutOfRange> {
        self.plant.set_truth(truth)
    }

    /// The same with the commands of another processor; the controller here goes along, to show what that one thinks.
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
    /// When the line fails, or the two controllers differ.
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

    /// Time since power-up.
    ///
    /// ```
    /// # use trimwright_control::{Calibration, Controller};
    /// # use trimwright_harness::{closed_loop::ClosedLoop, scenario::Scenario};
    /// # use trimwright_plant::{DriverInputs, Plant};
    /// # let van = Scenario::load("delivery-van")?;
    /// # let controller = Controller::new(Calibration::from_answers(&van.answers)?);
    /// # let mut closed_loop = ClosedLoop::new(Plant::new(van.truth, van.seed)?, controller);
    /// (0..250).for_each(|_| closed_loop.step(&DriverInputs::default()));
    /// assert!((closed_loop.time_s() - 0.25).abs() < 1e-12);
    /// # Ok::<(), Box<dyn std::error::Error>>(())
    /// ```
    pub fn time_s(&self) -> f64 {
        self.steps as f64 * self.step_s
    }

    /// Steps since power-up.
    ///
    /// ```
    /// # use trimwright_control::{Calibration, Controller};
    /// # use trimwright_harness::{closed_loop::ClosedLoop, scenario::Scenario};
    /// # use trimwright_plant::{DriverInputs, Plant};
    /// # let van = Scenario::load("delivery-van")?;
    /// # let controller = Controller::new(Calibration::from_answers(&van.answers)?);
    /// # let mut closed_loop = ClosedLoop::new(Plant::new(van.truth, van.seed)?, controller);
    /// while closed_loop.time_s() < 0.1 {
    ///     closed_loop.step(&DriverInputs::default());
    /// }
    /// assert_eq!(closed_loop.steps(), 100);
    /// # Ok::<(), Box<dyn std::error::Error>>(())
    /// ```
    pub fn steps(&self) -> u64 {
        self.steps
    }

    /// Length of a step.
    ///
    /// ```
    /// use trimwright_harness::closed_loop::STEP_S;
    /// # use trimwright_control::{Calibration, Controller};
    /// # use trimwright_harness::{closed_loop::ClosedLoop, scenario::Scenario};
    /// # use trimwright_plant::Plant;
    /// # let van = Scenario::load("delivery-van")?;
    /// # let controller = Controller::new(Calibration::from_answers(&van.answers)?);
    /// let closed_loop = ClosedLoop::new(Plant::new(van.truth, van.seed)?, controller);
    /// assert_eq!((closed_loop.step_s(), STEP_S), (0.001, 0.001), "a millisecond unless asked otherwise");
    /// # Ok::<(), Box<dyn std::error::Error>>(())
    /// ```
    pub fn step_s(&self) -> f64 {
        self.step_s
    }

    /// The plant.
    ///
    /// ```
    /// # use trimwright_control::{Calibration, Controller};
    /// # use trimwright_harness::{closed_loop::ClosedLoop, scenario::Scenario};
    /// # use trimwright_plant::{DriverInputs, Key, Plant};
    /// # let van = Scenario::load("delivery-van")?;
    /// # let controller = Controller::new(Calibration::from_answers(&van.answers)?);
    /// # let mut closed_loop = ClosedLoop::new(Plant::new(van.truth, van.seed)?, controller);
    /// for (key, steps) in [(Key::On, 2_000), (Key::Start, 1_500), (Key::On, 10_000)] {
    ///     (0..steps).for_each(|_| closed_loop.step(&DriverInputs { key, ..DriverInputs::default() }));
    /// }
    /// let balances = closed_loop.plant().balances();
    /// assert!(balances.charges > 300 && balances.misfires * 20 < balances.charges, "an engine that idles burns its charges");
    /// # Ok::<(), Box<dyn std::error::Error>>(())
    /// ```
    pub fn plant(&self) -> &Plant {
        &self.plant
    }

    /// The plant's true quantities at this moment.
    ///
    /// ```
    /// # use trimwright_control::{Calibration, Controller};
    /// # use trimwright_harness::{closed_loop::ClosedLoop, scenario::Scenario};
    /// # use trimwright_plant::{DriverInputs, Plant};
    /// # let van = Scenario::load("delivery-van")?;
    /// # let controller = Controller::new(Calibration::from_answers(&van.answers)?);
    /// # let mut closed_loop = ClosedLoop::new(Plant::new(van.truth, van.seed)?, controller);
    /// closed_loop.step(&DriverInputs::default());
    /// let view = closed_loop.view();
    /// assert!((view.map_pa - view.ambient_pa).abs() < 100.0, "an engine that stands has no vacuum");
    /// # Ok::<(), Box<dyn std::error::Error>>(())
    /// ```
    pub fn view(&self) -> View {
        self.plant.view()
    }

    /// The controller.
    ///
    /// ```
    /// # use trimwright_control::{Calibration, Controller};
    /// # use trimwright_harness::{closed_loop::ClosedLoop, scenario::Scenario};
    /// # use trimwright_plant::{DriverInputs, Key, Plant};
    /// # let van = Scenario::load("delivery-van")?;
    /// # let controller = Controller::new(Calibration::from_answers(&van.answers)?);
    /// # let mut closed_loop = ClosedLoop::new(Plant::new(van.truth, van.seed)?, controller);
    /// (0..500).for_each(|_| closed_loop.step(&DriverInputs { key: Key::On, ..DriverInputs::default() }));
    /// let (believed_k, true_k) = (closed_loop.controller().state().estimate().belief().ect_k, closed_loop.view().coolant_k);
    /// assert!((f64::from(believed_k) - true_k).abs() < 2.0, "it believes about what is");
    /// # Ok::<(), Box<dyn std::error::Error>>(())
    /// ```
    pub fn controller(&self) -> &Controller {
        &self.controller
    }

    /// What the controller last commanded.
    ///
    /// ```
    /// # use trimwright_control::{Calibration, Controller};
    /// # use trimwright_harness::{closed_loop::ClosedLoop, scenario::Scenario};
    /// # use trimwright_plant::{DriverInputs, Key, Plant};
    /// # let van = Scenario::load("delivery-van")?;
    /// # let controller = Controller::new(Calibration::from_answers(&van.answers)?);
    /// # let mut closed_loop = ClosedLoop::new(Plant::new(van.truth, van.seed)?, controller);
    /// (0..500).for_each(|_| closed_loop.step(&DriverInputs { key: Key::On, ..DriverInputs::default() }));
    /// assert!(closed_loop.commands().pump_duty > 0.0, "the key is on: the rail is being filled");
    /// # Ok::<(), Box<dyn std::error::Error>>(())
    /// ```
    pub fn commands(&self) -> &Commands {
        &self.commands
    }
}
