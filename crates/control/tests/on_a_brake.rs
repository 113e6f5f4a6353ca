//! The whole controller on a stand-in with a known error.

mod support;

use support::Brake;
use trimwright_control::{Calibration, Controller, Options, Phase, Refusal, SetupAnswers, Strategy};
use trimwright_numerics::Weights;

fn brake(options: Options) -> Brake {
    let calibration = Calibration::from_answers(&SetupAnswers::default()).unwrap();
    Brake::new(calibration.with_options(Options { film_compensation: false, ..options }))
}

#[test]
fn without_correction_the_mixture_is_off_by_the_error() {
    let mut brake = brake(Options { feedback: false, learning: false, ..Options::default() });
    brake.error = |_, _| 1.10;
    brake.run(60.0);
    assert_eq!(brake.controller.state().phase().phase(), Phase::Running);
    assert!((brake.lambda - 1.10).abs() < 0.01, "{}", brake.lambda);
}

#[test]
fn the_short_term_trim_alone_brings_it_back() {
    let mut brake = brake(Options { learning: false, ..Options::default() });
    brake.error = |_, _| 1.10;
    brake.run(60.0);
    assert!((brake.lambda - 1.0).abs() < 0.01, "{}", brake.lambda);
    assert!((brake.controller.state().feedback().trim_ln() - 1.10_f32.ln()).abs() < 0.01);
}

/// What the map asks for at an operating point, ln of fuel: the cells' own part and that of the opening delay.
fn asked_ln(controller: &Controller, weights: &Weights<f32>) -> f32 {
    let learned = controller.state().learned();
    let late = |cell| 1.0 + learned.common.delay_s * controller.calibration().delay_rate_per_s(cell);
    learned.at(weights) + weights.iter().map(|(cell, share)| share * late(cell).ln()).sum::<f32>()
}

#[test]
fn what_is_learned_takes_over_from_the_trim() {
    for strategy in [Strategy::Integral, Strategy::NormalisedGradient, Strategy::Kalman] {
        let mut brake = brake(Options { strategy, ..Options::default() });
        brake.error = |_, _| 1.10;
        brake.run(120.0);
        let state = brake.controller.state();
        assert!((brake.lambda - 1.0).abs() < 0.01, "{strategy:?}: {}", brake.lambda);
        let asked = asked_ln(&brake.controller, &state.insight().weights);
        assert!((asked - 1.10_f32.ln()).abs() < 0.015, "{strategy:?}: {asked}");
        assert!(state.feedback().trim_ln().abs() < 0.015, "{strategy:?}: {}", state.feedback().trim_ln());
        assert!(state.counts().lessons() > 3000 && state.counts().of(Refusal::Starting) > 500);
    }
}

#[test]
fn an_error_that_differs_over_the_map_is_learned_where_it_is() {
    let mut brake = brake(Options::default());
    brake.error = |_, map_pa| if map_pa < 50e3 { 1.10 } else { 0.92 };
    brake.run(20.0);
    for _ in 0..6 {
        for (speed, map_pa) in [(120.0, 37e3), (160.0, 37e3), (160.0, 64e3), (220.0, 64e3)] {
            (brake.speed_rad_per_s, brake.map_pa) = (speed, map_pa);
            brake.run(15.0);
        }
    }
    let calibration = brake.controller.calibration().clone();
    let low = asked_ln(&brake.controller, &calibration.setup().weights(37e3, 150.0));
    let high = asked_ln(&brake.controller, &calibration.setup().weights(64e3, 190.0));
    assert!((low - 1.10_f32.ln()).abs() < 0.02 && (high - 0.92_f32.ln()).abs() < 0.02, "{low} {high}");
    let learned = brake.controller.state().learned();
    let never = learned.at(&calibration.setup().weights(100e3, 480.0));
    assert!(
        (never - learned.common.flow_ln).abs() < 1e-3,
        "where it never was it follows what all have in common"
    );
}

#[test]
fn a_wrong_delay_and_gain_leave_the_loop_stable() {
    for (delay_factor, gain) in [(0.5, 1.0), (2.0, 1.0), (1.0, 1.5), (1.5, 1.5), (1.0, 0.67)] {
        let mut brake = brake(Options { learning: false, ..Options::default() });
        (brake.delay_factor, brake.gain) = (delay_factor, gain);
        brake.error = |_, _| 1.10;
        brake.run(60.0);
        let (mut low, mut high) = (9.0_f32, 0.0_f32);
        for _ in 0..1000 {
            brake.run(0.01);
            (low, high) = (low.min(brake.lambda), high.max(brake.lambda));
        }
        assert!(high - low < 0.02 && (high - 1.0).abs() < 0.02, "{delay_factor} {gain}: {low} to {high}");
    }
}

#[test]
fn the_learned_map_started_from_is_used_at_once() {
    let mut first = brake(Options::default());
    first.error = |_, _| 1.10;
    first.run(120.0);
    let learned = first.controller.state().learned().clone();
    let mut second = brake(Options { feedback: false, learning: false, ..Options::default() });
    second.controller = second.controller.clone().with_learned(learned);
    second.error = first.error;
    second.run(60.0);
    assert!((second.lambda - 1.0).abs() < 0.015, "{}", second.lambda);
}

#[test]
fn a_state_put_back_gives_the_same_commands_again() {
    let mut brake = brake(Options::default());
    brake.error = |speed, _| 1.0 + speed * 2e-4;
    brake.run(30.0);
    let mut twin = Brake::new(brake.controller.calibration().clone());
    twin.controller.restore(brake.controller.state().clone());
    assert_eq!(twin.controller, brake.controller);
}

#[test]
fn coasting_cuts_the_fuel_and_freezes_both_trims() {
    let mut brake = brake(Options::default());
    brake.error = |_, _| 1.05;
    brake.run(60.0);
    let before = brake.controller.state().clone();
    (brake.tp, brake.map_pa, brake.speed_rad_per_s) = (0.0, 25e3, 250.0);
    brake.run(1.5);
    let cut = *brake.controller.state().feedback();
    brake.run(4.0);
    assert_eq!(brake.commands.open_time_s, [0.0; 8]);
    assert_eq!(brake.controller.state().phase().phase(), Phase::FuelCut);
    let after = brake.controller.state();
    assert!((after.feedback().trim_ln() - cut.trim_ln()).abs() < 0.02);
    assert!(after.counts().of(Refusal::FuelCut) > before.counts().of(Refusal::FuelCut) + 150);
    let moved = after.learned().ln.flat().iter().zip(before.learned().ln.flat());
    assert!(moved.map(|(after, before)| (after - before).abs()).fold(0.0, f32::max) < 0.01);
}

#[test]
fn a_lost_wire_is_survived_without_learning_and_heals() {
    type Spoil = fn(&mut trimwright_signals::Frame);
    let spoils: [(&str, Spoil); 10] = [
        ("P0107", |frame| frame.map_v = 0.0),
        ("P0108", |frame| frame.map_v = 5.0),
        ("P0106", |frame| frame.map_v = 2.0),
        ("P0122", |frame| frame.tp_v = 0.0),
        ("P0118", |frame| frame.ect_v = 5.0),
        ("P0113", |frame| frame.iat_v = 5.0),
        ("P0192", |frame| frame.frp_v = 0.0),
        ("P0131", |frame| frame.o2_v = 0.0),
        ("P0132", |frame| frame.o2_v = 5.0),
        ("P0134", |frame| frame.o2_v = 2.5),
    ];
    for (code, spoil) in spoils {
        let mut brake = brake(Options::default());
        brake.error = |_, _| 1.05;
        brake.run(60.0);
        let before = brake.controller.state().learned().clone();
        brake.spoil = spoil;
        brake.run(3.0);
        assert!(brake.controller.state().dtcs().active().map(|dtc| dtc.code()).eq([code]), "{code}");
        assert!(brake.commands.open_time_s.iter().any(|open| *open > 0.0) || brake.lambda < 1.6, "{code}");
        brake.run(10.0);
        let learned = brake.controller.state().learned();
        let moved =
            learned.ln.flat().iter().zip(before.ln.flat()).map(|(after, before)| (after - before).abs());
        assert!(moved.fold(0.0, f32::max) < 0.01, "{code}");
        brake.spoil = |_| ();
        brake.run(6.0);
        assert_eq!(brake.controller.state().dtcs().active().count(), 0, "{code}");
    }
}
