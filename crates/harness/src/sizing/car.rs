//! Inputs of a sizing.

use super::demand::Demand;
use super::installation::Installation;
use super::line::{Line, SizedQuantity};
use crate::units::UnitSystem;
use trimwright_control::Calibration;
use trimwright_plant::{FuelSystem, Truth};

/// The car to size.
#[derive(Clone, Debug)]
pub(crate) struct Car<'a> {
    /// Parts as rated.
    pub(crate) parts: &'a Truth,
    /// Installation of the parts.
    pub(crate) installation: &'a Installation,
    /// The first calibration, from the owner's answers.
    pub(crate) calibration: Calibration,
    /// Fuel demand.
    pub(crate) demand: Demand,
    /// Voltage at the pump with the engine running, V, and the pump's delivery at it, kg/s.
    pub(crate) pump_v: f64,
    pub(crate) delivery_kg_per_s: f64,
    /// Units of the values.
    pub(crate) system: UnitSystem,
}

impl Car<'_> {
    /// A line without a limit, from an SI value.
    pub(crate) fn figure(
        &self,
        part: &'static str,
        what: &'static str,
        measure: SizedQuantity,
        si: f64,
    ) -> Line {
        Line::figure(self.system, part, what, measure, si)
    }

    /// An SI value to four digits with its unit.
    pub(crate) fn show(&self, measure: SizedQuantity, si: f64) -> String {
        measure.show(self.system, si)
    }

    pub(crate) fn fuel_system(&self) -> &FuelSystem {
        &self.parts.fuel_system
    }

    pub(crate) fn density_kg_per_m3(&self) -> f64 {
        self.parts.fuel.density_kg_per_m3()
    }
}
