//! The loop measures itself: a small dither of the fuel for delay and loop gain; corrections against flow for air from outside.
//!
//! **Dither.** While the engine runs calmly the fuel goes up and down by [`DITHER_LN`] in a square wave. The reading follows after the
//! delay. Correlating it with the wave shifted by several candidate delays finds the true one; the height of the settled
//! parts over the height of the wave is the loop gain: 1 for a sound sensor, less for one that is masked or clogged.
//!
//! **Upstream air.** Air that enters between engine and sensor reads as lean, most of all at idle; the correction then makes the
//! engine rich. The sensor cannot know, nor can the map, but the crank does: at idle the same dither makes an engine at lambda 1 pull
//! harder with more fuel, and a rich one not. Where the crank says rich while the reading says lambda 1, nothing more is
//! learned at low flow, and the flag says so ([`crate::pull`]). A sensor that itself reads lean gives the same answer.

use trimwright_numerics::Real;

use crate::pull::Pull;
use crate::setup::Setup;

/// Height of the dither, ln of fuel (engineering judgement: felt by the sensor, not by the driver).
///
/// ```
/// use trimwright_control::self_check::DITHER_LN;
/// // From lambda 1 the mixture goes up and down by about 2.5 %.
/// assert!(((-DITHER_LN).exp() - 0.975).abs() < 1e-3 && (DITHER_LN.exp() - 1.025).abs() < 1e-3);
/// ```
pub const DITHER_LN: f32 = 0.025;
/// Full waves of a check, and of one that was disturbed and still counts.
const WAVES: f32 = 6.0;
const FEWEST_WAVES: f32 = 3.0;
/// Calm time before a check, s: after a stop the idle takes that long to settle.
const CALM_S: f32 = 7.0;
/// Time between checks, s.
const PAUSE_S: f32 = 300.0;
/// Candidate delays over the believed one, ratio.
const CANDIDATES: [f32; 9] = [0.4, 0.55, 0.75, 1.0, 1.25, 1.5, 1.8, 2.2, 2.7];
/// Longest delay over the believed one that passes for an ageing sensor, s; more is slow.
const SLOW_S: f32 = 0.5;
/// Gain below which a check has seen nothing to go by.
const LEAST_GAIN: f32 = 0.3;

/// One result of a dither.
///
/// ```
/// use trimwright_control::self_check::{Look, SelfCheck};
/// use trimwright_control::{Calibration, Options, SetupAnswers};
/// # let options = Options { self_check: true, ..Options::default() };
/// # let calibration = Calibration::from_answers(&SetupAnswers::default())?.with_options(options);
/// # let mut look = Look { calm: true, idling: true, wanted_ln: 0.0, error_ln: 0.0, right_ln: 0.0, delay_s: 0.4,
/// #     air_kg_per_s: 5e-3, speed_rad_per_s: 75.0, dt_s: 0.02 };
/// let (mut check, mut fuel_ln) = (SelfCheck::default(), vec![0.0; 20]);
/// // The reading follows the fuel after 20 looks (0.4 s), and shows 70 % of it: the sensor is partly clogged.
/// for _ in 0..2000 {
///     fuel_ln.push(check.dither_ln());
///     look.error_ln = -0.7 * fuel_ln[fuel_ln.len() - 21];
///     check.step(&calibration, &look);
/// }
/// let measured = check.measured.unwrap();
/// assert!((measured.gain - 0.7).abs() < 0.05 && (measured.delay_s - 0.4).abs() < 0.11);
/// # Ok::<(), trimwright_control::AnswerError>(())
/// ```
#[derive(Clone, Copy, Debug, PartialEq)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub struct Measured {
    /// Delay from injection to reading, sensor lag included, s.
    pub delay_s: f32,
    /// Believed delay at that time, s.
    pub believed_s: f32,
    /// Height of the reading over height of the dither.
    pub gain: f32,
}

/// Sums of one candidate.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
struct Sums {
    product: f32,
    settled: [f32; 2],
    looks: [f32; 2],
}

/// Air flow over displacement up to which a reading counts as falsified by air from outside, kg/(s m3): twice that of idle, four
/// times; above, the leak is a small share of the flow (engineering judgement).
const LOW_FLOW: f32 = 3.0;
/// Most difference of reading and wanted mixture, dither included, ln.
const MOST_OFF_LN: f32 = 0.08;
/// How fast the idle is taken to lambda 1 for a check, 1/s: slow enough for the reading to follow.
const LEANED_PER_S: f32 = 0.25;
/// Most difference of the wanted mixture from lambda 1 with which a check begins, ln.
const AT_ONE_LN: f32 = 0.01;
/// Time between checks until the crank's answer is known, s.
const SHORT_PAUSE_S: f32 = 8.0;

/// What the loop knows of itself.
///
/// ```
/// use trimwright_control::self_check::{Look, SelfCheck};
/// use trimwright_control::{Calibration, Options, SetupAnswers};
/// # let options = Options { self_check: true, ..Options::default() };
/// # let calibration = Calibration::from_answers(&SetupAnswers::default())?.with_options(options);
/// # let mut look = Look { calm: true, idling: true, wanted_ln: 0.0, error_ln: 0.0, right_ln: 0.0, delay_s: 0.4,
/// #     air_kg_per_s: 5e-3, speed_rad_per_s: 75.0, dt_s: 0.02 };
/// let (mut check, mut fuel_ln) = (SelfCheck::default(), vec![0.0; 50]);
/// // The reading comes a whole second after the fuel, where 0.4 s are believed.
/// for _ in 0..2000 {
///     fuel_ln.push(check.dither_ln());
///     look.error_ln = -fuel_ln[fuel_ln.len() - 51];
///     check.step(&calibration, &look);
/// }
/// assert!(check.slow && check.measured.is_some_and(|measured| measured.believed_s == 0.4));
/// # Ok::<(), trimwright_control::AnswerError>(())
/// ```
#[derive(Clone, Copy, Debug, Default, PartialEq)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub struct SelfCheck {
    calm_s: f32,
    pause_s: f32,
    /// How far a lumpy idle has been taken to lambda 1, 0 to 1.
    leaned: f32,
    /// Time into the check, s, when one runs.
    into_s: Option<f32>,
    half_s: f32,
    believed_s: f32,
    before_ln: f32,
    sums: [Sums; CANDIDATES.len()],
    /// How the crank answers the dither at idle.
    pub pull: Pull,
    /// The last result.
    pub measured: Option<Measured>,
    /// The sensor answers too late.
    pub slow: bool,
    /// Air seems to enter upstream of the sensor, kg/s; 0 when not.
    pub upstream_air_kg_per_s: f32,
}

/// Time from injection to torque at idle, s (engineering judgement: suction and compression strokes, and the film).
const ACTS_AFTER_S: f32 = 0.25;

/// What a look back gives to the check.
///
/// ```
/// use trimwright_control::self_check::{Look, SelfCheck};
/// use trimwright_control::{Calibration, Options, SetupAnswers};
/// let options = Options { self_check: true, ..Options::default() };
/// let calibration = Calibration::from_answers(&SetupAnswers::default())?.with_options(options);
/// let idling = Look { calm: true, idling: true, wanted_ln: 0.0, error_ln: 0.0, right_ln: 0.0, delay_s: 0.4,
///     air_kg_per_s: 5e-3, speed_rad_per_s: 75.0, dt_s: 0.02 };
/// let checks_within_8_s = |look| {
///     let mut check = SelfCheck::default();
///     (0..400).for_each(|_| check.step(&calibration, &look));
///     check.is_running()
/// };
/// assert!(checks_within_8_s(idling) && !checks_within_8_s(Look { idling: false, ..idling }));
/// assert!(!checks_within_8_s(Look { wanted_ln: 0.9_f32.ln(), ..idling }), "a rich idle is not asked");
/// # Ok::<(), trimwright_control::AnswerError>(())
/// ```
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Look {
    /// The engine runs calmly, the reading is good.
    pub calm: bool,
    /// Wanted mixture, ln lambda.
    pub wanted_ln: f32,
    /// Reading over wanted mixture, ln.
    pub error_ln: f32,
    /// Total correction that would have been right, ln.
    pub right_ln: f32,
    /// Believed delay without the sensor's lag, s.
    pub delay_s: f32,
    /// Air flow, kg/s.
    pub air_kg_per_s: f32,
    /// Crank speed, rad/s.
    pub speed_rad_per_s: f32,
    /// The throttle is closed and idle speed is held.
    pub idling: bool,
    /// Time since the look before, s.
    pub dt_s: f32,
}

impl SelfCheck {
    /// Dither of this instant, ln of fuel.
    ///
    /// ```
    /// use trimwright_control::self_check::{DITHER_LN, Look, SelfCheck};
    /// use trimwright_control::{Calibration, Options, SetupAnswers};
    /// # let options = Options { self_check: true, ..Options::default() };
    /// # let calibration = Calibration::from_answers(&SetupAnswers::default())?.with_options(options);
    /// # let look = Look { calm: true, idling: true, wanted_ln: 0.0, error_ln: 0.0, right_ln: 0.0, delay_s: 0.4,
    /// #     air_kg_per_s: 5e-3, speed_rad_per_s: 75.0, dt_s: 0.02 };
    /// let mut check = SelfCheck::default();
    /// let mut after = |looks| {
    ///     (0..looks).for_each(|_| check.step(&calibration, &look));
    ///     check.dither_ln()
    /// };
    /// // Seven calm seconds; then half waves of 1 s, the first with more fuel.
    /// assert_eq!([after(340), after(40), after(50)], [0.0, DITHER_LN, -DITHER_LN]);
    /// # Ok::<(), trimwright_control::AnswerError>(())
    /// ```
    pub fn dither_ln(&self) -> f32 {
        self.into_s
            .map_or(0.0, |into_s| if into_s < self.whole_s() { DITHER_LN * self.wave(into_s) } else { 0.0 })
    }

    /// How far an idle that is wanted rich is to be taken to lambda 1, 0 to 1: a rich engine does not answer the question.
    ///
    /// ```
    /// use trimwright_control::self_check::{Look, SelfCheck};
    /// use trimwright_control::{Calibration, Options, SetupAnswers};
    /// # let options = Options { self_check: true, ..Options::default() };
    /// # let calibration = Calibration::from_answers(&SetupAnswers::default())?.with_options(options);
    /// let mut look = Look { calm: true, idling: true, wanted_ln: 0.94_f32.ln(), error_ln: 0.0, right_ln: 0.0,
    ///     delay_s: 0.4, air_kg_per_s: 5e-3, speed_rad_per_s: 75.0, dt_s: 0.02 };
    /// let mut check = SelfCheck::default();
    /// (0..100).for_each(|_| check.step(&calibration, &look));
    /// assert!((check.leaned() - 0.5).abs() < 1e-3, "half way to lambda 1 after 2 s of a lumpy idle");
    /// look.idling = false;
    /// (0..100).for_each(|_| check.step(&calibration, &look));
    /// assert!(check.leaned() < 1e-3, "and back when the car drives off");
    /// # Ok::<(), trimwright_control::AnswerError>(())
    /// ```
    pub const fn leaned(&self) -> f32 {
        self.leaned
    }

    /// A check is running: the trim has to stand still.
    ///
    /// ```
    /// use trimwright_control::self_check::{Look, SelfCheck};
    /// use trimwright_control::{Calibration, Options, SetupAnswers};
    /// # let options = Options { self_check: true, ..Options::default() };
    /// # let calibration = Calibration::from_answers(&SetupAnswers::default())?.with_options(options);
    /// # let mut look = Look { calm: true, idling: true, wanted_ln: 0.0, error_ln: 0.0, right_ln: 0.0, delay_s: 0.4,
    /// #     air_kg_per_s: 5e-3, speed_rad_per_s: 75.0, dt_s: 0.02 };
    /// let mut check = SelfCheck::default();
    /// (0..400).for_each(|_| check.step(&calibration, &look));
    /// assert!(check.is_running(), "after eight calm seconds");
    /// look.calm = false;
    /// check.step(&calibration, &look);
    /// assert!(!check.is_running(), "the driver's foot ends it");
    /// # Ok::<(), trimwright_control::AnswerError>(())
    /// ```
    pub const fn is_running(&self) -> bool {
        self.into_s.is_some()
    }

    /// Whether a reading at this air flow is falsified by air from outside.
    ///
    /// ```
    /// use trimwright_control::self_check::SelfCheck;
    /// use trimwright_control::{Calibration, SetupAnswers};
    /// let calibration = Calibration::from_answers(&SetupAnswers::default())?;
    /// let mut check = SelfCheck::default();
    /// check.upstream_air_kg_per_s = 0.4e-3;
    /// // At idle the leak is 8 % of 5 g/s, cruising 1 % of 40 g/s.
    /// assert!(check.is_falsified(&calibration, 5e-3) && !check.is_falsified(&calibration, 40e-3));
    /// assert!(!SelfCheck::default().is_falsified(&calibration, 5e-3));
    /// # Ok::<(), trimwright_control::AnswerError>(())
    /// ```
    pub fn is_falsified(&self, setup: &Setup, air_kg_per_s: f32) -> bool {
        let low_flow = air_kg_per_s < LOW_FLOW * setup.answers().displacement_m3;
        self.upstream_air_kg_per_s > 0.0 && low_flow
    }

    /// Takes one look.
    ///
    /// ```
    /// use trimwright_control::self_check::{Look, SelfCheck};
    /// use trimwright_control::{Calibration, Options, SetupAnswers};
    /// let idling = Look { calm: true, idling: true, wanted_ln: 0.0, error_ln: 0.0, right_ln: 0.0, delay_s: 0.4,
    ///     air_kg_per_s: 5e-3, speed_rad_per_s: 75.0, dt_s: 0.02 };
    /// let calibration = Calibration::from_answers(&SetupAnswers::default())?;
    /// let dithers = |self_check| {
    ///     let calibration = calibration.clone().with_options(Options { self_check, ..Options::default() });
    ///     let mut check = SelfCheck::default();
    ///     (0..400).for_each(|_| check.step(&calibration, &idling));
    ///     check.dither_ln() != 0.0
    /// };
    /// assert!(dithers(true) && !dithers(false), "who did not ask for the check does not get one");
    /// # Ok::<(), trimwright_control::AnswerError>(())
    /// ```
    pub fn step(&mut self, setup: &Setup, look: &Look) {
        if !setup.options().self_check {
            return;
        }
        self.pause_s = (self.pause_s - look.dt_s).max(0.0);
        self.calm_s = if look.calm { self.calm_s + look.dt_s } else { 0.0 };
        let due = look.idling && self.calm_s > CALM_S && self.pause_s <= 0.0;
        let asks = self.pause_s <= 0.0 || !self.pull.is_known();
        let way = if self.into_s.is_some() || (look.idling && asks) { 1.0 } else { -1.0 };
        self.leaned = (self.leaned + way * LEANED_PER_S * look.dt_s).held(0.0, 1.0);
        match self.into_s {
            Some(into_s) if !look.calm && into_s >= self.fewest_s() => self.end(),
            _ if !look.calm => self.into_s = None,
            None if due && look.wanted_ln.abs() < AT_ONE_LN => self.begin(look),
            None => (),
            Some(into_s) if into_s < self.whole_s() + 2.0 * self.believed_s => {
                self.listen(into_s, look);
                self.feel(into_s, look);
                self.into_s = Some(into_s + look.dt_s);
            }
            Some(_) => self.end(),
        }
    }

    /// Square wave, 1 or -1; 0 before it begins.
    fn wave(&self, into_s: f32) -> f32 {
        match self.place(into_s) {
            Some((first, _)) => {
                if first {
                    1.0
                } else {
                    -1.0
                }
            }
            None => 0.0,
        }
    }

    /// Half of the wave (the first?) and share of the way through it.
    fn place(&self, into_s: f32) -> Option<(bool, f32)> {
        if !(0.0..self.whole_s()).contains(&into_s) || self.half_s <= 0.0 {
            return None;
        }
        let halves = into_s / self.half_s;
        let whole = halves as u32;
        Some((whole.is_multiple_of(2), halves - whole as f32))
    }

    fn whole_s(&self) -> f32 {
        2.0 * WAVES * self.half_s
    }

    /// How long a disturbed check must have run to count, s: its waves, and the way of the last one.
    fn fewest_s(&self) -> f32 {
        2.0 * (FEWEST_WAVES * self.half_s + self.believed_s)
    }

    fn begin(&mut self, look: &Look) {
        self.believed_s = look.delay_s.held(0.05, 1.5);
        self.half_s = (2.5 * self.believed_s).held(0.8, 3.0);
        (self.sums, self.before_ln, self.into_s) = (Default::default(), look.error_ln, Some(0.0));
        self.pull.begin();
    }

    /// The crank's side of the dither, at idle.
    fn feel(&mut self, into_s: f32, look: &Look) {
        let halves = (into_s - ACTS_AFTER_S) / self.half_s.max(0.1);
        // A reading that is off by itself, at an end of what trim and map may do, is not lied to.
        if look.idling && halves >= 0.0 && look.error_ln.abs() < MOST_OFF_LN {
            self.pull.step(halves, look.speed_rad_per_s, look.wanted_ln + look.error_ln);
            self.upstream_air_kg_per_s = self.pull.falsely_lean_ln().unwrap_or(0.0) * look.air_kg_per_s;
        }
    }

    fn listen(&mut self, into_s: f32, look: &Look) {
        // More fuel reads as less lambda: the sign is turned round here.
        // What was there before cancels over whole waves, and nearly so in a check that ends within one.
        let answer_ln = self.before_ln - look.error_ln;
        for index in 0..CANDIDATES.len() {
            let delay_s = CANDIDATES.get(index).copied().unwrap_or(1.0) * self.believed_s;
            let Some((first, way)) = self.place(into_s - delay_s) else { continue };
            let Some(sums) = self.sums.get_mut(index) else { continue };
            sums.product += if first { answer_ln } else { -answer_ln };
            if (0.5..0.8).contains(&way) {
                let half = usize::from(first);
                if let (Some(sum), Some(looks)) = (sums.settled.get_mut(half), sums.looks.get_mut(half)) {
                    *sum += answer_ln;
                    *looks += 1.0;
                }
            }
        }
    }

    fn end(&mut self) {
        let pause_s = if self.pull.is_known() { PAUSE_S } else { SHORT_PAUSE_S };
        (self.into_s, self.pause_s, self.calm_s) = (None, pause_s, 0.0);
        let best =
            self.sums.iter().zip(CANDIDATES).fold(None, |best: Option<(&Sums, f32)>, (sums, candidate)| {
                if best.is_none_or(|(most, _)| sums.product > most.product) {
                    Some((sums, candidate))
                } else {
                    best
                }
            });
        let Some((sums, candidate)) = best else { return };
        let [low, high] = [0, 1].map(|half: usize| {
            let settled = sums.settled.get(half).copied().unwrap_or(0.0);
            settled / sums.looks.get(half).copied().unwrap_or(0.0).max(1.0)
        });
        let gain = (high - low) / (2.0 * DITHER_LN);
        if gain > LEAST_GAIN {
            let delay_s = candidate * self.believed_s;
            self.measured = Some(Measured { delay_s, believed_s: self.believed_s, gain });
            self.slow = delay_s - self.believed_s > SLOW_S;
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::answers::SetupAnswers;
    use crate::calibration::Calibration;
    use crate::options::Options;
    use trimwright_numerics::{Lag, Ring};

    fn calibration() -> Calibration {
        let options = Options { self_check: true, ..Options::default() };
        Calibration::from_answers(&SetupAnswers::default()).unwrap().with_options(options)
    }

    fn look(error_ln: f32, air_kg_per_s: f32) -> Look {
        Look {
            calm: true,
            wanted_ln: 0.0,
            error_ln,
            right_ln: 0.0,
            delay_s: 0.4,
            air_kg_per_s,
            speed_rad_per_s: 75.0,
            idling: true,
            dt_s: 0.02,
        }
    }

    /// Lets a check run on a loop of that delay and gain, behind a sensor of 70 ms.
    fn check(delay_s: f32, gain: f32, calm: impl Fn(u32) -> bool) -> SelfCheck {
        let calibration = calibration();
        let (mut check, mut past, mut sensor) =
            (SelfCheck::default(), Ring::<f32, 100>::filled(0.0), Lag::at(0.0));
        for step in 0..2000 {
            past.push(check.dither_ln());
            let then = past.back((delay_s / 0.02) as usize).copied().unwrap();
            let noise = if step % 7 < 3 { 0.004 } else { -0.003 };
            sensor.step(-gain * then, 0.02, 0.07);
            check.step(&calibration, &Look { calm: calm(step), ..look(sensor.value() + noise, 0.02) });
        }
        check
    }

    #[test]
    fn delay_and_gain_are_measured() {
        for (delay_s, gain) in [(0.2, 1.0), (0.4, 1.0), (0.6, 0.7), (0.8, 1.3)] {
            let measured = check(delay_s, gain, |_| true).measured.unwrap();
            assert!((measured.delay_s - delay_s - 0.05).abs() < 0.12, "{delay_s}: {measured:?}");
            assert!((measured.gain - gain).abs() < 0.15, "{gain}: {measured:?}");
        }
    }

    #[test]
    fn a_sensor_that_answers_late_is_slow() {
        assert!(!check(0.4, 1.0, |_| true).slow);
        assert!(check(0.95, 1.0, |_| true).slow);
    }

    #[test]
    fn a_disturbed_check_says_nothing_and_stops_dithering() {
        let disturbed = check(0.4, 1.0, |step| step % 300 < 250);
        assert_eq!(disturbed.measured, None);
        assert_eq!(check(0.4, 1.0, |step| step < 300).dither_ln(), 0.0);
    }

    /// An idle whose crank answers the fuel by so much, with the unrest of a real one.
    fn after_idling(answer: f32) -> SelfCheck {
        let calibration = calibration();
        let (mut check, mut speed, mut unrest) = (SelfCheck::default(), Lag::at(75.0), 1_u32);
        for _ in 0..20_000 {
            unrest = unrest.wrapping_mul(1_664_525).wrapping_add(1_013_904_223);
            let rough = (unrest >> 16) as f32 / 65_536.0 - 0.5;
            speed.step(75.0 * (1.0 + answer * check.dither_ln() + 0.02 * rough), 0.02, 0.4);
            check.step(&calibration, &Look { speed_rad_per_s: speed.value(), ..look(0.0, 5e-3) });
        }
        check
    }

    #[test]
    fn an_engine_that_more_fuel_does_not_help_is_richer_than_it_reads() {
        let rich = after_idling(-0.15);
        assert!(rich.upstream_air_kg_per_s > 0.0, "{:?}", rich.pull.estimate());
        assert!(rich.is_falsified(&calibration(), 5e-3) && !rich.is_falsified(&calibration(), 40e-3));
        let sound = after_idling(0.2);
        assert_eq!(sound.upstream_air_kg_per_s, 0.0, "{:?}", sound.pull.estimate());
        assert!(sound.pull.off_ln().is_some());
    }
}
