//! The short-term trim on the whole engine: calm from the shortest to the longest delay, with a sensor that shows two thirds or half
//! as much again of the error there is, and with a pipe that is half, twice or two and a half times the believed one.
//!
//! That the stage by itself bears just as much as theory says is checked in `tests/val/control_loops.rs` against
//! `control_margins.csv`.

use trimwright_control::{Calibration, Controller, Options};
use trimwright_harness::scenario::Scenario;
use trimwright_plant::{Hands, Key, Plant};
use trimwright_signals::{Commands, Frame};

/// Steps of 1 ms.
const STEP_S: f64 = 1e-3;
/// The engine warms up, then the sensor's wire gets its other slope and the fuel is off by a tenth, then the trim has so long, s.
const WARMS_S: f64 = 40.0;
const SETTLES_S: f64 = 30.0;
const LOOKED_AT_S: f64 = 20.0;
/// Volts of the wideband output at lambda 1, about which the slope is wrong.
const LAMBDA_1_V: f32 = 2.3529;
/// By how much the injectors' flow changes, ratio.
const OFF: f64 = 1.08;
/// Farthest that the trim may move in the end: noise and cylinders that differ; and the mean mixture be off, with the noise
/// of a few hundred charges, ratio.
const MOVES: f32 = 0.01;
const MEAN_OFF: f64 = 0.01;

/// Turns of the crank from injection to the exhaust valve (geometry of the four-stroke cycle).
const TURNS: f64 = 1.7;

/// Where the engine is held.
struct Point {
    rpm: f64,
    throttle: f64,
}

/// How the trim was in the end.
#[derive(Debug)]
struct End {
    /// Delay from injection to reading, s: the controller's, with the pipe's part as much longer as the pipe is.
    delay_s: f64,
    /// From the least to the largest trim, ln.
    moves_ln: f32,
    /// Mean of true over wanted mixture, ln.
    mean_ln: f64,
}

struct Bench {
    plant: Plant,
    controller: Controller,
    commands: Commands,
    hands: Hands,
    slope: f32,
}

impl Bench {
    fn run(&mut self, seconds: f64, mut look: impl FnMut(&Self)) {
        for _ in 0..(seconds / STEP_S).round() as u64 {
            let mut frame: Frame = self.plant.step(&self.commands, &self.hands, STEP_S).clone();
            frame.o2_v = (LAMBDA_1_V + self.slope * (frame.o2_v - LAMBDA_1_V)).clamp(0.0, 5.0);
            self.commands = self.controller.step(&frame);
            look(self);
        }
    }
}

fn end(point: &Point, pipe: f64, slope: f32) -> End {
    let scenario = Scenario::load("delivery-van").expect("shipped");
    let mut truth = scenario.truth;
    truth.exhaust.pipe_m3 *= pipe;
    truth.thermal.start_k = 360.0;
    let options = Options { learning: false, ..Options::default() };
    let calibration = Calibration::from_answers(&scenario.answers).expect("answers").with_options(options);
    let mut bench = Bench {
        plant: Plant::new(truth.clone(), 1).expect("a truth"),
        controller: Controller::new(calibration),
        commands: Commands::default(),
        hands: Hands { key: Key::On, ..Hands::default() },
        slope: 1.0,
    };
    bench.run(2.0, |_| ());
    bench.hands.key = Key::Start;
    bench.run(1.5, |_| ());
    bench.hands.key = Key::On;
    bench.hands.dyno_rad_per_s = Some(point.rpm * std::f64::consts::PI / 30.0);
    bench.hands.throttle = point.throttle;
    bench.run(WARMS_S, |_| ());
    bench.slope = slope;
    truth.injectors.static_flow_kg_per_s *= OFF;
    bench.plant.set_truth(truth).expect("a truth");
    bench.run(SETTLES_S, |_| ());
    let (mut least, mut most, mut sum, mut count) = (f32::MAX, f32::MIN, 0.0, 0.0);
    bench.run(LOOKED_AT_S, |bench| {
        let state = bench.controller.state();
        (least, most) = (least.min(state.feedback.trim_ln), most.max(state.feedback.trim_ln));
        for event in bench.plant.events() {
            sum += (event.lambda / f64::from(state.insight.wanted_lambda)).ln();
            count += 1.0;
        }
    });
    let believed_s = f64::from(bench.controller.state().insight.delay_s);
    let engine_s = TURNS * 60.0 / point.rpm;
    let delay_s = engine_s + pipe * (believed_s - engine_s).max(0.0);
    End { delay_s, moves_ln: most - least, mean_ln: sum / count }
}

#[test]
fn ident_the_trim_is_calm_at_every_delay_with_a_wrong_gain_and_a_wrong_pipe() {
    let points = [
        Point { rpm: 700.0, throttle: 0.0 },
        Point { rpm: 1000.0, throttle: 0.03 },
        Point { rpm: 1500.0, throttle: 0.08 },
        Point { rpm: 2500.0, throttle: 0.18 },
        Point { rpm: 4000.0, throttle: 0.35 },
    ];
    let (mut shortest_s, mut longest_s) = (f64::MAX, 0.0_f64);
    for point in &points {
        for (pipe, slope) in [(1.0, 1.0), (1.0, 1.5), (1.0, 1.0 / 1.5), (0.5, 1.5), (2.0, 1.5), (2.5, 1.5)] {
            let end = end(point, pipe, slope);
            let what = format!("{} rpm, pipe {pipe}, slope {slope}: {end:?}", point.rpm);
            assert!(end.moves_ln < MOVES && end.mean_ln.abs() < MEAN_OFF, "{what}");
            (shortest_s, longest_s) = (shortest_s.min(end.delay_s), longest_s.max(end.delay_s));
        }
    }
    assert!(shortest_s < 0.1 && longest_s > 1.2, "delays of {shortest_s} to {longest_s} s");
}
