//! The loop measures itself: a small dither of the fuel for delay and loop gain; corrections against flow for air from outside.
//!
//! **Dither.** While the engine runs calmly the fuel goes up and down in a square wave. The reading follows after the
//! delay. Correlating it with the wave shifted by several candidate delays finds the true one; the height of the settled
//! parts over the height of the wave is the loop gain: 1 for a sound sensor, less for one that is masked or clogged.
//!
//! **Upstream air.** Air that enters between engine and sensor reads as lean, most of all at idle; the correction then makes the
//! engine rich. The sensor cannot know, nor can the map, but the crank does: at idle the same dither makes an engine at lambda 1 pull
//! harder with more fuel, and a rich one not. Where the crank says rich while the reading says lambda 1, nothing more is
//! learned at low flow, and the flag says so ([`crate::pull`]). A sensor that itself reads lean gives the same answer.

use trimwright_numerics::Real;

use crate::pull::{Pull, TorqueResponseParameters};
use crate::setup::Setup;

/// Delays tried in a check.
const CANDIDATES: usize = 9;

trimwright_numerics::parameters! {
    /// How the loop measures itself.
    #[cfg_attr(feature = "defmt", derive(defmt::Format))]
    pub struct SelfCheckParameters<f32> "self_check" {
        /// Height of the dither of the fuel: to be felt by the sensor, not by the driver.
        number dither_ln { 0.025, 0.002..=0.1 "ln", "engineering judgement" }
        /// Full waves of a check.
        number waves { 6.0, 1.0..=30.0 "1", "engineering judgement" }
        /// Full waves after which a check that was disturbed still counts.
        number fewest_waves { 3.0, 1.0..=30.0 "1", "engineering judgement" }
        /// Calm time before a check, in which the idle settles after a stop.
        number calm_s { 7.0, 0.0..=120.0 "s", "engineering judgement" }
        /// Time between checks.
        number pause_s { 300.0, 0.0..=86400.0 "s", "engineering judgement" }
        /// Time between checks until the crank's answer is known.
        number short_pause_s { 8.0, 0.0..=3600.0 "s", "engineering judgement" }
        /// Delays tried, over the believed one.
        list candidates { [CANDIDATES] = [0.4, 0.55, 0.75, 1.0, 1.25, 1.5, 1.8, 2.2, 2.7], 0.1..=10.0 "1", "engineering judgement" }
        /// Shortest believed delay that a check is laid out for.
        number shortest_delay_s { 0.05, 0.01..=0.5 "s", "engineering judgement" }
        /// Longest believed delay that a check is laid out for.
        number longest_delay_s { 1.5, 0.5..=5.0 "s", "engineering judgement" }
        /// Half wave over the believed delay.
        number half_wave_delays { 2.5, 1.0..=10.0 "1", "engineering judgement: the reading has to settle within it" }
        /// Shortest half wave.
        number shortest_half_s { 0.8, 0.1..=3.0 "s", "engineering judgement" }
        /// Longest half wave.
        number longest_half_s { 3.0, 0.5..=20.0 "s", "engineering judgement" }
        /// Share of a half wave after which the reading counts as settled.
        number settled_from { 0.5, 0.0..=0.9 "1", "engineering judgement" }
        /// Share of a half wave up to which the reading counts as settled.
        number settled_to { 0.8, 0.1..=1.0 "1", "engineering judgement" }
        /// Longest delay over the believed one that passes for an ageing sensor, and above which it is slow.
        number slow_s { 0.5, 0.05..=5.0 "s", "engineering judgement" }
        /// Height of the reading over that of the dither below which a check has seen nothing to go by.
        number least_gain { 0.3, 0.05..=1.0 "1", "engineering judgement" }
        /// Air flow over displacement up to which a reading counts as falsified by air from outside, for above it the leak is a small share.
        number low_flow_kg_per_s_m3 { 3.0, 0.1..=60.0 "kg/(s m3)", "engineering judgement: twice to four times that of idle" }
        /// Difference of reading and wanted mixture, dither included, from which the crank is not asked.
        number most_off_ln { 0.08, 0.01..=0.5 "ln", "engineering judgement" }
        /// How fast the idle is taken to lambda 1 for a check, slow enough for the reading to follow.
        number leaned_per_s { 0.25, 0.01..=10.0 "1/s", "engineering judgement" }
        /// Difference of the wanted mixture from lambda 1 up to which a check begins.
        number at_one_ln { 0.01, 0.001..=0.1 "ln", "engineering judgement" }
        /// Richest wanted mixture from which an idle is checked, logarithm of lambda: that of a lumpy idle, no cold engine.
        number richest_idle_ln { -0.07, -0.4..=0.0 "ln", "engineering judgement" }
        /// Leanest wanted mixture at which an idle is checked, logarithm of lambda.
        number leanest_idle_ln { 0.01, 0.0..=0.2 "ln", "engineering judgement" }
        /// Time from injection to torque at idle.
        number acts_after_s { 0.25, 0.0..=2.0 "s", "engineering judgement: suction and compression strokes, and the film" }
    }
}

/// One result of a dither.
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

/// What the loop knows of itself.
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
    sums: [Sums; CANDIDATES],
    pull: Pull,
    measured: Option<Measured>,
    slow: bool,
    upstream_air_kg_per_s: f32,
}

/// What a look back gives to the check.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Look {
    /// The engine runs calmly, the reading is good.
    pub calm: bool,
    /// Wanted mixture, ln lambda.
    pub wanted_ln: f32,
    /// Reading over wanted mixture, ln.
    pub error_ln: f32,
    /// Believed delay without the sensor's lag, s.
    pub delay_s: f32,
    /// Air flow, kg/s.
    pub air_kg_per_s: f32,
    /// Crank speed, rad/s.
    pub speed_rad_per_s: f32,
    /// Idle speed is held.
    pub idling: bool,
    /// Time since the look before, s.
    pub dt_s: f32,
}

impl SelfCheck {
    /// How the crank answers the dither at idle.
    pub const fn pull(&self) -> &Pull {
        &self.pull
    }

    /// The last result.
    pub const fn measured(&self) -> Option<Measured> {
        self.measured
    }

    /// The sensor answers too late.
    pub const fn is_slow(&self) -> bool {
        self.slow
    }

    /// Air that seems to enter upstream of the sensor, kg/s; 0 when none does.
    pub const fn upstream_air_kg_per_s(&self) -> f32 {
        self.upstream_air_kg_per_s
    }

    /// Dither of this instant, ln of fuel.
    pub fn dither_ln(&self, parameters: &SelfCheckParameters) -> f32 {
        let way = |into_s| match self.place(parameters, into_s) {
            Some((true, _)) => parameters.dither_ln,
            Some((false, _)) => -parameters.dither_ln,
            None => 0.0,
        };
        self.into_s.map_or(0.0, way)
    }

    /// How far an idle that is wanted rich is to be taken to lambda 1, 0 to 1: a rich engine does not answer the question.
    pub const fn leaned(&self) -> f32 {
        self.leaned
    }

    /// A check is running: the trim has to stand still.
    pub const fn is_running(&self) -> bool {
        self.into_s.is_some()
    }

    /// Whether a reading at this air flow is falsified by air from outside.
    pub fn is_falsified(&self, parameters: &SelfCheckParameters, setup: &Setup, air_kg_per_s: f32) -> bool {
        let low_flow = air_kg_per_s < parameters.low_flow_kg_per_s_m3 * setup.answers().displacement_m3;
        self.upstream_air_kg_per_s > 0.0 && low_flow
    }

    /// Takes one look.
    ///
    /// ```
    /// use trimwright_control::self_check::{Look, SelfCheck};
    /// use trimwright_control::{Calibration, Options, SetupAnswers};
    /// let options = Options { self_check: true, ..Options::default() };
    /// let calibration = Calibration::from_answers(&SetupAnswers::default())?.with_options(options);
    /// let parameters = calibration.parameters();
    /// let mut look = Look { calm: true, idling: true, wanted_ln: 0.0, error_ln: 0.0, delay_s: 0.4,
    ///     air_kg_per_s: 5e-3, speed_rad_per_s: 75.0, dt_s: 0.02 };
    /// let (mut check, mut fuel_ln) = (SelfCheck::default(), vec![0.0; 20]);
    /// // The reading follows the fuel after 20 looks (0.4 s), and shows 70 % of it: the sensor is partly clogged.
    /// for _ in 0..2000 {
    ///     fuel_ln.push(check.dither_ln(&parameters.self_check));
    ///     look.error_ln = -0.7 * fuel_ln[fuel_ln.len() - 21];
    ///     check.step(&parameters.self_check, &parameters.torque_response, calibration.setup(), &look);
    /// }
    /// let measured = check.measured().unwrap();
    /// assert!((measured.gain - 0.7).abs() < 0.05 && (measured.delay_s - 0.4).abs() < 0.11 && !check.is_slow());
    /// # Ok::<(), trimwright_control::AnswerError>(())
    /// ```
    pub fn step(
        &mut self,
        parameters: &SelfCheckParameters,
        response: &TorqueResponseParameters,
        setup: &Setup,
        look: &Look,
    ) {
        if !setup.options().self_check {
            return;
        }
        let idles = parameters.richest_idle_ln..parameters.leanest_idle_ln;
        let idling = look.idling && idles.contains(&look.wanted_ln);
        self.pause_s = (self.pause_s - look.dt_s).at_least(0.0);
        self.calm_s = if look.calm { self.calm_s + look.dt_s } else { 0.0 };
        let due = idling && self.calm_s > parameters.calm_s && self.pause_s <= 0.0;
        let asks = self.pause_s <= 0.0 || !self.pull.is_known(response);
        let way = if self.into_s.is_some() || (idling && asks) { 1.0 } else { -1.0 };
        self.leaned = (self.leaned + way * parameters.leaned_per_s * look.dt_s).held(0.0, 1.0);
        match self.into_s {
            Some(into_s) if !look.calm && into_s >= self.fewest_s(parameters) => {
                self.end(parameters, response)
            }
            _ if !look.calm => self.into_s = None,
            None if due && look.wanted_ln.abs() < parameters.at_one_ln => self.begin(parameters, look),
            None => (),
            Some(into_s) if into_s < self.whole_s(parameters) + 2.0 * self.believed_s => {
                self.listen(parameters, into_s, look);
                // A reading that is off by itself, at an end of what trim and map may do, is not lied to.
                if idling && look.error_ln.abs() < parameters.most_off_ln {
                    self.feel(parameters, response, into_s, look);
                }
                self.into_s = Some(into_s + look.dt_s);
            }
            Some(_) => self.end(parameters, response),
        }
    }

    /// Half of the wave (the first, with more fuel?) and share of the way through it.
    fn place(&self, parameters: &SelfCheckParameters, into_s: f32) -> Option<(bool, f32)> {
        if !(0.0..self.whole_s(parameters)).contains(&into_s) || self.half_s <= 0.0 {
            return None;
        }
        let halves = into_s / self.half_s;
        let whole = halves as u32;
        Some((whole.is_multiple_of(2), halves - whole as f32))
    }

    fn whole_s(&self, parameters: &SelfCheckParameters) -> f32 {
        2.0 * parameters.waves * self.half_s
    }

    /// How long a disturbed check must have run to count, s: its waves, and the way of the last one.
    fn fewest_s(&self, parameters: &SelfCheckParameters) -> f32 {
        2.0 * (parameters.fewest_waves * self.half_s + self.believed_s)
    }

    fn begin(&mut self, parameters: &SelfCheckParameters, look: &Look) {
        self.believed_s = look.delay_s.held(parameters.shortest_delay_s, parameters.longest_delay_s);
        let half_s = parameters.half_wave_delays * self.believed_s;
        self.half_s = half_s.held(parameters.shortest_half_s, parameters.longest_half_s);
        (self.sums, self.before_ln, self.into_s) = (Default::default(), look.error_ln, Some(0.0));
        self.pull.begin();
    }

    /// The crank's side of the dither, at idle.
    fn feel(
        &mut self,
        parameters: &SelfCheckParameters,
        response: &TorqueResponseParameters,
        into_s: f32,
        look: &Look,
    ) {
        let halves = (into_s - parameters.acts_after_s) / self.half_s;
        if halves >= 0.0 {
            let (speed, read_ln) = (look.speed_rad_per_s, look.wanted_ln + look.error_ln);
            self.pull.step(response, parameters.dither_ln, halves, speed, read_ln);
            let falsely_lean_ln = self.pull.falsely_lean_ln(response).unwrap_or(0.0);
            self.upstream_air_kg_per_s = falsely_lean_ln * look.air_kg_per_s;
        }
    }

    fn listen(&mut self, parameters: &SelfCheckParameters, into_s: f32, look: &Look) {
        // More fuel reads as less lambda: the sign is turned round here.
        // What was there before cancels over whole waves, and nearly so in a check that ends within one.
        let answer_ln = self.before_ln - look.error_ln;
        let settled = parameters.settled_from..parameters.settled_to;
        for (index, candidate) in parameters.candidates.iter().enumerate() {
            let delay_s = candidate * self.believed_s;
            let Some((first, way)) = self.place(parameters, into_s - delay_s) else { continue };
            let Some(sums) = self.sums.get_mut(index) else { continue };
            sums.product += if first { answer_ln } else { -answer_ln };
            if settled.contains(&way) {
                let half = usize::from(first);
                if let (Some(sum), Some(looks)) = (sums.settled.get_mut(half), sums.looks.get_mut(half)) {
                    *sum += answer_ln;
                    *looks += 1.0;
                }
            }
        }
    }

    fn end(&mut self, parameters: &SelfCheckParameters, response: &TorqueResponseParameters) {
        let known = self.pull.is_known(response);
        let pause_s = if known { parameters.pause_s } else { parameters.short_pause_s };
        (self.into_s, self.pause_s, self.calm_s) = (None, pause_s, 0.0);
        let candidates = self.sums.iter().zip(parameters.candidates);
        let best = candidates.fold(None, |best: Option<(&Sums, f32)>, (sums, candidate)| {
            if best.is_none_or(|(most, _)| sums.product > most.product) {
                Some((sums, candidate))
            } else {
                best
            }
        });
        let Some((sums, candidate)) = best else { return };
        let [low, high] = [0, 1].map(|half: usize| {
            let settled = sums.settled.get(half).copied().unwrap_or(0.0);
            settled / sums.looks.get(half).copied().unwrap_or(0.0).at_least(1.0)
        });
        let gain = (high - low) / (2.0 * parameters.dither_ln);
        if gain > parameters.least_gain {
            let delay_s = candidate * self.believed_s;
            self.measured = Some(Measured { delay_s, believed_s: self.believed_s, gain });
            self.slow = delay_s - self.believed_s > parameters.slow_s;
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

    const CHECK: SelfCheckParameters = SelfCheckParameters::DEFAULT;
    const RESPONSE: TorqueResponseParameters = TorqueResponseParameters::DEFAULT;

    fn calibration() -> Calibration {
        let options = Options { self_check: true, ..Options::default() };
        Calibration::from_answers(&SetupAnswers::default()).unwrap().with_options(options)
    }

    fn look(error_ln: f32, air_kg_per_s: f32) -> Look {
        Look {
            calm: true,
            wanted_ln: 0.0,
            error_ln,
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
            past.push(check.dither_ln(&CHECK));
            let then = past.back((delay_s / 0.02) as usize).copied().unwrap();
            let noise = if step % 7 < 3 { 0.004 } else { -0.003 };
            sensor.step(-gain * then, 0.02, 0.07);
            check.step(
                &CHECK,
                &RESPONSE,
                calibration.setup(),
                &Look { calm: calm(step), ..look(sensor.value() + noise, 0.02) },
            );
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
        assert_eq!(check(0.4, 1.0, |step| step < 300).dither_ln(&CHECK), 0.0);
    }

    /// An idle whose crank answers the fuel by so much, with the unrest of a real one.
    fn after_idling(answer: f32) -> SelfCheck {
        let calibration = calibration();
        let (mut check, mut speed, mut unrest) = (SelfCheck::default(), Lag::at(75.0), 1_u32);
        for _ in 0..20_000 {
            unrest = unrest.wrapping_mul(1_664_525).wrapping_add(1_013_904_223);
            let rough = (unrest >> 16) as f32 / 65_536.0 - 0.5;
            speed.step(75.0 * (1.0 + answer * check.dither_ln(&CHECK) + 0.02 * rough), 0.02, 0.4);
            check.step(
                &CHECK,
                &RESPONSE,
                calibration.setup(),
                &Look { speed_rad_per_s: speed.value(), ..look(0.0, 5e-3) },
            );
        }
        check
    }

    #[test]
    fn an_engine_that_more_fuel_does_not_help_is_richer_than_it_reads() {
        let rich = after_idling(-0.15);
        assert!(rich.upstream_air_kg_per_s > 0.0, "{:?}", rich.pull.estimate());
        assert!(
            rich.is_falsified(&CHECK, calibration().setup(), 5e-3)
                && !rich.is_falsified(&CHECK, calibration().setup(), 40e-3)
        );
        let sound = after_idling(0.2);
        assert_eq!(sound.upstream_air_kg_per_s, 0.0, "{:?}", sound.pull.estimate());
        assert!(sound.pull.off_ln(&RESPONSE).is_some());
    }

    #[test]
    fn another_dither_is_another_height_and_length() {
        let gentle = SelfCheckParameters { dither_ln: 0.01, shortest_half_s: 2.0, calm_s: 1.0, ..CHECK };
        let (calibration, mut check) = (calibration(), SelfCheck::default());
        let mut after = |looks| {
            (0..looks).for_each(|_| check.step(&gentle, &RESPONSE, calibration.setup(), &look(0.0, 5e-3)));
            check.dither_ln(&gentle)
        };
        assert_eq!([after(40), after(40), after(90)], [0.0, 0.01, -0.01]);
    }
}
