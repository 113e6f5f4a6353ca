//! Self-check: a small dither of the fuel measures loop delay, loop gain and torque response.
//!
//! **Dither.** At steady running the fuel follows a square wave. The reading follows after the delay. Correlation with the wave shifted by
//! several candidate delays finds the delay; the amplitude of the settled parts over that of the wave is the loop gain: 1 for a healthy
//! sensor, less for a masked or clogged one.
//!
//! **Upstream air.** Air that enters between engine and sensor reads as lean, most of all at idle; the correction then makes the engine
//! rich. Neither sensor nor map can detect that, but the crank can: at idle the same dither changes the torque of an engine at lambda 1,
//! and not of a rich one ([`TorqueResponse`]). When the torque response indicates a rich mixture and the reading lambda 1, learning stops at low
//! flow and a flag is set. A sensor that itself reads lean gives the same result.

use trimwright_numerics::Real;

use crate::answers::Cam;
use crate::setup::Setup;
use crate::torque_response::{TorqueResponse, TorqueResponseParameters};

/// Number of candidate delays.
const CANDIDATES: usize = 9;

trimwright_numerics::parameters! {
    /// Self-check by a dither of the fuel.
    #[cfg_attr(feature = "defmt", derive(defmt::Format))]
    pub struct SelfCheckParameters<f32> "self_check" {
        /// Amplitude of the dither; visible to the sensor, not to the driver.
        number dither_ln { 0.025, 0.002..=0.1 "ln", "engineering judgement" }
        /// Full waves of a check.
        number waves { 6.0, 1.0..=30.0 "1", "engineering judgement" }
        /// Full waves after which an interrupted check still counts.
        number min_waves { 3.0, 1.0..=30.0 "1", "engineering judgement" }
        /// Steady time before a check.
        number steady_s { 7.0, 0.0..=120.0 "s", "engineering judgement" }
        /// Time between checks.
        number pause_s { 300.0, 0.0..=86400.0 "s", "engineering judgement" }
        /// Time between checks until the torque response is known.
        number short_pause_s { 8.0, 0.0..=3600.0 "s", "engineering judgement" }
        /// Candidate delays over the estimated delay.
        list candidates { [CANDIDATES] = [0.4, 0.55, 0.75, 1.0, 1.25, 1.5, 1.8, 2.2, 2.7], 0.1..=10.0 "1", "engineering judgement" }
        /// Lower limit of the estimated delay in the layout of a check.
        number min_delay_s { 0.05, 0.01..=0.5 "s", "engineering judgement" }
        /// Upper limit of the estimated delay in the layout of a check.
        number max_delay_s { 1.5, 0.5..=5.0 "s", "engineering judgement" }
        /// Half wave over the estimated delay.
        number half_wave_per_delay { 2.5, 1.0..=10.0 "1", "engineering judgement: the reading has to settle within it" }
        /// Lower limit of a half wave.
        number min_half_wave_s { 0.8, 0.1..=3.0 "s", "engineering judgement" }
        /// Upper limit of a half wave.
        number max_half_wave_s { 3.0, 0.5..=20.0 "s", "engineering judgement" }
        /// Share of a half wave after which the reading counts as settled.
        number settled_from { 0.5, 0.0..=0.9 "1", "engineering judgement" }
        /// Share of a half wave up to which the reading counts as settled.
        number settled_to { 0.8, 0.1..=1.0 "1", "engineering judgement" }
        /// Excess of the measured over the estimated delay above which the sensor is slow.
        number slow_s { 0.5, 0.05..=5.0 "s", "engineering judgement" }
        /// Loop gain below which a check has no result.
        number min_gain { 0.3, 0.05..=1.0 "1", "engineering judgement" }
        /// Air flow per displacement below which upstream air biases the reading; above it the leak is a small share.
        number low_flow_kg_per_s_m3 { 3.0, 0.1..=60.0 "kg/(s m3)", "engineering judgement: twice to four times that of idle" }
        /// Difference of reading and wanted lambda above which the torque response is not measured.
        number max_error_ln { 0.08, 0.01..=0.5 "ln", "engineering judgement" }
        /// Rate of the blend from a rich idle target to lambda 1; slow enough for the reading to follow.
        number lean_blend_per_s { 0.25, 0.01..=10.0 "1/s", "engineering judgement" }
        /// Distance of the wanted lambda from 1 up to which a check begins.
        number near_stoich_ln { 0.01, 0.001..=0.1 "ln", "engineering judgement" }
        /// Richest wanted lambda of an idle that is checked, ln: a hot cam, not a cold engine.
        number min_idle_ln { -0.07, -0.4..=0.0 "ln", "engineering judgement" }
        /// Leanest wanted lambda of an idle that is checked, ln.
        number max_idle_ln { 0.01, 0.0..=0.2 "ln", "engineering judgement" }
        /// Time from injection to torque at idle.
        number torque_delay_s { 0.25, 0.0..=2.0 "s", "engineering judgement: suction and compression strokes, and the film" }
    }
}

/// Result of a check.
#[derive(Clone, Copy, Debug, PartialEq)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
#[non_exhaustive]
pub struct SelfCheckResult {
    /// Measured delay from injection to reading, sensor lag included, s.
    pub delay_s: f32,
    /// Estimated delay at that time, s.
    pub expected_delay_s: f32,
    /// Loop gain: amplitude of the reading over that of the dither.
    pub gain: f32,
}

/// Correlation sums of one candidate delay.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
struct Sums {
    product: f32,
    settled: [f32; 2],
    samples: [f32; 2],
}

/// Stage of the self-check.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub struct SelfCheck {
    steady_s: f32,
    pause_s: f32,
    /// Blend from the rich idle target (0) to lambda 1 (1).
    lean_blend: f32,
    /// Time since the start of the check, s, while one runs.
    into_s: Option<f32>,
    half_wave_s: f32,
    expected_delay_s: f32,
    before_ln: f32,
    sums: [Sums; CANDIDATES],
    torque_response: TorqueResponse,
    measured: Option<SelfCheckResult>,
    slow: bool,
    upstream_air_kg_per_s: f32,
}

/// One 20 ms sample for the self-check.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct SelfCheckSample {
    /// The engine runs steadily and the reading is valid.
    pub steady: bool,
    /// Wanted lambda, ln.
    pub wanted_ln: f32,
    /// Measured over wanted lambda, ln.
    pub error_ln: f32,
    /// Estimated delay without the sensor's lag, s.
    pub delay_s: f32,
    /// Air flow, kg/s.
    pub air_kg_per_s: f32,
    /// Crank speed, rad/s.
    pub speed_rad_per_s: f32,
    /// Feedback of the idle speed is active.
    pub idling: bool,
    /// Time since the last sample, s.
    pub dt_s: f32,
}

impl SelfCheck {
    /// Response of the idle speed to the dither.
    pub const fn torque_response(&self) -> &TorqueResponse {
        &self.torque_response
    }

    /// Result of the last check.
    pub const fn measured(&self) -> Option<SelfCheckResult> {
        self.measured
    }

    /// Whether the lambda sensor is slow.
    pub const fn is_slow(&self) -> bool {
        self.slow
    }

    /// Estimated upstream air, kg/s; 0 when none is detected.
    pub const fn upstream_air_kg_per_s(&self) -> f32 {
        self.upstream_air_kg_per_s
    }

    /// Present dither, ln of fuel.
    pub fn dither_ln(&self, parameters: &SelfCheckParameters) -> f32 {
        let sign = |into_s| match self.place(parameters, into_s) {
            Some((true, _)) => parameters.dither_ln,
            Some((false, _)) => -parameters.dither_ln,
            None => 0.0,
        };
        self.into_s.map_or(0.0, sign)
    }

    /// Blend from the rich idle target (0) to lambda 1 (1); the dither test needs lambda near 1 to have torque sensitivity.
    pub const fn lean_blend(&self) -> f32 {
        self.lean_blend
    }

    /// Whether a check is running; the short-term trim is then frozen.
    pub const fn is_running(&self) -> bool {
        self.into_s.is_some()
    }

    /// Whether upstream air biases the reading at this air flow.
    pub fn is_reading_biased(
        &self,
        parameters: &SelfCheckParameters,
        setup: &Setup,
        air_kg_per_s: f32,
    ) -> bool {
        let low_flow = air_kg_per_s < parameters.low_flow_kg_per_s_m3 * setup.answers().displacement_m3;
        self.upstream_air_kg_per_s > 0.0 && low_flow
    }

    /// 20 ms task: starts, runs and evaluates a check. It starts when the engine has idled steadily near lambda 1 and the pause is over.
    ///
    /// ```
    /// use trimwright_control::diagnosis::{SelfCheck, SelfCheckSample};
    /// use trimwright_control::{Calibration, Options, SetupAnswers};
    /// let options = Options { self_check: true, ..Options::default() };
    /// let calibration = Calibration::from_answers(&SetupAnswers::default())?.with_options(options);
    /// let parameters = calibration.parameters();
    /// let mut sample = SelfCheckSample { steady: true, idling: true, wanted_ln: 0.0, error_ln: 0.0, delay_s: 0.4,
    ///     air_kg_per_s: 5e-3, speed_rad_per_s: 75.0, dt_s: 0.02 };
    /// let (mut check, mut fuel_ln) = (SelfCheck::default(), vec![0.0; 20]);
    /// // The reading follows the fuel after 20 samples (0.4 s), and shows 70 % of it: the sensor is partly clogged.
    /// for _ in 0..2000 {
    ///     fuel_ln.push(check.dither_ln(&parameters.self_check));
    ///     sample.error_ln = -0.7 * fuel_ln[fuel_ln.len() - 21];
    ///     check.step(&parameters.self_check, &parameters.torque_response, calibration.setup(), &sample);
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
        sample: &SelfCheckSample,
    ) {
        if !setup.options().self_check {
            return;
        }
        let idles = parameters.min_idle_ln..parameters.max_idle_ln;
        let idling = sample.idling && idles.contains(&sample.wanted_ln);
        self.pause_s = (self.pause_s - sample.dt_s).at_least(0.0);
        self.steady_s = if sample.steady { self.steady_s + sample.dt_s } else { 0.0 };
        let due = idling && self.steady_s > parameters.steady_s && self.pause_s <= 0.0;
        let wanted = self.pause_s <= 0.0 || !self.torque_response.is_known(response);
        let sign = if self.into_s.is_some() || (idling && wanted) { 1.0 } else { -1.0 };
        self.lean_blend = (self.lean_blend + sign * parameters.lean_blend_per_s * sample.dt_s).held(0.0, 1.0);
        match self.into_s {
            Some(into_s) if !sample.steady && into_s >= self.min_duration_s(parameters) => {
                self.end(parameters, response)
            }
            _ if !sample.steady => self.into_s = None,
            None if due && sample.wanted_ln.abs() < parameters.near_stoich_ln => {
                self.begin(parameters, sample)
            }
            None => (),
            Some(into_s) if into_s < self.duration_s(parameters) + 2.0 * self.expected_delay_s => {
                self.correlate(parameters, into_s, sample);
                // A large error, with trim and map at their limits, is no upstream air.
                if idling && sample.error_ln.abs() < parameters.max_error_ln {
                    self.update_torque_response(parameters, response, setup.answers().cam, into_s, sample);
                }
                self.into_s = Some(into_s + sample.dt_s);
            }
            Some(_) => self.end(parameters, response),
        }
    }

    /// Half of the wave (true: the first, with more fuel) and share of it elapsed.
    fn place(&self, parameters: &SelfCheckParameters, into_s: f32) -> Option<(bool, f32)> {
        if !(0.0..self.duration_s(parameters)).contains(&into_s) || self.half_wave_s <= 0.0 {
            return None;
        }
        let halves = into_s / self.half_wave_s;
        let whole = halves as u32;
        Some((whole.is_multiple_of(2), halves - whole as f32))
    }

    /// Duration of the dither, s.
    fn duration_s(&self, parameters: &SelfCheckParameters) -> f32 {
        2.0 * parameters.waves * self.half_wave_s
    }

    /// Duration after which an interrupted check counts, s: its waves and the delay of the last one.
    fn min_duration_s(&self, parameters: &SelfCheckParameters) -> f32 {
        2.0 * (parameters.min_waves * self.half_wave_s + self.expected_delay_s)
    }

    fn begin(&mut self, parameters: &SelfCheckParameters, sample: &SelfCheckSample) {
        self.expected_delay_s = sample.delay_s.held(parameters.min_delay_s, parameters.max_delay_s);
        let half_wave_s = parameters.half_wave_per_delay * self.expected_delay_s;
        self.half_wave_s = half_wave_s.held(parameters.min_half_wave_s, parameters.max_half_wave_s);
        (self.sums, self.before_ln, self.into_s) = (Default::default(), sample.error_ln, Some(0.0));
        self.torque_response.begin();
    }

    /// Measures the torque response to the dither at idle.
    fn update_torque_response(
        &mut self,
        parameters: &SelfCheckParameters,
        response: &TorqueResponseParameters,
        cam: Cam,
        into_s: f32,
        sample: &SelfCheckSample,
    ) {
        let halves = (into_s - parameters.torque_delay_s) / self.half_wave_s;
        if halves >= 0.0 {
            let by_cam_ln = if cam == Cam::Hot { response.hot_cam_ln } else { 0.0 };
            let (speed, measured_ln) =
                (sample.speed_rad_per_s, sample.wanted_ln + sample.error_ln - by_cam_ln);
            self.torque_response.step(response, parameters.dither_ln, halves, speed, measured_ln);
            let falsely_lean_ln = self.torque_response.falsely_lean_ln(response).unwrap_or(0.0);
            self.upstream_air_kg_per_s = falsely_lean_ln * sample.air_kg_per_s;
        }
    }

    /// Correlates the reading with the dither at each candidate delay.
    fn correlate(&mut self, parameters: &SelfCheckParameters, into_s: f32, sample: &SelfCheckSample) {
        // More fuel reads as less lambda, hence the minus sign.
        // The initial error cancels over whole waves, nearly so in an interrupted check.
        let response_ln = self.before_ln - sample.error_ln;
        let settled = parameters.settled_from..parameters.settled_to;
        for (index, candidate) in parameters.candidates.iter().enumerate() {
            let delay_s = candidate * self.expected_delay_s;
            let Some((first, elapsed)) = self.place(parameters, into_s - delay_s) else { continue };
            let Some(sums) = self.sums.get_mut(index) else { continue };
            sums.product += if first { response_ln } else { -response_ln };
            if settled.contains(&elapsed) {
                let half = usize::from(first);
                if let (Some(sum), Some(samples)) = (sums.settled.get_mut(half), sums.samples.get_mut(half)) {
                    *sum += response_ln;
                    *samples += 1.0;
                }
            }
        }
    }

    fn end(&mut self, parameters: &SelfCheckParameters, response: &TorqueResponseParameters) {
        let known = self.torque_response.is_known(response);
        let pause_s = if known { parameters.pause_s } else { parameters.short_pause_s };
        (self.into_s, self.pause_s, self.steady_s) = (None, pause_s, 0.0);
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
            settled / sums.samples.get(half).copied().unwrap_or(0.0).at_least(1.0)
        });
        let gain = (high - low) / (2.0 * parameters.dither_ln);
        if gain > parameters.min_gain {
            let delay_s = candidate * self.expected_delay_s;
            self.measured = Some(SelfCheckResult { delay_s, expected_delay_s: self.expected_delay_s, gain });
            self.slow = delay_s - self.expected_delay_s > parameters.slow_s;
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

    fn sample(error_ln: f32, air_kg_per_s: f32) -> SelfCheckSample {
        SelfCheckSample {
            steady: true,
            wanted_ln: 0.0,
            error_ln,
            delay_s: 0.4,
            air_kg_per_s,
            speed_rad_per_s: 75.0,
            idling: true,
            dt_s: 0.02,
        }
    }

    /// Runs a check on a loop of that delay and gain, with a sensor of 70 ms.
    fn check(delay_s: f32, gain: f32, steady: impl Fn(u32) -> bool) -> SelfCheck {
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
                &SelfCheckSample { steady: steady(step), ..sample(sensor.value() + noise, 0.02) },
            );
        }
        check
    }

    #[test]
    fn delay_and_gain_are_measured() {
        for (delay_s, gain) in [(0.2, 1.0), (0.4, 1.0), (0.6, 0.7), (0.8, 1.3)] {
            let measured = check(delay_s, gain, |_| true).measured().unwrap();
            assert!((measured.delay_s - delay_s - 0.05).abs() < 0.12, "{delay_s}: {measured:?}");
            assert!((measured.gain - gain).abs() < 0.15, "{gain}: {measured:?}");
        }
    }

    #[test]
    fn a_sensor_with_a_late_response_is_slow() {
        assert!(!check(0.4, 1.0, |_| true).is_slow());
        assert!(check(0.95, 1.0, |_| true).is_slow());
    }

    #[test]
    fn an_interrupted_check_has_no_result_and_stops_dithering() {
        let disturbed = check(0.4, 1.0, |step| step % 300 < 250);
        assert_eq!(disturbed.measured, None);
        assert_eq!(check(0.4, 1.0, |step| step < 300).dither_ln(&CHECK), 0.0);
    }

    /// After idling with this torque response, with the roughness of a real idle.
    fn after_idling(answer: f32) -> SelfCheck {
        let calibration = calibration();
        let (mut check, mut speed, mut random) = (SelfCheck::default(), Lag::at(75.0), 1_u32);
        for _ in 0..20_000 {
            random = random.wrapping_mul(1_664_525).wrapping_add(1_013_904_223);
            let rough = (random >> 16) as f32 / 65_536.0 - 0.5;
            speed.step(75.0 * (1.0 + answer * check.dither_ln(&CHECK) + 0.02 * rough), 0.02, 0.4);
            check.step(
                &CHECK,
                &RESPONSE,
                calibration.setup(),
                &SelfCheckSample { speed_rad_per_s: speed.value(), ..sample(0.0, 5e-3) },
            );
        }
        check
    }

    #[test]
    fn without_torque_response_the_engine_is_richer_than_it_reads() {
        let rich = after_idling(-0.15);
        assert!(rich.upstream_air_kg_per_s > 0.0, "{:?}", rich.torque_response.estimate());
        assert!(
            rich.is_reading_biased(&CHECK, calibration().setup(), 5e-3)
                && !rich.is_reading_biased(&CHECK, calibration().setup(), 40e-3)
        );
        let healthy = after_idling(0.2);
        assert_eq!(healthy.upstream_air_kg_per_s, 0.0, "{:?}", healthy.torque_response.estimate());
        assert!(healthy.torque_response.lambda_bias_ln(&RESPONSE).is_some());
    }

    #[test]
    fn amplitude_and_period_follow_the_parameters() {
        let gentle = SelfCheckParameters { dither_ln: 0.01, min_half_wave_s: 2.0, steady_s: 1.0, ..CHECK };
        let (calibration, mut check) = (calibration(), SelfCheck::default());
        let mut after = |samples| {
            (0..samples)
                .for_each(|_| check.step(&gentle, &RESPONSE, calibration.setup(), &sample(0.0, 5e-3)));
            check.dither_ln(&gentle)
        };
        assert_eq!([after(40), after(40), after(90)], [0.0, 0.01, -0.01]);
    }

    /// A check with half waves of 2 s and an expected delay of half a second: it lasts 24 s.
    fn running(into_s: f32) -> SelfCheck {
        SelfCheck { into_s: Some(into_s), half_wave_s: 2.0, expected_delay_s: 0.5, ..SelfCheck::default() }
    }

    /// An engine whose idle speed answers like this, read as lambda 1.
    fn answering(response: f32) -> TorqueResponse {
        let mut torque_response = TorqueResponse::default();
        torque_response.begin();
        for half in 0..80 {
            let sign = if half % 2 == 0 { 1.0 } else { -1.0 };
            let speed = 75.0 * (1.0 + response * sign * CHECK.dither_ln);
            torque_response.step(&RESPONSE, CHECK.dither_ln, half as f32 + 0.7, speed, 0.0);
        }
        torque_response
    }

    fn next(check: &mut SelfCheck, sample: SelfCheckSample) {
        check.step(&CHECK, &RESPONSE, calibration().setup(), &sample);
    }

    #[test]
    fn a_place_in_the_square_wave_is_its_half_and_how_far_into_it() {
        let place = |into_s| running(0.0).place(&CHECK, into_s);
        assert_eq!(
            [place(0.0), place(1.0), place(3.0)],
            [Some((true, 0.0)), Some((true, 0.5)), Some((false, 0.5))]
        );
        assert_eq!([place(-0.1), place(24.0), place(25.0)], [None; 3]);
        assert_eq!(SelfCheck::default().place(&CHECK, 0.0), None);
        assert_eq!(
            [running(0.5), running(3.0), running(25.0)].map(|check| check.dither_ln(&CHECK)),
            [CHECK.dither_ln, -CHECK.dither_ln, 0.0]
        );
    }

    /// By hand: six waves of two halves; three waves and two delays.
    #[test]
    fn a_check_lasts_its_waves_and_is_worth_something_after_fewer() {
        assert_eq!(running(0.0).duration_s(&CHECK), 24.0);
        assert_eq!(running(0.0).min_duration_s(&CHECK), 13.0);
        let ended = |into_s, steady| {
            let mut check = running(into_s);
            next(&mut check, SelfCheckSample { steady, ..sample(0.0, 5e-3) });
            (!check.is_running(), check.pause_s > 0.0)
        };
        assert_eq!((ended(12.9, false), ended(13.0, false)), ((true, false), (true, true)));
        assert_eq!(
            (ended(13.0, true), ended(24.9, true), ended(25.0, true)),
            ((false, false), (false, false), (true, true))
        );
    }

    /// Steps of half a second at idle.
    #[test]
    fn a_check_begins_at_an_idle_that_was_steady_for_longer_than_its_time() {
        let begins_after = |change: fn(&mut SelfCheckSample), pause_s| {
            let mut check = SelfCheck { pause_s, ..SelfCheck::default() };
            let mut sample = SelfCheckSample { dt_s: 0.5, ..sample(0.0, 5e-3) };
            change(&mut sample);
            (1..100).find(|_| {
                next(&mut check, sample);
                check.is_running()
            })
        };
        assert_eq!((begins_after(|_| (), 0.0), begins_after(|_| (), 20.0)), (Some(15), Some(40)));
        let never: [fn(&mut SelfCheckSample); 5] = [
            |sample| sample.steady = false,
            |sample| sample.idling = false,
            |sample| sample.wanted_ln = 0.01,
            |sample| sample.wanted_ln = -0.01,
            |sample| sample.wanted_ln = -0.1,
        ];
        assert!(never.iter().all(|change| begins_after(*change, 0.0).is_none()));
        assert_eq!(begins_after(|sample| sample.wanted_ln = -0.009, 0.0), Some(15));
    }

    #[test]
    fn a_rich_idle_becomes_leaner_for_a_check_that_is_due_or_a_response_that_is_unknown() {
        let blend = |check: SelfCheck, idling, wanted_ln| {
            let mut check = SelfCheck { lean_blend: 0.5, ..check };
            next(&mut check, SelfCheckSample { idling, wanted_ln, dt_s: 0.5, ..sample(0.0, 5e-3) });
            check.lean_blend()
        };
        let paused = SelfCheck { pause_s: 100.0, ..SelfCheck::default() };
        let known = SelfCheck { torque_response: answering(0.2), ..paused };
        assert!(known.torque_response.is_known(&RESPONSE));
        assert_eq!((blend(SelfCheck::default(), true, -0.06), blend(paused, true, -0.06)), (0.625, 0.625));
        assert_eq!(blend(known, true, -0.06), 0.375);
        assert_eq!(blend(SelfCheck { pause_s: 0.0, ..known }, true, -0.06), 0.625);
        assert_eq!(
            (blend(SelfCheck::default(), false, -0.06), blend(SelfCheck::default(), true, -0.08)),
            (0.375, 0.375)
        );
        assert_eq!(blend(SelfCheck { pause_s: 100.0, ..running(1.0) }, false, 0.0), 0.625);
    }

    #[test]
    fn after_a_check_the_pause_is_long_when_the_response_is_known() {
        let pause_s = |torque_response| {
            let mut check = SelfCheck { torque_response, ..running(25.0) };
            next(&mut check, sample(0.0, 5e-3));
            check.pause_s
        };
        assert_eq!(pause_s(TorqueResponse::default()), CHECK.short_pause_s);
        assert_eq!(pause_s(answering(0.2)), CHECK.pause_s);
    }

    /// By hand: 3.25 s less 0.25 s of delay are one and a half half waves of 2 s.
    #[test]
    fn the_torque_response_gets_speed_and_mixture_at_its_own_delay() {
        let mut check = SelfCheck { torque_response: answering(0.2), ..running(3.25) };
        let mut expected = check.torque_response;
        expected.step(&RESPONSE, CHECK.dither_ln, 1.5, 76.0, -0.035_156_25);
        next(
            &mut check,
            SelfCheckSample { speed_rad_per_s: 76.0, wanted_ln: -0.003_906_25, ..sample(-0.031_25, 5e-3) },
        );
        assert_eq!(*check.torque_response(), expected);
        let untouched = |change: fn(&mut SelfCheckSample), into_s| {
            let mut check = SelfCheck { torque_response: answering(0.2), ..running(into_s) };
            let (before, mut sample) = (check.torque_response, sample(0.0, 5e-3));
            change(&mut sample);
            next(&mut check, sample);
            check.torque_response == before
        };
        assert!(
            !untouched(|_| (), 2.5) && !untouched(|_| (), CHECK.torque_delay_s) && untouched(|_| (), 0.2)
        );
        assert!(untouched(|sample| sample.idling = false, 2.5));
        assert!(untouched(|sample| sample.error_ln = -CHECK.max_error_ln, 2.5));
        assert!(untouched(|sample| sample.error_ln = 0.1, 2.5));
    }

    #[test]
    fn upstream_air_is_the_share_by_which_the_reading_is_too_lean() {
        let mut check = SelfCheck { torque_response: answering(-0.02), ..running(2.5) };
        next(&mut check, sample(0.0, 5e-3));
        let lean_ln = check.torque_response().falsely_lean_ln(&RESPONSE).unwrap();
        assert_eq!(check.upstream_air_kg_per_s(), lean_ln * 5e-3);
        let mut healthy =
            SelfCheck { torque_response: answering(0.18), upstream_air_kg_per_s: 1.0, ..running(2.5) };
        next(&mut healthy, sample(0.0, 5e-3));
        assert_eq!(healthy.upstream_air_kg_per_s(), 0.0);
    }

    #[test]
    fn upstream_air_spoils_readings_at_low_flow_only() {
        let (calibration, check) =
            (calibration(), SelfCheck { upstream_air_kg_per_s: 1e-4, ..SelfCheck::default() });
        let low_flow = CHECK.low_flow_kg_per_s_m3 * calibration.answers().displacement_m3;
        assert!(check.is_reading_biased(&CHECK, calibration.setup(), 0.99 * low_flow));
        assert!(!check.is_reading_biased(&CHECK, calibration.setup(), low_flow));
        assert!(!SelfCheck::default().is_reading_biased(&CHECK, calibration.setup(), 0.5 * low_flow));
    }

    #[test]
    fn without_the_option_nothing_is_checked() {
        let calibration = Calibration::from_answers(&SetupAnswers::default()).unwrap();
        let off = calibration.with_options(Options { self_check: false, ..Options::default() });
        let mut check = SelfCheck::default();
        (0..2000).for_each(|_| check.step(&CHECK, &RESPONSE, off.setup(), &sample(0.0, 5e-3)));
        assert_eq!(check, SelfCheck::default());
    }
}
