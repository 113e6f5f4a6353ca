//! [`Controller::step`]: one sensor frame to actuator commands, a stage a line in the order of the data; every 20 ms also feedback and
//! learning from the lambda reading.

use trimwright_numerics::parameters::along;
use trimwright_numerics::{Real, Weights};
use trimwright_signals::{Commands, Frame, MAX_INJECTORS};

use crate::air_charge::air_charge;
use crate::attribution::Injection;
use crate::calibration::{Calibrated, Calibration};
use crate::carried::Injected;
use crate::crank::CrankMotion;
use crate::dtc::Dtc;
use crate::enable_conditions::EnableInputs;
use crate::estimate::EstimatorConstants;
use crate::events::StepLog;
use crate::film::film_estimate;
use crate::fuel_cut::is_clear_flood;
use crate::fuel_pump::PumpInputs;
use crate::idle::Loads;
use crate::learned_map::{LearnedMap, Lesson, Outcome};
use crate::learner::Learner;
use crate::nitrous::NitrousInputs;
use crate::open_time::InjectorSupply;
use crate::parameters::Parameters;
use crate::persistence::PersistentData;
use crate::phase::Phase;
use crate::refusal::Refusal;
use crate::self_check::SelfCheckSample;
use crate::setup::Setup;
use crate::spark::{SparkInputs, spark_deg};
use crate::start_assist::StartAssistInputs;
use crate::state::State;
use crate::wanted_lambda::wanted_lambda;

/// The controller: a calibration, owned or shared, and a state.
#[derive(Clone, Debug, PartialEq)]
pub struct Controller<C = Calibration> {
    calibration: C,
    state: State,
}

/// What is constant from step to step.
#[derive(Clone, Copy)]
pub(crate) struct Constants<'a> {
    pub(crate) parameters: &'a Parameters,
    pub(crate) setup: &'a Setup,
}

impl<C: Calibrated> Controller<C> {
    /// A controller that has learned nothing yet.
    pub fn new(calibration: C) -> Self {
        let state = State::new(calibration.parameters());
        Self { calibration, state }
    }

    /// The same controller with a learned map from earlier.
    #[must_use]
    pub fn with_learned(mut self, learned: LearnedMap) -> Self {
        self.state.learned = learned;
        self
    }

    /// The same controller with the learned map and trouble codes of before the power-down ([`crate::persistence`]).
    #[must_use]
    pub fn with_persistent(mut self, persistent: PersistentData) -> Self {
        self.state.dtcs.restore_stored(persistent.codes);
        self.with_learned(persistent.learned)
    }

    /// The calibration.
    pub const fn calibration(&self) -> &C {
        &self.calibration
    }

    /// Everything the controller remembers.
    pub const fn state(&self) -> &State {
        &self.state
    }

    /// Goes back to an earlier state; the same frames then give the same commands.
    pub fn restore(&mut self, state: State) {
        self.state = state;
    }

    /// Takes a frame and returns the commands until the next one. Never panics, whatever the frame holds.
    ///
    /// ```
    /// use trimwright_control::{Calibration, Controller, SetupAnswers};
    /// use trimwright_signals::Frame;
    /// let mut controller = Controller::new(Calibration::from_answers(&SetupAnswers::default())?);
    /// let mut injected = 0;
    /// for ms in 0..1000 {
    ///     // Under the starter: 200 rpm, a firing every 75 ms.
    ///     let mut frame = Frame { time_us: ms * 1000, battery_v: 10.4, map_v: 3.9, ..Frame::default() };
    ///     (frame.switches.ignition, frame.switches.starter) = (true, true);
    ///     if ms % 75 == 0 {
    ///         frame.pulses_us.push(frame.time_us).expect("there is room for eight");
    ///     }
    ///     injected += u32::from(controller.step(&frame).open_time_s != [0.0; 8]);
    /// }
    /// assert!((12..=14).contains(&injected), "{injected} of 14 firings");
    /// # Ok::<(), trimwright_control::AnswerError>(())
    /// ```
    pub fn step(&mut self, frame: &Frame) -> Commands {
        let strategy = self.calibration.setup().options().strategy;
        self.step_with(&strategy, frame)
    }

    /// Like [`Controller::step`], with a learner of your own in place of [`Options::strategy`](crate::Options::strategy).
    ///
    /// ```
    /// use trimwright_control::learning::Integral;
    /// use trimwright_control::{Calibration, Controller, Frame, SetupAnswers};
    /// let mut controller = Controller::new(Calibration::from_answers(&SetupAnswers::default())?);
    /// let commands = controller.step_with(&Integral { gain: 0.01 }, &Frame::default());
    /// assert_eq!(commands.open_time_s, [0.0; 8], "without pulses nothing is injected");
    /// # Ok::<(), trimwright_control::AnswerError>(())
    /// ```
    pub fn step_with(&mut self, learner: &impl Learner, frame: &Frame) -> Commands {
        let calibration = &self.calibration;
        let constants = Constants { parameters: calibration.parameters(), setup: calibration.setup() };
        self.state.step(&constants, learner, frame)
    }
}

impl State {
    /// One frame.
    fn step(&mut self, constants: &Constants<'_>, learner: &impl Learner, frame: &Frame) -> Commands {
        let step_log = StepLog::of(self);
        let &Constants { parameters, setup } = constants;
        let due = self.clock.step(frame);
        let pulses_per_firing = parameters.sensors.pulses_per_firing;
        self.crank.step(&parameters.crank, setup, pulses_per_firing, frame, &due);
        let estimator = EstimatorConstants {
            filters: &parameters.estimate,
            plausibility: &parameters.plausibility,
            throttle_speed: &parameters.throttle_speed,
            sensors: &parameters.sensors,
            setup,
        };
        let mut reports = self.dtcs.reports(&parameters.trouble_codes);
        self.estimator.step(&estimator, frame, self.crank.motion(), self.idle.duty(), &due, &mut reports);
        if due.task_10ms_s > 0.0 {
            self.update_engine_state(constants, frame, due.task_10ms_s);
        }
        self.commands.open_time_s = match self.crank.motion().firings {
            0 if due.task_10ms_s > 0.0 => self.prime(constants, due.task_10ms_s),
            0 => [0.0; MAX_INJECTORS],
            _ => self.inject(constants),
        };
        if due.task_20ms_s > 0.0 {
            self.update_feedback(constants, learner, due.task_20ms_s);
        }
        if due.task_10ms_s > 0.0 {
            self.update_auxiliary_outputs(constants, frame, due.task_10ms_s);
        }
        step_log.write(self);
        self.commands
    }

    /// 10 ms task: lean guard, fuel cuts, engine phase, accelerator-pump shot and start assist.
    fn update_engine_state(&mut self, constants: &Constants<'_>, frame: &Frame, dt_s: f32) {
        let &Constants { parameters, setup } = constants;
        let (speed, lean_ratio) = (self.crank.motion().speed_rad_per_s, self.lean_ratio(parameters));
        let estimate = self.estimator.estimate();
        let tripped = self.lean_guard.step(&parameters.lean_guard, estimate, lean_ratio, dt_s);
        let cut = self.cuts.step(&parameters.fuel_cut, setup, estimate, tripped, speed, dt_s);
        self.phase.step(&parameters.phase, setup, frame.switches.ignition, speed, cut, dt_s);
        self.pump_shot.step(&parameters.pump_shot, estimate.tp_rate_per_s, dt_s);
        let inputs = StartAssistInputs {
            phase: self.phase.phase(),
            since_start_s: self.phase.since_start_s(),
            speed_ratio: speed / self.idle.target_rad_per_s().at_least(1.0),
            rate_rad_per_s2: self.idle.rate_rad_per_s2(),
            free: estimate.throttle_closed && !frame.switches.in_gear,
            ect_k: estimate.ect_k,
            measured: !estimate.invalid.lambda
                && self.phase.since_start_s() > parameters.exhaust.cranking_purge_s
                && (estimate.lambda < along(&parameters.wanted_lambda.by_ect, estimate.ect_k))
                    == (self.start_assist.fuel_share() >= 0.0),
        };
        self.start_assist.step(&parameters.start_assist, &inputs, dt_s);
    }

    /// At a firing: air charge, wanted lambda, corrections, wall film, open time.
    fn inject(&mut self, constants: &Constants<'_>) -> [f32; MAX_INJECTORS] {
        let &Constants { parameters, setup } = constants;
        let &CrankMotion { speed_rad_per_s: speed, interval_s, since_firing_s, firings, .. } =
            self.crank.motion();
        let supply = self.supply(interval_s);
        let (estimate, compensates) = (self.estimator.estimate(), setup.options().film_compensation);
        self.film.elapse(since_firing_s);
        let map_pa = if compensates {
            estimate.map_ahead_pa(&parameters.estimate, setup.firing_angle_rad() / speed.at_least(1.0))
        } else {
            estimate.map_pa
        };
        let flow_before_kg_per_s = self.carried.injected.air_flow_kg_per_s;
        let air = air_charge(&parameters.air_charge, setup, estimate, map_pa, speed, flow_before_kg_per_s);
        let wanted_lambda = self.wanted(constants, &air.weights);
        let learned_ln = self.learned.at(&air.weights);
        let (trim_ln, dither_ln) =
            (self.feedback.trim_ln(), self.self_check.dither_ln(&parameters.self_check));
        let correction = Real::exp(learned_ln + trim_ln + dither_ln);
        let shot = if compensates { self.pump_shot.ratio(&parameters.pump_shot, estimate) } else { 1.0 };
        let wanted_fuel_kg = self.allowed(parameters) * air.air_kg
            / (setup.answers().stoich_afr * wanted_lambda)
            * correction
            * shot
            + self.nitrous.extra_kg(&parameters.nitrous, setup, interval_s);
        let film = &parameters.film;
        let wall =
            film_estimate(film, estimate.map_pa, speed, estimate.ect_k).scaled(film, &self.learned.film_ln);
        let inject_kg = self.film.step(film, wall, compensates, wanted_fuel_kg) * f32::from(firings);
        let (turns, injector) = (&parameters.open_time, &parameters.injector);
        let open_time_s = self.open_time.step(turns, injector, setup, inject_kg, &supply);
        let injected = Injected {
            weights: air.weights,
            wanted_lambda,
            air_flow_kg_per_s: air.air_kg * speed / setup.firing_angle_rad(),
            learned_ln,
            trim_ln,
            dither_ln,
            wanted_fuel_kg,
        };
        self.carried.injected = injected;
        self.insight.show_injected(&injected, &air, inject_kg, self.film.film_kg());
        open_time_s
    }

    /// Supply of the injectors: voltage, pressure drop, time between firings.
    fn supply(&self, interval_s: f32) -> InjectorSupply {
        InjectorSupply {
            battery_v: self.estimator.estimate().battery_v,
            drop_pa: self.estimator.estimate().drop_pa(),
            interval_s,
            delay_correction_s: self.learned.common.delay_s,
        }
    }

    /// Open times of the prime pulse, once before the crank turns.
    fn prime(&mut self, constants: &Constants<'_>, dt_s: f32) -> [f32; MAX_INJECTORS] {
        let &Constants { parameters, setup } = constants;
        let turning = self.crank.motion().speed_rad_per_s > 0.0;
        if !turning {
            self.film.dry(&parameters.film, dt_s);
        }
        let (key_on_s, ect_k) = (self.phase.key_on_s(), self.estimator.estimate().ect_k);
        let prime_kg = self.prime.step(&parameters.enrichment, setup, key_on_s, turning, ect_k);
        if prime_kg <= 0.0 {
            return [0.0; MAX_INJECTORS];
        }
        self.film.add_fuel(&parameters.film, prime_kg);
        let supply = self.supply(0.0);
        self.open_time.step(&parameters.open_time, &parameters.injector, setup, prime_kg, &supply)
    }

    /// Wanted lambda of the next cylinder with all enrichments.
    fn wanted(&self, &Constants { parameters, setup }: &Constants<'_>, weights: &Weights<f32>) -> f32 {
        let (estimate, since_start_s) = (self.estimator.estimate(), self.phase.since_start_s());
        let (speed, lean_blend) = (self.crank.motion().speed_rad_per_s, self.self_check.lean_blend());
        let enrichment = &parameters.enrichment;
        let (wanted, richest) = if self.phase.phase() == Phase::Cranking {
            let wanted = enrichment.cranking_lambda(estimate.ect_k, self.phase.for_s());
            (wanted, enrichment.min_cranking_lambda)
        } else {
            let after_start = enrichment.after_start_ratio(estimate.ect_k, since_start_s);
            let wanted =
                wanted_lambda(&parameters.wanted_lambda, setup, estimate, speed, after_start, lean_blend);
            (wanted / self.lean_guard.factor(&parameters.lean_guard), enrichment.min_lambda)
        };
        let learned = &self.learned;
        let variances_ln2 = || (learned.variance.at(weights), learned.film_variance_of(&self.carried.film));
        let allowance = enrichment.uncertainty_ratio(since_start_s, variances_ln2);
        (wanted / (allowance * (1.0 + self.start_assist.fuel_share()))).at_least(richest)
    }

    /// 1 where fuel is allowed, 0 where it is not.
    fn allowed(&self, parameters: &Parameters) -> f32 {
        match self.phase.phase() {
            Phase::Cranking if is_clear_flood(&parameters.fuel_cut, self.estimator.estimate()) => 0.0,
            Phase::Cranking | Phase::RunningUp | Phase::Running => 1.0,
            Phase::Stopped | Phase::Priming => 0.0,
            Phase::FuelCut | Phase::OverSpeed | Phase::LeanGuard => 0.0,
        }
    }

    /// 20 ms task: attribution of the lambda reading, short-term trim, and a lesson if the enable conditions hold.
    fn update_feedback(&mut self, constants: &Constants<'_>, learner: &impl Learner, dt_s: f32) {
        let &Constants { parameters, setup } = constants;
        let injection = self.injection(constants, dt_s);
        let past = self.attribution.step(&parameters.attribution, &parameters.exhaust, setup, injection);
        let (wanted_ln, delay_s) = (past.wanted_ln, past.delay_s);
        let required_ln = past.applied_ln + Real::ln(self.estimator.estimate().lambda) - wanted_ln;
        let learned_ln = self.learned.at_shares(&past.shares);
        let error_ln = required_ln - past.applied_ln;
        let steady = past.refusal.is_none() && past.movement < 1.0;
        let sample = SelfCheckSample {
            steady: steady && self.is_reading_valid(),
            wanted_ln,
            error_ln,
            delay_s,
            air_kg_per_s: self.carried.injected.air_flow_kg_per_s,
            speed_rad_per_s: self.crank.motion().speed_rad_per_s,
            idling: self.idle.is_active(),
            dt_s,
        };
        let refusal = self.refusal(constants);
        self.self_check.step(&parameters.self_check, &parameters.torque_response, setup, &sample);
        let feedback = &parameters.feedback;
        // Beyond an end of the sensor's range the true error is unknown: only its direction back into the range is certain.
        let estimate = self.estimator.estimate();
        let misleads = estimate.lambda_at_end && (estimate.lambda < 1.0) == (error_ln > 0.0);
        let usable = !misleads && refusal.is_none_or(|refusal| !refusal.freezes_trim());
        if setup.options().feedback && usable {
            self.feedback.step(feedback, delay_s, required_ln, learned_ln, dt_s);
        } else {
            self.feedback.hold(feedback, dt_s);
        }
        if setup.options().learning {
            let prior_sigma_ln = parameters.learner.prior_sigma_ln;
            let (common, injector) = (&parameters.common_correction, &parameters.injector);
            self.common_estimator.step(common, prior_sigma_ln, injector, setup, &mut self.learned);
            match refusal {
                Some(refusal) => self.counts.count_refusal(refusal),
                None => self.learn(parameters, learner, required_ln),
            }
        }
        self.report_mixture(parameters, refusal, dt_s);
        self.insight.show_feedback(required_ln, refusal);
    }

    /// The ring entry for the last 20 ms. Not inlined: else its copy within the state needs a routine of 1.5 KB, `memmove`, which nothing
    /// else needs.
    #[inline(never)]
    fn injection(&mut self, &Constants { parameters, setup }: &Constants<'_>, dt_s: f32) -> Injection {
        let injected = &self.carried.injected;
        let (richest, leanest) = (parameters.attribution.richest, parameters.attribution.leanest);
        let wanted_ln = Real::ln(injected.wanted_lambda.held(richest, leanest));
        let motion = self.crank.motion();
        let refusal = self.enable_conditions.step(
            &parameters.enable_conditions,
            &EnableInputs {
                estimate: self.estimator.estimate(),
                phase: self.phase.phase(),
                since_start_s: self.phase.since_start_s(),
                speed_rad_per_s: motion.speed_rad_per_s,
                wanted_ln,
                duty_limited: self.open_time.limited(),
                film_overflows: self.film.overflows(),
                nitrous: self.nitrous.is_on(),
                guarded: self.lean_guard.is_active(&parameters.lean_guard),
                rail_off: self.dtcs.rail_is_off(),
            },
            dt_s,
        );
        let flow_kg_per_s = injected.air_flow_kg_per_s;
        let gas_k = along(&parameters.exhaust.gas_k, flow_kg_per_s / setup.answers().displacement_m3);
        let exhaust_kg = flow_kg_per_s * dt_s * gas_k / parameters.exhaust.reference_gas_k;
        let film = self.film.sensitivities();
        let film_ln: f32 = film.iter().zip(&self.learned.film_ln).map(|(share, ln)| share * ln).sum();
        self.carried.film = film;
        self.insight.show_film(film, film_ln);
        Injection {
            weights: injected.weights,
            applied_ln: injected.applied_ln() + film_ln,
            wanted_ln,
            film,
            movement: self.enable_conditions.movement(),
            elapsed_s: dt_s,
            turns: motion.turns(dt_s),
            exhaust_kg: if motion.speed_rad_per_s > 0.0 { exhaust_kg } else { 0.0 },
            refusal,
        }
    }

    /// Why nothing may be learned from the present reading; `None` when it may.
    fn refusal(&self, &Constants { parameters, setup }: &Constants<'_>) -> Option<Refusal> {
        let (air_kg_per_s, estimate) = (self.carried.injected.air_flow_kg_per_s, self.estimator.estimate());
        let biased = || self.self_check.is_reading_biased(&parameters.self_check, setup, air_kg_per_s);
        match self.attribution.latest().refusal {
            Some(refusal) if refusal.freezes_trim() => Some(refusal),
            _ if estimate.invalid.lambda => Some(Refusal::SensorNotReady),
            _ if estimate.lambda_at_end => Some(Refusal::ReadingAtEnd),
            // A signal that is invalid now may have been wrong for a while before.
            _ if estimate.invalid.any_fuel_input() => Some(Refusal::Substituted),
            // A pressure that falls has been falling for a while.
            _ if self.dtcs.rail_is_off() => Some(Refusal::RailPressure),
            _ if biased() => Some(Refusal::UpstreamAir),
            _ if self.self_check.is_running() => Some(Refusal::Checking),
            other => other,
        }
    }

    /// Whether the lambda reading and all inputs of the fuel calculation are valid.
    fn is_reading_valid(&self) -> bool {
        let estimate = self.estimator.estimate();
        !estimate.invalid.lambda && !estimate.lambda_at_end && !estimate.invalid.any_fuel_input()
    }

    /// Applies a lesson and takes the learned part out of the short-term trim.
    fn learn(&mut self, parameters: &Parameters, learner: &impl Learner, required_ln: f32) {
        let past = self.attribution.latest();
        let learner_parameters = &parameters.learner;
        let inflation = 1.0 + past.movement * past.movement;
        let map_alone = past.shares.without_film();
        let known = self.learned.variance_at_shares(&map_alone)
            < learner_parameters.film_sigma_ln * learner_parameters.film_sigma_ln;
        let film = known && past.shares.film() > learner_parameters.min_film_share;
        let variance_ln2 = learner_parameters.sample_variance_ln2 * inflation;
        let lesson = Lesson { shares: &past.shares, required_ln, variance_ln2, film };
        let before_ln = self.learned.at(&self.carried.injected.weights);
        let outcome = learner.learn(learner_parameters, &mut self.learned, &lesson);
        let learned_more_ln = self.learned.at(&self.carried.injected.weights) - before_ln;
        self.feedback.hand_over(&parameters.feedback, learned_more_ln);
        match outcome {
            Outcome::Accepted => self.counts.count_lesson(),
            Outcome::Limited => self.counts.count_refusal(Refusal::Authority),
        }
    }

    /// Trouble codes of the lambda sensor and of a mixture beyond the correction limits.
    fn report_mixture(&mut self, parameters: &Parameters, refusal: Option<Refusal>, dt_s: f32) {
        let total_ln = self.carried.injected.learned_ln + self.feedback.trim_ln();
        let burned = self.attribution.latest().refusal.is_none_or(|refusal| !refusal.freezes_trim());
        let estimate = self.estimator.estimate();
        let invalid = &estimate.invalid;
        // The gas of a start, flooded or starved, is no evidence against the sensor.
        let started = self.phase.since_start_s() > parameters.start_assist.start_window_s;
        let at_end =
            estimate.lambda_at_end && (invalid.lambda_wire || (burned && started && !invalid.lambda));
        let known = refusal.is_none_or(|refusal| !refusal.freezes_trim());
        let mut reports = self.dtcs.reports(&parameters.trouble_codes);
        reports.report(Dtc::O2Low, at_end && estimate.lambda < 1.0, dt_s);
        reports.report(Dtc::O2High, at_end && estimate.lambda > 1.0, dt_s);
        reports.report(Dtc::O2Slow, self.self_check.is_slow(), dt_s);
        reports.report_mixture(known, total_ln, dt_s);
    }

    /// Lambda measured over lambda wanted then; `None` where the reading is not usable.
    fn lean_ratio(&self, parameters: &Parameters) -> Option<f32> {
        let (past, estimate) = (self.attribution.latest(), self.estimator.estimate());
        // Conditions that freeze the trim, such as nitrous or a limit of range or authority, must still be watched.
        let usable = self.phase.phase().burns()
            && self.phase.since_start_s() > parameters.exhaust.cranking_purge_s
            && !estimate.invalid.lambda
            && past.refusal.is_none_or(|refusal| !refusal.hides_mixture());
        // Richer than best power is wanted for cold running, not for safety; with nitrous it is for safety.
        let least = if self.nitrous.is_on() { 0.0 } else { parameters.wanted_lambda.best_power };
        usable.then(|| estimate.lambda / self.carried.expected_lambda.at_least(least))
    }

    /// 10 ms task: all outputs except the injectors.
    fn update_auxiliary_outputs(&mut self, constants: &Constants<'_>, frame: &Frame, dt_s: f32) {
        let &Constants { parameters, setup } = constants;
        let (speed, lean_ratio) = (self.crank.motion().speed_rad_per_s, self.lean_ratio(parameters));
        let (phase, since_start_s) = (self.phase.phase(), self.phase.since_start_s());
        let (estimate, switches) = (self.estimator.estimate(), &frame.switches);
        self.fans.step(&parameters.fans, setup, estimate, switches.ac_request, since_start_s, dt_s);
        let loads = Loads {
            ac: self.fans.ac_wanted(),
            fans: self.fans.wanted(),
            in_gear: switches.in_gear,
            wet: self.film.nearly_covers(),
        };
        let iac_duty = self.idle.step(&parameters.idle, setup, estimate, loads, speed, since_start_s, dt_s);
        let rail_known = !estimate.invalid.rail;
        let pump_inputs = PumpInputs {
            phase,
            rail_pa: rail_known.then_some(estimate.rail_pa),
            fuel_kg_per_s: self.carried.injected.wanted_fuel_kg * speed / setup.firing_angle_rad(),
        };
        let pump_duty = self.pump.step(&parameters.fuel_pump, setup, pump_inputs, dt_s);
        let wanted_pa = setup.answers().rail_pressure_pa;
        let mut reports = self.dtcs.reports(&parameters.trouble_codes);
        // Also while cranking, since an engine without fuel stops before the code would set.
        let watched = (phase.started() || phase == Phase::Cranking) && rail_known;
        reports.report_rail(watched, wanted_pa, estimate.rail_pa, dt_s);
        let (rolls, target) = (frame.vss_hz > 0.0, self.idle.target_rad_per_s());
        let warm = estimate.ect_k > parameters.trouble_codes.idle_warm_k;
        let held = warm && phase == Phase::Running && self.idle.is_active() && !(switches.in_gear && rolls);
        reports.report_idle(held.then_some(target - speed), dt_s);
        let standing = switches.in_gear && !rolls;
        reports.report_vehicle_speed(standing, estimate.load(), speed / target.at_least(1.0), dt_s);
        let nitrous_inputs = NitrousInputs {
            armed: switches.nitrous_armed,
            speed_rad_per_s: speed,
            lean_ratio,
            burns: phase.burns(),
            trouble: !self.dtcs.active_codes().is_empty(),
        };
        let nitrous = self.nitrous.step(&parameters.nitrous, setup, estimate, nitrous_inputs, dt_s);
        let spark_inputs = SparkInputs {
            speed_rad_per_s: speed,
            started: phase.started(),
            idle_rad_per_s: self.idle.is_active().then(|| self.idle.target_rad_per_s()),
            torque_share: self.cuts.torque_share(&parameters.fuel_cut),
            nitrous,
        };
        let [fan1, fan2] = self.fans.on();
        self.commands = Commands {
            open_time_s: self.commands.open_time_s,
            spark_deg: spark_deg(&parameters.spark, setup, estimate, &spark_inputs),
            iac_duty,
            pump_duty,
            fan1,
            fan2,
            ac_clutch: self.fans.ac_clutch(),
            nitrous,
        };
        let past = self.attribution.latest();
        self.carried.expected_lambda = Real::exp(past.wanted_ln);
        self.insight.show_task(phase, speed, estimate, &self.open_time);
        (self.insight.expected_lambda, self.insight.delay_s) = (self.carried.expected_lambda, past.delay_s);
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::answers::SetupAnswers;
    use crate::learned_map::LearnerParameters;
    use crate::options::{Options, Strategy};
    use crate::self_check::SelfCheck;

    /// The codes of the mixture wait while the reading of this very sample tells nothing; what an earlier one was refused for is past.
    #[test]
    fn mixture_codes_go_by_the_refusal_of_the_present_sample() {
        let parameters = &Parameters::DEFAULT;
        let reported = |present, before| {
            let mut state = State::new(parameters);
            state.carried.injected.learned_ln = 0.5;
            state.insight.show_feedback(0.5, before);
            (0..100_000).for_each(|_| state.report_mixture(parameters, present, 0.02));
            state.dtcs.active().next()
        };
        assert_eq!(reported(None, Some(Refusal::FuelCut)), Some(Dtc::SystemLean));
        assert_eq!(reported(Some(Refusal::FuelCut), None), None);
    }

    /// A controller whose signals are held from outside: a warm engine with its throttle a little open.
    struct Rig {
        calibration: Calibration,
        state: State,
        frame: Frame,
        speed_rad_per_s: f32,
        next_pulse_us: f64,
    }

    fn constants(calibration: &Calibration) -> Constants<'_> {
        Constants { parameters: calibration.parameters(), setup: calibration.setup() }
    }

    const PARAMETERS: Parameters = Parameters::DEFAULT;
    /// Output of the wideband sensor at lambda 0.88.
    const RICH_V: f32 = 0.2 / 0.136;
    /// At lambda 1.08.
    const LEAN_V: f32 = 0.4 / 0.136;

    impl Rig {
        fn new(answers: SetupAnswers, options: Options) -> Self {
            let calibration = Calibration::from_answers(&answers).unwrap().with_options(options);
            let mut frame = Frame { battery_v: 13.8, map_v: 1.9, tp_v: 0.9, ect_v: 1.4, ..Frame::default() };
            (frame.iat_v, frame.frp_v, frame.o2_v) = (2.3, 0.5 + 300e3 / 175e3, 2.353);
            (frame.switches.ignition, frame.switches.o2_ready) = (true, true);
            let state = State::new(&PARAMETERS);
            Self { calibration, state, frame, speed_rad_per_s: 160.0, next_pulse_us: 0.0 }
        }

        /// After a minute at steady speed.
        fn running() -> Self {
            Self::new(SetupAnswers::default(), Options::default()).after(60.0)
        }

        /// Idling with a closed throttle.
        fn idling(options: Options) -> Self {
            let mut rig = Self::new(SetupAnswers::default(), options);
            (rig.speed_rad_per_s, rig.frame.tp_v, rig.frame.map_v) = (73.3, 0.5, 1.5);
            rig
        }

        fn after(mut self, seconds: f32) -> Self {
            self.run(seconds);
            self
        }

        fn run(&mut self, seconds: f32) {
            (0..(seconds * 1000.0) as u32).for_each(|_| _ = self.step());
        }

        /// The next frame, a millisecond later: signals with a little noise.
        fn next_frame(&mut self) -> Frame {
            self.frame.time_us += 1000;
            let mut frame = self.frame.clone();
            let noise_v = if (frame.time_us / 1000).is_multiple_of(3) { 0.002 } else { -0.001 };
            for volts in [&mut frame.map_v, &mut frame.tp_v, &mut frame.frp_v, &mut frame.o2_v] {
                *volts += noise_v;
            }
            if self.speed_rad_per_s > 0.0 {
                let interval_us =
                    f64::from(self.calibration.setup().firing_angle_rad() / self.speed_rad_per_s) * 1e6;
                while self.next_pulse_us <= frame.time_us as f64 {
                    _ = frame.pulses_us.push(self.next_pulse_us as u64);
                    self.next_pulse_us += interval_us;
                }
            }
            frame
        }

        fn step(&mut self) -> Commands {
            self.step_with(&Strategy::Kalman)
        }

        fn step_with(&mut self, learner: &impl Learner) -> Commands {
            let frame = self.next_frame();
            self.state.step(&constants(&self.calibration), learner, &frame)
        }

        /// Steps to a frame with a firing.
        fn fire(&mut self) -> Commands {
            (0..1000)
                .find_map(|_| {
                    let commands = self.step();
                    (self.state.crank.motion().firings > 0).then_some(commands)
                })
                .unwrap()
        }

        fn has(&self, dtc: Dtc) -> bool {
            self.state.dtcs.is_set(dtc)
        }

        fn refusal(&self) -> Option<Refusal> {
            self.state.refusal(&constants(&self.calibration))
        }
    }

    fn is_near(is: f32, expected: f32) -> bool {
        (is - expected).abs() <= 2e-4 * expected.abs()
    }

    /// Fuel by the definition of lambda from what the insight shows.
    fn defined_kg(insight: &crate::insight::Insight) -> f32 {
        let correction = Real::exp(insight.learned_ln + insight.trim_ln + insight.dither_ln);
        insight.air_kg / (SetupAnswers::default().stoich_afr * insight.wanted_lambda) * correction
    }

    #[test]
    fn ident_the_fuel_is_that_of_the_definition_of_lambda_with_all_corrections() {
        let mut rig = Rig::idling(Options { self_check: true, ..Options::default() });
        rig.state.learned.ln.flat_mut().fill(0.03);
        rig.run(40.0);
        rig.state.feedback.hand_over(&PARAMETERS.feedback, -0.05);
        rig.fire();
        let insight = *rig.state.insight();
        assert!(
            insight.dither_ln != 0.0 && insight.trim_ln > 0.02 && insight.learned_ln != 0.0,
            "{insight:?}"
        );
        assert!(is_near(insight.wanted_fuel_kg, defined_kg(&insight)), "{insight:?}");
        let flow_kg_per_s = insight.air_kg * 73.3 / core::f32::consts::FRAC_PI_2;
        assert!((insight.air_flow_kg_per_s / flow_kg_per_s - 1.0).abs() < 0.01, "{insight:?}");
    }

    #[test]
    fn nitrous_gets_its_fuel_in_addition_unless_there_is_a_trouble_code() {
        let full_throttle = |tp_v| {
            let mut rig =
                Rig::new(SetupAnswers { nitrous: true, ..SetupAnswers::default() }, Options::default());
            rig.run(20.0);
            (rig.speed_rad_per_s, rig.frame.map_v, rig.frame.tp_v) = (200.0, 3.0, 3.0);
            rig.run(3.0);
            (rig.speed_rad_per_s, rig.frame.map_v, rig.frame.tp_v) = (300.0, 4.0, tp_v);
            rig.frame.o2_v = RICH_V;
            rig.frame.switches.nitrous_armed = true;
            rig.run(2.0);
            rig
        };
        assert!(!full_throttle(5.0).step().nitrous, "the throttle's wire is shorted");
        let mut rig = full_throttle(4.4);
        assert!(rig.step().nitrous);
        rig.fire();
        let insight = rig.state.insight();
        let interval_s = rig.state.crank.motion().interval_s;
        let extra_kg = rig.state.nitrous.extra_kg(&PARAMETERS.nitrous, rig.calibration.setup(), interval_s);
        assert!(extra_kg > 0.1 * insight.wanted_fuel_kg && insight.wanted_lambda < 0.9);
        assert!(is_near(insight.wanted_fuel_kg, defined_kg(insight) + extra_kg), "{insight:?}");
    }

    #[test]
    fn two_firings_in_a_frame_get_the_fuel_of_both() {
        let mut rig =
            Rig::new(SetupAnswers::default(), Options { film_compensation: false, ..Options::default() })
                .after(20.0);
        rig.fire();
        let once = *rig.state.insight();
        assert!(is_near(once.injected_fuel_kg, once.wanted_fuel_kg));
        rig.frame.time_us += 19_000;
        rig.step();
        let twice = rig.state.insight();
        assert_eq!(rig.state.crank.motion().firings, 2);
        assert!(is_near(twice.injected_fuel_kg, 2.0 * twice.wanted_fuel_kg));
    }

    /// While the pressure rises the air is that of the pressure the next cylinder will meet, a firing later.
    #[test]
    fn the_air_charge_is_that_of_the_extrapolated_pressure() {
        let mut rig = Rig::running();
        for _ in 0..60 {
            rig.frame.map_v += 0.02;
            rig.step();
        }
        let fired = (0..100).find_map(|_| {
            rig.frame.map_v += 0.005;
            let flow_kg_per_s = rig.state.carried.injected.air_flow_kg_per_s;
            rig.step();
            (rig.state.crank.motion().firings > 0).then_some(flow_kg_per_s)
        });
        let flow_kg_per_s = fired.unwrap();
        let (estimate, setup) = (rig.state.estimate(), rig.calibration.setup());
        let speed = rig.state.crank.motion().speed_rad_per_s;
        let map_pa = estimate.map_ahead_pa(&PARAMETERS.estimate, setup.firing_angle_rad() / speed);
        assert!(map_pa > estimate.map_pa + 500.0);
        let air = air_charge(&PARAMETERS.air_charge, setup, estimate, map_pa, speed, flow_kg_per_s);
        assert_eq!(rig.state.insight().air_kg, air.air_kg);
    }

    #[test]
    fn between_their_tasks_cuts_idle_control_and_feedback_rest() {
        let mut rig = Rig::running();
        let mut rested = [0; 2];
        for millisecond in 0..200 {
            rig.speed_rad_per_s = 160.0 - 0.1 * millisecond as f32;
            let (frame, before) = (rig.next_frame(), rig.state.clone());
            rig.state.step(&constants(&rig.calibration), &Strategy::Kalman, &frame);
            let due = before.clock.clone().step(&frame);
            let now = &rig.state;
            if due.task_10ms_s == 0.0 {
                assert_eq!((&now.cuts, &now.idle, &now.fans), (&before.cuts, &before.idle, &before.fans));
                rested[0] += 1;
            } else {
                assert!(now.idle != before.idle && now.cuts != before.cuts);
            }
            if due.task_20ms_s == 0.0 {
                assert_eq!((&now.attribution, &now.feedback), (&before.attribution, &before.feedback));
                rested[1] += 1;
            }
        }
        assert_eq!(rested, [180, 190]);
    }

    /// The share of fuel added in a fall of the idle speed by 100 rad/s2, this long after the start.
    fn added_in_a_fall(after_s: f32, change: fn(&mut Frame)) -> f32 {
        let mut rig = Rig::idling(Options::default());
        rig.frame.switches.o2_ready = false;
        rig.run(after_s);
        change(&mut rig.frame);
        rig.run(0.05);
        for _ in 0..400 {
            rig.speed_rad_per_s -= 0.1;
            rig.step();
        }
        rig.state.start_assist.fuel_share()
    }

    #[test]
    fn a_free_engine_without_a_reading_gets_fuel_when_its_speed_falls() {
        assert!(added_in_a_fall(8.0, |_| ()) > 0.01);
        assert_eq!(added_in_a_fall(8.0, |frame| frame.switches.in_gear = true), 0.0);
        assert_eq!(added_in_a_fall(8.0, |frame| frame.tp_v = 1.0), 0.0);
        let rich = |frame: &mut Frame| (frame.switches.o2_ready, frame.o2_v) = (true, RICH_V);
        assert_eq!(added_in_a_fall(8.0, rich), 0.0);
        assert!(added_in_a_fall(2.0, rich) > 0.01, "gas of cranking is no reading");
        let lean = |frame: &mut Frame| (frame.switches.o2_ready, frame.o2_v) = (true, LEAN_V);
        assert!(added_in_a_fall(8.0, lean) > 0.005, "it falls because it is lean");
    }

    #[test]
    fn fuel_added_for_a_start_divides_the_wanted_lambda() {
        let mut rig = Rig::idling(Options::default());
        rig.frame.switches.o2_ready = false;
        rig.run(3.0);
        for _ in 0..400 {
            rig.speed_rad_per_s -= 0.1;
            rig.step();
        }
        let weights = rig.state.carried.injected.weights;
        let wanted = |state: &State| state.wanted(&constants(&rig.calibration), &weights);
        let share = rig.state.start_assist.fuel_share();
        let without = State { start_assist: Default::default(), ..rig.state.clone() };
        assert!(share > 0.01 && is_near(wanted(&without) / wanted(&rig.state), 1.0 + share));
        let mut known = without.clone();
        known.learned.variance.flat_mut().fill(0.0);
        known.learned.film_variance = Default::default();
        let allowance = wanted(&known) / wanted(&without);
        assert!(
            (1.04..1.13).contains(&allowance),
            "a map that knows nothing gets half a standard deviation more: {allowance}"
        );
    }

    #[test]
    fn a_lean_engine_at_full_load_is_enriched() {
        let mut rig = Rig::running();
        (rig.frame.map_v, rig.frame.tp_v, rig.frame.o2_v) = (4.0, 2.5, RICH_V);
        rig.run(1.0);
        rig.fire();
        let before = rig.state.insight().wanted_lambda;
        rig.frame.o2_v = (1.2 - 0.68) / 0.136;
        let factor = |rig: &Rig| rig.state.lean_guard.factor(&PARAMETERS.lean_guard);
        assert!((0..3000).any(|_| {
            rig.step();
            factor(&rig) >= 1.05
        }));
        rig.fire();
        assert!(is_near(rig.state.insight().wanted_lambda, before / factor(&rig)));
    }

    #[test]
    fn the_key_gives_one_pulse_before_the_crank_turns_and_the_wall_dries() {
        let rig = Rig::new(SetupAnswers::default(), Options::default());
        let (mut rig, mut opened) = (Rig { speed_rad_per_s: 0.0, ..rig }, 0);
        for _ in 0..1500 {
            let open_s = rig.step().open_time_s;
            opened += i32::from(open_s != [0.0; 8]);
            assert!(open_s.iter().all(|open_s| (0.0..=0.1).contains(open_s)));
        }
        assert_eq!(opened, 1);
        let wet_kg = rig.state.film.film_kg();
        let prime_kg = PARAMETERS.enrichment.prime_kg(rig.calibration.setup(), rig.state.estimate().ect_k);
        assert!(
            wet_kg > 0.05 * prime_kg && wet_kg < 0.5 * prime_kg,
            "half of it, drying: {wet_kg} {prime_kg}"
        );
        rig.run(1.0);
        assert!(rig.state.film.film_kg() < 0.2 * wet_kg);
    }

    #[test]
    fn between_firings_of_a_turning_crank_the_film_stays_and_nothing_is_injected() {
        let mut rig = Rig::running();
        let mut firings = 0;
        for _ in 0..100 {
            let before_kg = rig.state.film.film_kg();
            let open_s = rig.step().open_time_s;
            let fired = rig.state.crank.motion().firings > 0;
            assert_eq!(open_s != [0.0; 8], fired);
            assert!(fired || rig.state.film.film_kg() == before_kg);
            firings += i32::from(fired);
        }
        assert!((9..=11).contains(&firings));
    }

    #[test]
    fn fuel_is_allowed_while_the_engine_turns_and_full_throttle_clears_a_flood() {
        let allowed = |speed_rad_per_s, tp_v, seconds| {
            let mut rig = Rig::new(SetupAnswers::default(), Options::default());
            (rig.speed_rad_per_s, rig.frame.tp_v) = (speed_rad_per_s, tp_v);
            rig.run(seconds);
            rig.state.allowed(&PARAMETERS)
        };
        assert_eq!((allowed(20.0, 0.5, 1.0), allowed(20.0, 4.4, 1.0)), (1.0, 0.0));
        assert_eq!((allowed(160.0, 4.4, 1.0), allowed(160.0, 0.9, 5.0)), (1.0, 1.0));
        assert_eq!(
            (allowed(0.0, 0.5, 1.0), allowed(0.0, 0.5, 5.0), allowed(600.0, 4.4, 5.0)),
            (0.0, 0.0, 0.0)
        );
    }

    #[test]
    fn ident_the_required_correction_is_what_was_applied_and_what_the_reading_lacks() {
        let mut rig = Rig::running();
        // Cold enough to want a rich mixture.
        (rig.frame.ect_v, rig.frame.o2_v) = (3.4, 2.0);
        rig.run(20.0);
        let ahead = |rig: &Rig| Frame { time_us: rig.frame.time_us + 1000, ..Frame::default() };
        assert!((0..100).any(|_| {
            rig.step();
            rig.state.clock.clone().step(&ahead(&rig)).task_20ms_s > 0.0
        }));
        rig.speed_rad_per_s = 0.0;
        rig.step();
        let past = rig.state.attribution.latest();
        let lambda_ln = Real::ln(rig.state.estimate().lambda);
        assert!(
            past.wanted_ln < -0.02 && past.applied_ln != 0.0 && lambda_ln < -0.02,
            "{past:?} {lambda_ln}"
        );
        assert!(is_near(rig.state.insight().required_ln, past.applied_ln + lambda_ln - past.wanted_ln));
    }

    #[test]
    fn the_trim_follows_a_doubtful_reading_and_not_one_of_no_use() {
        let moved = |change: fn(&mut Frame)| {
            let mut rig = Rig::running();
            change(&mut rig.frame);
            rig.run(2.0);
            let before_ln = rig.state.feedback.trim_ln();
            rig.frame.o2_v = 3.0;
            rig.run(3.0);
            (rig.state.feedback.trim_ln() - before_ln).abs()
        };
        assert!(moved(|_| ()) > 0.02 && moved(|frame| frame.ect_v = 2.6) > 0.02);
        assert_eq!(moved(|frame| frame.switches.o2_ready = false), 0.0);
    }

    /// At 0.68, the rich end of the sensor's range, lambda 0.6 reads too lean.
    #[test]
    fn a_reading_at_an_end_of_its_range_trims_only_back_into_it() {
        let trim_ln = |wanted: f32| {
            let mut parameters = PARAMETERS;
            parameters.wanted_lambda.by_ect =
                trimwright_numerics::parameters::padded([(220.0, wanted), (400.0, wanted)]);
            let mut rig = Rig::new(SetupAnswers::default(), Options::default());
            rig.calibration = Calibration::new(&SetupAnswers::default(), parameters).unwrap();
            rig.frame.o2_v = 0.0;
            rig.run(30.0);
            rig.state.feedback.trim_ln()
        };
        assert_eq!(trim_ln(0.6), 0.0);
        assert!(trim_ln(1.0) < -0.1, "{}", trim_ln(1.0));
    }

    /// By hand: 20 ms of flow at the gas temperature of that flow, over the temperature at which the pipe's mass is stated.
    #[test]
    fn an_entry_of_the_ring_holds_turns_gas_and_the_films_part_of_the_correction() {
        let mut rig = Rig::running();
        rig.frame.map_v = 2.4;
        rig.run(0.1);
        rig.state.learned.film_ln = [0.1, -0.3];
        let mut state = rig.state.clone();
        let [share, time] = state.film.clone().sensitivities();
        let entry = state.injection(&constants(&rig.calibration), 0.02);
        let flow_kg_per_s = rig.state.carried.injected.air_flow_kg_per_s;
        let gas_k = along(&PARAMETERS.exhaust.gas_k, flow_kg_per_s / 5.2e-3);
        assert!(is_near(entry.exhaust_kg, flow_kg_per_s * 0.02 * gas_k / 900.0) && gas_k != 900.0);
        assert!(is_near(
            entry.turns,
            rig.state.crank.motion().speed_rad_per_s * 0.02 / core::f32::consts::TAU
        ));
        let film_ln = share * 0.1 - time * 0.3;
        assert!(film_ln.abs() > 1e-4, "{share} {time}");
        assert!((entry.applied_ln - rig.state.carried.injected.applied_ln() - film_ln).abs() < 1e-6);
        assert_eq!(state.insight().film, [share, time]);
        assert!((state.insight().film_ln - film_ln).abs() < 1e-6);
        let mut standing = State::new(&PARAMETERS);
        standing.carried.injected.air_flow_kg_per_s = 0.02;
        assert_eq!(standing.injection(&constants(&rig.calibration), 0.02).exhaust_kg, 0.0);
    }

    #[test]
    fn a_reading_is_refused_for_the_first_reason_that_applies() {
        let refusal = |change: fn(&mut Frame)| {
            let mut rig = Rig::running();
            change(&mut rig.frame);
            rig.run(3.0);
            (rig.refusal(), rig.state.is_reading_valid())
        };
        assert_eq!(refusal(|_| ()), (None, true));
        assert_eq!(refusal(|frame| frame.switches.o2_ready = false), (Some(Refusal::SensorNotReady), false));
        assert_eq!(
            refusal(|frame| frame.o2_v = 0.02),
            (Some(Refusal::SensorNotReady), false),
            "a jump is no reading"
        );
        assert_eq!(refusal(|frame| frame.iat_v = 0.0), (Some(Refusal::Substituted), false));
        let cold = |frame: &mut Frame| frame.ect_v = 2.6;
        assert_eq!(refusal(cold), (Some(Refusal::Cold), true));
        let cold_and_not_ready = |frame: &mut Frame| (frame.ect_v, frame.switches.o2_ready) = (2.6, false);
        assert_eq!(refusal(cold_and_not_ready).0, Some(Refusal::SensorNotReady));
    }

    /// The output drifts to an end of its range, slower than a wire breaks.
    fn drifted(mut rig: Rig, to_v: f32) -> Rig {
        let from_v = rig.frame.o2_v;
        (0..=2500).for_each(|millisecond| {
            rig.frame.o2_v = from_v + (to_v - from_v) * millisecond as f32 / 2500.0;
            rig.step();
        });
        rig.run(3.0);
        rig
    }

    #[test]
    fn a_reading_at_its_end_is_refused_and_has_a_code_when_there_was_a_mixture_to_read() {
        let rich = drifted(Rig::running(), 0.02);
        assert_eq!((rich.refusal(), rich.state.is_reading_valid()), (Some(Refusal::ReadingAtEnd), false));
        assert!(rich.has(Dtc::O2Low) && !rich.has(Dtc::O2High));
        let lean = drifted(Rig::running(), 4.98);
        assert!(lean.has(Dtc::O2High) && !lean.has(Dtc::O2Low));
        let mut not_ready = Rig::running();
        not_ready.frame.switches.o2_ready = false;
        assert!(!drifted(not_ready, 0.02).has(Dtc::O2Low));
        let mut coasts = Rig::running();
        (coasts.frame.tp_v, coasts.frame.map_v, coasts.speed_rad_per_s) = (0.5, 1.1, 220.0);
        coasts.run(3.0);
        assert_eq!(coasts.state.phase().phase(), Phase::FuelCut);
        assert!(!drifted(coasts, 0.02).has(Dtc::O2Low));
    }

    #[test]
    fn nothing_is_learned_during_a_check() {
        let mut rig = Rig::idling(Options { self_check: true, ..Options::default() }).after(20.0);
        assert!((0..60_000).any(|_| {
            rig.step();
            rig.state.self_check.is_running()
        }));
        rig.run(0.1);
        assert_eq!(rig.refusal(), Some(Refusal::Checking));
        let mut not_ready = Rig::idling(Options { self_check: true, ..Options::default() });
        not_ready.frame.switches.o2_ready = false;
        (0..60_000).for_each(|_| {
            not_ready.step();
            assert!(!not_ready.state.self_check.is_running(), "a check needs a reading");
        });
    }

    /// A learner that only remembers its lessons: variance and whether the film learns.
    #[derive(Default)]
    struct Listener(core::cell::Cell<Option<(f32, bool)>>);

    impl Learner for Listener {
        fn learn(&self, _: &LearnerParameters, _: &mut LearnedMap, lesson: &Lesson<'_>) -> Outcome {
            self.0.set(Some((lesson.variance_ln2, lesson.film)));
            Outcome::Accepted
        }
    }

    #[test]
    fn a_lesson_weighs_less_when_the_engine_moved_and_teaches_the_film_when_the_map_is_known() {
        let lessons = |cell_variance: f32| {
            let (mut rig, listener) = (Rig::running(), Listener::default());
            rig.state.learned.variance.flat_mut().fill(cell_variance);
            let mut seen = [0, 0];
            for millisecond in 0..4000 {
                rig.frame.map_v = 1.9 + if millisecond % 2000 < 1000 { 0.15 } else { 0.0 };
                rig.step_with(&listener);
                let Some((variance_ln2, film)) = listener.0.take() else { continue };
                let past = rig.state.attribution.latest();
                let inflation = 1.0 + past.movement * past.movement;
                assert!(is_near(variance_ln2, PARAMETERS.learner.sample_variance_ln2 * inflation));
                let wet = past.shares.film() > PARAMETERS.learner.min_film_share;
                assert_eq!(film, wet && cell_variance < 5e-4);
                seen[usize::from(wet)] += 1;
            }
            seen
        };
        for variance in [1e-4, 1e-1] {
            assert!(lessons(variance).into_iter().all(|count| count > 10), "{:?}", lessons(variance));
        }
    }

    #[test]
    fn a_mixture_code_counts_what_is_learned_and_the_trim() {
        let code = |learned_ln, trim_ln: f32| {
            let mut state = State::new(&PARAMETERS);
            state.carried.injected.learned_ln = learned_ln;
            state.feedback.hand_over(&PARAMETERS.feedback, -trim_ln);
            (0..1000).for_each(|_| state.report_mixture(&PARAMETERS, None, 0.02));
            state.dtcs.active().next()
        };
        assert_eq!((code(0.2, 0.1), code(0.2, -0.1)), (Some(Dtc::SystemLean), None));
        assert_eq!((code(-0.2, -0.1), code(-0.2, 0.1)), (Some(Dtc::SystemRich), None));
    }

    #[test]
    fn lean_is_the_reading_over_what_was_wanted_where_there_is_a_reading() {
        let mut rig = Rig::running();
        rig.frame.o2_v = 3.0;
        rig.run(1.0);
        let lambda = rig.state.estimate().lambda;
        assert!(is_near(
            rig.state.lean_ratio(&PARAMETERS).unwrap(),
            lambda / rig.state.carried.expected_lambda
        ));
        rig.state.carried.expected_lambda = 0.6;
        assert!(is_near(
            rig.state.lean_ratio(&PARAMETERS).unwrap(),
            lambda / PARAMETERS.wanted_lambda.best_power
        ));
        let none = |seconds, change: fn(&mut Rig)| {
            let mut rig = Rig::new(SetupAnswers::default(), Options::default());
            change(&mut rig);
            rig.run(seconds);
            change(&mut rig);
            rig.run(1.0);
            rig.state.lean_ratio(&PARAMETERS).is_none()
        };
        assert!(none(2.5, |_| ()) && !none(3.5, |_| ()));
        assert!(none(20.0, |rig| rig.frame.switches.o2_ready = false));
        assert!(
            none(20.0, |rig| (rig.frame.tp_v, rig.frame.map_v, rig.speed_rad_per_s) = (0.5, 1.1, 220.0)),
            "overrun"
        );
        assert!(none(20.0, |rig| rig.speed_rad_per_s = 20.0), "cranking");
    }

    #[test]
    fn all_other_outputs_are_commanded_every_10_ms() {
        let mut rig = Rig::running();
        rig.frame.switches.ac_request = true;
        rig.run(3.0);
        let commands = rig.step();
        assert_eq!((commands.pump_duty, commands.iac_duty), (1.0, rig.state.idle.duty()));
        assert!(commands.spark_deg > 20.0 && commands.fan1 && commands.ac_clutch && !commands.nitrous);
        let insight = rig.state.insight();
        assert!(
            is_near(insight.expected_lambda, 1.0) && insight.delay_s > 0.1 && insight.speed_rad_per_s > 150.0
        );
    }

    /// By hand: the pump's feed-forward is 0.35 and 12 s/kg of the flow of fuel.
    #[test]
    fn a_returnless_pump_gets_the_flow_of_fuel_and_full_duty_without_a_pressure() {
        let answers = SetupAnswers {
            fuel_system: crate::answers::FuelSystemType::Returnless,
            ..SetupAnswers::default()
        };
        let mut rig = Rig::new(answers, Options::default());
        (rig.speed_rad_per_s, rig.frame.map_v, rig.frame.tp_v) = (300.0, 4.0, 2.5);
        rig.frame.o2_v = RICH_V;
        rig.run(5.0);
        let duty = rig.step().pump_duty;
        let insight = rig.state.insight();
        let flow_kg_per_s = insight.wanted_fuel_kg * 300.0 / core::f32::consts::FRAC_PI_2;
        assert!(
            flow_kg_per_s > 5e-3 && (duty - 0.35 - 12.0 * flow_kg_per_s).abs() < 0.03,
            "{duty} {flow_kg_per_s}"
        );
        rig.frame.frp_v = 0.0;
        rig.run(1.0);
        assert_eq!(rig.step().pump_duty, 1.0);
    }

    #[test]
    fn pressure_has_codes_while_the_engine_runs() {
        let code = |speed_rad_per_s, frp_v| {
            let mut rig = Rig::new(SetupAnswers::default(), Options::default());
            (rig.speed_rad_per_s, rig.frame.frp_v) = (speed_rad_per_s, frp_v);
            rig.run(8.0);
            (rig.has(Dtc::RailTooLow), rig.has(Dtc::RailTooHigh))
        };
        assert_eq!(
            (code(160.0, 1.0), code(160.0, 4.0), code(160.0, 2.2)),
            ((true, false), (false, true), (false, false))
        );
        assert_eq!((code(0.0, 1.0), code(160.0, 0.0)), ((false, false), (false, false)));
    }

    #[test]
    fn a_warm_idle_off_its_speed_has_a_code_unless_the_car_turns_the_engine() {
        let code = |speed_rad_per_s, change: fn(&mut Frame)| {
            let mut rig = Rig::idling(Options::default());
            rig.speed_rad_per_s = speed_rad_per_s;
            change(&mut rig.frame);
            rig.run(25.0);
            (rig.has(Dtc::IdleLow), rig.has(Dtc::IdleHigh))
        };
        let (none, low, high) = ((false, false), (true, false), (false, true));
        assert_eq!((code(60.0, |_| ()), code(73.3, |_| ()), code(98.0, |_| ())), (low, none, high));
        assert_eq!(code(60.0, |frame| frame.ect_v = 2.6), none, "cold");
        assert_eq!(code(60.0, |frame| frame.tp_v = 0.9), none, "not idling");
        assert_eq!(code(60.0, |frame| frame.switches.in_gear = true), low);
        assert_eq!(code(60.0, |frame| frame.vss_hz = 20.0), low);
        assert_eq!(code(60.0, |frame| (frame.switches.in_gear, frame.vss_hz) = (true, 20.0)), none);
    }

    #[test]
    fn a_car_driven_without_a_speed_has_a_code() {
        let code = |change: fn(&mut Rig)| {
            let mut rig = Rig::new(SetupAnswers::default(), Options::default());
            (rig.frame.map_v, rig.frame.switches.in_gear) = (3.0, true);
            change(&mut rig);
            rig.run(20.0);
            rig.has(Dtc::VehicleSpeed)
        };
        assert!(
            code(|_| ())
                && !code(|rig| rig.frame.vss_hz = 20.0)
                && !code(|rig| rig.frame.switches.in_gear = false)
        );
        assert!(!code(|rig| rig.speed_rad_per_s = 100.0));
    }

    #[test]
    fn a_state_put_back_is_the_state() {
        let rig = Rig::running();
        let mut controller = Controller::new(rig.calibration);
        controller.restore(rig.state.clone());
        assert_eq!(controller.state(), &rig.state);
        let (mut frame, mut twin) = (rig.frame, rig.state);
        frame.time_us += 10_000;
        let calibration = controller.calibration().clone();
        let commands = twin.step(&constants(&calibration), &Strategy::Kalman, &frame);
        assert_eq!((controller.step(&frame), controller.state()), (commands, &twin));
    }

    #[test]
    fn a_throttle_opened_fast_adds_its_shot_to_the_fuel() {
        let mut rig = Rig::running();
        for _ in 0..50 {
            rig.frame.tp_v += 0.02;
            rig.step();
        }
        rig.fire();
        let ratio = rig.state.pump_shot.ratio(&PARAMETERS.pump_shot, rig.state.estimate());
        let insight = rig.state.insight();
        assert!(ratio > 1.02 && is_near(insight.wanted_fuel_kg, ratio * defined_kg(insight)), "{ratio}");
    }

    /// A second check, fed by definition, agrees through disturbances of reading, pressure and readiness.
    #[test]
    fn the_self_check_gets_the_error_of_the_reading_and_whether_it_is_steady_and_valid() {
        let mut rig = Rig::idling(Options { self_check: true, ..Options::default() });
        let (mut twin, mut checked) = (SelfCheck::default(), 0);
        for millisecond in 0..90_000 {
            rig.frame.o2_v = if millisecond % 1000 < 500 { 2.4 } else { 2.3 };
            rig.frame.map_v = if (60_000..60_300).contains(&millisecond) { 1.6 } else { 1.5 };
            rig.frame.switches.o2_ready = !(70_000..71_000).contains(&millisecond);
            let (frame, before) = (rig.next_frame(), rig.state.clone());
            rig.state.step(&constants(&rig.calibration), &Strategy::Kalman, &frame);
            let dt_s = before.clock.clone().step(&frame).task_20ms_s;
            let (state, past) = (&rig.state, rig.state.attribution.latest());
            if dt_s > 0.0 {
                let steady = past.refusal.is_none() && past.movement < 1.0 && state.is_reading_valid();
                let sample = SelfCheckSample {
                    steady,
                    wanted_ln: past.wanted_ln,
                    error_ln: state.insight().required_ln - past.applied_ln,
                    delay_s: past.delay_s,
                    air_kg_per_s: state.carried.injected.air_flow_kg_per_s,
                    speed_rad_per_s: state.crank.motion().speed_rad_per_s,
                    idling: before.idle.is_active(),
                    dt_s,
                };
                let setup = rig.calibration.setup();
                twin.step(&PARAMETERS.self_check, &PARAMETERS.torque_response, setup, &sample);
                assert_eq!(state.self_check(), &twin, "{millisecond} ms");
                checked += u32::from(twin.is_running());
            }
        }
        assert!(checked > 500, "{checked}");
    }

    #[test]
    fn the_first_refusal_is_that_of_the_injection_when_it_freezes_the_trim() {
        let mut rig = Rig::new(SetupAnswers::default(), Options::default());
        rig.frame.switches.o2_ready = false;
        rig.run(2.0);
        assert_eq!(rig.refusal(), Some(Refusal::Starting));
        rig.run(30.0);
        assert_eq!(rig.refusal(), Some(Refusal::SensorNotReady));
    }

    #[test]
    fn a_signal_that_is_invalid_now_refuses_readings_of_injections_before() {
        let mut rig = Rig::running();
        rig.frame.iat_v = 0.0;
        rig.run(0.02);
        assert_eq!(
            (rig.state.attribution.latest().refusal, rig.refusal()),
            (None, Some(Refusal::Substituted))
        );
    }

    /// A check at an idle whose speed falls with more fuel although it reads lambda 1.
    #[test]
    fn readings_with_upstream_air_are_refused() {
        let mut rig = Rig::idling(Options { self_check: true, ..Options::default() }).after(5.0);
        let (parameters, response) = (&PARAMETERS.self_check, &PARAMETERS.torque_response);
        let mut check = SelfCheck::default();
        for _ in 0..20_000 {
            let sample = SelfCheckSample {
                steady: true,
                wanted_ln: 0.0,
                error_ln: 0.0,
                delay_s: 0.4,
                air_kg_per_s: 5e-3,
                speed_rad_per_s: 75.0 * (1.0 - 0.15 * check.dither_ln(parameters)),
                idling: true,
                dt_s: 0.02,
            };
            check.step(parameters, response, rig.calibration.setup(), &sample);
        }
        rig.run(15.0);
        rig.state.self_check = SelfCheck::default();
        assert_eq!(rig.refusal(), None);
        rig.state.self_check = check;
        assert_eq!(rig.refusal(), Some(Refusal::UpstreamAir));
    }
}
