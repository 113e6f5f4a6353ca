//! Mass and energy close over every shipped scenario.

use crate::rig::Rig;
use trimwright_harness::shipped::SCENARIOS;

/// Both sides are the same but for rounding: the largest of these sums has some ten million terms.
fn closes(name: &str, what: &str, left: f64, right: f64) {
    assert!(left > 0.0 && (left / right - 1.0).abs() < 1e-9, "{name}, {what}: {left} against {right}");
}

#[test]
fn ident_fuel_air_and_energy_close_over_every_shipped_scenario() {
    for name in SCENARIOS.iter().map(|shipped| shipped.name) {
        let mut rig = Rig::shipped(name);
        rig.run_all();
        let books = rig.books();
        let start_kg = books.air_start_kg;
        closes(name, "manifold air", start_kg + books.air_in_kg, books.air_out_kg + books.air_stored_kg);
        closes(name, "drawn air", books.air_out_kg, books.air_drawn_kg + books.air_pending_kg);
        closes(
            name,
            "fuel in the manifold",
            books.fuel_injected_kg + books.fuel_jet_kg,
            books.fuel_wall_kg + books.fuel_airborne_kg + books.fuel_drawn_kg,
        );
        closes(
            name,
            "fuel in the cylinders",
            books.fuel_drawn_kg,
            books.fuel_waiting_kg + books.fuel_burned_kg + books.fuel_unburned_kg,
        );
        let heating_value = rig.plant().truth().fuel.heating_value_j_per_kg();
        let fired_j = (books.fuel_drawn_kg - books.fuel_waiting_kg) * heating_value;
        closes(name, "fuel energy", fired_j, books.released_j + books.unreleased_j);
        closes(name, "heat", books.released_j, books.work_j + books.coolant_j + books.exhaust_j);
        closes(
            name,
            "crank",
            books.crank_indicated_j + books.starter_j,
            books.kinetic_j + books.pumping_j + books.losses_j + books.load_j,
        );
        assert_eq!(rig.stalls(), 0, "{name}: stalls");
    }
}
