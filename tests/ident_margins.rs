//! Stability of the short-term trim on the whole engine, from the shortest to the longest delay, with a sensor gain of 2/3 and 1.5, and with
//! a pipe of 0.5, 2 and 2.5 times the assumed length.
//!
//! `tests/val/control_loops.rs` checks the stage alone against `control_margins.csv`. Here the gain is raised on the engine up to the stability
//! limit, which is compared with the same theory.

use trimwright_control::parameters::FeedbackParameters;
use trimwright_control::{Controller, Options};
use trimwright_harness::scenario::Scenario;
use trimwright_plant::{DriverInputs, Key, Plant, Truth};
use trimwright_signals::{Commands, Frame};

/// Steps of 1 ms.
const STEP_S: f64 = 1e-3;
/// Durations of warm-up, of the settling after the change of sensor slope and fuel, and of the evaluation, s.
const WARM_UP_S: f64 = 40.0;
const SETTLING_S: f64 = 30.0;
const EVALUATED_S: f64 = 20.0;
/// Voltage of the wideband output at lambda 1, the fixed point of the slope error, V.
const LAMBDA_1_V: f32 = 2.3529;
/// Change of the injector flow, ratio.
const FLOW_FACTOR: f64 = 1.08;
/// Largest range of the trim at the end (noise, cylinder differences), and largest error of the mean mixture with the noise of a few hundred
/// charges, ratio.
const MOVES: f32 = 0.01;
const MEAN_OFF: f64 = 0.01;

/// Crank revolutions from injection to the exhaust valve (four-stroke cycle).
const TURNS: f64 = 1.7;

/// An operating point on the dynamometer.
struct Point {
    rpm: f64,
    throttle: f64,
}

/// From the longest delay to the shortest.
const POINTS: [Point; 5] = [
    Point { rpm: 700.0, throttle: 0.0 },
    Point { rpm: 1000.0, throttle: 0.03 },
    Point { rpm: 1500.0, throttle: 0.08 },
    Point { rpm: 2500.0, throttle: 0.18 },
    Point { rpm: 4000.0, throttle: 0.35 },
];

/// Result at the end of a run.
#[derive(Debug)]
struct End {
    /// Delay from injection to reading, s: that of the controller with the true pipe length.
    delay_s: f64,
    /// Range of the trim, ln.
    moves_ln: f32,
    /// Mean of true over wanted mixture, ln.
    mean_ln: f64,
}

#[derive(Clone)]
struct Bench {
    plant: Plant,
    controller: Controller,
    commands: Commands,
    inputs: DriverInputs,
    slope: f32,
    o2_v: f32,
}

impl Bench {
    fn run(&mut self, seconds: f64, mut observe: impl FnMut(&Self)) {
        for _ in 0..(seconds / STEP_S).round() as u64 {
            let mut frame: Frame = self.plant.step(&self.commands, &self.inputs, STEP_S).clone();
            frame.o2_v = (LAMBDA_1_V + self.slope * (frame.o2_v - LAMBDA_1_V)).clamp(0.0, 5.0);
            self.o2_v = frame.o2_v;
            self.commands = self.controller.step(&frame);
            observe(self);
        }
    }
}

/// The delivery van's engine, warm, on a dynamometer, with its truth.
fn warm(point: &Point, change: impl Fn(&mut Truth)) -> (Bench, Truth) {
    // Theory is of a loop without disturbances.
    let scenario = Scenario::load("delivery-van").expect("shipped").with_disturbances(0.0);
    let mut truth = scenario.truth.clone();
    truth.thermal.start_k = 360.0;
    change(&mut truth);
    let options = Options { learning: false, ..Options::default() };
    let calibration = scenario.calibration().expect("answers").with_options(options);
    let mut bench = Bench {
        plant: Plant::new(truth.clone(), 1).expect("a truth"),
        controller: Controller::new(calibration),
        commands: Commands::default(),
        inputs: DriverInputs { key: Key::On, ..DriverInputs::default() },
        slope: 1.0,
        o2_v: 0.0,
    };
    bench.run(2.0, |_| ());
    bench.inputs.key = Key::Start;
    bench.run(1.5, |_| ());
    bench.inputs.key = Key::On;
    bench.inputs.dyno_rad_per_s = Some(point.rpm * std::f64::consts::PI / 30.0);
    bench.inputs.throttle = point.throttle;
    bench.run(WARM_UP_S, |_| ());
    (bench, truth)
}

fn end(point: &Point, pipe: f64, slope: f32) -> End {
    let (mut bench, mut truth) = warm(point, |truth| truth.exhaust.pipe_m3 *= pipe);
    bench.slope = slope;
    truth.injectors.static_flow_kg_per_s *= FLOW_FACTOR;
    bench.plant.set_truth(truth).expect("a truth");
    bench.run(SETTLING_S, |_| ());
    let (mut least, mut most, mut sum, mut count) = (f32::MAX, f32::MIN, 0.0, 0.0);
    bench.run(EVALUATED_S, |bench| {
        let state = bench.controller.state();
        (least, most) = (least.min(state.feedback().trim_ln()), most.max(state.feedback().trim_ln()));
        for event in bench.plant.events() {
            sum += (event.lambda / f64::from(state.insight().wanted_lambda)).ln();
            count += 1.0;
        }
    });
    let believed_s = f64::from(bench.controller.state().insight().delay_s);
    let engine_s = TURNS * 60.0 / point.rpm;
    let delay_s = engine_s + pipe * (believed_s - engine_s).max(0.0);
    End { delay_s, moves_ln: most - least, mean_ln: sum / count }
}

#[test]
fn ident_the_trim_is_stable_at_every_delay_with_wrong_gain_and_pipe() {
    let (mut shortest_s, mut longest_s) = (f64::MAX, 0.0_f64);
    for point in &POINTS {
        for (pipe, slope) in [(1.0, 1.0), (1.0, 1.5), (1.0, 1.0 / 1.5), (0.5, 1.5), (2.0, 1.5), (2.5, 1.5)] {
            let end = end(point, pipe, slope);
            let what = format!("{} rpm, pipe {pipe}, slope {slope}: {end:?}", point.rpm);
            assert!(end.moves_ln < MOVES && end.mean_ln.abs() < MEAN_OFF, "{what}");
            (shortest_s, longest_s) = (shortest_s.min(end.delay_s), longest_s.max(end.delay_s));
        }
    }
    assert!(shortest_s < 0.1 && longest_s > 1.2, "delays of {shortest_s} to {longest_s} s");
}

/// A response at a frequency: real and imaginary part.
type Response<'a> = &'a dyn Fn(f64) -> (f64, f64);

/// `exp(-j w dead) / (1 + j w lag)`.
fn lagged(dead_s: f64, lag_s: f64, w: f64) -> (f64, f64) {
    let (size, angle) = (1.0 / 1.0_f64.hypot(w * lag_s), -w * dead_s - (w * lag_s).atan());
    (size * angle.cos(), size * angle.sin())
}

/// Critical slope of the sensor at the stability limit. The trim follows `assumed correction + slope * (disturbance - true correction)`
/// with a lag `tau`: `1 + (slope P - M) / (tau s + 1) = 0`, which is the lag with dead time of `control_margins.csv` where the path `P` is
/// equal to the predictor's model `M`. On the imaginary axis `slope = (M - 1 - j w tau) / P` is real; `delay_s` sets the frequency range of the search.
fn critical(path: Response<'_>, model: Response<'_>, tau_s: f64, delay_s: f64) -> f64 {
    let slope = |w: f64| {
        let ((p, q), (m, n)) = (path(w), model(w));
        let (re, im) = (m - 1.0, n - w * tau_s);
        let size = p * p + q * q;
        ((re * p + im * q) / size, (im * p - re * q) / size)
    };
    // From below: the first frequency at which the imaginary part changes its sign with a positive slope.
    let at = |place: u32| slope(f64::from(place) * 0.01 / delay_s);
    (20..1000)
        .map(|place| (at(place), at(place + 1)))
        .find(|(now, next)| now.1 * next.1 <= 0.0 && next.0 > 1.0)
        .map(|(now, next)| now.0 + (next.0 - now.0) * now.1 / (now.1 - next.1))
        .expect("every loop with a delay swings at some gain")
}

/// Source: ultimate gain of a lag with dead time by the phase condition (`control_margins.csv`); the slope is one more.
#[test]
fn val_with_a_perfect_predictor_the_critical_slope_is_the_published_gain() {
    let text = include_str!("../shared/reference/control_margins.csv");
    let mut reader = csv::Reader::from_reader(text.as_bytes());
    let mut checked = 0;
    for row in reader.records().map(|row| row.expect("a row")).filter(|row| row[0].starts_with("P + FOPDT")) {
        let ratio: f64 = row[1].trim_start_matches("Td/tau=").parse().expect("a ratio");
        let published: f64 = row[2].parse().expect("a gain");
        let path = |w| lagged(ratio, 0.0, w);
        let ours = critical(&path, &path, 1.0, ratio) - 1.0;
        assert!((ours / published - 1.0).abs() < 0.01, "{ratio}: {ours} for {published}");
        checked += 1;
    }
    assert!(checked >= 8);
}

/// Step of the trim, ln, and duration of the recorded response, s.
const GIVEN_LN: f32 = 0.03;
const RESPONDS_S: f64 = 7.0;
const INTERVAL_S: f64 = 5e-3;
/// Sample time of the feedback and assumed lag of the sensor, s (`crates/control/src/calibration.rs`).
const FEEDBACK_S: f64 = 0.02;
const SENSOR_S: f64 = 0.09;

/// Step response of the engine: reading with the step minus that without, increments of the relative response in intervals of 5 ms.
fn step_response(warm: &Bench) -> Vec<f64> {
    let course = |given_ln: f32| -> Vec<f64> {
        let mut bench = warm.clone();
        let calibration = bench.controller.calibration();
        let off = calibration.clone().with_options(Options { feedback: false, ..*calibration.options() });
        let state = bench.controller.state().clone();
        let state = state.with_trim_moved(&FeedbackParameters::DEFAULT, given_ln);
        bench.controller = Controller::new(off);
        bench.controller.restore(state);
        let stretches = (RESPONDS_S / INTERVAL_S) as u32;
        (0..stretches)
            .map(|_| {
                bench.run(INTERVAL_S, |_| ());
                f64::from(bench.o2_v)
            })
            .collect()
    };
    let moved: Vec<f64> =
        course(GIVEN_LN).iter().zip(course(0.0)).map(|(given_v, without_v)| given_v - without_v).collect();
    let whole_v = moved[moved.len() - 200..].iter().sum::<f64>() / 200.0;
    std::iter::once(0.0)
        .chain(moved.iter().copied())
        .zip(&moved)
        .map(|(was, is)| (is - was) / whole_v)
        .collect()
}

/// Frequency response from the step response.
fn answer_at(answer: &[f64], w: f64) -> (f64, f64) {
    answer.iter().enumerate().fold((0.0, 0.0), |(re, im), (index, moved)| {
        let angle = -w * (index as f64 + 0.5) * INTERVAL_S;
        (re + moved * angle.cos(), im + moved * angle.sin())
    })
}

/// Range of the trim of an unstable loop, and largest range of a stable one, ln.
const WIDE: f32 = 0.1;
const NOISE: f32 = 0.01;

/// Whether the trim oscillates with growing amplitude with this slope after a fuel change of 1 %.
fn is_unstable(warm: &(Bench, Truth), slope: f32, period_s: f64) -> bool {
    let (mut bench, mut truth) = warm.clone();
    bench.slope = slope;
    truth.injectors.static_flow_kg_per_s *= 1.01;
    bench.plant.set_truth(truth).expect("a truth");
    let mut widths = [0.0; 2];
    for width in &mut widths {
        bench.run(2.0 * period_s, |_| ());
        let (mut least, mut most) = (f32::MAX, f32::MIN);
        bench.run(2.0 * period_s, |bench| {
            let trim_ln = bench.controller.state().feedback().trim_ln();
            (least, most) = (least.min(trim_ln), most.max(trim_ln));
        });
        *width = most - least;
    }
    widths[1] > WIDE || (widths[1] > NOISE && widths[1] > widths[0])
}

/// Delays of 0.10 to 0.76 s: measured 9.3, 5.6, 5.0 and 5.5, theory 8.2, 5.2, 5.2 and 5.4.
#[test]
fn ident_the_critical_gain_on_the_engine_is_that_of_theory() {
    for point in &POINTS[..4] {
        // Noise and cylinder differences would mask a small oscillation.
        let quiet = |truth: &mut Truth| {
            truth.oxygen_sensor.noise = 0.0;
            truth.distribution.spread = 0.0;
            truth.combustion.variation = 0.0;
        };
        let warm = warm(point, quiet);
        let answer = step_response(&warm.0);
        let delay_s = f64::from(warm.0.controller.state().insight().delay_s);
        // The trim is constant between samples: half a sample time adds to the delay.
        let path = |w: f64| {
            let ((re, im), (c, d)) = (answer_at(&answer, w), lagged(0.5 * FEEDBACK_S, 0.0, w));
            (re * c - im * d, re * d + im * c)
        };
        let model = |w: f64| lagged(delay_s, SENSOR_S, w);
        let theory = critical(&path, &model, 2.0 * delay_s.max(0.3), delay_s);
        let period_s = 4.0 * (delay_s + SENSOR_S);
        let (mut calm, mut wild) = (1.0_f32, 20.0_f32);
        while wild / calm > 1.02 {
            let slope = (wild * calm).sqrt();
            *(if is_unstable(&warm, slope, period_s) { &mut wild } else { &mut calm }) = slope;
        }
        let found = f64::from((wild * calm).sqrt());
        assert!((found / theory - 1.0).abs() < 0.15, "{} rpm: {found}, by theory {theory}", point.rpm);
    }
}
