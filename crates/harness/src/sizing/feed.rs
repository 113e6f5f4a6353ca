//! The line from the pump to the rail.

use super::demand::Demand;
use trimwright_plant::{FuelSystem, Supply, pipe_drop_pa};

/// Dynamic viscosity of petrol, Pa s: 0.55 mm2/s at 745 kg/m3, as in `shared/reference/fuel_line.csv`.
pub const PETROL_VISCOSITY_PA_S: f64 = 0.55e-6 * 745.0;

/// Flow through the feed line, kg/s: the whole delivery of the pump with a return from the rail, otherwise the engine's consumption.
pub(super) fn feed_flow(system: &FuelSystem, delivered: f64, demand: &Demand) -> f64 {
    if system.supply == Supply::Return { delivered } else { demand.fuel_kg_per_s.min(delivered) }
}

/// Pressure drop of feed line and filter at a flow, Pa.
pub(super) fn feed_drop_pa(system: &FuelSystem, flow_kg_per_s: f64, density_kg_per_m3: f64) -> f64 {
    let full = flow_kg_per_s / system.pump_free_kg_per_s;
    pipe_drop_pa(flow_kg_per_s, system.line_m, system.line_bore_m, density_kg_per_m3, PETROL_VISCOSITY_PA_S)
        + system.filter_pa * full * full
}
