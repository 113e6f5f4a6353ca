//! The plant as a whole, driven open loop by a fuel law that knows the truth.

use trimwright_plant::gas::{ICE_K, RPM};
use trimwright_plant::{Hands, Key, Plant, Truth};
use trimwright_signals::Commands;

/// A plant with a fuel law that aims at a mixture from the true filling, so that the plant can be tried without a controller.
struct Rig {
    plant: Plant,
    hands: Hands,
    commands: Commands,
    lambda: f64,
    /// Fuel over what the mixture asks for, against film and cold.
    rich: f64,
    dt_s: f64,
}

impl Rig {
    fn new(truth: Truth) -> Self {
        let commands = Commands { pump_duty: 1.0, iac_duty: 0.3, spark_deg: 25.0, ..Commands::default() };
        let plant = Plant::new(truth, 5).unwrap();
        Self { plant, hands: Hands::default(), commands, lambda: 1.0, rich: 1.0, dt_s: 1e-3 }
    }

    fn step(&mut self) {
        let frame = self.plant.step(&self.commands, &self.hands, self.dt_s);

        self.commands.open_time_s = [0.0; 8];
        if frame.pulses_us.is_empty() {
            return;
        }
        let view = self.plant.view();
        let truth = self.plant.truth();
        let pulses = self.plant.events().len() as f64;
        let air_kg: f64 = self.plant.events().iter().map(|event| event.air_kg).sum::<f64>() / pulses;
        let fuel_kg =
            air_kg / (self.lambda * truth.stoich_afr()) * self.rich / f64::from(truth.injectors.count);
        let volts = view.supply_v - truth.electrical.wiring_v;
        let open_s = truth.open_time_s(fuel_kg, volts, view.injector_drop_pa);
        for time in self.commands.open_time_s.iter_mut().take(usize::from(truth.injectors.count)) {
            *time = open_s as f32;
        }
    }

    fn run(&mut self, seconds: f64) {
        for _ in 0..(seconds / self.dt_s) as u64 {
            self.step();
        }
    }

    fn rpm(&self) -> f64 {
        self.plant.view().speed_rad_per_s / RPM
    }

    /// Cranks until it runs, and idles for `seconds`.
    fn start(&mut self, seconds: f64) {
        self.hands.key = Key::On;
        self.run(1.0);
        self.hands.key = Key::Start;
        self.rich = 2.0;
        let mut cranked_s = 0.0;
        while self.rpm() < 450.0 && cranked_s < 8.0 {
            self.run(0.05);
            cranked_s += 0.05;
        }
        self.hands.key = Key::On;
        self.rich = 1.0;
        self.run(seconds);
    }
}

/// The default engine, warm.
fn warm() -> Truth {
    let mut truth = Truth::mild_v8();
    truth.thermal.start_k = ICE_K + 85.0;
    truth.thermal.start_bonnet_k = ICE_K + 40.0;
    truth
}

#[test]
fn it_does_not_start_without_fuel_and_does_with_it() {
    let mut rig = Rig::new(warm());
    rig.hands.key = Key::Start;
    rig.lambda = 1e6;
    rig.run(3.0);
    let cranking = rig.rpm();
    assert!((130.0..280.0).contains(&cranking), "cranking at {cranking} rpm");
    let dip_v = rig.plant.view().supply_v;
    assert!((8.5..11.0).contains(&dip_v), "{dip_v} V while cranking");
    rig.lambda = 1.0;
    rig.start(5.0);
    assert!(rig.rpm() > 450.0, "{} rpm", rig.rpm());
    rig.hands.key = Key::Off;
    rig.run(5.0);
    assert_eq!(rig.rpm(), 0.0);
}
