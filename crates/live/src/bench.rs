//! The car with its driver inputs: what was asked of it, what is wrong with it, and what it did of late.

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

/// Simulated time of one stretch: that between two decisions of whoever works the car.
pub(crate) const STRETCH_S: f64 = PERIOD_S;
/// Time between two points of the past, and how many points are kept: a minute.
pub(crate) const POINT_S: f64 = STRETCHES_PER_POINT as f64 * STRETCH_S;
const STRETCHES_PER_POINT: u32 = 10;
const POINTS: usize = 300;
/// Steps by which pedals and road change.
const PEDAL_STEP: f64 = 0.02;
const BRAKE_STEP: f64 = 0.1;
const GRADE_STEP: f64 = 0.01;
/// Steepest road that can be asked for, rise over run.
const STEEPEST: f64 = 0.12;

/// Something that a user does to the car.
///
/// ```
/// use trimwright_harness::scenario::Scenario;
/// use trimwright_live::{Act, Bench};
/// let mut bench = Bench::new(&Scenario::load("delivery-van")?)?;
/// for act in [Act::Brake(2), Act::Grade(-3), Act::AirConditioning] {
///     bench.act(act);
/// }
/// let inputs = bench.inputs();
/// assert!((inputs.brake - 0.2).abs() < 1e-9 && (inputs.grade + 0.03).abs() < 1e-9 && inputs.ac);
/// # Ok::<(), Box<dyn std::error::Error>>(())
/// ```
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum Act {
    /// Throttle by so many steps of 2 %.
    Throttle(i8),
    /// Throttle to so many tenths.
    ThrottleTo(u8),
    /// Brake by so many steps of 10 %.
    Brake(i8),
    /// Between park and drive.
    Range,
    /// The road by so many steps of 1 %.
    Grade(i8),
    /// Air conditioning on or off.
    AirConditioning,
    /// Ignition on or off; the starter is worked by itself.
    Ignition,
    /// The fault of this number in [`Bench::kinds`] comes or goes.
    Fault(usize),
    /// All faults go.
    Mend,
}

/// Lambda at one moment.
///
/// ```
/// use trimwright_harness::scenario::Scenario;
/// use trimwright_live::Bench;
/// let mut bench = Bench::new(&Scenario::load("delivery-van")?)?;
/// for _ in 0..500 {
///     bench.go_on();
/// }
/// let last = bench.past().last().ok_or("nothing yet")?;
/// assert!((last.time_s - 10.0).abs() < 1e-6);
/// assert!(last.wanted < 1.0, "a cold engine is to run rich, here at lambda {}", last.wanted);
/// assert_eq!(last.read, None, "the sensor is cold as well");
/// # Ok::<(), Box<dyn std::error::Error>>(())
/// ```
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct LambdaPoint {
    /// When, s since power-up.
    pub time_s: f64,
    /// What the controller wanted of the gas that is at the sensor.
    pub wanted: f64,
    /// What it read; none while it does not believe the sensor.
    pub read: Option<f64>,
}

/// A scenario's car, its controller, and a user's inputs to it. The schedule of the scenario is left aside.
///
/// ```
/// use trimwright_harness::scenario::Scenario;
/// use trimwright_live::{Act, Bench};
/// let mut bench = Bench::new(&Scenario::load("delivery-van")?)?;
/// for _ in 0..500 {
///     bench.go_on();
/// }
/// let idle = bench.view().speed_rad_per_s;
/// bench.act(Act::ThrottleTo(1));
/// for _ in 0..100 {
///     bench.go_on();
/// }
/// assert!(bench.view().speed_rad_per_s > 1.3 * idle, "it has started by itself and revs up in park");
/// # Ok::<(), Box<dyn std::error::Error>>(())
/// ```
#[derive(Debug)]
pub struct Bench {
    /// Its faults are those that the user lets come and go.
    session: Session,
    starting: Starting,
    ignition: bool,
    watch: MixtureObserver,
    past: VecDeque<LambdaPoint>,
    stretches: u32,
    notice: Option<String>,
}

impl Bench {
    /// The car of a scenario, with the ignition on and the gearbox in park.
    ///
    /// ```
    /// use trimwright_harness::scenario::Scenario;
    /// use trimwright_live::Bench;
    /// let mut van = Scenario::load("delivery-van")?;
    /// let bench = Bench::new(&van)?;
    /// assert!(bench.ignition() && bench.view().speed_rad_per_s == 0.0, "the engine stands");
    /// van.truth.vehicle.mass_kg = -1.0;
    /// assert!(Bench::new(&van).is_err(), "no such car");
    /// # Ok::<(), Box<dyn std::error::Error>>(())
    /// ```
    ///
    /// # Errors
    /// When the scenario's truth or answers are out of their ranges.
    pub fn new(scenario: &Scenario) -> Result<Self, RunError> {
        let session = SessionBuilder::new(scenario.clone()).by_hand().build()?;
        // Over one that does not learn a watch keeps no log, which would grow as long as someone drives.
        let calibration = session.closed_loop().controller().calibration();
        let unlogged = Options { learning: false, ..*calibration.options() };
        let watch = MixtureObserver::new(&Controller::new(calibration.clone().with_options(unlogged)));
        Ok(Self {
            session,
            starting: Starting::new(),
            ignition: true,
            watch,
            past: VecDeque::with_capacity(POINTS),
            stretches: 0,
            notice: None,
        })
    }

    /// The kinds of faults that can come and go while the engine runs.
    ///
    /// ```
    /// use trimwright_live::Bench;
    /// assert!(Bench::kinds().iter().any(|kind| kind.name == "vacuum_leak"));
    /// ```
    pub fn kinds() -> Vec<&'static FaultKind> {
        KINDS.iter().filter(|kind| kind.is_timed).collect()
    }

    /// Simulates one stretch of time, 20 ms.
    ///
    /// ```
    /// use trimwright_harness::scenario::Scenario;
    /// use trimwright_live::Bench;
    /// let mut bench = Bench::new(&Scenario::load("delivery-van")?)?;
    /// bench.go_on();
    /// assert!((bench.closed_loop().time_s() - 0.02).abs() < 1e-9);
    /// # Ok::<(), Box<dyn std::error::Error>>(())
    /// ```
    pub fn go_on(&mut self) {
        let (time_s, view) = (self.closed_loop().time_s(), self.view());
        self.session.inputs_mut().key = self.starting.act(time_s, self.ignition, view.speed_rad_per_s);
        if let Err(error) = self.session.run(Until::After(STRETCH_S), &mut self.watch) {
            self.complain(&error);
            self.set_faults(Vec::new());
        }
        self.stretches += 1;
        if self.stretches.is_multiple_of(STRETCHES_PER_POINT) {
            if self.past.len() == POINTS {
                self.past.pop_front();
            }
            let wanted = f64::from(self.closed_loop().controller().state().insight().expected_lambda);
            self.past.push_back(LambdaPoint {
                time_s: self.closed_loop().time_s(),
                wanted,
                read: self.read(),
            });
        }
    }

    /// Does what a user asked for.
    ///
    /// ```
    /// use trimwright_harness::scenario::Scenario;
    /// use trimwright_live::{Act, Bench};
    /// let mut bench = Bench::new(&Scenario::load("delivery-van")?)?;
    /// bench.act(Act::ThrottleTo(3));
    /// bench.act(Act::Throttle(-1));
    /// assert!((bench.inputs().throttle - 0.28).abs() < 1e-9);
    /// # Ok::<(), Box<dyn std::error::Error>>(())
    /// ```
    pub fn act(&mut self, act: Act) {
        self.notice = None;
        let by = |value: f64, steps: i8, step: f64| ((value / step).round() + f64::from(steps)) * step;
        let inputs = self.session.inputs_mut();
        match act {
            Act::Throttle(steps) => inputs.throttle = by(inputs.throttle, steps, PEDAL_STEP).clamp(0.0, 1.0),
            Act::ThrottleTo(tenths) => inputs.throttle = (f64::from(tenths) / 10.0).min(1.0),
            Act::Brake(steps) => inputs.brake = by(inputs.brake, steps, BRAKE_STEP).clamp(0.0, 1.0),
            Act::Range => {
                inputs.range =
                    if inputs.range == GearRange::Park { GearRange::Drive } else { GearRange::Park };
            }
            Act::Grade(steps) => {
                inputs.grade = by(inputs.grade, steps, GRADE_STEP).clamp(-STEEPEST, STEEPEST)
            }
            Act::AirConditioning => inputs.ac = !inputs.ac,
            Act::Ignition => self.ignition = !self.ignition,
            Act::Fault(number) => self.toggle(number),
            Act::Mend => self.set_faults(Vec::new()),
        }
    }

    fn toggle(&mut self, number: usize) {
        let Some(kind) = Self::kinds().get(number).copied() else { return };
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
            self.complain(&error);
        }
    }

    fn complain(&mut self, error: &RunError) {
        self.notice = Some(format!("these faults do not go together: {error}"));
    }

    /// One line about the car.
    ///
    /// ```
    /// use trimwright_harness::scenario::Scenario;
    /// use trimwright_live::Bench;
    /// let bench = Bench::new(&Scenario::load("delivery-van")?)?;
    /// assert!(bench.title().starts_with("Delivery van"));
    /// # Ok::<(), Box<dyn std::error::Error>>(())
    /// ```
    pub fn title(&self) -> &str {
        &self.session.scenario().title
    }

    /// Controller and plant.
    ///
    /// ```
    /// use trimwright_harness::scenario::Scenario;
    /// use trimwright_live::{Act, Bench};
    /// let mut bench = Bench::new(&Scenario::load("delivery-van")?)?;
    /// let open = Bench::kinds().iter().position(|kind| kind.name == "map_open").ok_or("no kind")?;
    /// bench.act(Act::Fault(open));
    /// for _ in 0..500 {
    ///     bench.go_on();
    /// }
    /// let dtcs = &bench.closed_loop().controller().state().dtcs();
    /// assert!(dtcs.active().any(|dtc| dtc.code() == "P0107"), "the broken wire is told of");
    /// # Ok::<(), Box<dyn std::error::Error>>(())
    /// ```
    pub fn closed_loop(&self) -> &ClosedLoop {
        self.session.closed_loop()
    }

    /// The plant's true quantities.
    ///
    /// ```
    /// use trimwright_harness::scenario::Scenario;
    /// use trimwright_live::Bench;
    /// let mut bench = Bench::new(&Scenario::load("delivery-van")?)?;
    /// let outside_pa = bench.view().map_pa;
    /// for _ in 0..500 {
    ///     bench.go_on();
    /// }
    /// assert!(bench.view().map_pa < 0.6 * outside_pa, "an idling engine draws its manifold empty");
    /// # Ok::<(), Box<dyn std::error::Error>>(())
    /// ```
    pub fn view(&self) -> trimwright_plant::View {
        self.closed_loop().view()
    }

    /// Driver inputs.
    ///
    /// ```
    /// use trimwright_harness::scenario::Scenario;
    /// use trimwright_live::{Act, Bench};
    /// use trimwright_plant::GearRange;
    /// let mut bench = Bench::new(&Scenario::load("delivery-van")?)?;
    /// assert_eq!(bench.inputs().range, GearRange::Park);
    /// bench.act(Act::Range);
    /// assert_eq!(bench.inputs().range, GearRange::Drive);
    /// # Ok::<(), Box<dyn std::error::Error>>(())
    /// ```
    pub fn inputs(&self) -> &DriverInputs {
        self.session.inputs()
    }

    /// Whether the starter turns.
    ///
    /// ```
    /// use trimwright_harness::scenario::Scenario;
    /// use trimwright_live::Bench;
    /// let mut bench = Bench::new(&Scenario::load("delivery-van")?)?;
    /// for _ in 0..120 {
    ///     bench.go_on();
    /// }
    /// assert!(bench.is_cranking(), "2.4 s after the key was turned");
    /// # Ok::<(), Box<dyn std::error::Error>>(())
    /// ```
    pub fn is_cranking(&self) -> bool {
        self.inputs().key == Key::Start
    }

    /// Whether the ignition is on.
    ///
    /// ```
    /// use trimwright_harness::scenario::Scenario;
    /// use trimwright_live::{Act, Bench};
    /// let mut bench = Bench::new(&Scenario::load("delivery-van")?)?;
    /// bench.act(Act::Ignition);
    /// assert!(!bench.ignition());
    /// # Ok::<(), Box<dyn std::error::Error>>(())
    /// ```
    pub fn ignition(&self) -> bool {
        self.ignition
    }

    /// Lambda as the controller reads it; none while it does not believe the sensor.
    ///
    /// ```
    /// use trimwright_harness::scenario::Scenario;
    /// use trimwright_live::Bench;
    /// let mut bench = Bench::new(&Scenario::load("delivery-van")?)?;
    /// for _ in 0..500 {
    ///     bench.go_on();
    /// }
    /// assert_eq!(bench.read(), None, "10 s are too few to heat the sensor");
    /// # Ok::<(), Box<dyn std::error::Error>>(())
    /// ```
    pub fn read(&self) -> Option<f64> {
        let state = self.closed_loop().controller().state();
        (!state.estimate().invalid.lambda).then(|| f64::from(state.insight().measured_lambda))
    }

    /// Where on the map was driven, and for how long.
    ///
    /// ```
    /// use trimwright_harness::scenario::Scenario;
    /// use trimwright_live::Bench;
    /// let mut bench = Bench::new(&Scenario::load("delivery-van")?)?;
    /// for _ in 0..4000 {
    ///     bench.go_on();
    /// }
    /// let visited = bench.cells().visited().iter().filter(|visited| **visited).count();
    /// assert!((1..=8).contains(&visited), "it has idled for 80 s, {visited}");
    /// # Ok::<(), Box<dyn std::error::Error>>(())
    /// ```
    pub fn cells(&self) -> &Cells {
        &self.watch.cells
    }

    /// The correction that would be right in each cell of the car without its faults, ln; NaN before anything was driven.
    ///
    /// ```
    /// use trimwright_harness::scenario::Scenario;
    /// use trimwright_live::Bench;
    /// let mut bench = Bench::new(&Scenario::load("delivery-van")?)?;
    /// assert!(bench.right_ln().iter().all(|ln| ln.is_nan()));
    /// for _ in 0..4000 {
    ///     bench.go_on();
    /// }
    /// assert!(bench.right_ln().iter().all(|ln| ln.is_finite()));
    /// # Ok::<(), Box<dyn std::error::Error>>(())
    /// ```
    pub fn right_ln(&self) -> Vec<f64> {
        let controller = self.closed_loop().controller();
        let late_s = controller.state().learned().common.delay_s;
        self.watch.cells.true_correction_ln(&self.session.scenario().truth, controller.calibration(), late_s)
    }

    /// The faults, and whether each is there just now.
    ///
    /// ```
    /// use trimwright_harness::scenario::Scenario;
    /// use trimwright_live::{Act, Bench};
    /// let mut bench = Bench::new(&Scenario::load("delivery-van")?)?;
    /// bench.act(Act::Fault(0));
    /// assert_eq!(bench.faults().filter(|(_, present)| *present).count(), 1);
    /// bench.act(Act::Mend);
    /// assert_eq!(bench.faults().filter(|(_, present)| *present).count(), 0);
    /// # Ok::<(), Box<dyn std::error::Error>>(())
    /// ```
    pub fn faults(&self) -> impl Iterator<Item = (&Fault, bool)> {
        let time_s = self.closed_loop().time_s();
        self.session.scenario().faults.iter().map(move |fault| (fault, fault.is_present(time_s)))
    }

    /// Lambda over the last minute, oldest first.
    ///
    /// ```
    /// use trimwright_harness::scenario::Scenario;
    /// use trimwright_live::Bench;
    /// let mut bench = Bench::new(&Scenario::load("delivery-van")?)?;
    /// for _ in 0..100 {
    ///     bench.go_on();
    /// }
    /// assert_eq!(bench.past().count(), 10, "one in 0.2 s");
    /// # Ok::<(), Box<dyn std::error::Error>>(())
    /// ```
    pub fn past(&self) -> impl Iterator<Item = &LambdaPoint> {
        self.past.iter()
    }

    /// Something that could not be done as asked.
    ///
    /// ```
    /// use trimwright_harness::scenario::Scenario;
    /// use trimwright_live::{Act, Bench};
    /// let mut van = Scenario::load("delivery-van")?;
    /// van.truth.injectors.delay_s = [9.8e-3; 5];
    /// let mut bench = Bench::new(&van)?;
    /// let late = Bench::kinds().iter().position(|kind| kind.name == "late_injectors").ok_or("no kind")?;
    /// bench.act(Act::Fault(late));
    /// assert!(bench.notice().is_some_and(|words| words.contains("delay_s")), "10.1 ms are too late");
    /// assert_eq!(bench.faults().count(), 0, "the car is as it was");
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
        Bench::new(&Scenario::load("delivery-van").expect("shipped")).expect("sound")
    }

    fn wait(bench: &mut Bench, seconds: f64) {
        for _ in 0..(seconds / STRETCH_S) as u32 {
            bench.go_on();
        }
    }

    #[test]
    fn it_drives_brakes_and_is_switched_off() {
        let mut bench = bench();
        wait(&mut bench, 15.0);
        bench.act(Act::Range);
        bench.act(Act::ThrottleTo(3));
        wait(&mut bench, 20.0);
        let fast = bench.view().vehicle_m_per_s;
        assert!(fast > 8.0, "{fast}");
        bench.act(Act::ThrottleTo(0));
        bench.act(Act::Brake(5));
        wait(&mut bench, 10.0);
        assert!(bench.view().vehicle_m_per_s < 0.5);
        bench.act(Act::Ignition);
        wait(&mut bench, 5.0);
        assert!(bench.view().speed_rad_per_s < 1.0 && !bench.ignition());
        assert!(bench.past().count() > 200);
    }

    #[test]
    fn pedals_and_road_stay_within_their_ranges() {
        let mut bench = bench();
        for _ in 0..60 {
            bench.act(Act::Throttle(1));
            bench.act(Act::Brake(1));
            bench.act(Act::Grade(-1));
        }
        assert_eq!((bench.inputs().throttle, bench.inputs().brake), (1.0, 1.0));
        assert!((bench.inputs().grade + STEEPEST).abs() < 1e-12);
        bench.act(Act::Throttle(-1));
        assert!((bench.inputs().throttle - 0.98).abs() < 1e-12);
    }

    #[test]
    fn a_fault_comes_is_noticed_and_goes() {
        let mut bench = bench();
        let number = Bench::kinds().iter().position(|kind| kind.name == "map_open").expect("a kind");
        bench.act(Act::Fault(number));
        assert_eq!(
            bench.faults().map(|(fault, there)| (fault.kind.name, there)).collect::<Vec<_>>(),
            [("map_open", true)]
        );
        wait(&mut bench, 20.0);
        assert!(bench.closed_loop().controller().state().dtcs().active().count() > 0);
        bench.act(Act::Fault(number));
        assert_eq!(bench.faults().count(), 0);
        assert_eq!(bench.closed_loop().plant().truth(), &bench.session.scenario().truth);
        bench.act(Act::Fault(9999));
        bench.act(Act::Mend);
        assert_eq!((bench.faults().count(), bench.notice()), (0, None));
    }
}
