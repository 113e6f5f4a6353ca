//! Convergence: half the time step gives the same results.

use crate::rig::Rig;
use trimwright_harness::closed_loop::STEP_S;
use trimwright_harness::scenario::Scenario;

/// Largest relative change of the results when the step is halved.
const CONVERGED: f64 = 5e-3;

/// Distance, fuel injected, coolant over freezing, and the sensor's lambda second by second.
fn results(name: &str, step_s: f64, until_s: f64) -> ([f64; 3], Vec<f64>) {
    let mut scenario = Scenario::load(name).expect("it is shipped");
    // Random numbers of each step or event would come in another order.
    let truth = &mut scenario.truth;
    truth.trigger.jitter_deg = 0.0;
    truth.combustion.variation = 0.0;
    truth.sensors.noise_v = 0.0;
    truth.oxygen_sensor.noise = 0.0;
    truth.oxygen_sensor.drift = 0.0;
    let mut rig = Rig::of(scenario, step_s);
    let mut lambdas = Vec::new();
    for second in 1..=until_s as u32 {
        rig.run_to(f64::from(second));
        lambdas.push(rig.view().sensor_lambda);
    }
    let view = rig.view();
    ([view.distance_m, rig.balances().fuel_injected_kg, view.coolant_k - 273.15], lambdas)
}

#[test]
fn ident_half_the_step_changes_key_results_by_less_than_half_a_percent() {
    for (name, until_s) in [("delivery-van", 700.0), ("town-coupe", 400.0), ("dyno-map", 600.0)] {
        let (whole, whole_lambdas) = results(name, STEP_S, until_s);
        let (half, half_lambdas) = results(name, 0.5 * STEP_S, until_s);
        for (one, two) in whole.into_iter().zip(half) {
            assert!((one - two).abs() <= CONVERGED * two.abs(), "{name}: {whole:?} {half:?}");
        }
        assert_eq!(whole_lambdas.len(), half_lambdas.len());
        let moved = whole_lambdas.iter().zip(&half_lambdas).map(|(one, two)| (one / two - 1.0).abs());
        let moved = moved.sum::<f64>() / half_lambdas.len() as f64;
        assert!(moved < CONVERGED, "{name}: lambda moved by {moved} in the mean");
    }
}
