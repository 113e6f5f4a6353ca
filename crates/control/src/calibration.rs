//! The constants a controller works from: made from the setup answers, valid by construction, never changed in a step.

use trimwright_numerics::{Axis, Grid, Real, Weights, lag};

use crate::learner::Strategy;
use crate::setup::{AnswerError, Cam, SetupAnswers};
use crate::table::along;
use crate::thermistor::Thermistor;

/// Breakpoints of the RPM axis.
///
/// ```
/// use trimwright_control::{CELLS, Calibration, MAP_POINTS, RPM_POINTS, SetupAnswers};
/// let calibration = Calibration::from_answers(&SetupAnswers::default())?;
/// assert_eq!(calibration.rpm_axis().points().len(), RPM_POINTS);
/// assert_eq!(RPM_POINTS * MAP_POINTS, CELLS);
/// # Ok::<(), trimwright_control::AnswerError>(())
/// ```
pub const RPM_POINTS: usize = 14;
/// Breakpoints of the MAP axis.
///
/// ```
/// use trimwright_control::{Calibration, MAP_POINTS, RPM_POINTS, SetupAnswers};
/// let calibration = Calibration::from_answers(&SetupAnswers::default())?;
/// // A row of the filling for each pressure, a column for each speed.
/// let rows = calibration.filling().rows();
/// assert_eq!((rows.len(), rows[0].len()), (MAP_POINTS, RPM_POINTS));
/// # Ok::<(), trimwright_control::AnswerError>(())
/// ```
pub const MAP_POINTS: usize = 12;
/// Cells of a map.
///
/// ```
/// use trimwright_control::{CELLS, LearnedMap};
/// // One correction and one variance a cell.
/// let learned = LearnedMap::default();
/// assert_eq!([learned.ln.flat().len(), learned.variance.flat().len()], [CELLS; 2]);
/// ```
pub const CELLS: usize = RPM_POINTS * MAP_POINTS;

/// Gas constant of dry air, J/(kg K): ISO 2533.
///
/// ```
/// use trimwright_control::calibration::{OUTSIDE_PA, R_AIR};
/// let kg_per_m3 = OUTSIDE_PA / (R_AIR * 288.15);
/// assert!((kg_per_m3 - 1.225).abs() < 1e-3, "the standard atmosphere at sea level");
/// ```
pub const R_AIR: f32 = 287.053;
/// Lowest and highest MAP on the axis, Pa.
const MAP_POINTS_PA: [f32; MAP_POINTS] =
    [18e3, 25e3, 31e3, 37e3, 43e3, 49e3, 56e3, 64e3, 73e3, 83e3, 93e3, 104e3];
/// Opening delay less closing delay of an injector against supply voltage, (V, s): from memory of common data sheets, a
/// starting value that the learned map mends.
const OPENING_DELAY: [(f32, f32); 6] =
    [(6.0, 4.0e-3), (8.0, 2.5e-3), (9.5, 1.95e-3), (11.0, 1.5e-3), (13.5, 1.0e-3), (16.0, 0.78e-3)];
/// Charge temperature at which the flow time of a cell is stated, K (engineering judgement).
const USUAL_CHARGE_K: f32 = 325.0;
/// Least pressure drop the flow is worked out for, Pa.
const LEAST_DROP_PA: f32 = 20e3;
/// Greatest pressure drop the flow is worked out for, Pa.
const GREATEST_DROP_PA: f32 = 1000e3;
/// Gas between exhaust valves and sensor for each m3 of displacement, kg/m3: about 1.2 litres of hot pipe for each litre of engine, at
/// 0.5 kg/m3 (engineering judgement).
const PIPE_KG_PER_M3: f32 = 0.6;
/// Believed time constant of sensor and mixing before it, s. Literature: 50 to 100 ms for the sensor alone.
const SENSOR_S: f32 = 0.09;
/// Pace of looking back, s: two quick slots of the clock.
const LOOK_BACK_S: f32 = 0.02;

/// Which injectors open at a firing.
///
/// ```
/// use trimwright_control::{Calibration, Firing, Options, SetupAnswers};
/// let chosen = Calibration::from_answers(&SetupAnswers::default())?;
/// let all = chosen.clone().with_options(Options { firing: Firing::All, ..Options::default() });
/// // Four injectors instead of two flow half as long: opening late takes twice the share of their fuel.
/// assert!((all.delay_rate_per_s(40) / chosen.delay_rate_per_s(40) - 2.0).abs() < 1e-5);
/// # Ok::<(), trimwright_control::AnswerError>(())
/// ```
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
#[cfg_attr(feature = "serde", derive(serde::Serialize, serde::Deserialize))]
pub enum Firing {
    /// Half of them at each firing, in turn, where their number is even, else all.
    #[default]
    Chosen,
    /// All at each firing.
    All,
}

/// What may be switched off, and which strategy learns.
///
/// ```
/// use trimwright_control::believe::Belief;
/// use trimwright_control::film::Film;
/// use trimwright_control::{Calibration, Options, SetupAnswers};
/// let calibration = Calibration::from_answers(&SetupAnswers::default())?;
/// let plain = calibration.clone().with_options(Options { film_compensation: false, ..Options::default() });
/// let inject_kg = |by| Film::default().step(by, &Belief::default(), 100.0, &[0.0; 2], 30e-6);
/// // A dry wall keeps a part of the fuel: without compensation nothing is added for it.
/// assert!(inject_kg(&plain) == 30e-6 && inject_kg(&calibration) > 50e-6);
/// # Ok::<(), trimwright_control::AnswerError>(())
/// ```
#[derive(Clone, Copy, Debug, PartialEq)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
#[cfg_attr(feature = "serde", derive(serde::Serialize, serde::Deserialize))]
pub struct Options {
    /// Short-term trim from the lambda reading.
    pub feedback: bool,
    /// Long-term trim: lessons change the learned map.
    pub learning: bool,
    /// Inverse wall-film compensation and accelerator-pump shot.
    pub film_compensation: bool,
    /// Dither the fuel now and then to measure delay and loop gain.
    pub self_check: bool,
    /// How lessons are taken.
    pub strategy: Strategy,
    /// Which injectors open at a firing.
    pub firing: Firing,
}

impl Default for Options {
    fn default() -> Self {
        Self {
            feedback: true,
            learning: true,
            film_compensation: true,
            self_check: false,
            strategy: Strategy::Kalman,
            firing: Firing::Chosen,
        }
    }
}

/// Everything the controller works from.
///
/// ```
/// use trimwright_control::{Calibration, Options, SetupAnswers};
/// let calibration = Calibration::from_answers(&SetupAnswers::default())?
///     .with_options(Options { learning: false, ..Options::default() });
/// let air_kg = calibration.base_air_charge_kg(40e3, 101_325.0, 80.0, 310.0);
/// assert!((0.1e-3..0.3e-3).contains(&air_kg));
/// # Ok::<(), trimwright_control::AnswerError>(())
/// ```
#[derive(Clone, Debug, PartialEq)]
pub struct Calibration {
    answers: SetupAnswers,
    options: Options,
    rpm_axis: Axis<f32, RPM_POINTS>,
    map_axis: Axis<f32, MAP_POINTS>,
    filling: Grid<f32, RPM_POINTS, MAP_POINTS>,
    thermistor: Thermistor,
    cylinder_m3: f32,
    firing_angle_rad: f32,
    flow_per_root_pa: f32,
    pipe_kg: f32,
    sensor_share: f32,
    delay_rate_per_s: Grid<f32, RPM_POINTS, MAP_POINTS>,
}

impl Calibration {
    /// A complete first calibration.
    ///
    /// ```
    /// use trimwright_control::{Calibration, SetupAnswers};
    /// let answers = SetupAnswers { cylinders: 6, displacement_m3: 4.2e-3, ..SetupAnswers::default() };
    /// let calibration = Calibration::from_answers(&answers)?;
    /// assert!((calibration.cylinder_m3() - 0.7e-3).abs() < 1e-9);
    /// let twelve = SetupAnswers { cylinders: 12, ..answers };
    /// assert_eq!(Calibration::from_answers(&twelve).unwrap_err().answer, "cylinders");
    /// # Ok::<(), trimwright_control::AnswerError>(())
    /// ```
    ///
    /// # Errors
    /// [`AnswerError`] when an answer is outside its range.
    pub fn from_answers(answers: &SetupAnswers) -> Result<Self, AnswerError> {
        answers.check()?;
        let rpm_points = rpm_points(answers);
        let filling = MAP_POINTS_PA.map(|map_pa| rpm_points.map(|speed| filling(answers, map_pa, speed)));
        let built = Self {
            answers: *answers,
            options: Options::default(),
            rpm_axis: rising("rev_limit_rad_per_s", rpm_points)?,
            map_axis: rising("map_axis_pa", MAP_POINTS_PA)?,
            filling: Grid::new(filling),
            thermistor: Thermistor::new(),
            cylinder_m3: answers.displacement_m3 / f32::from(answers.cylinders),
            firing_angle_rad: 4.0 * core::f32::consts::PI / f32::from(answers.cylinders),
            flow_per_root_pa: answers.injector_flow_kg_per_s / Real::sqrt(answers.injector_rated_pressure_pa),
            pipe_kg: PIPE_KG_PER_M3 * answers.displacement_m3,
            sensor_share: lag::share(LOOK_BACK_S, SENSOR_S),
            delay_rate_per_s: Grid::filled(0.0),
        };
        Ok(built.with_options(Options::default()))
    }

    /// In each cell, one over the time an injector flows for a firing at lambda 1 and usual charge temperature, 1/s.
    fn delay_rates_per_s(&self) -> Grid<f32, RPM_POINTS, MAP_POINTS> {
        let open = f32::from((self.answers.injectors / self.firing_groups()).max(1));
        let flow_kg_per_s = open * self.injector_flow_kg_per_s(self.answers.rail_pressure_pa);
        let per_pa = self.cylinder_m3() / (R_AIR * USUAL_CHARGE_K * self.answers.stoich_afr);
        let mut rates = self.filling;
        for (row, map_pa) in rates.flat_mut().chunks_mut(RPM_POINTS).zip(MAP_POINTS_PA) {
            for cell in row {
                *cell = flow_kg_per_s / (*cell * map_pa * per_pa);
            }
        }
        rates
    }

    /// The same calibration with other options.
    ///
    /// ```
    /// use trimwright_control::{Calibration, Options, SetupAnswers};
    /// let calibration = Calibration::from_answers(&SetupAnswers::default())?;
    /// let measuring = calibration.clone().with_options(Options { self_check: true, ..Options::default() });
    /// assert!(measuring.options().self_check && !calibration.options().self_check);
    /// assert_eq!(measuring.answers(), calibration.answers());
    /// # Ok::<(), trimwright_control::AnswerError>(())
    /// ```
    #[must_use]
    pub fn with_options(mut self, options: Options) -> Self {
        self.options = options;
        // How many injectors share a firing is one of the options.
        self.delay_rate_per_s = self.delay_rates_per_s();
        self
    }

    /// The answers it was made from.
    ///
    /// ```
    /// use trimwright_control::{Calibration, SetupAnswers};
    /// let ethanol = SetupAnswers { stoich_afr: 9.0, ..SetupAnswers::default() };
    /// let calibration = Calibration::from_answers(&ethanol)?;
    /// let fuel_kg = 0.3e-3 / calibration.answers().stoich_afr;
    /// assert!((fuel_kg - 33e-6).abs() < 1e-6, "0.3 g of air");
    /// # Ok::<(), trimwright_control::AnswerError>(())
    /// ```
    pub const fn answers(&self) -> &SetupAnswers {
        &self.answers
    }

    /// What is switched on.
    ///
    /// ```
    /// use trimwright_control::{Calibration, SetupAnswers, Strategy};
    /// let calibration = Calibration::from_answers(&SetupAnswers::default())?;
    /// assert_eq!(calibration.options().strategy, Strategy::Kalman);
    /// # Ok::<(), trimwright_control::AnswerError>(())
    /// ```
    pub const fn options(&self) -> &Options {
        &self.options
    }

    /// Groups that the injectors take turns in: two halves where their number is even and not all are to fire at once.
    pub(crate) fn firing_groups(&self) -> u8 {
        if self.answers.injectors.is_multiple_of(2) && self.options.firing != Firing::All { 2 } else { 1 }
    }

    /// Breakpoints of crank speed, rad/s.
    ///
    /// ```
    /// use trimwright_control::{Calibration, SetupAnswers};
    /// let calibration = Calibration::from_answers(&SetupAnswers::default())?;
    /// // From below the idle of 73.3 rad/s to the rev limit, closer together at the low end.
    /// let points = calibration.rpm_axis().points();
    /// assert!(points[0] < 73.3 && (points[13] - 545.0).abs() < 0.1);
    /// assert!(points[2] - points[1] < 0.6 * (points[13] - points[12]));
    /// # Ok::<(), trimwright_control::AnswerError>(())
    /// ```
    pub const fn rpm_axis(&self) -> &Axis<f32, RPM_POINTS> {
        &self.rpm_axis
    }

    /// Breakpoints of manifold pressure at standard outside pressure, Pa.
    ///
    /// ```
    /// use trimwright_control::{Calibration, SetupAnswers};
    /// let calibration = Calibration::from_answers(&SetupAnswers::default())?;
    /// let place = calibration.map_axis().place(40e3);
    /// assert_eq!((place.index, place.fraction), (3, 0.5), "half way from 37 to 43 kPa");
    /// # Ok::<(), trimwright_control::AnswerError>(())
    /// ```
    pub const fn map_axis(&self) -> &Axis<f32, MAP_POINTS> {
        &self.map_axis
    }

    /// The base filling efficiency against manifold density, ratio: rows MAP, columns RPM.
    ///
    /// ```
    /// use trimwright_control::{Calibration, Cam, SetupAnswers};
    /// let eta = |cam| {
    ///     let calibration = Calibration::from_answers(&SetupAnswers { cam, ..SetupAnswers::default() })?;
    ///     Ok(calibration.filling().at(&calibration.weights(37e3, 75.0)))
    /// };
    /// // At idle much valve overlap draws exhaust gas back into the cylinder.
    /// assert!(eta(Cam::Hot)? < 0.8 * eta(Cam::Stock)?);
    /// # Ok::<(), trimwright_control::AnswerError>(())
    /// ```
    pub const fn filling(&self) -> &Grid<f32, RPM_POINTS, MAP_POINTS> {
        &self.filling
    }

    /// The cells around an operating point under this outside pressure: an engine is filled by the ratio of manifold pressure to
    /// that which its exhaust leaves against (the residual gas expands to it), so that the map is entered with
    /// the pressure that makes the same ratio at standard outside pressure.
    ///
    /// ```
    /// use trimwright_control::calibration::OUTSIDE_PA;
    /// use trimwright_control::{Calibration, SetupAnswers};
    /// let calibration = Calibration::from_answers(&SetupAnswers::default())?;
    /// // On a pass with 70 % of the pressure 42 kPa fill the engine as 60 kPa do at sea level.
    /// let (sea, pass) =
    ///     (calibration.weights(60e3, 150.0), calibration.weights_under(42e3, 0.7 * OUTSIDE_PA, 150.0));
    /// assert_eq!(sea.cells, pass.cells);
    /// assert!(sea.iter().zip(pass.iter()).all(|((_, at_sea), (_, there))| (at_sea - there).abs() < 1e-4));
    /// # Ok::<(), trimwright_control::AnswerError>(())
    /// ```
    #[inline]
    pub fn weights_under(&self, map_pa: f32, baro_pa: f32, speed_rad_per_s: f32) -> Weights<f32> {
        self.weights(map_pa * (OUTSIDE_PA / baro_pa.max(30e3)), speed_rad_per_s)
    }

    /// The cells around an operating point at standard outside pressure, and the share of each.
    ///
    /// ```
    /// use trimwright_control::{Calibration, RPM_POINTS, SetupAnswers};
    /// let calibration = Calibration::from_answers(&SetupAnswers::default())?;
    /// let weights = calibration.weights(40e3, 150.0);
    /// let [corner, right, above, _] = weights.cells.map(usize::from);
    /// assert_eq!((right, above), (corner + 1, corner + RPM_POINTS));
    /// assert!((weights.shares.iter().sum::<f32>() - 1.0).abs() < 1e-6);
    /// # Ok::<(), trimwright_control::AnswerError>(())
    /// ```
    #[inline]
    pub fn weights(&self, map_pa: f32, speed_rad_per_s: f32) -> Weights<f32> {
        Weights::new(self.rpm_axis.place(speed_rad_per_s), self.map_axis.place(map_pa), RPM_POINTS)
    }

    /// By how much the fuel of a cell falls for each second that injectors open later than believed, 1/s: one over the time they
    /// flow there. 0 outside the map.
    ///
    /// ```
    /// use trimwright_control::{CELLS, Calibration, SetupAnswers};
    /// let calibration = Calibration::from_answers(&SetupAnswers::default())?;
    /// // Share of the fuel that opening 0.1 ms late takes.
    /// let lost = |map_pa, speed_rad_per_s| {
    ///     let [cell, ..] = calibration.weights(map_pa, speed_rad_per_s).cells;
    ///     0.1e-3 * calibration.delay_rate_per_s(cell.into())
    /// };
    /// assert!(lost(37e3, 80.0) > 0.1 && lost(100e3, 300.0) < 0.05, "short pulses lose more");
    /// assert_eq!(calibration.delay_rate_per_s(CELLS), 0.0);
    /// # Ok::<(), trimwright_control::AnswerError>(())
    /// ```
    pub fn delay_rate_per_s(&self, cell: usize) -> f32 {
        self.delay_rate_per_s.flat().get(cell).copied().unwrap_or(0.0)
    }

    /// Volume of one cylinder, m3.
    ///
    /// ```
    /// use trimwright_control::{Calibration, SetupAnswers};
    /// let calibration = Calibration::from_answers(&SetupAnswers::default())?;
    /// assert!((calibration.cylinder_m3() - 0.65e-3).abs() < 1e-9, "an eighth of 5.2 L");
    /// # Ok::<(), trimwright_control::AnswerError>(())
    /// ```
    pub const fn cylinder_m3(&self) -> f32 {
        self.cylinder_m3
    }

    /// Crank angle between firings, rad: `4 pi / cylinders`.
    ///
    /// ```
    /// use trimwright_control::{Calibration, SetupAnswers};
    /// let calibration = Calibration::from_answers(&SetupAnswers::default())?;
    /// // A V8 fires each quarter turn: at 157 rad/s (1500 rpm) every 10 ms.
    /// assert!((calibration.firing_angle_rad() / 157.08 - 0.01).abs() < 1e-6);
    /// # Ok::<(), trimwright_control::AnswerError>(())
    /// ```
    pub const fn firing_angle_rad(&self) -> f32 {
        self.firing_angle_rad
    }

    /// Air that one cylinder takes in by the base map, kg: `eta p V / (R T)`. `charge_k` below 200 K counts as 200 K.
    ///
    /// ```
    /// use trimwright_control::{Calibration, SetupAnswers};
    /// let calibration = Calibration::from_answers(&SetupAnswers::default())?;
    /// let air_kg = |charge_k| calibration.base_air_charge_kg(60e3, 101_325.0, 150.0, charge_k);
    /// assert!((0.2e-3..0.4e-3).contains(&air_kg(310.0)));
    /// // Air that is warmer by a tenth weighs a tenth less.
    /// assert!((air_kg(341.0) * 1.1 / air_kg(310.0) - 1.0).abs() < 1e-5);
    /// # Ok::<(), trimwright_control::AnswerError>(())
    /// ```
    pub fn base_air_charge_kg(&self, map_pa: f32, baro_pa: f32, speed_rad_per_s: f32, charge_k: f32) -> f32 {
        self.air_charge_kg(&self.weights_under(map_pa, baro_pa, speed_rad_per_s), map_pa, charge_k)
    }

    /// The same for weights already known.
    #[inline]
    pub(crate) fn air_charge_kg(&self, weights: &Weights<f32>, map_pa: f32, charge_k: f32) -> f32 {
        self.filling.at(weights) * map_pa * self.cylinder_m3() / (R_AIR * charge_k.max(200.0))
    }

    /// Flow of one open injector, kg/s: the rated flow times the root of the pressure ratio (orifice law). The drop is held
    /// between 20 and 1000 kPa.
    ///
    /// ```
    /// use trimwright_control::{Calibration, SetupAnswers};
    /// let calibration = Calibration::from_answers(&SetupAnswers::default())?;
    /// // 8 g/s at the rated 300 kPa; four times the pressure would be twice the flow.
    /// let flow = |drop_pa| calibration.injector_flow_kg_per_s(drop_pa);
    /// assert!((flow(300e3) - 8e-3).abs() < 1e-8 && (flow(300e3) / flow(75e3) - 2.0).abs() < 1e-5);
    /// # Ok::<(), trimwright_control::AnswerError>(())
    /// ```
    pub fn injector_flow_kg_per_s(&self, rail_over_manifold_pa: f32) -> f32 {
        self.flow_per_root_pa * Real::sqrt(rail_over_manifold_pa.held(LEAST_DROP_PA, GREATEST_DROP_PA))
    }

    /// Opening delay less closing delay at this supply voltage, s.
    ///
    /// ```
    /// use trimwright_control::{Calibration, SetupAnswers};
    /// let calibration = Calibration::from_answers(&SetupAnswers::default())?;
    /// // Under the starter the injector opens later by more than an idle pulse is long.
    /// assert!(calibration.opening_delay_s(9.5) - calibration.opening_delay_s(13.5) > 0.9e-3);
    /// # Ok::<(), trimwright_control::AnswerError>(())
    /// ```
    pub fn opening_delay_s(&self, battery_v: f32) -> f32 {
        along(&OPENING_DELAY, battery_v)
    }

    /// How long to energise one injector for `fuel_kg` of its own, s: flow time, short-pulse correction and opening delay.
    /// No fuel takes no time.
    ///
    /// ```
    /// use trimwright_control::{Calibration, SetupAnswers};
    /// let calibration = Calibration::from_answers(&SetupAnswers::default())?;
    /// let open_s = calibration.open_time_s(8e-6, 13.5, 300e3);
    /// assert!((open_s - 2e-3).abs() < 0.1e-3, "1 ms of flow and 1 ms of delay, not {open_s}");
    /// assert!((calibration.injected_fuel_kg(open_s, 13.5, 300e3) - 8e-6).abs() < 1e-9);
    /// # Ok::<(), trimwright_control::AnswerError>(())
    /// ```
    pub fn open_time_s(&self, fuel_kg: f32, battery_v: f32, rail_over_manifold_pa: f32) -> f32 {
        if fuel_kg > 0.0 {
            let flow_s = fuel_kg / self.injector_flow_kg_per_s(rail_over_manifold_pa);
            flow_s + along(&SHORT_PULSE, flow_s) + self.opening_delay_s(battery_v)
        } else {
            0.0
        }
    }

    /// Fuel that one injector gives when energised for `open_time_s`, kg: the inverse of [`Calibration::open_time_s`].
    ///
    /// ```
    /// use trimwright_control::{Calibration, SetupAnswers};
    /// let calibration = Calibration::from_answers(&SetupAnswers::default())?;
    /// let fuel_kg = |open_time_s| calibration.injected_fuel_kg(open_time_s, 13.5, 300e3);
    /// assert_eq!(fuel_kg(0.9e-3), 0.0, "over before it has opened");
    /// assert!((fuel_kg(4e-3) - fuel_kg(3e-3) - 8e-6).abs() < 1e-8, "each millisecond more is 8 mg");
    /// # Ok::<(), trimwright_control::AnswerError>(())
    /// ```
    pub fn injected_fuel_kg(&self, open_time_s: f32, battery_v: f32, rail_over_manifold_pa: f32) -> f32 {
        let net_s = open_time_s - self.opening_delay_s(battery_v);
        let mut flow_s = net_s;
        // The correction falls with a slope of at most 1/5, so that each pass leaves a fifth of the error.
        for _ in 0..10 {
            flow_s = net_s - along(&SHORT_PULSE, flow_s);
        }
        flow_s.max(0.0) * self.injector_flow_kg_per_s(rail_over_manifold_pa)
    }

    /// Volts of a thermistor to temperature, K.
    pub(crate) const fn thermistor(&self) -> &Thermistor {
        &self.thermistor
    }

    /// Exhaust gas between valves and sensor, kg of whole-engine flow.
    ///
    /// ```
    /// use trimwright_control::{Calibration, SetupAnswers};
    /// let calibration = Calibration::from_answers(&SetupAnswers::default())?;
    /// // Nearly half a second of gas at idle (7 g/s), and hardly any time at full load (250 g/s).
    /// assert!((0.4..0.5).contains(&(calibration.pipe_kg() / 7e-3)) && calibration.pipe_kg() / 0.25 < 0.02);
    /// # Ok::<(), trimwright_control::AnswerError>(())
    /// ```
    pub const fn pipe_kg(&self) -> f32 {
        self.pipe_kg
    }

    /// Share of the way the believed sensor goes in one look back.
    pub(crate) const fn sensor_share(&self) -> f32 {
        self.sensor_share
    }
}

/// Extra open time against flow time, s: an injector gives less than its line where it hardly lifts. Engineering
/// judgement; the learned map mends the rest.
const SHORT_PULSE: [(f32, f32); 4] = [(0.0, 0.12e-3), (0.3e-3, 0.06e-3), (0.6e-3, 0.02e-3), (1.0e-3, 0.0)];

fn rising<const N: usize>(answer: &'static str, points: [f32; N]) -> Result<Axis<f32, N>, AnswerError> {
    let (low, high) = (points[0], points[N - 1]);
    Axis::new(points).map_err(|_| AnswerError { answer, value: high, low, high })
}

/// From 0.7 of the idle speed to the rev limit, closer together at the low end where roads are driven.
fn rpm_points(answers: &SetupAnswers) -> [f32; RPM_POINTS] {
    let (low, high) = (0.7 * answers.idle_speed_rad_per_s, answers.rev_limit_rad_per_s);
    core::array::from_fn(|index| {
        let share = index as f32 / (RPM_POINTS - 1) as f32;
        low + (high - low) * Real::powf(share, 1.4)
    })
}

/// Outside pressure for which the map is stated, Pa (ISO 2533); at part load also that in the exhaust port.
///
/// ```
/// use trimwright_control::calibration::OUTSIDE_PA;
/// use trimwright_control::{Calibration, SetupAnswers};
/// let calibration = Calibration::from_answers(&SetupAnswers::default())?;
/// // Under this pressure the map is entered with MAP as it is.
/// assert_eq!(calibration.weights_under(60e3, OUTSIDE_PA, 150.0), calibration.weights(60e3, 150.0));
/// # Ok::<(), trimwright_control::AnswerError>(())
/// ```
pub const OUTSIDE_PA: f32 = 101_325.0;

/// First guess of filling efficiency, ratio: load term times speed curve times what the valve overlap leaves of it.
///
/// Load term `0.952 - 7500 Pa / p`: published for a port-injected engine (reprint of Hendricks et al., SAE 960037), its
/// second term scaled with the clearance volume `1 / (r - 1)` against r = 9.5. Speed curve: engineering judgement.
fn filling(answers: &SetupAnswers, map_pa: f32, speed_rad_per_s: f32) -> f32 {
    let (peak_share, overlap_deg_per_m) = match answers.cam {
        Cam::Stock => (0.45, 0.5),
        Cam::Mild => (0.52, 1.4),
        Cam::Hot => (0.62, 2.7),
    };
    let load = 0.952 - 7500.0 / map_pa * 8.5 / (answers.compression_ratio - 1.0);
    let off_peak = speed_rad_per_s / (peak_share * answers.rev_limit_rad_per_s) - 1.0;
    let speed = 1.0 - 0.22 * off_peak * off_peak;
    (load * speed * (1.0 - back_flow(overlap_deg_per_m, map_pa, speed_rad_per_s))).held(0.2, 1.1)
}

/// Share of the charge that is exhaust gas drawn back during valve overlap: `1.266 (OF / N) (p / pe)^-0.87 sqrt(pe - p)` with
/// the overlap factor in deg/m, N in 1/s, pressures in bar (Fox, Cheng and Heywood, SAE 931025, from memory; production
/// engines there have factors up to about 2.7 deg/m; which cam has which is engineering judgement).
fn back_flow(overlap_deg_per_m: f32, map_pa: f32, speed_rad_per_s: f32) -> f32 {
    let ratio = (map_pa / OUTSIDE_PA).held(0.1, 1.0);
    let drop_bar = (1.0 - ratio) * OUTSIDE_PA * 1e-5;
    let turns_per_s = speed_rad_per_s / core::f32::consts::TAU;
    1.266 * overlap_deg_per_m / turns_per_s * Real::powf(ratio, -0.87) * Real::sqrt(drop_bar)
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    fn calibration(answers: SetupAnswers) -> Calibration {
        Calibration::from_answers(&answers).unwrap()
    }

    #[test]
    fn a_wrong_answer_makes_no_calibration() {
        let answers = SetupAnswers { rev_limit_rad_per_s: 100.0, ..SetupAnswers::default() };
        assert_eq!(Calibration::from_answers(&answers).unwrap_err().answer, "rev_limit_rad_per_s");
    }

    #[test]
    fn more_overlap_fills_less_at_idle_and_more_at_speed() {
        let of = |cam, map_pa, speed| {
            calibration(SetupAnswers { cam, ..SetupAnswers::default() })
                .base_air_charge_kg(map_pa, OUTSIDE_PA, speed, 310.0)
        };
        assert!(of(Cam::Hot, 45e3, 80.0) < 0.95 * of(Cam::Stock, 45e3, 80.0));
        assert!(of(Cam::Hot, 100e3, 520.0) > of(Cam::Stock, 100e3, 520.0));
    }

    /// Hendricks et al. (SAE 960037), as reprinted: 0.952 - 0.075/p with p in bar.
    #[test]
    fn val_the_load_term_is_the_published_one_where_nothing_else_acts() {
        let answers = SetupAnswers { cam: Cam::Stock, compression_ratio: 9.5, ..SetupAnswers::default() };
        let peak = 0.45 * answers.rev_limit_rad_per_s;
        let expected = 0.952 - 0.075 / 1.013_25;
        assert!((filling(&answers, 101_325.0, peak) - expected).abs() < 1e-6);
    }

    /// Fox, Cheng and Heywood (SAE 931025, from memory): overlap 1.4 deg/m, 620 rpm, 0.43 bar against 1.013 bar.
    #[test]
    fn val_back_flow_is_the_published_term() {
        let expected =
            1.266 * 1.4 / (620.0 / 60.0) * (0.43_f64 / 1.01325).powf(-0.87) * (1.01325_f64 - 0.43).sqrt();
        assert!(
            (f64::from(back_flow(1.4, 43e3, 620.0 * core::f32::consts::TAU / 60.0)) - expected).abs() < 1e-4
        );
        assert_eq!(back_flow(1.4, OUTSIDE_PA, 65.0), 0.0);
    }

    /// Orifice law, shared/reference/injector_sqrt.csv: 55 psi against 43.5 psi gives 1.124441.
    #[test]
    fn val_flow_goes_with_the_root_of_pressure() {
        let calibration = calibration(SetupAnswers::default());
        let ratio =
            calibration.injector_flow_kg_per_s(379_212.0) / calibration.injector_flow_kg_per_s(299_922.0);
        assert!((ratio - 1.124_441).abs() < 1e-5, "{ratio}");
    }

    /// Twice the injectors at a firing flow half as long for it, so that a late opening takes twice the share.
    #[test]
    fn ident_injectors_that_all_fire_feel_a_late_opening_twice_as_much_as_halves() {
        let halves = calibration(SetupAnswers { injectors: 8, ..SetupAnswers::default() });
        let all = halves.clone().with_options(Options { firing: Firing::All, ..Options::default() });
        for cell in 0..CELLS {
            assert_eq!(all.delay_rate_per_s(cell), 2.0 * halves.delay_rate_per_s(cell));
        }
        assert_eq!(all.with_options(Options::default()), halves);
    }

    proptest! {
        #[test]
        fn ident_open_time_and_fuel_are_inverse(fuel_kg in 1e-7..1e-4_f32, volts in 6.5..16.0_f32, drop in 3e4..6e5_f32) {
            let calibration = calibration(SetupAnswers::default());
            let back = calibration.injected_fuel_kg(calibration.open_time_s(fuel_kg, volts, drop), volts, drop);
            prop_assert!((back / fuel_kg - 1.0).abs() < 0.01, "{back} for {fuel_kg}");
        }

        #[test]
        fn any_allowed_answers_make_a_sound_filling_table(
            displacement_m3 in 0.5e-3..10e-3_f32, idle in 45.0..160.0_f32, limit in 300.0..900.0_f32, ratio in 6.0..14.0_f32,
        ) {
            let calibration = calibration(SetupAnswers {
                displacement_m3, idle_speed_rad_per_s: idle, rev_limit_rad_per_s: limit, compression_ratio: ratio,
                ..SetupAnswers::default()
            });
            prop_assert!(calibration.filling().flat().iter().all(|eta| (0.2..=1.1).contains(eta)));
        }
    }
}
