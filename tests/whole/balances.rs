//! Mass and energy close over every shipped scenario.

use crate::rig::Rig;
use trimwright_harness::shipped::SCENARIOS;
use trimwright_plant::Molecule;

/// Both sides are the same but for rounding: the largest of these sums has some ten million terms.
fn closes(name: &str, what: &str, left: f64, right: f64) {
    assert!(left > 0.0 && (left / right - 1.0).abs() < 1e-9, "{name}, {what}: {left} against {right}");
}

#[test]
fn ident_fuel_air_and_energy_close_over_every_shipped_scenario() {
    for name in SCENARIOS.iter().map(|shipped| shipped.name) {
        let mut rig = Rig::shipped(name);
        rig.run_all();
        let balances = rig.balances();
        let start_kg = balances.air_start_kg;
        closes(
            name,
            "manifold air",
            start_kg + balances.air_in_kg,
            balances.air_out_kg + balances.air_stored_kg,
        );
        closes(name, "drawn air", balances.air_out_kg, balances.air_drawn_kg + balances.air_pending_kg);
        closes(
            name,
            "fuel from the tank",
            balances.fuel_start_kg,
            balances.fuel_tank_kg + balances.fuel_line_kg + balances.fuel_injected_kg + balances.fuel_jet_kg,
        );
        closes(
            name,
            "fuel in the manifold",
            balances.fuel_injected_kg + balances.fuel_jet_kg + balances.fuel_vapour_kg,
            balances.fuel_wall_kg
                + balances.fuel_airborne_kg
                + balances.fuel_vapour_pending_kg
                + balances.fuel_drawn_kg,
        );
        closes(
            name,
            "fuel in the cylinders",
            balances.fuel_drawn_kg,
            balances.fuel_in_cylinders_kg + balances.fuel_burned_kg + balances.fuel_unburned_kg,
        );
        let truth = rig.plant().truth();
        let fired_kg = balances.fuel_drawn_kg - balances.fuel_in_cylinders_kg;
        let molecule = Molecule::of(&truth.fuel);
        let carbon_kg = fired_kg * molecule.carbon_share();
        closes(name, "carbon", carbon_kg, balances.exhaust.carbon_kg(&molecule));
        let heating_value = truth.fuel.heating_value_j_per_kg();
        let fired_j = fired_kg * heating_value;
        closes(name, "fuel energy", fired_j, balances.released_j + balances.unreleased_j);
        closes(name, "heat", balances.released_j, balances.work_j + balances.coolant_j + balances.exhaust_j);
        closes(
            name,
            "crank",
            balances.crank_indicated_j + balances.starter_j,
            balances.kinetic_j + balances.pumping_j + balances.losses_j + balances.load_j,
        );
        assert_eq!(rig.stalls(), 0, "{name}: stalls");
    }
}
