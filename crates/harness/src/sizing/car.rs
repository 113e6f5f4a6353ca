//! What is looked at.

use super::demand::Demand;
use super::installation::Installation;
use super::line::{Line, SizedQuantity};
use crate::units::UnitSystem;
use trimwright_control::Calibration;
use trimwright_plant::{FuelSystem, Truth};

/// The car that is sized.
#[derive(Clone, Debug)]
pub(crate) struct Car<'a> {
    /// As printed on the parts.
    pub(crate) parts: &'a Truth,
    /// How it is built in.
    pub(crate) installation: &'a Installation,
    /// The first calibration, from the owner's answers.
    pub(crate) calibration: Calibration,
    /// What fuel it needs.
    pub(crate) demand: Demand,
    /// Volts that arrive at the pump while the engine runs, and the flow that it then delivers.
    pub(crate) pump_v: f64,
    pub(crate) delivery_kg_per_s: f64,
    /// Units in which it is told.
    pub(crate) system: UnitSystem,
}

impl Car<'_> {
    /// A figure of it, of an SI value.
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
