//! Filling and emptying of the intake manifold, on the whole plant held at a speed by a dynamometer.

use std::f64::consts::PI;
use trimwright_plant::{DriverInputs, GearRange, Key, Plant, Truth};
use trimwright_signals::Commands;

const STEP_S: f64 = 1e-4;

/// A motored engine without fuel, walls at air temperature, filling efficiency without overlap and deviation.
fn motored() -> Truth {
    let mut truth = Truth::mild_v8();
    (truth.filling.overlap, truth.filling.deviation) = (0.0, 0.0);
    (truth.manifold.wall_w_per_k, truth.manifold.wall_share) = (0.0, 0.0);
    (truth.throttle.leak_m2, truth.throttle.closed_plate_deg) = (0.0, 0.0);
    truth
}

/// Mass of air in the manifold, kg.
fn mass_kg(plant: &Plant) -> f64 {
    let view = plant.view();
    view.map_pa * plant.truth().manifold.volume_m3 / (287.05 * view.manifold_k)
}

/// Source: a manifold that nothing flows into empties with the time constant `2 V_m / (eta_v V_d n)` of the filling-and-emptying
/// model (Hendricks et al., SAE 960037; Guzzella and Onder, ch. 2), eta_v being the truth's own at each moment.
#[test]
fn val_emptying_follows_the_published_time_constant() {
    for rpm in [700.0, 2000.0, 4000.0] {
        let speed = rpm * PI / 30.0;
        let truth = motored();
        let (volume_m3, cylinders) = (truth.manifold.volume_m3, f64::from(truth.engine.cylinders));
        let mut plant = Plant::new(truth, 1).expect("a valid truth");
        let inputs = |throttle| DriverInputs {
            key: Key::On,
            range: GearRange::Park,
            throttle,
            dyno_rad_per_s: Some(speed),
            ..DriverInputs::default()
        };
        let commands = Commands::default();
        for _ in 0..20_000 {
            plant.step(&commands, &inputs(1.0), STEP_S);
        }
        // The throttle needs some time to close.
        for _ in 0..400 {
            plant.step(&commands, &inputs(0.0), STEP_S);
        }
        let mut predicted_kg = mass_kg(&plant);
        let start_kg = predicted_kg;
        while predicted_kg > start_kg / std::f64::consts::E {
            let view = plant.view();
            let charge_kg = plant.truth().air_charge_kg(view.map_pa, view.manifold_k, speed);
            let density = view.map_pa / (287.05 * view.manifold_k);
            // Cylinders * charges a second over what fills the manifold: the inverse of the published constant.
            let per_s = charge_kg / density * cylinders * rpm / 120.0 / volume_m3;
            predicted_kg *= (-per_s * STEP_S).exp();
            plant.step(&commands, &inputs(0.0), STEP_S);
        }
        let ratio = mass_kg(&plant) / predicted_kg;
        assert!((ratio - 1.0).abs() < 0.03, "{rpm} rpm: {ratio}");
    }
}
