//! Mass and energy balances.

use crate::species::ExhaustSpecies;

/// Running totals since the start and present contents. Masses in kg, energies in J.
///
/// These balances hold to rounding:
///
/// - air at the start + air in = air out + air stored
/// - fuel at the start = tank + line + fuel injected + fuel of the nitrous jet
/// - fuel injected + fuel of the nitrous jet + fuel vapour = wall film + airborne + vapour pending + drawn
/// - fuel drawn = in cylinders + burned + unburned
/// - carbon of the fuel burned and unburned = carbon of the exhaust
/// - heating value of the fuel that fired = released + unreleased
/// - heat released = indicated work + coolant + exhaust
/// - indicated work at the crank + starter = kinetic + pumping + losses + load
#[derive(Clone, Copy, Debug, Default, PartialEq)]
#[non_exhaustive]
pub struct Balances {
    /// Moist air into the manifold.
    pub air_in_kg: f64,
    /// Moist air from the manifold into the cylinders.
    pub air_out_kg: f64,
    /// Moist air in the manifold now.
    pub air_stored_kg: f64,
    /// Moist air in the manifold at the start.
    pub air_start_kg: f64,
    /// Moist air of all intake events; `air_out_kg` less `air_pending_kg`.
    pub air_drawn_kg: f64,
    /// Moist air that has left the manifold since the last intake event.
    pub air_pending_kg: f64,
    /// Fuel in tank, line, filter and rail at the start.
    pub fuel_start_kg: f64,
    /// Fuel in the tank now.
    pub fuel_tank_kg: f64,
    /// Fuel in line, filter and rail now.
    pub fuel_line_kg: f64,
    /// Fuel through the injectors.
    pub fuel_injected_kg: f64,
    /// Fuel through the nitrous system's own fuel jet, from the rail.
    pub fuel_jet_kg: f64,
    /// Fuel vapour from canister and crankcase.
    pub fuel_vapour_kg: f64,
    /// Fuel vapour that has entered since the last intake event.
    pub fuel_vapour_pending_kg: f64,
    /// Fuel in the wall film now.
    pub fuel_wall_kg: f64,
    /// Fuel airborne in the manifold now.
    pub fuel_airborne_kg: f64,
    /// Fuel drawn into the cylinders.
    pub fuel_drawn_kg: f64,
    /// Fuel in charges that have not fired yet.
    pub fuel_in_cylinders_kg: f64,
    /// Fuel in charges that fired and burned, whole or in part.
    pub fuel_burned_kg: f64,
    /// Fuel that left unburned: misfires, and fuel that did not vaporize in a cold engine.
    pub fuel_unburned_kg: f64,
    /// Exhaust gases of the charges that fired, misfires included, as they leave the cylinder; the oxygen of charges leaner than
    /// [`LAMBDA_WITHOUT_FUEL`](crate::LAMBDA_WITHOUT_FUEL) is left out.
    pub exhaust: ExhaustSpecies,
    /// Heat released.
    pub released_j: f64,
    /// Heat of the fuel that was not released: rich mixture, misfire, liquid fuel.
    pub unreleased_j: f64,
    /// Indicated work of the charges.
    pub work_j: f64,
    /// Heat into the coolant.
    pub coolant_j: f64,
    /// Heat in the exhaust gas.
    pub exhaust_j: f64,
    /// Indicated work at the crank; lags `work_j` by less than a firing interval.
    pub crank_indicated_j: f64,
    /// Work of the starter.
    pub starter_j: f64,
    /// Pumping work.
    pub pumping_j: f64,
    /// Work against rubbing friction and accessories.
    pub losses_j: f64,
    /// Work into the coupling or dynamometer.
    pub load_j: f64,
    /// Kinetic energy of the crank now.
    pub kinetic_j: f64,
    /// Charges that fired.
    pub charges: u64,
    /// Charges with fuel that misfired. A charge leaner than lambda 2.5 counts as one without fuel, as in a fuel cut.
    pub misfires: u64,
    /// Charges that knocked.
    pub knocks: u64,
}
