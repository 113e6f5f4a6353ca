//! Change of parameters while the plant runs: a part fails, a connector comes off, another fuel is filled.

use crate::check::{OutOfRange, within};
use crate::combustion::EfficiencyCurve;
use crate::filling::FillingModel;
use crate::fuel_system::fuel_vapour_pa;
use crate::knock::EndGas;
use crate::plant::{Plant, stoich_afr_of};
use crate::species::Molecule;
use crate::throttle::FlowTables;
use crate::truth::Truth;
use trimwright_numerics::parameters::{Problem, Range};

impl Plant {
    /// Replaces the parameters and keeps the state: masses, temperatures, totals. The injectors' spread, the gearbox and the humidity
    /// stay as they were when the plant was made.
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
    /// [`OutOfRange`] when a parameter is outside its range or the number of cylinders, banks or injectors changes; the plant is
    /// then unchanged.
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
        let no_axis = OutOfRange { path: "filling.speed_rad_per_s", problem: Problem::NotRising(1) };
        let efficiency =
            EfficiencyCurve::new(&truth.combustion, truth.engine.compression_ratio).map_err(|_| no_axis)?;
        if truth.filling != was.filling || truth.engine != was.engine {
            self.filling =
                FillingModel::new(&truth.filling, truth.engine.compression_ratio).ok_or(no_axis)?;
        }
        if truth.throttle != was.throttle {
            self.tables = FlowTables::new(&truth.throttle);
            self.slow.plate_area_m2 = self.tables.area_m2(self.slow.throttle);
        }
        if truth.sensors != was.sensors {
            self.sensors.set_parameters(&truth.sensors);
        }
        self.shares = truth.distribution.shares(truth.engine.cylinders, truth.exhaust.banks);
        self.disturbances.update(&truth.disturbances);
        self.stoich_afr = stoich_afr_of(&truth, &self.disturbances);
        self.heating_value = truth.fuel.heating_value_j_per_kg();
        self.efficiency = efficiency;
        self.molecule = Molecule::of(&truth.fuel);
        self.end_gas = EndGas::new(truth.engine.compression_ratio, truth.fuel.octane);
        self.fuel_vapour_pa = fuel_vapour_pa(truth.fuel.vapour_pressure_pa, truth.fuel_system.fuel_k);
        self.injectors.set_deposits(&truth.injectors);
        self.fuel.set_parameters(&truth.fuel_system);
        self.truth = truth;
        // Makes the next step recompute the fractions of the lags.
        self.slow.dt_s = 0.0;
        Ok(())
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::{DriverInputs, Faults, Injectors, Key};
    use trimwright_signals::Commands;

    fn cranked(plant: &mut Plant, steps: usize) {
        let commands = Commands { open_time_s: [0.004; 8], pump_duty: 1.0, ..Commands::default() };
        let inputs = DriverInputs { key: Key::Start, ..DriverInputs::default() };
        for _ in 0..steps {
            plant.step(&commands, &inputs, 1e-3);
        }
    }

    #[test]
    fn ident_the_same_truth_changes_nothing() {
        let mut plain = Plant::new(Truth::mild_v8(), 3).expect("in range");
        let mut touched = plain.clone();
        cranked(&mut plain, 500);
        cranked(&mut touched, 500);
        touched.set_truth(Truth::mild_v8()).expect("in range");
        cranked(&mut plain, 500);
        cranked(&mut touched, 500);
        assert_eq!(plain.view(), touched.view());
    }

    #[test]
    fn ident_a_fault_that_ends_leaves_the_part_as_it_was() {
        let mut plant = Plant::new(Truth::mild_v8(), 3).expect("in range");
        let made = plant.injectors.clone();
        let clean = Truth::mild_v8();
        let blocked = Injectors { clogged: [1.0; 8], ..clean.injectors.clone() };
        plant.set_truth(Truth { injectors: blocked, ..clean.clone() }).expect("in range");
        assert_ne!(plant.injectors, made);
        cranked(&mut plant, 300);
        assert_eq!(plant.balances().fuel_injected_kg, 0.0);
        plant.set_truth(clean).expect("in range");
        cranked(&mut plant, 300);
        assert!(plant.balances().fuel_injected_kg > 0.0);
    }

    #[test]
    fn a_truth_out_of_range_is_rejected_and_nothing_changes() {
        let mut plant = Plant::new(Truth::mild_v8(), 3).expect("in range");
        let faults = Faults { weak_pump: 2.0, ..Faults::default() };
        let error = plant.set_truth(Truth { faults, ..Truth::mild_v8() }).expect_err("rejected");
        assert_eq!(error.path, "faults.weak_pump");
        let mut other = Truth::mild_v8();
        other.engine.cylinders = 6;
        assert_eq!(plant.set_truth(other).expect_err("rejected").path, "engine.cylinders");
        assert_eq!(plant.truth(), &Truth::mild_v8());
    }
}
