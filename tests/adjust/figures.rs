//! Figures of an engine, each measured in a separate test on the engine, not taken from commands.

use trimwright_harness::closed_loop::ClosedLoop;
use trimwright_plant::Key;

use super::bench::{Bench, RPM, ZERO_DEGC_K, at_degc};
use super::car::Car;

/// Temperature of a cold start, degC.
const COLD_DEGC: f64 = 10.0;
/// Cruise: speed, rpm, and load.
const CRUISE: (f64, f64) = (2000.0, 0.5);

/// The car's speed at full load: the middle of its range, rad/s.
fn middle(car: &Car) -> f64 {
    0.5 * f64::from(car.scenario.answers.rev_limit_rad_per_s)
}

fn idle(car: &Car) -> f64 {
    f64::from(car.scenario.answers.idle_speed_rad_per_s)
}

fn cruising(car: &Car) -> Bench {
    let mut bench = car.warm();
    bench.hold_load(CRUISE.0 * RPM, CRUISE.1, 8.0);
    bench
}

/// Full throttle after settling of the trim.
fn flat_out(car: &Car) -> Bench {
    let mut bench = car.warm();
    bench.hold(middle(car), 0.3, 4.0);
    bench.hold(middle(car), 1.0, 5.0);
    bench
}

fn cold(car: &Car) -> Bench {
    let mut bench = stopped(car, COLD_DEGC);
    bench.start();
    bench
}

fn stopped(car: &Car, degc: f64) -> Bench {
    let scenario = &car.scenario;
    Bench::stopped(at_degc(&scenario.truth, degc), scenario.seed, car.calibration.clone())
}

/// Lambda at full throttle.
pub(crate) fn full_load_lambda(car: &Car) -> f64 {
    flat_out(car).lambda(2.0)
}

/// Lambda at a load of 0.8, above cruise and below where power enrichment sets in by default.
pub(crate) fn climbing_lambda(car: &Car) -> f64 {
    let mut bench = car.warm();
    bench.hold_load(CRUISE.0 * RPM, 0.8, 8.0);
    bench.lambda(2.0)
}

/// Lambda at cruise.
pub(crate) fn cruise_lambda(car: &Car) -> f64 {
    cruising(car).lambda(2.0)
}

/// Lambda of a hot idle.
pub(crate) fn idle_lambda(car: &Car) -> f64 {
    let mut bench = car.warm();
    bench.run(6.0, |_| ());
    bench.lambda(4.0)
}

/// Lambda of a cold engine after the after-start enrichment, with active trim.
pub(crate) fn cold_lambda(car: &Car) -> f64 {
    let mut bench = cold(car);
    bench.run(45.0, |_| ());
    bench.lambda(3.0)
}

/// Lambda in the third and fourth second after a cold start.
pub(crate) fn lambda_after_start(car: &Car) -> f64 {
    let mut bench = cold(car);
    bench.run(2.0, |_| ());
    bench.lambda(2.0)
}

/// Lambda in the fourteenth and fifteenth second after a cold start.
pub(crate) fn lambda_later_after_start(car: &Car) -> f64 {
    let mut bench = cold(car);
    bench.run(13.0, |_| ());
    bench.lambda(2.0)
}

/// Fuel through the injectors for each charge drawn in a second of cranking without a start, mg.
pub(crate) fn cranking_mg_a_charge(car: &Car) -> f64 {
    cranked_mg_a_charge(car, 0.0)
}

/// The same with the pedal three quarters down.
pub(crate) fn cranking_mg_a_charge_with_the_pedal_down(car: &Car) -> f64 {
    cranked_mg_a_charge(car, 0.75)
}

fn cranked_mg_a_charge(car: &Car, throttle: f64) -> f64 {
    let mut bench = stopped(car, COLD_DEGC);
    bench.run(2.0, |_| ());
    let before_mg = injected_mg(&bench);
    // Held at the starter's speed: an engine that starts would be cranked for a few charges only.
    bench.inputs.key = Key::Start;
    bench.hold(200.0 * RPM, throttle, 0.0);
    let mut charges = 0;
    bench.run(1.0, |closed_loop| charges += closed_loop.plant().events().len());
    (injected_mg(&bench) - before_mg) / charges as f64
}

/// Fuel through the injectors before the crank turns, mg.
pub(crate) fn prime_mg(car: &Car) -> f64 {
    let mut bench = stopped(car, COLD_DEGC);
    bench.run(2.0, |_| ());
    injected_mg(&bench)
}

/// Time of the priming, s.
pub(crate) fn prime_s(car: &Car) -> f64 {
    stopped(car, COLD_DEGC).until(2.0, |closed_loop| closed_loop.plant().balances().fuel_injected_kg > 0.0)
}

fn injected_mg(bench: &Bench) -> f64 {
    1e6 * bench.closed_loop.plant().balances().fuel_injected_kg
}

/// Highest speed within 3 s after a start, rpm.
pub(crate) fn flare_rpm(car: &Car) -> f64 {
    let mut bench = stopped(car, 88.0);
    bench.start();
    fastest_rpm(&mut bench, 3.0)
}

fn fastest_rpm(bench: &mut Bench, seconds: f64) -> f64 {
    let mut fastest = 0.0_f64;
    bench.run(seconds, |closed_loop| fastest = fastest.max(closed_loop.view().speed_rad_per_s / RPM));
    fastest
}

fn rpm(closed_loop: &ClosedLoop) -> f64 {
    closed_loop.view().speed_rad_per_s / RPM
}

/// Speed of a hot idle, rpm.
pub(crate) fn hot_idle_rpm(car: &Car) -> f64 {
    let mut bench = car.warm();
    bench.run(30.0, |_| ());
    bench.mean(10.0, rpm)
}

/// Speed of a cold idle, rpm.
pub(crate) fn cold_idle_rpm(car: &Car) -> f64 {
    let mut bench = cold(car);
    bench.run(20.0, |_| ());
    bench.mean(4.0, rpm)
}

/// Speed of a hot idle with air conditioning, rpm.
pub(crate) fn ac_idle_rpm(car: &Car) -> f64 {
    let mut bench = car.warm();
    bench.inputs.ac = true;
    bench.run(30.0, |_| ());
    bench.mean(10.0, rpm)
}

fn spark_deg(closed_loop: &ClosedLoop) -> f64 {
    closed_loop.view().spark_deg
}

/// Charges of a hundred that knock at full throttle and 2200 rpm with fuel of ten octane less than the engine should have.
pub(crate) fn knocks(car: &Car) -> f64 {
    let mut truth = at_degc(&car.scenario.truth, 88.0);
    truth.fuel.octane -= 10.0;
    let mut bench = Bench::stopped(truth, car.scenario.seed, car.calibration.clone());
    bench.start();
    bench.hold(2200.0 * RPM, 1.0, 2.0);
    let before = bench.closed_loop.plant().balances();
    bench.run(4.0, |_| ());
    let after = bench.closed_loop.plant().balances();
    100.0 * (after.knocks - before.knocks) as f64 / (after.charges - before.charges) as f64
}

/// Knock index at full throttle.
pub(crate) fn knock_index(car: &Car) -> f64 {
    flat_out(car).mean(2.0, |closed_loop| closed_loop.view().knock_index)
}

/// Spark in effect at full throttle, degrees before top dead centre.
pub(crate) fn full_load_spark_deg(car: &Car) -> f64 {
    flat_out(car).mean(1.0, spark_deg)
}

/// Torque at cruise, N m.
pub(crate) fn cruise_nm(car: &Car) -> f64 {
    cruising(car).mean(2.0, |closed_loop| closed_loop.view().brake_nm)
}

/// Spark in effect at cruise.
pub(crate) fn cruise_spark_deg(car: &Car) -> f64 {
    cruising(car).mean(2.0, spark_deg)
}

/// Spark in effect at a hot idle.
pub(crate) fn idle_spark_deg(car: &Car) -> f64 {
    let mut bench = car.warm();
    bench.run(6.0, |_| ());
    bench.mean(4.0, spark_deg)
}

/// Spark in effect under the starter.
pub(crate) fn cranking_spark_deg(car: &Car) -> f64 {
    let mut bench = stopped(car, 88.0);
    bench.run(2.0, |_| ());
    bench.inputs.key = Key::Start;
    bench.until(2.0, |closed_loop| closed_loop.plant().balances().charges > 0);
    spark_deg(&bench.closed_loop)
}

/// Spark in effect at full throttle with the coolant at 112 degC.
pub(crate) fn hot_spark_deg(car: &Car) -> f64 {
    let mut bench = stopped(car, 112.0);
    bench.start();
    bench.hold(middle(car), 1.0, 2.0);
    bench.mean(1.0, spark_deg)
}

/// Spark in effect just after the end of coasting.
pub(crate) fn returning_spark_deg(car: &Car) -> f64 {
    let mut bench = coasting(car);
    bench.inputs.throttle = 0.15;
    bench.run(0.05, |_| ());
    bench.mean(0.1, spark_deg)
}

/// Leanest lambda over the mixture before, the throttle opened from 10 to 60 % in 0.2 s.
pub(crate) fn tip_in_lean(car: &Car) -> f64 {
    tip_in(car).0
}

/// Mean lambda of the first second of that, over the mixture before.
pub(crate) fn tip_in_mean(car: &Car) -> f64 {
    tip_in(car).1
}

fn tip_in(car: &Car) -> (f64, f64) {
    let mut bench = car.warm().with_options(|options| options.feedback = false);
    bench.hold(1500.0 * RPM, 0.1, 4.0);
    let before = bench.lambda(1.0);
    let (mut leanest, mut sum, mut count) = (0.0_f64, 0.0, 0.0);
    for step in 1..=1000 {
        bench.inputs.throttle = 0.1 + 0.5 * (f64::from(step) * 1e-3 / 0.2).min(1.0);
        bench.run(1e-3, |closed_loop| {
            for event in closed_loop.plant().events() {
                leanest = leanest.max(event.lambda);
                sum += event.lambda;
                count += 1.0;
            }
        });
    }
    (leanest / before, sum / count / before)
}

/// Fuel cut with closed throttle at 3000 rpm, or less if the engine cannot reach it.
fn coasting(car: &Car) -> Bench {
    let mut bench = car.warm();
    bench.hold(coasts(car), 0.15, 2.0);
    bench.hold(coasts(car), 0.0, 2.5);
    bench
}

fn coasts(car: &Car) -> f64 {
    idle(car) + 200.0
}

/// Time for which no injector has opened, after which the fuel is cut, s.
const NONE_FOR_S: f64 = 0.1;

/// Detects a fuel cut: no injection for longer than between two firings.
#[derive(Default)]
struct FuelWatch {
    none_s: f64,
}

impl FuelWatch {
    fn is_cut(&mut self, closed_loop: &ClosedLoop) -> bool {
        let flows = closed_loop.view().injected_kg_per_s > 0.0;
        self.none_s = if flows { 0.0 } else { self.none_s + closed_loop.step_s() };
        self.none_s > NONE_FOR_S
    }
}

/// Speed over idle from which the fuel is cut when the car accelerates with closed throttle, rpm.
pub(crate) fn cut_from_rpm(car: &Car) -> f64 {
    let mut bench = car.warm();
    let (mut watch, mut over) = (FuelWatch::default(), 60.0);
    bench.hold(idle(car) + over, 0.0, 1.5);
    while !watch.is_cut(&bench.closed_loop) && over < 280.0 {
        over += 0.03;
        bench.hold(idle(car) + over, 0.0, 1e-3);
    }
    over / RPM
}

/// Speed over idle at which injection resumes when the car slows down, rpm.
pub(crate) fn cut_to_rpm(car: &Car) -> f64 {
    let mut bench = coasting(car);
    let (mut watch, mut over) = (FuelWatch { none_s: 1.0 }, 200.0);
    while watch.is_cut(&bench.closed_loop) && over > 0.0 {
        over -= 0.02;
        bench.hold(idle(car) + over, 0.0, 1e-3);
    }
    over / RPM
}

/// Time from closing the throttle at speed to the last injection, s; at most 6 s.
pub(crate) fn cut_after_s(car: &Car) -> f64 {
    let mut bench = car.warm();
    // Barely open before: after a larger opening the wall film alone would feed the engine for a while.
    bench.hold(coasts(car), 0.035, 4.0);
    bench.inputs.throttle = 0.0;
    let mut watch = FuelWatch::default();
    bench.until(6.0, |closed_loop| watch.is_cut(closed_loop)) - NONE_FOR_S
}

/// Highest speed with the pedal down out of gear, rpm.
pub(crate) fn highest_rpm(car: &Car) -> f64 {
    fastest_rpm(&mut at_the_limit(car), 3.0)
}

/// Lowest speed at the rev limit, rpm.
pub(crate) fn lowest_rpm_at_the_limit(car: &Car) -> f64 {
    let (mut bench, mut lowest) = (at_the_limit(car), f64::INFINITY);
    bench.run(3.0, |closed_loop| lowest = lowest.min(rpm(closed_loop)));
    lowest
}

fn at_the_limit(car: &Car) -> Bench {
    let mut bench = car.warm();
    bench.inputs.throttle = 0.5;
    let limit = f64::from(car.scenario.answers.rev_limit_rad_per_s);
    bench.until(8.0, |closed_loop| closed_loop.view().speed_rad_per_s > limit);
    bench
}

/// A loaded engine with covered radiator, `from_fan_k` from the switch-on temperature of its first fan.
fn covered(car: &Car, from_fan_k: f64) -> Bench {
    let mut truth = car.scenario.truth.clone();
    (truth.thermal.radiator_w_per_k, truth.thermal.radiator_per_speed) = (0.0, 0.0);
    let starts_degc = f64::from(car.scenario.answers.fan1_on_k) + from_fan_k - ZERO_DEGC_K;
    let truth = at_degc(&truth, starts_degc);
    let mut bench = Bench::stopped(truth, car.scenario.seed, car.calibration.clone());
    bench.start();
    bench
}

fn coolant_degc(bench: &Bench) -> f64 {
    bench.closed_loop.view().coolant_k - ZERO_DEGC_K
}

/// Coolant when the first fan comes on, degC.
pub(crate) fn fan1_on_degc(car: &Car) -> f64 {
    let mut bench = covered(car, -2.0);
    bench.hold_load(2500.0 * RPM, 0.6, 4.0);
    bench.until(60.0, |closed_loop| closed_loop.commands().fan1);
    coolant_degc(&bench)
}

/// Coolant when the second fan comes on, degC.
pub(crate) fn fan2_on_degc(car: &Car) -> f64 {
    let mut bench = covered(car, 3.0);
    bench.hold_load(2500.0 * RPM, 0.8, 4.0);
    bench.until(80.0, |closed_loop| closed_loop.commands().fan2);
    coolant_degc(&bench)
}

/// Coolant when the first fan stops again at idle, degC.
pub(crate) fn fan_off_degc(car: &Car) -> f64 {
    let mut bench = covered(car, 0.5);
    bench.run(4.0, |_| ());
    bench.until(200.0, |closed_loop| !closed_loop.commands().fan1);
    coolant_degc(&bench)
}

/// Nitrous armed, held so for 3 s.
fn boosted(car: &Car, over_idle_rad_per_s: f64, throttle: f64) -> Bench {
    let mut bench = car.warm();
    bench.hold(idle(car) + over_idle_rad_per_s, 0.3, 3.0);
    bench.hold(idle(car) + over_idle_rad_per_s, throttle, 1.5);
    bench.inputs.nitrous_armed = true;
    bench
}

fn nitrous_g_per_s(bench: &mut Bench) -> f64 {
    bench.run(2.0, |_| ());
    1e3 * bench.mean(0.5, |closed_loop| closed_loop.view().nitrous_kg_per_s)
}

/// Nitrous oxide at full throttle in the middle of its window, g/s.
pub(crate) fn full_nitrous_g_per_s(car: &Car) -> f64 {
    nitrous_g_per_s(&mut boosted(car, 240.0, 1.0))
}

/// The same with the coolant at 98 degC.
pub(crate) fn hot_nitrous_g_per_s(car: &Car) -> f64 {
    let mut truth = at_degc(&car.scenario.truth, 98.0);
    (truth.thermal.radiator_w_per_k, truth.thermal.radiator_per_speed, truth.thermal.fan_w_per_k) =
        (0.0, 0.0, 0.0);
    let mut bench = Bench::stopped(truth, car.scenario.seed, car.calibration.clone());
    bench.start();
    bench.run(26.0, |_| ());
    bench.hold(idle(car) + 240.0, 1.0, 1.5);
    bench.inputs.nitrous_armed = true;
    nitrous_g_per_s(&mut bench)
}

/// The same with the pedal 75 % down.
pub(crate) fn part_nitrous_g_per_s(car: &Car) -> f64 {
    nitrous_g_per_s(&mut boosted(car, 240.0, 0.75))
}

/// The same 1300 rpm above idle.
pub(crate) fn slow_nitrous_g_per_s(car: &Car) -> f64 {
    nitrous_g_per_s(&mut boosted(car, 136.0, 1.0))
}

/// The same 600 rpm below the rev limit.
pub(crate) fn fast_nitrous_g_per_s(car: &Car) -> f64 {
    let over = f64::from(car.scenario.answers.rev_limit_rad_per_s) - idle(car) - 63.0;
    nitrous_g_per_s(&mut boosted(car, over, 1.0))
}

/// Fuel of the engine with nitrous, g/s.
pub(crate) fn nitrous_fuel_g_per_s(car: &Car) -> f64 {
    let mut bench = boosted(car, 240.0, 1.0);
    bench.run(2.0, |_| ());
    1e3 * bench.mean(2.0, |closed_loop| closed_loop.view().injected_kg_per_s)
}

/// Spark in effect with nitrous.
pub(crate) fn nitrous_spark_deg(car: &Car) -> f64 {
    let mut bench = boosted(car, 240.0, 1.0);
    bench.run(2.0, |_| ());
    bench.mean(1.0, spark_deg)
}

/// Time from arming to nitrous, s.
pub(crate) fn nitrous_after_s(car: &Car) -> f64 {
    boosted(car, 240.0, 1.0).until(4.0, |closed_loop| closed_loop.commands().nitrous)
}

/// An engine whose injectors flow a fifth less from now on, at cruise, for so long.
fn starved(car: &Car, feedback: bool, learning: bool, seconds: f64) -> Bench {
    let mut bench =
        car.warm().with_options(|options| (options.feedback, options.learning) = (feedback, learning));
    bench.change_truth(|truth| truth.injectors.static_flow_kg_per_s *= 0.8);
    bench.hold_load(CRUISE.0 * RPM, CRUISE.1, seconds);
    bench
}

/// What the map gives of the fuel that is missing after a minute, per cent.
pub(crate) fn learned_percent(car: &Car) -> f64 {
    100.0 * f64::from(starved(car, true, true, 60.0).closed_loop.controller().state().insight().learned_ln)
}

/// The same after 4 s.
pub(crate) fn soon_learned_percent(car: &Car) -> f64 {
    100.0 * f64::from(starved(car, true, true, 4.0).closed_loop.controller().state().insight().learned_ln)
}

/// Standard deviation of the map where it has been taught for 15 s, per cent.
pub(crate) fn unsure_percent(car: &Car) -> f64 {
    let bench = starved(car, true, true, 15.0);
    let state = bench.closed_loop.controller().state();
    100.0 * f64::from(state.learned().variance.at(&state.insight().weights).sqrt())
}

/// The trim where nothing is learned, per cent.
pub(crate) fn trim_percent(car: &Car) -> f64 {
    100.0 * f64::from(starved(car, true, false, 15.0).closed_loop.controller().state().feedback().trim_ln())
}

/// The trim 1.5 s after the injectors' flow has fallen by a tenth, less that before, per cent.
pub(crate) fn soon_trim_percent(car: &Car) -> f64 {
    let mut bench = cruising(car).with_options(|options| options.learning = false);
    let trim = |bench: &Bench| f64::from(bench.closed_loop.controller().state().feedback().trim_ln());
    let before = trim(&bench);
    bench.change_truth(|truth| truth.injectors.static_flow_kg_per_s *= 0.9);
    bench.run(1.5, |_| ());
    100.0 * (trim(&bench) - before)
}

/// Lambda where nothing is learned.
pub(crate) fn starved_lambda(car: &Car) -> f64 {
    starved(car, true, false, 15.0).lambda(2.0)
}
