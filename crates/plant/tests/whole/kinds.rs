//! Engines of different kinds start, idle and reach full load within the usual bands.

use crate::rig::{Rig, warm};
use trimwright_plant::gas::{CYCLE_RAD, RPM};
use trimwright_plant::{Coupling, Engine, Truth};

/// An invented engine of another displacement, with all parameters that depend on it scaled.
fn scaled(displacement_m3: f64, cylinders: u8, compression_ratio: f64) -> Truth {
    let mut truth = warm();
    let scale = displacement_m3 / truth.engine.displacement_m3;
    truth.engine = Engine { displacement_m3, cylinders, compression_ratio };
    truth.manifold.volume_m3 *= scale;
    truth.throttle.leak_m2 *= scale;
    truth.throttle.iac_m2 *= scale;
    truth.injectors.static_flow_kg_per_s *= scale;
    truth.exhaust.pipe_m3 *= scale;
    truth.exhaust.cooling_kg_per_s *= scale;
    truth.exhaust.back_pressure /= scale * scale;
    truth.crank.starter_nm *= scale;
    truth.electrical.starter_a *= scale;
    truth.electrical.battery_cca_a *= scale;
    truth.crank.inertia_kg_m2 *= scale;
    truth.friction.ac_nm *= scale;
    truth
}

fn straight_six() -> Truth {
    let mut truth = scaled(4.1e-3, 6, 8.2);
    truth.exhaust.banks = 1;
    truth.exhaust.cooling_kg_per_s *= 2.0;
    truth.exhaust.pipe_m3 *= 1.3;
    truth.throttle.bores = 2;
    truth.injectors.count = 2;
    truth.injectors.static_flow_kg_per_s *= 2.0;
    truth
}

fn four() -> Truth {
    let mut truth = scaled(2.0e-3, 4, 9.5);
    truth.exhaust.banks = 1;
    truth.throttle.bores = 2;
    truth.throttle.bore_m = 0.034;
    truth.injectors.count = 2;
    truth.injectors.static_flow_kg_per_s *= 2.0;
    truth.filling.overlap = 0.05;
    truth.filling.speed_rad_per_s =
        [700.0, 1200.0, 2000.0, 2900.0, 3800.0, 4600.0, 5400.0, 6200.0].map(|rpm| rpm * RPM);
    truth.vehicle.mass_kg = 1050.0;
    truth.gearbox.coupling = Coupling::Clutch;
    (truth.gearbox.clutch_torque_nm, truth.gearbox.clutch_bite_rad_per_s) = (250.0, 110.0);
    truth
}

fn hot_v8() -> Truth {
    let mut truth = scaled(7.0e-3, 8, 10.2);
    truth.filling.overlap = 0.6;
    truth.filling.speed_rad_per_s =
        [600.0, 1300.0, 2200.0, 3200.0, 4200.0, 5000.0, 5800.0, 6500.0].map(|rpm| rpm * RPM);
    truth.throttle.iac_m2 *= 1.5;
    truth.fuel.octane = 98.0;
    truth.nitrous.bottle_kg = 4.5;
    truth.nitrous.jet_m2 = 6e-7;
    truth
}

#[test]
fn each_kind_starts_idles_and_reaches_full_load() {
    for (name, truth, full_rpm, iac_duty) in [
        ("six", straight_six(), 2400.0, 0.65),
        ("four", four(), 3600.0, 0.65),
        ("hot", hot_v8(), 4200.0, 0.5),
    ] {
        let mut rig = Rig::new(truth);
        rig.commands.iac_duty = iac_duty;
        rig.start(15.0);
        let idle = rig.rpm();
        assert!((550.0..1500.0).contains(&idle), "{name}: {idle} rpm");
        assert!(rig.plant.view().sensor_lambda > 0.9 && rig.plant.view().sensor_lambda < 1.1, "{name}");
        rig.inputs.dyno_rad_per_s = Some(full_rpm * RPM);
        rig.inputs.throttle = 1.0;
        rig.lambda = 0.87;
        rig.run(4.0);
        let view = rig.plant.view();
        let bmep_pa = view.load_nm * CYCLE_RAD / rig.plant.truth().engine.displacement_m3;
        // 8 to 11.5 bar for naturally aspirated petrol engines: common practice, no source.
        assert!((8e5..11.5e5).contains(&bmep_pa), "{name}: {bmep_pa}");
        assert!(view.rail_pa > 0.95 * rig.plant.truth().fuel_system.regulator_pa, "{name}: {}", view.rail_pa);
    }
}

#[test]
fn the_sensor_of_a_single_bank_sees_every_cylinder() {
    let mut truth = straight_six();
    truth.distribution.spread = 0.2;
    let mut rig = Rig::new(truth);
    // Turned from the start, at a road load: on its own it would hardly idle on such unequal cylinders.
    rig.inputs.dyno_rad_per_s = Some(1500.0 * RPM);
    rig.inputs.throttle = 0.1;
    rig.start(20.0);
    let mut sum = 0.0;
    for _ in 0..200 {
        rig.run(0.05);
        sum += rig.plant.view().sensor_lambda;
    }
    assert!((sum / 200.0 - 1.0).abs() < 0.03, "{}", sum / 200.0);
}
