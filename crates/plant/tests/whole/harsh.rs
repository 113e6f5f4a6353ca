//! Random truths, inputs and commands: all quantities stay finite and physical.

use rand_xoshiro::Xoshiro256PlusPlus;
use rand_xoshiro::rand_core::{Rng, SeedableRng};
use trimwright_numerics::parameters::padded;
use trimwright_plant::{
    Circuit, Coupling, DriverInputs, Faults, GearRange, Ignition, Key, Plant, SenderKind, Supply, Truth,
};
use trimwright_signals::Commands;

struct RandomInputs(Xoshiro256PlusPlus);

impl RandomInputs {
    /// Uniform in the range, and at one of its ends in a fifth of all cases.
    fn between(&mut self, low: f64, high: f64) -> f64 {
        match self.0.next_u64() % 10 {
            0 => low,
            1 => high,
            _ => low + (high - low) * (self.0.next_u64() >> 11) as f64 / (1u64 << 53) as f64,
        }
    }

    fn pick<T: Copy>(&mut self, of: &[T]) -> T {
        of[(self.0.next_u64() % of.len() as u64) as usize]
    }

    fn coin(&mut self) -> bool {
        self.0.next_u64().is_multiple_of(2)
    }

    /// Any number, also NaN, infinite and huge ones.
    fn any_number(&mut self) -> f64 {
        let usual = self.between(-1.0, 2.0);
        self.pick(&[usual, usual, usual, f64::NAN, f64::INFINITY, f64::NEG_INFINITY, -1e30, 1e30, 0.0])
    }

    fn truth(&mut self) -> Truth {
        let mut t = Truth::mild_v8();
        t.ambient.altitude_m = self.between(-500.0, 5000.0);
        t.ambient.sea_level_k = self.between(240.0, 330.0);
        t.ambient.sea_level_pa = self.between(90e3, 108e3);
        t.ambient.relative_humidity = self.between(0.0, 1.0);
        t.fuel.ethanol_share = self.between(0.0, 0.85);
        t.fuel.octane = self.between(80.0, 110.0);
        t.fuel.vapour_pressure_pa = self.between(30e3, 110e3);
        t.throttle.bores = self.between(1.0, 4.0) as u8;
        t.throttle.bore_m = self.between(0.02, 0.1);
        t.throttle.closed_plate_deg = self.between(0.0, 20.0);
        t.throttle.leak_m2 = self.between(0.0, 2e-4);
        t.throttle.discharge = self.between(0.5, 1.0);
        t.throttle.secondary_start = self.between(0.0, 0.8);
        t.throttle.iac_m2 = self.between(0.0, 3e-4);
        t.engine.displacement_m3 = self.between(3e-4, 1.2e-2);
        t.engine.cylinders = self.between(2.0, 12.0) as u8;
        t.engine.compression_ratio = self.between(6.0, 14.0);
        t.manifold.volume_m3 = t.engine.displacement_m3 * self.between(0.301, 4.99);
        t.manifold.wall_w_per_k = self.between(0.0, 100.0);
        t.manifold.wall_share = self.between(0.0, 0.5);
        t.filling.overlap = self.between(0.0, 1.5);
        t.filling.deviation = self.between(0.0, 0.3);
        t.filling.deviation_seed = self.0.next_u64();
        for factor in &mut t.filling.speed_factor {
            *factor = self.between(0.2, 1.3);
        }
        t.injectors.count = self.between(1.0, 8.0) as u8;
        t.injectors.static_flow_kg_per_s = self.between(1e-4, 0.05);
        t.injectors.rated_drop_pa = self.between(50e3, 600e3);
        t.injectors.delay_pressure_slope = self.between(-0.5, 0.5);
        t.injectors.nonlinearity_s = self.between(0.0, 5e-4);
        t.injectors.spread = self.between(0.0, 0.2);
        t.injectors.clogged = [0.0; 8].map(|_| self.between(0.0, 1.0));
        t.fuel_system.supply = self.pick(&[Supply::Return, Supply::RegulatedAtTank, Supply::Returnless]);
        t.fuel_system.pump_free_kg_per_s = self.between(0.002, 0.3);
        t.fuel_system.pump_stall_pa = self.between(100e3, 2e6);
        t.fuel_system.regulator_pa = self.between(50e3, 700e3);
        t.fuel_system.regulator_band_pa = self.between(1e3, 100e3);
        t.fuel_system.manifold_referenced = self.coin();
        t.fuel_system.compliance_kg_per_pa = self.between(2e-10, 1e-6);
        t.fuel_system.bleed_kg_per_pa_s = self.between(0.0, 1e-7);
        t.fuel_system.line_m = self.between(0.1, 20.0);
        t.fuel_system.line_bore_m = self.between(0.003, 0.03);
        t.fuel_system.suction_m = self.between(0.0, 5.0);
        t.fuel_system.filter_pa = self.between(0.0, 100e3);
        t.fuel_system.rail_m3 = self.between(1e-6, 2e-3);
        t.fuel_system.line_filled = self.between(0.0, 1.0);
        // A tank that these runs can empty in half of the cases.
        t.fuel_system.tank_kg = if self.coin() { self.between(0.0, 500.0) } else { self.between(0.0, 0.05) };
        t.fuel_system.slosh_kg = self.between(0.0, 50.0);
        t.fuel_system.fuel_k = self.between(240.0, 340.0);
        t.film.x_scale = self.between(0.0, 2.0);
        t.film.tau_scale = self.between(0.2, 5.0);
        t.film.flash_share = self.between(0.0, 1.0);
        t.film.draw_share = self.between(0.05, 1.0);
        t.film.air_heat_share = self.between(0.0, 1.0);
        t.distribution.spread = self.between(0.0, 0.3);
        t.combustion.ignition = self.pick(&[Ignition::Commanded, Ignition::Distributor]);
        t.combustion.coolant_share = self.between(0.1, 0.5);
        t.combustion.variation = self.between(0.0, 0.1);
        t.electrical.battery_ah = self.between(5.0, 300.0);
        t.combustion.lean_limit = self.between(1.1, 1.8);
        t.friction.scale = self.between(0.5, 2.0);
        t.friction.viscosity_exponent = self.between(0.0, 0.4);
        t.friction.oil_40_degc_m2_per_s = self.between(20e-6, 250e-6);
        t.friction.oil_100_degc_m2_per_s = self.between(4e-6, 20e-6);
        t.crank.inertia_kg_m2 = self.between(0.03, 2.0);
        t.crank.starter_nm = self.between(20.0, 800.0);
        t.gearbox.coupling = self.pick(&[Coupling::Converter, Coupling::Clutch]);
        t.gearbox.clutch_torque_nm = self.between(50.0, 2000.0);
        t.gearbox.clutch_bite_rad_per_s = self.between(60.0, 300.0);
        t.vehicle.mass_kg = self.between(300.0, 20e3);
        t.exhaust.banks = self.between(1.0, 2.0) as u8;
        t.exhaust.pipe_m3 = self.between(2e-4, 0.05);
        t.exhaust.mixing_m3 = self.between(1e-5, 0.01);
        t.exhaust.cooling_kg_per_s = self.between(0.0, 0.05);
        t.exhaust.back_pressure = self.between(0.0, 5e6);
        t.oxygen_sensor.tau_s = self.between(0.01, 2.0);
        t.sensors.map_ripple_pa = self.between(0.0, 5e3);
        t.sensors.noise_v = self.between(0.0, 0.1);
        t.sensors.pulses_per_firing = self.between(1.0, 4.0) as u8;
        t.sensors.tp_limits_v = [self.between(0.0, 2.0), self.between(2.0, 5.0)];
        t.sensors.map_pa =
            padded([(self.between(0.0, 2.0), 0.0), (self.between(2.0, 5.0), self.between(0.0, 500e3))]);
        t.sensors.lambda = padded([(0.0, self.between(0.3, 5.0)), (5.0, self.between(0.3, 5.0))]);
        t.sensors.ect_sender = self.pick(&[
            SenderKind::TenKiloOhm,
            SenderKind::TwoKiloOhm,
            SenderKind::Coefficients,
            SenderKind::Points,
        ]);
        t.sensors.ect_coefficients = [0.0; 4].map(|_| self.between(-0.1, 0.1));
        t.sensors.ect_pull_up_ohm = self.between(100.0, 100e3);
        t.trigger.jitter_deg = self.between(0.0, 5.0);
        t.thermal.start_k = self.between(230.0, 390.0);
        t.thermal.coolant_j_per_k = self.between(1e4, 5e5);
        t.electrical.battery_cca_a = self.between(30.0, 2000.0);
        t.electrical.starter_a = self.between(0.0, 2000.0);
        t.nitrous.bottle_kg = self.between(0.0, 20.0);
        t.nitrous.jet_m2 = self.between(0.0, 1e-5);
        t.nitrous.fuel_jet_ratio = self.between(0.0, 0.3);
        t.nitrous.air_heat_share = self.between(0.0, 1.0);
        t.faults = Faults {
            vacuum_leak_m2: self.between(0.0, 2e-4),
            exhaust_leak_kg_per_s: self.between(0.0, 0.01),
            weak_pump: self.between(0.0, 1.0),
            clogged_filter: self.between(0.0, 1000.0),
            lost_pulses: self.between(0.0, 1.0),
            extra_pulses_hz: self.between(0.0, 1000.0),
            map: self.pick(&[Circuit::FaultFree, Circuit::Open, Circuit::Grounded, Circuit::Supplied]),
            thermostat_open: self.coin(),
            ..Faults::default()
        };
        t
    }

    fn inputs(&mut self) -> DriverInputs {
        let dyno = self.any_number() * 500.0;
        DriverInputs {
            key: self.pick(&[Key::Off, Key::On, Key::On, Key::Start]),
            throttle: self.any_number(),
            brake: self.any_number(),
            range: self.pick(&[GearRange::Park, GearRange::Drive]),
            ac: self.coin(),
            nitrous_armed: self.coin(),
            grade: self.any_number(),
            altitude_m: self.pick(&[None, Some(dyno * 10.0)]),
            dyno_rad_per_s: self.pick(&[None, Some(dyno)]),
        }
    }

    fn commands(&mut self) -> Commands {
        Commands {
            open_time_s: [0.0; 8].map(|_: f32| (self.any_number() * 0.01) as f32),
            spark_deg: (self.any_number() * 40.0) as f32,
            iac_duty: self.any_number() as f32,
            pump_duty: self.any_number() as f32,
            fan1: self.coin(),
            fan2: self.coin(),
            ac_clutch: self.coin(),
            nitrous: self.coin(),
        }
    }
}

/// All quantities are finite and within their physical limits.
fn physical(plant: &Plant) {
    let v = plant.view();
    for (name, value, low, high) in [
        ("speed", v.speed_rad_per_s, 0.0, 1500.0),
        ("map", v.map_pa, 1.0, 2e6),
        ("manifold temperature", v.manifold_k, 149.0, 701.0),
        ("throttle flow", v.throttle_kg_per_s, -40.0, 40.0),
        ("engine flow", v.engine_kg_per_s, 0.0, 10.0),
        ("fuel flow", v.injected_kg_per_s, 0.0, 2.0),
        ("film", v.film_kg, 0.0, 100.0),
        ("brake torque", v.brake_nm, -1e5, 1e5),
        ("load torque", v.load_nm, -1e5, 1e5),
        ("spark", v.spark_deg, -60.0, 90.0),
        ("knock", v.knock_index, 0.0, 100.0),
        ("car", v.vehicle_m_per_s, 0.0, 150.0),
        ("exhaust lambda", v.exhaust_lambda, 0.0, 20.0),
        ("sensor lambda", v.sensor_lambda, 0.5, 2.0),
        ("exhaust", v.exhaust_k, 150.0, 1500.0),
        ("back pressure", v.back_pressure_pa, 1e4, 1e6),
        ("coolant", v.coolant_k, 200.0, 450.0),
        ("iat", v.intake_k, 180.0, 450.0),
        ("supply", v.supply_v, 0.0, 17.0),
        // Down to a vacuum where the fuel is sucked out; the relief valve opens at 2 MPa, and outside air may fall afterwards.
        ("rail", v.rail_pa, -115e3, 2.1e6),
        ("tank", v.tank_kg, 0.0, 500.0 + 20.0),
        ("line", v.line_kg, -1e-12, 20.0),
        ("injector drop", v.injector_drop_pa, -2e6, 3e6),
    ] {
        assert!(value >= low && value <= high, "{name}: {value}");
    }
    // Fuel never exceeds what tank, line and rail held.
    let b = plant.balances();
    let now_kg = b.fuel_tank_kg + b.fuel_line_kg + b.fuel_injected_kg + b.fuel_jet_kg;
    assert!((now_kg - b.fuel_start_kg).abs() <= 1e-11 * (1.0 + b.fuel_start_kg), "{b:?}");
    for event in plant.events() {
        for mass in [event.air_kg, event.fuel_kg, event.nitrous_kg, event.cylinder_fuel_kg, event.water_kg] {
            assert!((0.0..10.0).contains(&mass), "{event:?}");
        }
        assert!(event.lambda >= 0.0 && event.lambda <= 20.0, "{event:?}");
    }
}

fn run_random(seed: u64, steps: u32) {
    let mut random = RandomInputs(Xoshiro256PlusPlus::seed_from_u64(seed));
    let truth = random.truth();
    let mut plant = Plant::new(truth.clone(), seed).unwrap_or_else(|error| panic!("seed {seed}: {error}"));
    let mut inputs = random.inputs();
    let mut last_us = 0;
    for step in 0..steps {
        if step % 16 == 0 {
            inputs = random.inputs();
        }
        let commands = if step % 4 == 0 { random.commands() } else { Commands::default() };
        let dt_s = random.pick(&[1e-3, 1e-3, 5e-4, 2e-3, f64::NAN, 1.0]);
        let frame = plant.step(&commands, &inputs, dt_s);
        for volts in [frame.map_v, frame.tp_v, frame.ect_v, frame.iat_v, frame.frp_v, frame.o2_v] {
            assert!((0.0..=5.0).contains(&volts), "seed {seed}: {frame:?}");
        }
        assert!(
            frame.vss_hz.is_finite() && (0.0..=20.0).contains(&frame.battery_v),
            "seed {seed}: {frame:?}"
        );
        for &pulse_us in &frame.pulses_us {
            assert!(pulse_us >= last_us && pulse_us <= frame.time_us + 1, "seed {seed}: {frame:?}");
        }
        last_us = frame.time_us.saturating_sub(1);
        physical(&plant);
    }
}

#[test]
fn a_hundred_thousand_short_runs_stay_physical() {
    let (runs, steps) = (100_000, 24);
    for seed in 0..runs {
        run_random(seed, steps);
    }
    println!("{runs} random vehicles and sequences of commands, {steps} steps each");
}

#[test]
fn a_few_long_runs_stay_physical() {
    for seed in 0..100 {
        run_random(1_000_000 + seed, 5_000);
    }
}
