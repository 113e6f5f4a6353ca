//! A plant whose truth changes while it runs: a part fails, a plug drops out, other fuel is filled up.

use crate::check::{OutOfRange, within};
use crate::filling::FillingModel;
use crate::fuel_system::fuel_vapour_pa;
use crate::knock::EndGas;
use crate::plant::Plant;
use crate::throttle::FlowTables;
use crate::truth::Truth;
use trimwright_numerics::parameters::{Problem, Range};

impl Plant {
    /// Goes on from where everything is, under another truth. What has been drawn, gathered or warmed stays; so do the
    /// injectors' spread, the gearbox and the weather's humidity, which are settled when the plant is made.
    ///
    /// ```
    /// use trimwright_plant::{Faults, Plant, Truth};
    /// let mut plant = Plant::new(Truth::mild_v8(), 1).unwrap();
    /// let faults = Faults { weak_pump: 0.5, ..Faults::default() };
    /// plant.set_truth(Truth { faults, ..Truth::mild_v8() }).unwrap();
    /// assert_eq!(plant.truth().faults.weak_pump, 0.5);
    /// ```
    ///
    /// # Errors
    /// [`OutOfRange`] when a parameter is outside its range or the number of cylinders, banks or injectors is another; then
    /// nothing changes.
    pub fn set_truth(&mut self, truth: Truth) -> Result<(), OutOfRange> {
        truth.check()?;
        let was = &self.truth;
        for (path, is, was) in [
            ("engine.cylinders", truth.engine.cylinders, was.engine.cylinders),
            ("exhaust.banks", truth.exhaust.banks, was.exhaust.banks),
            ("injectors.count", truth.injectors.count, was.injectors.count),
        ] {
            let was = f64::from(was);
            within(path, f64::from(is), Range { min: was, max: was, unit: "1" })?;
        }
        if truth.filling != was.filling || truth.engine != was.engine {
            let no_axis = OutOfRange { path: "filling.speed_rad_per_s", problem: Problem::NotRising(1) };
            self.filling =
                FillingModel::new(&truth.filling, truth.engine.compression_ratio).ok_or(no_axis)?;
        }
        if truth.throttle != was.throttle {
            self.tables = FlowTables::new(&truth.throttle);
            self.held.plates_m2 = self.tables.area_m2(self.held.throttle);
        }
        if truth.sensors != was.sensors {
            self.sensors.refit(&truth.sensors);
        }
        self.shares = truth.distribution.shares(truth.engine.cylinders, truth.exhaust.banks);
        self.stoich_afr = truth.stoich_afr();
        self.heating_value = truth.fuel.heating_value_j_per_kg();
        self.best_work_share = truth.combustion.best_work_share(truth.engine.compression_ratio);
        self.end_gas = EndGas::new(truth.engine.compression_ratio, truth.fuel.octane);
        self.fuel_vapour_pa = fuel_vapour_pa(truth.fuel.vapour_pressure_pa, truth.fuel_system.fuel_k);
        self.injectors.clog(&truth.injectors);
        self.fuel.refit(&truth.fuel_system);
        self.truth = truth;
        // The shares of the lags are worked out again in the next step.
        self.held.dt_s = 0.0;
        Ok(())
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::{Faults, Hands, Injectors, Key};
    use trimwright_signals::Commands;

    fn cranked(plant: &mut Plant, steps: usize) {
        let commands = Commands { open_time_s: [0.004; 8], pump_duty: 1.0, ..Commands::default() };
        let hands = Hands { key: Key::Start, ..Hands::default() };
        for _ in 0..steps {
            plant.step(&commands, &hands, 1e-3);
        }
    }

    #[test]
    fn ident_the_same_truth_changes_nothing() {
        let mut plain = Plant::new(Truth::mild_v8(), 3).expect("sound");
        let mut touched = plain.clone();
        cranked(&mut plain, 500);
        cranked(&mut touched, 500);
        touched.set_truth(Truth::mild_v8()).expect("sound");
        cranked(&mut plain, 500);
        cranked(&mut touched, 500);
        assert_eq!(plain.view(), touched.view());
    }

    #[test]
    fn ident_a_fault_that_went_leaves_the_part_as_it_was() {
        let mut plant = Plant::new(Truth::mild_v8(), 3).expect("sound");
        let made = plant.injectors.clone();
        let sound = Truth::mild_v8();
        let blocked = Injectors { clogged: [1.0; 8], ..sound.injectors.clone() };
        plant.set_truth(Truth { injectors: blocked, ..sound.clone() }).expect("allowed");
        assert_ne!(plant.injectors, made);
        cranked(&mut plant, 300);
        assert_eq!(plant.books().fuel_injected_kg, 0.0);
        plant.set_truth(sound).expect("allowed");
        cranked(&mut plant, 300);
        assert!(plant.books().fuel_injected_kg > 0.0);
    }

    #[test]
    fn what_cannot_be_is_refused_and_nothing_changes() {
        let mut plant = Plant::new(Truth::mild_v8(), 3).expect("sound");
        let faults = Faults { weak_pump: 2.0, ..Faults::default() };
        let error = plant.set_truth(Truth { faults, ..Truth::mild_v8() }).expect_err("refused");
        assert_eq!(error.path, "faults.weak_pump");
        let mut other = Truth::mild_v8();
        other.engine.cylinders = 6;
        assert_eq!(plant.set_truth(other).expect_err("refused").path, "engine.cylinders");
        assert_eq!(plant.truth(), &Truth::mild_v8());
    }
}
