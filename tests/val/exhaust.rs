//! Lambda of the plant by mass against lambda from exhaust gas analysis.

use crate::table::{self, Row};
use trimwright_plant::{Fuel, Molecule, Truth, exhaust_species};

/// Molar mass of CH1.87, g/mol, and moles of air with one mole of oxygen that weigh what ISO 2533 says, g.
const CH187_G: f64 = 13.895_96;
const AIR_PER_OXYGEN_G: f64 = 28.964_42 / 0.209_476;

/// Lambda from dry volume shares, Brettschneider, Bosch Technische Berichte 6 (1979), as commonly reprinted; `hexane` carries
/// six carbons.
fn brettschneider(h_c: f64, o_c: f64, [co2, co, o2, no, hexane]: [f64; 5]) -> f64 {
    let hydrogen = h_c / 4.0 * 3.5 / (3.5 + co / co2) - o_c / 2.0;
    let oxygen = co2 + co / 2.0 + o2 + no / 2.0 + hydrogen * (co2 + co);
    oxygen / ((1.0 + h_c / 4.0 - o_c / 2.0) * (co2 + co + 6.0 * hexane))
}

fn or_none(row: &Row, column: &str) -> f64 {
    if row.text(column).is_empty() { 0.0 } else { row.number(column) }
}

fn analyser(row: &Row) -> [f64; 5] {
    let hexane_percent = or_none(row, "HC_ppm_hexane") * 1e-4;
    [row.number("CO2"), row.number("CO"), row.number("O2"), or_none(row, "NO"), hexane_percent]
}

/// The molecule of a fuel of the table, hydrogen and oxygen per carbon.
fn molecule(fuel: &str) -> (f64, f64) {
    match fuel {
        "CH1.87" => (1.87, 0.0),
        "CH1.85" => (1.85, 0.0),
        "CH1.7261O0.0176" => (1.7261, 0.0176),
        "iso-octane" => (2.25, 0.0),
        "ethanol" => (3.0, 0.5),
        "propane" => (8.0 / 3.0, 0.0),
        other => panic!("no such fuel: {other}"),
    }
}

/// Source: water-gas composition (K = 3.5) and cantera 3.2.0 equilibrium at 1700 K.
#[test]
fn val_lambda_comes_back_from_the_composition() {
    let mut seen = 0;
    for row in table::read("exhaust_lambda") {
        let tolerance = match row.text("model") {
            // Its water gas stands at 3.418 and not at 3.5, which tells the more the richer.
            "cantera equilibrium 1700.0" => 3.3e-3,
            "closed form WGS K=3.5, no NO/HC" => 1e-5,
            model if model.starts_with("as above with") => 1e-4,
            _ => continue,
        };
        let (h_c, o_c) = molecule(row.text("fuel"));
        row.agrees("lam", brettschneider(h_c, o_c, analyser(&row)), tolerance);
        seen += 1;
    }
    assert_eq!(seen, 6 * 16 + 15 + 3 * 16);
}

/// Source: the closed-form rows of CH1.87, the plant's petrol. A charge of the air that the plant's stoichiometric ratio asks
/// for at a lambda burns to the composition of the row, and the analyser's lambda is the plant's.
#[test]
fn val_a_charge_by_the_plants_ratio_burns_to_the_published_exhaust() {
    let petrol = Fuel { ethanol_share: 0.0, ..Fuel::DEFAULT };
    let molecule = Molecule::of(&petrol);
    let rows = table::read_where("exhaust_lambda", "fuel", "CH1.87");
    for row in rows.iter().filter(|row| row.text("model").starts_with("closed form")) {
        let lambda = row.number("lam");
        let gas = exhaust_species(&molecule, lambda, 1.0, 0.0);
        // Moles for one of carbon, with 3.76 of nitrogen for each of the air's oxygen: its mass by the plant's ratio.
        let per_carbon = CH187_G * 1e-3;
        let moles = |kg: f64, g_per_mol: f64| kg * per_carbon / (g_per_mol * 1e-3);
        let [co2, co] = [moles(gas.co2_kg, 44.009), moles(gas.co_kg, 28.010)];
        let [h2, o2, h2o] = [moles(gas.h2_kg, 2.016), moles(gas.o2_kg, 31.998), moles(gas.h2o_kg, 18.015)];
        let n2 = 3.76 * lambda * petrol.stoich_afr() * CH187_G / AIR_PER_OXYGEN_G;
        let dry = co2 + co + h2 + o2 + n2;
        let percent = |moles: f64| 100.0 * moles / dry;
        for (column, moles) in [("CO2", co2), ("CO", co), ("H2", h2), ("O2", o2)] {
            row.agrees_within(column, percent(moles), 2e-3);
        }
        row.agrees_within("wet_per_dry", (dry + h2o) / dry, 1e-4);
        let seen = [percent(co2), percent(co), percent(o2), 0.0, 0.0];
        assert!((brettschneider(1.87, 0.0, seen) / lambda - 1.0).abs() < 2e-4, "{lambda}");
    }
}

/// Source: atom balance, densities at 15 degC by CoolProp 8.0.0.
#[test]
fn val_molecules_of_blends() {
    for row in table::read_where("stoich_blends", "gasoline_H_C", "1.87") {
        let ethanol_share = row.number("E_vol_pct") / 100.0;
        let molecule = Molecule::of(&Fuel { ethanol_share, ..Truth::mild_v8().fuel });
        row.agrees_within("H_C", molecule.hydrogen, 1e-4);
        row.agrees_within("O_C", molecule.oxygen, 1e-4);
    }
}
