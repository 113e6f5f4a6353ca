//! Observer of one run, event by event: mixture error, dwell per cell, log for the offline fit, convergence.
//!
//! It reads the plant's truth and the controller's insight and changes neither.

use trimwright_control::{Controller, Insight};
use trimwright_numerics::{Weights, lag};
use trimwright_plant::CylinderEvent;

use crate::cells::Cells;
use crate::closed_loop::ClosedLoop;
use crate::fit::{FILM, Fit, Sample};
use crate::mixture::Mixture;
use crate::session::{Moment, Observer};
use crate::steady::{self, Steady};
use crate::units::RPM_PER_RAD_PER_S;

/// Running time before events are counted, s.
pub const SETTLED_AFTER_S: f64 = 60.0;
/// Length of the convergence windows, s.
pub const WINDOW_S: f64 = 60.0;
/// Fewest steady events for the figure of a window.
const FEWEST_EVENTS: u64 = 40;
/// Events kept to find the injection behind the gas at the sensor: 3 s at 6000 rpm and eight cylinders.
const REMEMBERED: usize = 1200;
/// Time between two samples of the log for the offline fit, s.
const LOG_S: f64 = 0.05;
/// Least coolant temperature of a sample of the log, K: 60 degC, as in the controller.
const WARM_K: f64 = 333.15;
/// Effective variance of a sample of the steady engine, ln^2: (1.5 %)^2 times 20, because errors are correlated for about 0.5 s, ten
/// samples in each direction.
const STEADY_LN2: f64 = 0.0045;
/// The same for a sample that was not steady.
const UNSTEADY_LN2: f64 = 20.0 * STEADY_LN2;

/// State of the controller when an event took in its charge.
#[derive(Clone, Copy, Debug)]
struct Applied {
    time_s: f64,
    weights: Weights<f32>,
    film: [f64; FILM],
    applied_ln: f64,
    /// Flow time of an injector with the calibration's opening delay, s.
    flow_s: f64,
    wanted_ln: f64,
    steady: bool,
    counted: bool,
}

/// One convergence window.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Window {
    /// End of the window, s.
    pub end_s: f64,
    /// Rms of the steady error that the map alone would leave, without the disturbances that pass, ln; NaN with too few steady events.
    pub map_rms: f64,
    /// Rms of the error of all events, ln; NaN without events.
    pub closed_loop_rms: f64,
}

/// Measurements of one run.
///
/// ```
/// use trimwright_harness::{scenario::Scenario, session::{SessionBuilder, Until}, mixture_observer::MixtureObserver};
/// let mut session = SessionBuilder::new(Scenario::load("delivery-van")?).build()?;
/// let mut mixture = MixtureObserver::new(session.closed_loop().controller());
/// session.run(Until::After(90.0), &mut mixture)?;
/// assert!(mixture.steady.events() > 300, "a minute after the start idle counts, and is steady");
/// # Ok::<(), Box<dyn std::error::Error>>(())
/// ```
#[derive(Debug)]
pub struct MixtureObserver {
    /// Mixture error of steady events of the whole run.
    pub steady: Mixture,
    /// The same without the disturbances that pass: what a slow map could have known.
    pub steady_lasting: Mixture,
    /// Effect of the disturbances that pass on the steady events: what no map can know.
    pub passing: Mixture,
    /// Mixture error of all events of this pass.
    pub all: Mixture,
    /// Mixture error of the events of this pass that were not steady.
    pub transient: Mixture,
    /// Spread between cylinders: ln of a cylinder's lambda over the engine's.
    pub cylinders: Mixture,
    /// Last event.
    pub last: CylinderEvent,
    /// Time between the last two events, s.
    pub last_span_s: f64,
    /// Dwell and mean conditions of each cell.
    pub cells: Cells,
    /// Log of a learning controller for the offline fit, with the calibration's opening delay.
    pub log: Vec<Sample>,
    /// Convergence, window by window.
    pub windows: Vec<Window>,
    learning: bool,
    steadiness: Steady,
    running_since_s: Option<f64>,
    window_map: (f64, u64),
    window_all: (f64, u64),
    window_end_s: f64,
    past: Vec<Applied>,
    newest: usize,
    next_log_s: f64,
    sensor_expected: Option<Applied>,
    in_cut: bool,
}

impl MixtureObserver {
    /// An observer for a controller of this calibration.
    pub fn new(controller: &Controller) -> Self {
        let cells = controller.calibration().setup().filling().flat().len();
        Self {
            steady: Mixture::new(),
            steady_lasting: Mixture::new(),
            passing: Mixture::new(),
            all: Mixture::new(),
            transient: Mixture::new(),
            cylinders: Mixture::new(),
            last: CylinderEvent::default(),
            last_span_s: f64::NAN,
            cells: Cells::new(cells),
            log: Vec::new(),
            windows: Vec::new(),
            learning: controller.calibration().options().learning,
            steadiness: Steady::new(),
            running_since_s: None,
            window_map: (0.0, 0),
            window_all: (0.0, 0),
            window_end_s: WINDOW_S,
            past: Vec::with_capacity(REMEMBERED),
            newest: 0,
            next_log_s: 0.0,
            sensor_expected: None,
            in_cut: false,
        }
    }

    /// Resets the mixture errors of the pass; map, log and windows continue.
    fn start_pass(&mut self) {
        self.all = Mixture::new();
        self.transient = Mixture::new();
    }

    fn event(&mut self, event: &CylinderEvent, closed_loop: &ClosedLoop) {
        let insight = closed_loop.controller().state().insight();
        let span_s = event.time_s - self.last.time_s;
        (self.last, self.last_span_s) = (*event, span_s);
        if !insight.phase.started() {
            self.running_since_s = None;
            return;
        }
        let since_s = *self.running_since_s.get_or_insert(event.time_s);
        // The charge of this event was injected at an earlier firing: it counts when neither was in a fuel cut.
        let in_cut = !insight.phase.burns();
        let counted =
            event.time_s - since_s >= SETTLED_AFTER_S && !in_cut && !self.in_cut && event.fuel_kg > 0.0;
        self.in_cut = in_cut;
        let steady = counted && self.steadiness.is_steady();
        let (flow_s, delay_ln) = pulse(closed_loop.controller());
        let applied_ln =
            delay_ln + f64::from(insight.learned_ln + insight.trim_ln + insight.dither_ln + insight.film_ln);
        let wanted_ln = libm::log(f64::from(insight.wanted_lambda));
        let (weights, film) = (insight.weights, insight.film.map(f64::from));
        self.remember(Applied {
            time_s: event.time_s,
            weights,
            film,
            applied_ln,
            flow_s,
            wanted_ln,
            steady,
            counted,
        });
        if !counted {
            return;
        }
        let error = libm::log(event.lambda) - wanted_ln;
        self.all.add(error);
        self.cylinders.add(libm::log(event.fuel_kg / event.cylinder_fuel_kg));
        add_square(&mut self.window_all, error);
        if steady {
            let lasting = error - event.passing_ln;
            self.steady.add(error);
            self.steady_lasting.add(lasting);
            self.passing.add(event.passing_ln);
            // Error plus short-term trim: what the map alone would have left.
            add_square(&mut self.window_map, lasting + f64::from(insight.trim_ln));
            self.cells.add(event, closed_loop.controller().state(), &closed_loop.view(), span_s);
        } else {
            self.transient.add(error);
        }
    }

    fn remember(&mut self, applied: Applied) {
        if self.past.len() < REMEMBERED {
            self.past.push(applied);
            self.newest = self.past.len() - 1;
        } else {
            self.newest = (self.newest + 1) % REMEMBERED;
            self.past[self.newest] = applied;
        }
    }

    /// Last event that took in its charge before `time_s`.
    fn recall(&self, time_s: f64) -> Option<&Applied> {
        let (older, newer) = self.past.split_at((self.newest + 1).min(self.past.len()));
        newer.iter().chain(older).rev().find(|applied| applied.time_s <= time_s)
    }

    /// Adds one sample to the log: the reading against the injection behind the gas at the sensor, with the true lag of the sensor.
    fn log(&mut self, closed_loop: &ClosedLoop) {
        let insight: &Insight = closed_loop.controller().state().insight();
        let view = closed_loop.view();
        let tau_s = closed_loop.plant().truth().oxygen_sensor.tau_s;
        let Some(&applied) = self.recall(view.sensed_intake_s) else { return };
        let share = lag::share(LOG_S, tau_s);
        let lag = |seen: &mut f64, now: f64| *seen += share * (now - *seen);
        let seen = self.sensor_expected.get_or_insert(applied);
        lag(&mut seen.wanted_ln, applied.wanted_ln);
        lag(&mut seen.applied_ln, applied.applied_ln);
        lag(&mut seen.flow_s, applied.flow_s);
        for (seen, now) in seen.film.iter_mut().zip(applied.film) {
            lag(seen, now);
        }
        let seen = *seen;
        if !applied.counted || !view.sensor_ready || view.coolant_k < WARM_K {
            return;
        }
        let measured = f64::from(insight.measured_lambda);
        if !(0.7..1.34).contains(&measured) {
            return;
        }
        let required_ln = libm::log(measured) - seen.wanted_ln + seen.applied_ln;
        let weights = self.recall(view.sensed_intake_s - tau_s).map_or(applied.weights, |then| then.weights);
        let weight = 1.0 / if applied.steady { STEADY_LN2 } else { UNSTEADY_LN2 };
        let delay_per_s = seen.flow_s.recip();
        self.log.push(Sample { weights, film: seen.film, delay_per_s, required_ln, weight });
    }

    /// Offline fit over the whole log, for injectors that open `delay_s` later than in the calibration.
    ///
    /// ```
    /// use trimwright_control::{CELLS, Calibration, Controller, Parameters, SetupAnswers};
    /// use trimwright_harness::{fit::{FILM, Sample}, mixture_observer::MixtureObserver};
    /// use trimwright_numerics::Weights;
    /// let mut mixture = MixtureObserver::new(&Controller::new(Calibration::from_answers(&SetupAnswers::default())?));
    /// let weights = Weights { cells: [20, 21, 34, 35], shares: [0.25; 4] };
    /// let sample = Sample { weights, film: [0.0; FILM], delay_per_s: 500.0, required_ln: 0.08, weight: 220.0 };
    /// mixture.log = vec![sample; 1000];
    /// let cell_ln = |delay_s| mixture.fit(CELLS, delay_s).solve(&Parameters::DEFAULT).map_or(f64::NAN, |fitted| fitted.cells[20]);
    /// assert!(cell_ln(0.1e-3) < cell_ln(0.0), "what late injectors explain is not the cell's");
    /// # Ok::<(), trimwright_control::AnswerError>(())
    /// ```
    pub fn fit(&self, cells: usize, delay_s: f64) -> Fit {
        let mut fit = Fit::new(cells);
        let samples = self.log.iter().filter_map(|sample| sample.with_opening_delay(delay_s));
        samples.for_each(|sample| fit.add(&sample));
        fit
    }

    fn close_window(&mut self) {
        self.windows.push(Window {
            end_s: self.window_end_s,
            map_rms: root_mean(self.window_map, FEWEST_EVENTS),
            closed_loop_rms: root_mean(self.window_all, 1),
        });
        self.window_end_s += WINDOW_S;
        self.window_map = (0.0, 0);
        self.window_all = (0.0, 0);
    }
}

impl Observer for MixtureObserver {
    fn observe(&mut self, now: &Moment<'_>) {
        if now.pass_step == 0 {
            self.start_pass();
        }
        let closed_loop = now.closed_loop;
        let steps_per_sample = (steady::PERIOD_S / closed_loop.step_s()) as u64;
        if closed_loop.steps().is_multiple_of(steps_per_sample.max(1)) {
            let view = closed_loop.view();
            self.steadiness.feed(view.map_pa, view.speed_rad_per_s * RPM_PER_RAD_PER_S);
        }
        for event in closed_loop.plant().events() {
            self.event(event, closed_loop);
        }
        if self.learning && closed_loop.time_s() >= self.next_log_s {
            self.next_log_s += LOG_S;
            self.log(closed_loop);
        }
        if closed_loop.time_s() >= self.window_end_s {
            self.close_window();
        }
    }
}

fn add_square(sum: &mut (f64, u64), value: f64) {
    sum.0 += value * value;
    sum.1 += 1;
}

fn root_mean(sum: (f64, u64), fewest: u64) -> f64 {
    if sum.1 < fewest { f64::NAN } else { libm::sqrt(sum.0 / sum.1 as f64) }
}

/// First time after which the figure of every window stays below `limit`, s; NaN when that of the last one does not.
pub fn settle_s(windows: &[Window], limit: f64) -> f64 {
    let known: Vec<&Window> = windows.iter().filter(|window| window.map_rms.is_finite()).collect();
    match known.iter().rposition(|window| window.map_rms >= limit) {
        None => known.first().map_or(f64::NAN, |first| first.end_s - WINDOW_S),
        Some(last_bad) if last_bad + 1 < known.len() => known[last_bad].end_s,
        Some(_) => f64::NAN,
    }
}

/// Flow time of an injector for the last event with the calibration's opening delay, s, and the effect of the learned opening delay on it,
/// ln. Both 0 without a pulse.
pub(crate) fn pulse(controller: &Controller) -> (f64, f64) {
    let (state, calibration) = (controller.state(), controller.calibration());
    let flow_kg_per_s = calibration.injector_flow_kg_per_s(state.estimate().drop_pa());
    let flow_s = state.insight().injected_fuel_kg / (f32::from(state.insight().injectors) * flow_kg_per_s);
    let whole_s = f64::from(flow_s + state.learned().common.delay_s);
    if flow_s > 0.0 && whole_s > 0.0 { (whole_s, libm::log(whole_s / f64::from(flow_s))) } else { (0.0, 0.0) }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn windows(errors: &[f64]) -> Vec<Window> {
        let window = |(index, &map_rms): (usize, &f64)| Window {
            end_s: 60.0 * (index + 1) as f64,
            map_rms,
            closed_loop_rms: 0.0,
        };
        errors.iter().enumerate().map(window).collect()
    }

    #[test]
    fn it_settles_after_the_last_bad_window() {
        assert_eq!(settle_s(&windows(&[0.1, 0.01, 0.05, f64::NAN, 0.01, 0.015]), 0.02), 180.0);
        assert_eq!(settle_s(&windows(&[f64::NAN, 0.01, 0.01]), 0.02), 60.0);
        assert!(settle_s(&windows(&[0.01, 0.03]), 0.02).is_nan());
        assert!(settle_s(&[], 0.02).is_nan());
    }
}
