//! The simulated car that a user drives: driver inputs, faults, and lambda over the last minute.

use std::collections::VecDeque;

use trimwright_control::{Controller, Options};
use trimwright_harness::cells::Cells;
use trimwright_harness::closed_loop::ClosedLoop;
use trimwright_harness::drive::RunError;
use trimwright_harness::faults::{Fault, FaultKind, KINDS};
use trimwright_harness::mixture_observer::MixtureObserver;
use trimwright_harness::scenario::Scenario;
use trimwright_harness::session::{Session, SessionBuilder, Until};
use trimwright_harness::starting::{PERIOD_S, Starting};
use trimwright_plant::{DriverInputs, GearRange, Key};

/// Simulated time of one step, s: driver inputs are constant within it.
pub(crate) const STEP_S: f64 = PERIOD_S;
/// Time between two samples of the lambda history, s.
pub(crate) const SAMPLE_S: f64 = STEPS_PER_SAMPLE as f64 * STEP_S;
const STEPS_PER_SAMPLE: u32 = 10;
/// Length of the lambda history: 60 s.
const SAMPLES: usize = 300;
/// Change of throttle opening, brake and road grade for one key press, ratios.
const PEDAL_STEP: f64 = 0.02;
const BRAKE_STEP: f64 = 0.1;
const GRADE_STEP: f64 = 0.01;
/// Steepest road grade that can be set, rise over run.
const MAX_GRADE: f64 = 0.12;

/// A user's action on the car.
///
/// ```
/// use trimwright_harness::scenario::Scenario;
/// use trimwright_live::{BenchAction, Bench};
/// let mut bench = Bench::new(&Scenario::load("delivery-van")?)?;
/// for act in [BenchAction::ChangeBrake(2), BenchAction::ChangeGrade(-3), BenchAction::ToggleAirConditioning] {
///     bench.apply(act);
/// }
/// let inputs = bench.inputs();
/// assert!((inputs.brake - 0.2).abs() < 1e-9 && (inputs.grade + 0.03).abs() < 1e-9 && inputs.ac);
/// # Ok::<(), Box<dyn std::error::Error>>(())
/// ```
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum BenchAction {
    /// Opens or closes the throttle by this many steps of 2 %.
    ChangeThrottle(i8),
    /// Sets the throttle opening, tenths.
    SetThrottle(u8),
    /// Changes the brake by this many steps of 10 %.
    ChangeBrake(i8),
    /// Changes between park and drive.
    ToggleRange,
    /// Changes the road grade by this many steps of 1 %.
    ChangeGrade(i8),
    /// Switches the air conditioning on or off.
    ToggleAirConditioning,
    /// Switches the ignition on or off; the starter is operated automatically.
    ToggleIgnition,
    /// Sets or clears the fault with this index in [`Bench::fault_kinds`].
    ToggleFault(usize),
    /// Clears all faults.
    ClearFaults,
}

/// Wanted and measured lambda at one time.
///
/// ```
/// use trimwright_harness::scenario::Scenario;
/// use trimwright_live::Bench;
/// let mut bench = Bench::new(&Scenario::load("delivery-van")?)?;
/// for _ in 0..500 {
///     bench.step();
/// }
/// let last = bench.lambda_history().last().ok_or("no sample")?;
/// assert!((last.time_s - 10.0).abs() < 1e-6);
/// assert!(last.wanted < 1.0, "a cold engine needs a rich mixture, got {}", last.wanted);
/// assert_eq!(last.measured, None, "the sensor is cold too");
/// # Ok::<(), Box<dyn std::error::Error>>(())
/// ```
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct LambdaSample {
    /// Time since power-up, s.
    pub time_s: f64,
    /// Lambda that the controller wanted for the gas that is now at the sensor.
    pub wanted: f64,
    /// Lambda that the controller measured; `None` while the sensor is not ready or invalid.
    pub measured: Option<f64>,
}

/// A scenario's car and controller, driven by a user's inputs instead of the scenario's schedule.
///
/// ```
/// use trimwright_harness::scenario::Scenario;
/// use trimwright_live::{BenchAction, Bench};
/// let mut bench = Bench::new(&Scenario::load("delivery-van")?)?;
/// for _ in 0..500 {
///     bench.step();
/// }
/// let idle = bench.view().speed_rad_per_s;
/// bench.apply(BenchAction::SetThrottle(1));
/// for _ in 0..100 {
///     bench.step();
/// }
/// assert!(bench.view().speed_rad_per_s > 1.3 * idle, "it has started automatically and revs up in park");
/// # Ok::<(), Box<dyn std::error::Error>>(())
/// ```
#[derive(Debug)]
pub struct Bench {
    /// Its scenario's faults are those that the user has set.
    session: Session,
    starting: Starting,
    ignition: bool,
    observer: MixtureObserver,
    lambda_history: VecDeque<LambdaSample>,
    steps: u32,
    notice: Option<String>,
}

impl Bench {
    /// The car of a scenario, ignition on, gearbox in park.
    ///
    /// ```
    /// use trimwright_harness::scenario::Scenario;
    /// use trimwright_live::Bench;
    /// let mut van = Scenario::load("delivery-van")?;
    /// let bench = Bench::new(&van)?;
    /// assert!(bench.ignition() && bench.view().speed_rad_per_s == 0.0, "the engine is stopped");
    /// van.truth.vehicle.mass_kg = -1.0;
    /// assert!(Bench::new(&van).is_err(), "a negative mass");
    /// # Ok::<(), Box<dyn std::error::Error>>(())
    /// ```
    ///
    /// # Errors
    /// [`RunError`] when the scenario's truth or setup answers are out of range.
    pub fn new(scenario: &Scenario) -> Result<Self, RunError> {
        let session = SessionBuilder::new(scenario.clone()).by_hand().build()?;
        // For a controller that does not learn, the observer keeps no log; the log would grow without limit here.
        let calibration = session.closed_loop().controller().calibration();
        let unlogged = Options { learning: false, ..*calibration.options() };
        let observer = MixtureObserver::new(&Controller::new(calibration.clone().with_options(unlogged)));
        Ok(Self {
            session,
            starting: Starting::new(),
            ignition: true,
            observer,
            lambda_history: VecDeque::with_capacity(SAMPLES),
            steps: 0,
            notice: None,
        })
    }

    /// The kinds of faults that can be set and cleared while the engine runs.
    pub fn fault_kinds() -> Vec<&'static FaultKind> {
        KINDS.iter().filter(|kind| kind.is_timed).collect()
    }

    /// Simulates one step, 20 ms.
    ///
    /// ```
    /// use trimwright_harness::scenario::Scenario;
    /// use trimwright_live::Bench;
    /// let mut bench = Bench::new(&Scenario::load("delivery-van")?)?;
    /// bench.step();
    /// assert!((bench.closed_loop().time_s() - 0.02).abs() < 1e-9);
    /// # Ok::<(), Box<dyn std::error::Error>>(())
    /// ```
    pub fn step(&mut self) {
        let (time_s, view) = (self.closed_loop().time_s(), self.view());
        self.session.inputs_mut().key = self.starting.act(time_s, self.ignition, view.speed_rad_per_s);
        if let Err(error) = self.session.run(Until::After(STEP_S), &mut self.observer) {
            self.report_error(&error);
            self.set_faults(Vec::new());
        }
        self.steps += 1;
        if self.steps.is_multiple_of(STEPS_PER_SAMPLE) {
            if self.lambda_history.len() == SAMPLES {
                self.lambda_history.pop_front();
            }
            let wanted = f64::from(self.closed_loop().controller().state().insight().expected_lambda);
            self.lambda_history.push_back(LambdaSample {
                time_s: self.closed_loop().time_s(),
                wanted,
                measured: self.measured_lambda(),
            });
        }
    }

    /// Applies a user's action.
    ///
    /// ```
    /// use trimwright_harness::scenario::Scenario;
    /// use trimwright_live::{BenchAction, Bench};
    /// let mut bench = Bench::new(&Scenario::load("delivery-van")?)?;
    /// bench.apply(BenchAction::SetThrottle(3));
    /// bench.apply(BenchAction::ChangeThrottle(-1));
    /// assert!((bench.inputs().throttle - 0.28).abs() < 1e-9);
    /// # Ok::<(), Box<dyn std::error::Error>>(())
    /// ```
    pub fn apply(&mut self, act: BenchAction) {
        self.notice = None;
        let by = |value: f64, steps: i8, step: f64| ((value / step).round() + f64::from(steps)) * step;
        let inputs = self.session.inputs_mut();
        match act {
            BenchAction::ChangeThrottle(steps) => {
                inputs.throttle = by(inputs.throttle, steps, PEDAL_STEP).clamp(0.0, 1.0)
            }
            BenchAction::SetThrottle(tenths) => inputs.throttle = (f64::from(tenths) / 10.0).min(1.0),
            BenchAction::ChangeBrake(steps) => {
                inputs.brake = by(inputs.brake, steps, BRAKE_STEP).clamp(0.0, 1.0)
            }
            BenchAction::ToggleRange => {
                inputs.range =
                    if inputs.range == GearRange::Park { GearRange::Drive } else { GearRange::Park };
            }
            BenchAction::ChangeGrade(steps) => {
                inputs.grade = by(inputs.grade, steps, GRADE_STEP).clamp(-MAX_GRADE, MAX_GRADE)
            }
            BenchAction::ToggleAirConditioning => inputs.ac = !inputs.ac,
            BenchAction::ToggleIgnition => self.ignition = !self.ignition,
            BenchAction::ToggleFault(number) => self.toggle(number),
            BenchAction::ClearFaults => self.set_faults(Vec::new()),
        }
    }

    fn toggle(&mut self, number: usize) {
        let Some(kind) = Self::fault_kinds().get(number).copied() else { return };
        let mut faults = self.session.scenario().faults.clone();
        match faults.iter().position(|fault| fault.kind == kind) {
            Some(place) => {
                faults.remove(place);
            }
            None => faults.push(Fault::usual(kind)),
        }
        self.set_faults(faults);
    }

    fn set_faults(&mut self, faults: Vec<Fault>) {
        if let Err(error) = self.session.set_faults(faults) {
            self.report_error(&error);
        }
    }

    fn report_error(&mut self, error: &RunError) {
        self.notice = Some(format!("these faults cannot be combined: {error}"));
    }

    /// Title of the scenario.
    pub fn title(&self) -> &str {
        &self.session.scenario().title
    }

    /// The closed loop of controller and plant.
    pub fn closed_loop(&self) -> &ClosedLoop {
        self.session.closed_loop()
    }

    /// True quantities of the plant.
    pub fn view(&self) -> trimwright_plant::View {
        self.closed_loop().view()
    }

    /// The driver inputs.
    pub fn inputs(&self) -> &DriverInputs {
        self.session.inputs()
    }

    /// Whether the starter is engaged.
    pub fn is_cranking(&self) -> bool {
        self.inputs().key == Key::Start
    }

    /// Whether the ignition is on.
    pub fn ignition(&self) -> bool {
        self.ignition
    }

    /// Lambda measured by the controller; `None` while the sensor is not ready or invalid.
    ///
    /// ```
    /// use trimwright_harness::scenario::Scenario;
    /// use trimwright_live::Bench;
    /// let mut bench = Bench::new(&Scenario::load("delivery-van")?)?;
    /// for _ in 0..500 {
    ///     bench.step();
    /// }
    /// assert_eq!(bench.measured_lambda(), None, "the sensor is not heated after 10 s");
    /// # Ok::<(), Box<dyn std::error::Error>>(())
    /// ```
    pub fn measured_lambda(&self) -> Option<f64> {
        let state = self.closed_loop().controller().state();
        (!state.estimate().invalid.lambda).then(|| f64::from(state.insight().measured_lambda))
    }

    /// Dwell time and visited flag of each cell of the map.
    pub fn cells(&self) -> &Cells {
        &self.observer.cells
    }

    /// True correction of each cell for the car without its faults, ln of the fuel factor; NaN before anything was driven.
    ///
    /// ```
    /// use trimwright_harness::scenario::Scenario;
    /// use trimwright_live::Bench;
    /// let mut bench = Bench::new(&Scenario::load("delivery-van")?)?;
    /// assert!(bench.true_correction_ln().iter().all(|ln| ln.is_nan()));
    /// for _ in 0..4000 {
    ///     bench.step();
    /// }
    /// assert!(bench.true_correction_ln().iter().all(|ln| ln.is_finite()));
    /// # Ok::<(), Box<dyn std::error::Error>>(())
    /// ```
    pub fn true_correction_ln(&self) -> Vec<f64> {
        let controller = self.closed_loop().controller();
        let late_s = controller.state().learned().common.delay_s;
        self.observer.cells.true_correction_ln(
            &self.session.scenario().truth,
            controller.calibration(),
            late_s,
        )
    }

    /// The faults that are set, and whether each is active now.
    ///
    /// ```
    /// use trimwright_harness::scenario::Scenario;
    /// use trimwright_live::{BenchAction, Bench};
    /// let mut bench = Bench::new(&Scenario::load("delivery-van")?)?;
    /// bench.apply(BenchAction::ToggleFault(0));
    /// assert_eq!(bench.faults().filter(|(_, present)| *present).count(), 1);
    /// bench.apply(BenchAction::ClearFaults);
    /// assert_eq!(bench.faults().filter(|(_, present)| *present).count(), 0);
    /// # Ok::<(), Box<dyn std::error::Error>>(())
    /// ```
    pub fn faults(&self) -> impl Iterator<Item = (&Fault, bool)> {
        let time_s = self.closed_loop().time_s();
        self.session.scenario().faults.iter().map(move |fault| (fault, fault.is_present(time_s)))
    }

    /// Wanted and measured lambda of the last 60 s, one sample per 0.2 s, oldest first.
    ///
    /// ```
    /// use trimwright_harness::scenario::Scenario;
    /// use trimwright_live::Bench;
    /// let mut bench = Bench::new(&Scenario::load("delivery-van")?)?;
    /// for _ in 0..100 {
    ///     bench.step();
    /// }
    /// assert_eq!(bench.lambda_history().count(), 10, "one per 0.2 s");
    /// # Ok::<(), Box<dyn std::error::Error>>(())
    /// ```
    pub fn lambda_history(&self) -> impl Iterator<Item = &LambdaSample> {
        self.lambda_history.iter()
    }

    /// The error message of the last action, if it failed.
    ///
    /// ```
    /// use trimwright_harness::scenario::Scenario;
    /// use trimwright_live::{BenchAction, Bench};
    /// let mut van = Scenario::load("delivery-van")?;
    /// van.truth.injectors.delay_s = [9.8e-3; 5];
    /// let mut bench = Bench::new(&van)?;
    /// let late = Bench::fault_kinds().iter().position(|kind| kind.name == "late_injectors").ok_or("no kind")?;
    /// bench.apply(BenchAction::ToggleFault(late));
    /// assert!(bench.notice().is_some_and(|words| words.contains("delay_s")), "10.1 ms is out of range");
    /// assert_eq!(bench.faults().count(), 0, "the fault was not set");
    /// # Ok::<(), Box<dyn std::error::Error>>(())
    /// ```
    pub fn notice(&self) -> Option<&str> {
        self.notice.as_deref()
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn bench() -> Bench {
        Bench::new(&Scenario::load("delivery-van").expect("shipped")).expect("valid")
    }

    fn run_for(bench: &mut Bench, seconds: f64) {
        for _ in 0..(seconds / STEP_S) as u32 {
            bench.step();
        }
    }

    #[test]
    fn drives_brakes_and_is_switched_off() {
        let mut bench = bench();
        run_for(&mut bench, 15.0);
        bench.apply(BenchAction::ToggleRange);
        bench.apply(BenchAction::SetThrottle(3));
        run_for(&mut bench, 20.0);
        let fast = bench.view().vehicle_m_per_s;
        assert!(fast > 8.0, "{fast}");
        bench.apply(BenchAction::SetThrottle(0));
        bench.apply(BenchAction::ChangeBrake(5));
        run_for(&mut bench, 10.0);
        assert!(bench.view().vehicle_m_per_s < 0.5);
        bench.apply(BenchAction::ToggleIgnition);
        run_for(&mut bench, 5.0);
        assert!(bench.view().speed_rad_per_s < 1.0 && !bench.ignition());
        assert!(bench.lambda_history().count() > 200);
    }

    #[test]
    fn pedals_and_road_stay_within_their_ranges() {
        let mut bench = bench();
        for _ in 0..60 {
            bench.apply(BenchAction::ChangeThrottle(1));
            bench.apply(BenchAction::ChangeBrake(1));
            bench.apply(BenchAction::ChangeGrade(-1));
        }
        assert_eq!((bench.inputs().throttle, bench.inputs().brake), (1.0, 1.0));
        assert!((bench.inputs().grade + MAX_GRADE).abs() < 1e-12);
        bench.apply(BenchAction::ChangeThrottle(-1));
        assert!((bench.inputs().throttle - 0.98).abs() < 1e-12);
    }

    #[test]
    fn a_fault_is_set_detected_and_cleared() {
        let mut bench = bench();
        let number = Bench::fault_kinds().iter().position(|kind| kind.name == "map_open").expect("a kind");
        bench.apply(BenchAction::ToggleFault(number));
        assert_eq!(
            bench.faults().map(|(fault, active)| (fault.kind.name, active)).collect::<Vec<_>>(),
            [("map_open", true)]
        );
        run_for(&mut bench, 20.0);
        assert!(bench.closed_loop().controller().state().dtcs().active().count() > 0);
        bench.apply(BenchAction::ToggleFault(number));
        assert_eq!(bench.faults().count(), 0);
        assert_eq!(bench.closed_loop().plant().truth(), &bench.session.scenario().truth);
        bench.apply(BenchAction::ToggleFault(9999));
        bench.apply(BenchAction::ClearFaults);
        assert_eq!((bench.faults().count(), bench.notice()), (0, None));
    }
}
