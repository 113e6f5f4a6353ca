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
            measured: !estimate.invalid.lambda
                && self.phase.since_start_s() > parameters.exhaust.cranking_purge_s,
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
        if setup.options().feedback && refusal.is_none_or(|refusal| !refusal.freezes_trim()) {
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

    /// The ring entry for the last 20 ms.
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
        let at_end = estimate.lambda_at_end && (invalid.lambda_wire || (burned && !invalid.lambda));
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
        reports.report_rail(phase.started() && rail_known, wanted_pa, estimate.rail_pa, dt_s);
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
}
