//! Running totals that must close.

/// Running totals since the start. Masses in kg, energies in J.
///
/// These hold to rounding: air in = air out + stored change; fuel injected + fuel of the jet = on the wall +
/// airborne + drawn; energy of the fuel drawn = released + unreleased + still in the cylinders; released =
/// work + coolant + exhaust.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub struct Books {
    /// Moist air into the manifold.
    pub air_in_kg: f64,
    /// Moist air out of it into the cylinders.
    pub air_out_kg: f64,
    /// Moist air in it now.
    pub air_stored_kg: f64,
    /// Moist air in it at the start.
    pub air_start_kg: f64,
    /// Moist air drawn by cylinder events; differs from `air_out_kg` by what is on its way to the next event.
    pub air_drawn_kg: f64,
    /// Air on its way to the next event.
    pub air_pending_kg: f64,
    /// Fuel through the injectors.
    pub fuel_injected_kg: f64,
    /// Fuel by the nitrous system's own jet.
    pub fuel_jet_kg: f64,
    /// Fuel on the wall now.
    pub fuel_wall_kg: f64,
    /// Fuel in the manifold's air now.
    pub fuel_airborne_kg: f64,
    /// Fuel into the cylinders.
    pub fuel_drawn_kg: f64,
    /// Fuel in cylinders that have not fired yet.
    pub fuel_waiting_kg: f64,
    /// Fuel in charges that fired and burned, whole or in part.
    pub fuel_burned_kg: f64,
    /// Fuel that left unburned: misfires, and what stayed liquid in a cold engine.
    pub fuel_unburned_kg: f64,
    /// Heat released.
    pub released_j: f64,
    /// Heat of the fuel that was not released: rich mixture, misfire, liquid.
    pub unreleased_j: f64,
    /// Indicated work of the charges.
    pub work_j: f64,
    /// Heat into the coolant.
    pub coolant_j: f64,
    /// Heat that left with the exhaust gas.
    pub exhaust_j: f64,
    /// Indicated work that arrived at the crank; lags `work_j` by less than a firing.
    pub crank_indicated_j: f64,
    /// Work of the starter.
    pub starter_j: f64,
    /// Work of pumping.
    pub pumping_j: f64,
    /// Work into friction and accessories.
    pub losses_j: f64,
    /// Work into coupling or dynamometer.
    pub load_j: f64,
    /// Kinetic energy of the crank now.
    pub kinetic_j: f64,
    /// Charges that fired.
    pub charges: u64,
    /// Charges with fuel that misfired; one leaner than lambda 2.5, as most of a fuel cut are, counts as one without.
    pub misfires: u64,
    /// Charges that knocked.
    pub knocks: u64,
}
