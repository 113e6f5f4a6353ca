//! Test rig: the plant with a fuel law that uses the truth in place of a controller.

use trimwright_plant::gas::{ICE_K, RPM};
use trimwright_plant::{DriverInputs, Key, Plant, Truth};
use trimwright_signals::Commands;

/// A plant with a fuel law that doses for a wanted lambda from the true air charge, to test the plant without a controller.
pub(crate) struct Rig {
    pub(crate) plant: Plant,
    pub(crate) inputs: DriverInputs,
    pub(crate) commands: Commands,
    pub(crate) lambda: f64,
    /// Enrichment factor on the fuel, for wall film and cold start.
    pub(crate) enrichment: f64,
    pub(crate) dt_s: f64,
}

impl Rig {
    pub(crate) fn new(truth: Truth) -> Self {
        let commands = Commands { pump_duty: 1.0, iac_duty: 0.45, spark_deg: 25.0, ..Commands::default() };
        let plant = Plant::new(truth, 5).unwrap();
        Self { plant, inputs: DriverInputs::default(), commands, lambda: 1.0, enrichment: 1.0, dt_s: 1e-3 }
    }

    pub(crate) fn step(&mut self) {
        let frame = self.plant.step(&self.commands, &self.inputs, self.dt_s);

        self.commands.open_time_s = [0.0; 8];
        if frame.pulses_us.is_empty() {
            return;
        }
        let view = self.plant.view();
        let truth = self.plant.truth();
        let pulses = self.plant.events().len() as f64;
        let air_kg: f64 = self.plant.events().iter().map(|event| event.air_kg).sum::<f64>() / pulses;
        let fuel_kg =
            air_kg / (self.lambda * truth.stoich_afr()) * self.enrichment / f64::from(truth.injectors.count);
        let volts = view.supply_v - truth.electrical.wiring_v;
        let open_s = truth.open_time_s(fuel_kg, volts, view.injector_drop_pa);
        for time in self.commands.open_time_s.iter_mut().take(usize::from(truth.injectors.count)) {
            *time = open_s as f32;
        }
    }

    pub(crate) fn run(&mut self, seconds: f64) {
        for _ in 0..(seconds / self.dt_s) as u64 {
            self.step();
        }
    }

    pub(crate) fn rpm(&self) -> f64 {
        self.plant.view().speed_rad_per_s / RPM
    }

    /// Cranks until the engine runs, and idles for `seconds`.
    pub(crate) fn start(&mut self, seconds: f64) {
        self.inputs.key = Key::On;
        self.run(1.0);
        self.inputs.key = Key::Start;
        // Only a part of a cold engine's fuel evaporates.
        self.enrichment = if self.plant.view().coolant_k < 273.0 { 5.0 } else { 2.0 };
        let mut cranked_s = 0.0;
        while self.rpm() < 450.0 && cranked_s < 8.0 {
            self.run(0.05);
            cranked_s += 0.05;
        }
        self.inputs.key = Key::On;
        // Enrichment for the wall film, decaying.
        self.enrichment = 2.0;
        let end_s = self.plant.view().time_s + seconds;
        while self.plant.view().time_s < end_s {
            self.run(0.1);
            self.enrichment = 1.0 + 0.93 * (self.enrichment - 1.0);
        }
        self.enrichment = 1.0;
    }
}

/// The default engine, warm.
pub(crate) fn warm() -> Truth {
    let mut truth = Truth::mild_v8();
    truth.thermal.start_k = ICE_K + 85.0;
    truth.thermal.start_bonnet_k = ICE_K + 40.0;
    truth
}
