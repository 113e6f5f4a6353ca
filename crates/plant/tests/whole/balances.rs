//! Mass and energy balances close; the same seed repeats; the numerics are converged.

use crate::rig::{Rig, warm};
use trimwright_plant::gas::RPM;
use trimwright_plant::{Balances, Disturbances, GearRange, Key, Molecule, Truth};

/// A drive of about a minute with load, overrun, braking and grade.
fn drive(rig: &mut Rig) {
    rig.start(8.0);
    rig.inputs.range = GearRange::Drive;
    for second in 0..60 {
        rig.inputs.throttle = [0.05, 0.2, 0.12, 0.0, 0.6, 0.02][second / 10 % 6];
        rig.inputs.brake = if second % 10 > 7 { 0.3 } else { 0.0 };
        rig.inputs.grade = 0.02 * (second % 3) as f64;
        rig.run(1.0);
    }
    rig.inputs.key = Key::Off;
    rig.run(3.0);
}

fn closes(name: &str, left: f64, right: f64) {
    assert!(left > 0.0 && (left / right - 1.0).abs() < 1e-9, "{name}: {left} against {right}");
}

fn check(balances: &Balances, heating_value: f64) {
    closes(
        "manifold air",
        balances.air_start_kg + balances.air_in_kg,
        balances.air_out_kg + balances.air_stored_kg,
    );
    closes("drawn air", balances.air_out_kg, balances.air_drawn_kg + balances.air_pending_kg);
    closes(
        "fuel from the tank",
        balances.fuel_start_kg,
        balances.fuel_tank_kg + balances.fuel_line_kg + balances.fuel_injected_kg + balances.fuel_jet_kg,
    );
    closes(
        "fuel in the manifold",
        balances.fuel_injected_kg + balances.fuel_jet_kg + balances.fuel_vapour_kg,
        balances.fuel_wall_kg
            + balances.fuel_airborne_kg
            + balances.fuel_vapour_pending_kg
            + balances.fuel_drawn_kg,
    );
    closes(
        "fuel in the cylinders",
        balances.fuel_drawn_kg,
        balances.fuel_in_cylinders_kg + balances.fuel_burned_kg + balances.fuel_unburned_kg,
    );
    let fired_kg = balances.fuel_drawn_kg - balances.fuel_in_cylinders_kg;
    let petrol = Molecule::of(&Truth::mild_v8().fuel);
    closes("carbon", fired_kg * petrol.carbon_share(), balances.exhaust.carbon_kg(&petrol));
    let fired_j = fired_kg * heating_value;
    closes("fuel energy", fired_j, balances.released_j + balances.unreleased_j);
    closes("heat", balances.released_j, balances.work_j + balances.coolant_j + balances.exhaust_j);
    closes(
        "crank",
        balances.crank_indicated_j + balances.starter_j,
        balances.kinetic_j + balances.pumping_j + balances.losses_j + balances.load_j,
    );
    // The crank integrates with the mean speed of each step, the cylinders by angle.
    assert!((balances.crank_indicated_j / balances.work_j - 1.0).abs() < 5e-3, "{balances:?}");
}

#[test]
fn ident_mass_and_energy_close_over_a_drive() {
    let mut rig = Rig::new(warm());
    drive(&mut rig);
    check(&rig.plant.balances(), rig.plant.truth().fuel.heating_value_j_per_kg());
}

#[test]
fn ident_mass_and_energy_close_from_a_cold_start_with_faults_and_nitrous() {
    let mut truth = Truth::mild_v8();
    truth.ambient.sea_level_k = 258.15;
    truth.thermal.start_k = 258.15;
    truth.thermal.start_bonnet_k = 258.15;
    truth.faults.exhaust_leak_kg_per_s = 1e-3;
    truth.faults.vacuum_leak_m2 = 1e-5;
    truth.nitrous.bottle_kg = 2.0;
    truth.nitrous.jet_m2 = 3e-7;
    truth.nitrous.fuel_jet_ratio = 0.1;
    let mut rig = Rig::new(truth);
    // While it cranks, nitrous oxide would leave no room for air.
    rig.start(8.0);
    rig.commands.nitrous = true;
    rig.inputs.nitrous_armed = true;
    rig.lambda = 0.8;
    drive(&mut rig);
    assert!(rig.plant.balances().fuel_jet_kg > 0.0 && rig.plant.balances().fuel_unburned_kg > 0.0);
    check(&rig.plant.balances(), rig.plant.truth().fuel.heating_value_j_per_kg());
}

#[test]
fn the_same_seed_repeats_to_the_bit_and_another_does_not() {
    let end = |seed: u64| {
        let mut rig = Rig::new(warm());
        rig.plant = trimwright_plant::Plant::new(warm(), seed).unwrap();
        drive(&mut rig);
        (rig.plant.view(), rig.plant.balances())
    };
    assert_eq!(end(3), end(3));
    assert_ne!(end(3), end(4));
}

#[test]
fn half_the_step_changes_key_results_by_less_than_half_a_percent() {
    let results = |dt_s: f64| {
        let mut truth = warm();
        truth.trigger.jitter_deg = 0.0;
        truth.combustion.variation = 0.0;
        let mut rig = Rig::new(truth);
        rig.dt_s = dt_s;
        rig.start(8.0);
        rig.inputs.range = GearRange::Drive;
        let mut lambda_sum = 0.0;
        for second in 0..40 {
            rig.inputs.throttle = [0.05, 0.15, 0.1, 0.2][second / 10 % 4];
            rig.run(1.0);
            lambda_sum += rig.plant.view().sensor_lambda;
        }
        let view = rig.plant.view();
        [view.distance_m, rig.plant.balances().fuel_injected_kg, lambda_sum, view.coolant_k]
    };
    let (whole, half) = (results(1e-3), results(5e-4));
    for (one, two) in whole.into_iter().zip(half) {
        assert!((one / two - 1.0).abs() < 5e-3, "{whole:?} {half:?}");
    }
}

#[test]
fn ident_steady_charge_is_that_of_the_pure_function() {
    let mut truth = warm();
    truth.filling.deviation = 0.15;
    // The pure function knows nothing of what passes.
    truth.disturbances =
        Disturbances { charge_fast_ln: 0.0, charge_ln: 0.0, drift_ln: 0.0, ..truth.disturbances };
    let mut rig = Rig::new(truth);
    rig.start(5.0);
    for (rpm, throttle) in [(700.0, 0.0), (1500.0, 0.1), (2500.0, 0.2), (3500.0, 1.0)] {
        rig.inputs.dyno_rad_per_s = Some(rpm * RPM);
        rig.inputs.throttle = throttle;
        rig.run(6.0);
        while rig.plant.events().is_empty() {
            rig.step();
        }
        let event = rig.plant.events()[0];
        let want_kg = rig.plant.truth().air_charge_kg(event.map_pa, event.manifold_k, event.speed_rad_per_s);
        assert!((event.air_kg / want_kg - 1.0).abs() < 0.01, "{rpm}: {} {want_kg}", event.air_kg);
    }
}
