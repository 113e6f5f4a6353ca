//! [`Controller::step`]: one sensor frame to actuator commands, a stage a line in the order the data travels; every 20 ms also feedback
//! and learning from the lambda reading.

use trimwright_numerics::parameters::along;
use trimwright_numerics::{Real, Weights};
use trimwright_signals::{Commands, Frame, MAX_INJECTORS};

use crate::air_charge::air_charge;
use crate::attribution::Injection;
use crate::believe::EstimateConstants;
use crate::calibration::{Calibrated, Calibration};
use crate::carried::Injected;
use crate::crank::Turning;
use crate::cuts::clears_flood;
use crate::dtc::Dtc;
use crate::events::Before;
use crate::film::believed_film;
use crate::gates::Circumstances;
use crate::idle::Loads;
use crate::keep::Kept;
use crate::learned_map::{LearnedMap, Lesson, Outcome};
use crate::learner::Learner;
use crate::nitrous::Fitness;
use crate::open_time::Supply;
use crate::parameters::Parameters;
use crate::phase::Phase;
use crate::pump::Feed;
use crate::refusal::Refusal;
use crate::self_check::Look;
use crate::setup::Setup;
use crate::spark::{SparkHands, spark_deg};
use crate::state::State;
use crate::stumble::Run;
use crate::wanted_lambda::wanted_lambda;

/// The controller: calibration and state, stepped by frames.
///
/// ```
/// use trimwright_control::{Calibration, Controller, SetupAnswers};
/// use trimwright_signals::Frame;
/// let mut controller = Controller::new(Calibration::from_answers(&SetupAnswers::default())?);
/// let commands = controller.step(&Frame::default());
/// assert_eq!(commands.open_time_s, [0.0; 8], "without pulses nothing is injected");
/// # Ok::<(), trimwright_control::AnswerError>(())
/// ```
#[derive(Clone, Debug, PartialEq)]
pub struct Controller<C = Calibration> {
    calibration: C,
    state: State,
}

/// What stays as it is from step to step.
#[derive(Clone, Copy)]
pub(crate) struct Constants<'a> {
    pub(crate) parameters: &'a Parameters,
    pub(crate) setup: &'a Setup,
}

impl<C: Calibrated> Controller<C> {
    /// A controller that has learned nothing yet.
    ///
    /// ```
    /// use trimwright_control::{Calibration, Controller, Phase, SetupAnswers};
    /// let controller = Controller::new(Calibration::from_answers(&SetupAnswers::default())?);
    /// let state = controller.state();
    /// assert!(state.learned().ln.flat().iter().all(|ln| *ln == 0.0) && state.phase().phase() == Phase::Stopped);
    /// # Ok::<(), trimwright_control::AnswerError>(())
    /// ```
    pub fn new(calibration: C) -> Self {
        let state = State::new(calibration.parameters());
        Self { calibration, state }
    }

    /// The same controller with a map learned earlier.
    ///
    /// ```
    /// use trimwright_control::{Calibration, Controller, SetupAnswers};
    /// let calibration = Calibration::from_answers(&SetupAnswers::default())?;
    /// let idle = calibration.setup().weights(37e3, 75.0);
    /// let mut learned = calibration.parameters().blank_map();
    /// learned.ln.flat_mut().fill(-0.04);
    /// let controller = Controller::new(calibration).with_learned(learned);
    /// let learned_ln = controller.state().learned().at(&idle);
    /// assert!((learned_ln + 0.04).abs() < 1e-6, "4 % less fuel from the first firing on");
    /// # Ok::<(), trimwright_control::AnswerError>(())
    /// ```
    #[must_use]
    pub fn with_learned(mut self, learned: LearnedMap) -> Self {
        self.state.learned = learned;
        self
    }

    /// The same controller with what was kept over a power-down.
    ///
    /// ```
    /// use trimwright_control::keep::{pack, unpack};
    /// use trimwright_control::{Calibration, Codes, Controller, Dtc, SetupAnswers};
    /// let calibration = Calibration::from_answers(&SetupAnswers::default())?;
    /// // At key off map and codes go to flash, at key on they come back.
    /// let image = pack(&calibration, &calibration.parameters().blank_map(), Codes::empty().with(Dtc::MapLow), 1);
    /// let (kept, _) = unpack(&calibration, &image).expect("it is whole");
    /// let controller = Controller::new(calibration).with_kept(kept);
    /// assert!(controller.state().dtcs().stored().eq([Dtc::MapLow]));
    /// # Ok::<(), trimwright_control::AnswerError>(())
    /// ```
    #[must_use]
    pub fn with_kept(mut self, kept: Kept) -> Self {
        self.state.dtcs.recall(kept.codes);
        self.with_learned(kept.learned)
    }

    /// The calibration.
    ///
    /// ```
    /// use trimwright_control::{Calibration, Controller, SetupAnswers};
    /// let controller = Controller::new(Calibration::from_answers(&SetupAnswers::default())?);
    /// assert_eq!(controller.calibration().answers(), &SetupAnswers::default());
    /// # Ok::<(), trimwright_control::AnswerError>(())
    /// ```
    pub const fn calibration(&self) -> &C {
        &self.calibration
    }

    /// All memory.
    ///
    /// ```
    /// use trimwright_control::{Calibration, Controller, SetupAnswers};
    /// use trimwright_signals::Frame;
    /// let mut controller = Controller::new(Calibration::from_answers(&SetupAnswers::default())?);
    /// let before = controller.state().clone();
    /// controller.step(&Frame { battery_v: 12.4, ..Frame::default() });
    /// assert!(*controller.state() != before, "it remembers at least the time");
    /// # Ok::<(), trimwright_control::AnswerError>(())
    /// ```
    pub const fn state(&self) -> &State {
        &self.state
    }

    /// Goes back to a state taken earlier.
    ///
    /// ```
    /// use trimwright_control::{Calibration, Controller, SetupAnswers};
    /// use trimwright_signals::Frame;
    /// let mut controller = Controller::new(Calibration::from_answers(&SetupAnswers::default())?);
    /// let run = |controller: &mut Controller| {
    ///     let frame = |time_us| Frame { time_us, battery_v: 12.4, map_v: 4.1, ..Frame::default() };
    ///     (0..500).for_each(|ms| _ = controller.step(&frame(1000 * ms)));
    ///     controller.state().clone()
    /// };
    /// let start = controller.state().clone();
    /// let once = run(&mut controller);
    /// controller.restore(start);
    /// assert_eq!(run(&mut controller), once, "the same frames make the same state");
    /// # Ok::<(), trimwright_control::AnswerError>(())
    /// ```
    pub fn restore(&mut self, state: State) {
        self.state = state;
    }

    /// Takes a frame, gives the commands until the next. Never panics, whatever the frame holds.
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

    /// The same with lessons taken by a learner of one's own.
    ///
    /// ```
    /// use std::cell::Cell;
    /// use trimwright_control::learned_map::{LearnedMap, LearnerParameters, Lesson, Outcome};
    /// use trimwright_control::learner::{Kalman, Learner};
    /// use trimwright_control::{Calibration, Controller, SetupAnswers};
    /// # use trimwright_signals::Frame;
    /// struct Counted(Cell<u32>);
    /// impl Learner for Counted {
    ///     fn learn(&self, parameters: &LearnerParameters, map: &mut LearnedMap, lesson: &Lesson<'_>) -> Outcome {
    ///         self.0.set(self.0.get() + 1);
    ///         Kalman.learn(parameters, map, lesson)
    ///     }
    /// }
    /// let mut controller = Controller::new(Calibration::from_answers(&SetupAnswers::default())?);
    /// let counted = Counted(Cell::new(0));
    /// // Half a minute of a warm engine at 1500 rpm that runs lean: lambda 1.05.
    /// for ms in 0..30_000 {
    /// #   let noise_v = if ms % 3 == 0 { 0.004 } else { -0.002 };
    /// #   let mut frame = Frame { time_us: ms * 1000, battery_v: 13.8, tp_v: 0.9, ..Frame::default() };
    /// #   (frame.ect_v, frame.iat_v) = (0.9, 2.5);
    /// #   (frame.map_v, frame.frp_v, frame.o2_v) = (1.7 + noise_v, 2.2 + noise_v, 2.72 + noise_v);
    /// #   (frame.switches.ignition, frame.switches.o2_ready) = (true, true);
    /// #   if ms % 10 == 0 {
    /// #       frame.pulses_us.push(frame.time_us).expect("there is room for eight");
    /// #   }
    ///     controller.step_with(&counted, &frame);
    /// }
    /// // They begin a quarter of a minute after the start, one every 20 ms.
    /// let now = controller.state();
    /// assert!((500..800).contains(&counted.0.get()));
    /// assert!(now.learned().at(&now.insight().weights) > 0.05, "the map gives more");
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
        let before = Before::of(self);
        let &Constants { parameters, setup } = constants;
        let due = self.clock.step(frame);
        let pulses_per_firing = parameters.sensors.pulses_per_firing;
        self.crank.step(&parameters.crank, setup, pulses_per_firing, frame, &due);
        let estimate = EstimateConstants {
            estimate: &parameters.estimate,
            plausibility: &parameters.plausibility,
            throttle_speed: &parameters.throttle_speed,
            sensors: &parameters.sensors,
            setup,
        };
        let mut reports = self.dtcs.under(&parameters.trouble_codes);
        self.estimate.step(&estimate, frame, self.crank.turning(), self.idle.duty(), &due, &mut reports);
        if due.quick_s > 0.0 {
            self.update_engine_state(constants, frame, due.quick_s);
        }
        self.commands.open_time_s = match self.crank.turning().firings {
            0 if due.quick_s > 0.0 => self.prime(constants, due.quick_s),
            0 => [0.0; MAX_INJECTORS],
            _ => self.inject(constants),
        };
        if due.look_back_s > 0.0 {
            self.look_back(constants, learner, due.look_back_s);
        }
        if due.quick_s > 0.0 {
            self.update_other_outputs(constants, frame, due.quick_s);
        }
        before.tell(self);
        self.commands
    }

    /// 10 ms task: lean guard, fuel cuts, phase of the engine, accelerator-pump shot, help for an engine that stumbles.
    fn update_engine_state(&mut self, constants: &Constants<'_>, frame: &Frame, dt_s: f32) {
        let &Constants { parameters, setup } = constants;
        let (speed, lean_ratio) = (self.crank.turning().speed_rad_per_s, self.lean_ratio(parameters));
        let belief = self.estimate.belief();
        let tripped = self.lean_guard.step(&parameters.lean_guard, belief, lean_ratio, dt_s);
        let cut = self.cuts.step(&parameters.fuel_cut, setup, belief, tripped, speed, dt_s);
        self.phase.step(&parameters.phase, setup, frame.switches.ignition, speed, cut, dt_s);
        self.shot.step(&parameters.pump_shot, belief.tp_rate_per_s, dt_s);
        let run = Run {
            phase: self.phase.phase(),
            since_start_s: self.phase.since_start_s(),
            speed_ratio: speed / self.idle.target_rad_per_s().at_least(1.0),
            rate_rad_per_s2: self.idle.rate_rad_per_s2(),
            free: belief.throttle_closed && !frame.switches.in_gear,
            measured: !belief.doubts.lambda && self.phase.since_start_s() > parameters.exhaust.cleared_s,
        };
        self.stumble.step(&parameters.start_assist, &run, dt_s);
    }

    /// At a firing, forward: air, wanted mixture, corrections, film, open time.
    fn inject(&mut self, constants: &Constants<'_>) -> [f32; MAX_INJECTORS] {
        let &Constants { parameters, setup } = constants;
        let &Turning { speed_rad_per_s: speed, interval_s, gone_s, firings, .. } = self.crank.turning();
        let supply = self.supply(interval_s);
        let (belief, compensates) = (self.estimate.belief(), setup.options().film_compensation);
        self.film.wait(gone_s);
        let map_pa = if compensates {
            belief.map_ahead_pa(&parameters.estimate, setup.firing_angle_rad() / speed.at_least(1.0))
        } else {
            belief.map_pa
        };
        let flow_before_kg_per_s = self.carried.injected.air_flow_kg_per_s;
        let air = air_charge(&parameters.air_charge, setup, belief, map_pa, speed, flow_before_kg_per_s);
        let wanted_lambda = self.wanted(constants, &air.weights);
        let learned_ln = self.learned.at(&air.weights);
        let (trim_ln, dither_ln) =
            (self.feedback.trim_ln(), self.self_check.dither_ln(&parameters.self_check));
        let correction = Real::exp(learned_ln + trim_ln + dither_ln);
        let quick = if compensates { self.shot.ratio(&parameters.pump_shot, belief) } else { 1.0 };
        let wanted_fuel_kg = self.allowed(parameters) * air.air_kg
            / (setup.answers().stoich_afr * wanted_lambda)
            * correction
            * quick
            + self.nitrous.extra_kg(&parameters.nitrous, setup, interval_s);
        let film = &parameters.film;
        let believed =
            believed_film(film, belief.map_pa, speed, belief.ect_k).scaled(film, &self.learned.film_ln);
        let inject_kg = self.film.step(film, believed, compensates, wanted_fuel_kg) * f32::from(firings);
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

    /// What the injectors are fed with.
    fn supply(&self, interval_s: f32) -> Supply {
        Supply {
            battery_v: self.estimate.belief().battery_v,
            drop_pa: self.estimate.belief().drop_pa(),
            interval_s,
            late_s: self.learned.common.delay_s,
        }
    }

    /// Open times of the prime pulse, once, before the crank turns.
    fn prime(&mut self, constants: &Constants<'_>, dt_s: f32) -> [f32; MAX_INJECTORS] {
        let &Constants { parameters, setup } = constants;
        let turning = self.crank.turning().speed_rad_per_s > 0.0;
        if !turning {
            self.film.rest(&parameters.film, dt_s);
        }
        let (key_on_s, ect_k) = (self.phase.key_on_s(), self.estimate.belief().ect_k);
        let prime_kg = self.prime.step(&parameters.enrichment, setup, key_on_s, turning, ect_k);
        if prime_kg <= 0.0 {
            return [0.0; MAX_INJECTORS];
        }
        self.film.wet(&parameters.film, prime_kg);
        let supply = self.supply(0.0);
        self.open_time.step(&parameters.open_time, &parameters.injector, setup, prime_kg, &supply)
    }

    /// The complete target for the next cylinder, lambda.
    fn wanted(&self, &Constants { parameters, setup }: &Constants<'_>, weights: &Weights<f32>) -> f32 {
        let (belief, since_start_s) = (self.estimate.belief(), self.phase.since_start_s());
        let (speed, leaned) = (self.crank.turning().speed_rad_per_s, self.self_check.leaned());
        let enrichment = &parameters.enrichment;
        let wanted = if self.phase.phase() == Phase::Cranking {
            enrichment.cranking_lambda(belief.ect_k, self.phase.for_s())
        } else {
            let after_start = enrichment.after_start_ratio(belief.ect_k, since_start_s);
            wanted_lambda(&parameters.wanted_lambda, setup, belief, speed, after_start, leaned)
                / self.lean_guard.factor(&parameters.lean_guard)
        };
        let learned = &self.learned;
        let variances_ln2 = || (learned.variance.at(weights), learned.film_variance_of(&self.carried.film));
        let unsure = enrichment.unsure_ratio(since_start_s, variances_ln2);
        (wanted / (unsure * (1.0 + self.stumble.richer()))).at_least(enrichment.richest)
    }

    /// One where fuel is allowed, zero where it is not.
    fn allowed(&self, parameters: &Parameters) -> f32 {
        match self.phase.phase() {
            Phase::Cranking if clears_flood(&parameters.fuel_cut, self.estimate.belief()) => 0.0,
            Phase::Cranking | Phase::RunningUp | Phase::Running => 1.0,
            Phase::Stopped | Phase::Priming => 0.0,
            Phase::FuelCut | Phase::OverSpeed | Phase::LeanGuard => 0.0,
        }
    }

    /// 20 ms task, backward: what the reading of this instant describes, the short-term trim, a lesson.
    fn look_back(&mut self, constants: &Constants<'_>, learner: &impl Learner, dt_s: f32) {
        let &Constants { parameters, setup } = constants;
        let injection = self.injection(constants, dt_s);
        let past = self.attribution.step(&parameters.attribution, &parameters.exhaust, setup, injection);
        let (wanted_ln, delay_s) = (past.wanted_ln, past.delay_s);
        let right_ln = past.applied_ln + Real::ln(self.estimate.belief().lambda) - wanted_ln;
        let learned_ln = self.learned.seen(&past.seen);
        let error_ln = right_ln - past.applied_ln;
        let calm = past.refusal.is_none() && past.moving < 1.0;
        let look = Look {
            calm: calm && self.reading_is_good(),
            wanted_ln,
            error_ln,
            delay_s,
            air_kg_per_s: self.carried.injected.air_flow_kg_per_s,
            speed_rad_per_s: self.crank.turning().speed_rad_per_s,
            idling: self.idle.is_active(),
            dt_s,
        };
        let refusal = self.refusal(constants);
        self.self_check.step(&parameters.self_check, &parameters.torque_response, setup, &look);
        let feedback = &parameters.feedback;
        if setup.options().feedback && refusal.is_none_or(|refusal| !refusal.freezes_trim()) {
            self.feedback.step(feedback, delay_s, right_ln, learned_ln, dt_s);
        } else {
            self.feedback.wait(feedback, dt_s);
        }
        if setup.options().learning {
            let prior_sigma_ln = parameters.learner.prior_sigma_ln;
            let (common, injector) = (&parameters.common_correction, &parameters.injector);
            self.round.step(common, prior_sigma_ln, injector, setup, &mut self.learned);
            match refusal {
                Some(refusal) => self.counts.refuse(refusal),
                None => self.learn(parameters, learner, right_ln),
            }
        }
        self.report_mixture(parameters, refusal, dt_s);
        self.insight.show_look_back(right_ln, refusal);
    }

    /// What was injected since the last look back.
    fn injection(&mut self, &Constants { parameters, setup }: &Constants<'_>, dt_s: f32) -> Injection {
        let injected = &self.carried.injected;
        let (richest, leanest) = (parameters.attribution.richest, parameters.attribution.leanest);
        let wanted_ln = Real::ln(injected.wanted_lambda.held(richest, leanest));
        let turning = self.crank.turning();
        let refusal = self.gates.step(
            &parameters.enable_conditions,
            &Circumstances {
                belief: self.estimate.belief(),
                phase: self.phase.phase(),
                since_start_s: self.phase.since_start_s(),
                speed_rad_per_s: turning.speed_rad_per_s,
                wanted_ln,
                duty_limited: self.open_time.limited(),
                film_overflows: self.film.overflows(),
                nitrous: self.nitrous.is_on(),
                guarded: self.lean_guard.guarding(&parameters.lean_guard),
            },
            dt_s,
        );
        let flow_kg_per_s = injected.air_flow_kg_per_s;
        let gas_k = along(&parameters.exhaust.gas_k, flow_kg_per_s / setup.answers().displacement_m3);
        let exhaust_kg = flow_kg_per_s * dt_s * gas_k / parameters.exhaust.usual_gas_k;
        let film = self.film.shares();
        let film_ln: f32 = film.iter().zip(&self.learned.film_ln).map(|(share, ln)| share * ln).sum();
        self.carried.film = film;
        self.insight.show_film(film, film_ln);
        Injection {
            weights: injected.weights,
            applied_ln: injected.applied_ln() + film_ln,
            wanted_ln,
            film,
            moving: self.gates.moving(),
            gone_s: dt_s,
            turns: turning.turns(dt_s),
            exhaust_kg: if turning.speed_rad_per_s > 0.0 { exhaust_kg } else { 0.0 },
            refusal,
        }
    }

    /// Why the reading of this instant teaches nothing, if so.
    fn refusal(&self, &Constants { parameters, setup }: &Constants<'_>) -> Option<Refusal> {
        let (air_kg_per_s, belief) = (self.carried.injected.air_flow_kg_per_s, self.estimate.belief());
        let falsified = || self.self_check.is_falsified(&parameters.self_check, setup, air_kg_per_s);
        match self.attribution.past().refusal {
            Some(refusal) if refusal.freezes_trim() => Some(refusal),
            _ if belief.doubts.lambda => Some(Refusal::SensorNotReady),
            _ if belief.lambda_at_end => Some(Refusal::ReadingAtEnd),
            // A wire that is doubted now may have been wrong for a while before.
            _ if belief.doubts.fuel() => Some(Refusal::Substituted),
            _ if falsified() => Some(Refusal::UpstreamAir),
            _ if self.self_check.is_running() => Some(Refusal::Checking),
            other => other,
        }
    }

    /// Whether the reading means something and nothing it was asked for with is doubted.
    fn reading_is_good(&self) -> bool {
        let belief = self.estimate.belief();
        !belief.doubts.lambda && !belief.lambda_at_end && !belief.doubts.fuel()
    }

    /// Takes a lesson and hands its part of the trim over to the map.
    fn learn(&mut self, parameters: &Parameters, learner: &impl Learner, right_ln: f32) {
        let past = self.attribution.past();
        let trust = &parameters.learner;
        let doubt = 1.0 + past.moving * past.moving;
        let map_alone = past.seen.without_film();
        let known = self.learned.variance_seen(&map_alone) < trust.film_sigma_ln * trust.film_sigma_ln;
        let film = known && past.seen.film() > trust.film_moved;
        let variance_ln2 = trust.look_variance_ln2 * doubt;
        let lesson = Lesson { seen: &past.seen, right_ln, variance_ln2, film };
        let before_ln = self.learned.at(&self.carried.injected.weights);
        let outcome = learner.learn(trust, &mut self.learned, &lesson);
        let learned_more_ln = self.learned.at(&self.carried.injected.weights) - before_ln;
        self.feedback.hand_over(&parameters.feedback, learned_more_ln);
        match outcome {
            Outcome::Taken => self.counts.take(),
            Outcome::Bounded => self.counts.refuse(Refusal::Authority),
        }
    }

    /// Codes for a reading at its end without a reason, and for a mixture that correction cannot reach.
    fn report_mixture(&mut self, parameters: &Parameters, refusal: Option<Refusal>, dt_s: f32) {
        let total_ln = self.carried.injected.learned_ln + self.feedback.trim_ln();
        let burned = self.attribution.past().refusal.is_none_or(|refusal| !refusal.freezes_trim());
        let belief = self.estimate.belief();
        let doubts = &belief.doubts;
        let at_end = belief.lambda_at_end && (doubts.lambda_wire || (burned && !doubts.lambda));
        let known = refusal.is_none_or(|refusal| !refusal.freezes_trim());
        let mut reports = self.dtcs.under(&parameters.trouble_codes);
        reports.report(Dtc::O2Low, at_end && belief.lambda < 1.0, dt_s);
        reports.report(Dtc::O2High, at_end && belief.lambda > 1.0, dt_s);
        reports.report(Dtc::O2Slow, self.self_check.is_slow(), dt_s);
        reports.report_mixture(known, total_ln, dt_s);
    }

    /// Lambda read over lambda wanted then, where the reading is usable.
    fn lean_ratio(&self, parameters: &Parameters) -> Option<f32> {
        let (past, belief) = (self.attribution.past(), self.estimate.belief());
        // What holds the trim still, such as nitrous or an end of range or authority, is just what has to be watched.
        let usable = self.phase.phase().burns()
            && self.phase.since_start_s() > parameters.exhaust.cleared_s
            && !belief.doubts.lambda
            && past.refusal.is_none_or(|refusal| !refusal.hides_mixture());
        // What is asked for beyond the mixture of most power is for the cold, not for the engine's safety; but with nitrous it is.
        let least = if self.nitrous.is_on() { 0.0 } else { parameters.wanted_lambda.most_power };
        usable.then(|| belief.lambda / self.carried.expected_lambda.at_least(least))
    }

    /// 10 ms task: all outputs beside the injectors: idle air, spark, fans, pump, nitrous.
    fn update_other_outputs(&mut self, constants: &Constants<'_>, frame: &Frame, dt_s: f32) {
        let &Constants { parameters, setup } = constants;
        let (speed, lean_ratio) = (self.crank.turning().speed_rad_per_s, self.lean_ratio(parameters));
        let (phase, since_start_s) = (self.phase.phase(), self.phase.since_start_s());
        let (belief, switches) = (self.estimate.belief(), &frame.switches);
        self.fans.step(&parameters.fans, setup, belief, switches.ac_request, since_start_s, dt_s);
        let loads = Loads {
            ac: self.fans.ac_wanted(),
            fans: self.fans.wanted(),
            in_gear: switches.in_gear,
            wet: self.film.nearly(),
        };
        let iac_duty = self.idle.step(&parameters.idle, setup, belief, loads, speed, since_start_s, dt_s);
        let rail_known = !belief.doubts.rail;
        let feed = Feed {
            phase,
            rail_pa: rail_known.then_some(belief.rail_pa),
            fuel_kg_per_s: self.carried.injected.wanted_fuel_kg * speed / setup.firing_angle_rad(),
        };
        let pump_duty = self.pump.step(&parameters.fuel_pump, setup, feed, dt_s);
        let wanted_pa = setup.answers().rail_pressure_pa;
        let mut reports = self.dtcs.under(&parameters.trouble_codes);
        reports.report_rail(phase.started() && rail_known, wanted_pa, belief.rail_pa, dt_s);
        let (rolls, target) = (frame.vss_hz > 0.0, self.idle.target_rad_per_s());
        let warm = belief.ect_k > parameters.trouble_codes.idle_warm_k;
        let held = warm && phase == Phase::Running && self.idle.is_active() && !(switches.in_gear && rolls);
        reports.report_idle(held.then_some(target - speed), dt_s);
        let standing = switches.in_gear && !rolls;
        reports.report_vehicle_speed(standing, belief.load(), speed / target.at_least(1.0), dt_s);
        let fitness = Fitness {
            armed: switches.nitrous_armed,
            speed_rad_per_s: speed,
            lean_ratio,
            burns: phase.burns(),
            trouble: !self.dtcs.active_codes().is_empty(),
        };
        let nitrous = self.nitrous.step(&parameters.nitrous, setup, belief, fitness, dt_s);
        let hands = SparkHands {
            speed_rad_per_s: speed,
            started: phase.started(),
            idle_rad_per_s: self.idle.is_active().then(|| self.idle.target_rad_per_s()),
            returned: self.cuts.returned(&parameters.fuel_cut),
            nitrous,
        };
        let [fan1, fan2] = self.fans.on();
        self.commands = Commands {
            open_time_s: self.commands.open_time_s,
            spark_deg: spark_deg(&parameters.spark, setup, belief, &hands),
            iac_duty,
            pump_duty,
            fan1,
            fan2,
            ac_clutch: self.fans.ac_clutch(),
            nitrous,
        };
        let past = self.attribution.past();
        self.carried.expected_lambda = Real::exp(past.wanted_ln);
        self.insight.show_task(phase, speed, belief, &self.open_time);
        (self.insight.expected_lambda, self.insight.delay_s) = (self.carried.expected_lambda, past.delay_s);
    }
}
