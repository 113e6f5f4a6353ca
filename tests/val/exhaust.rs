//! Lambda of the plant by mass against lambda from exhaust gas analysis.

use crate::table::{self, Row};
use trimwright_plant::Fuel;

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
    let rows = table::read_where("exhaust_lambda", "fuel", "CH1.87");
    for row in rows.iter().filter(|row| row.text("model").starts_with("closed form")) {
        let lambda = row.number("lam");
        let oxygen = lambda * petrol.stoich_afr() * CH187_G / AIR_PER_OXYGEN_G;
        let burned = Burned::from_oxygen(1.87, oxygen);
        let dry = burned.dry();
        let percent = |moles: f64| 100.0 * moles / dry;
        for (column, moles) in [("CO2", burned.co2), ("CO", burned.co), ("H2", burned.h2), ("O2", burned.o2)]
        {
            row.agrees_within(column, percent(moles), 1e-3);
        }
        row.agrees_within("wet_per_dry", (dry + burned.h2o) / dry, 1e-4);
        let seen = [percent(burned.co2), percent(burned.co), percent(burned.o2), 0.0, 0.0];
        assert!((brettschneider(1.87, 0.0, seen) / lambda - 1.0).abs() < 1e-4, "{lambda}");
    }
}

/// Moles of each gas for one of carbon.
struct Burned {
    co2: f64,
    co: f64,
    h2: f64,
    h2o: f64,
    o2: f64,
    n2: f64,
}

impl Burned {
    /// From moles of oxygen, with 3.76 of nitrogen each: complete when there is enough, else by the water-gas equilibrium
    /// `CO H2O = 3.5 CO2 H2`, found by bisection.
    fn from_oxygen(h_c: f64, oxygen: f64) -> Self {
        let n2 = 3.76 * oxygen;
        let spare = oxygen - (1.0 + h_c / 4.0);
        if spare >= -1e-6 {
            return Self { co2: 1.0, co: 0.0, h2: 0.0, h2o: h_c / 2.0, o2: spare.max(0.0), n2 };
        }
        let at = |co: f64| {
            let h2o = 2.0 * oxygen - 2.0 + co;
            Self { co2: 1.0 - co, co, h2: h_c / 2.0 - h2o, h2o, o2: 0.0, n2 }
        };
        let (mut low, mut high) = ((2.0 - 2.0 * oxygen).max(0.0), (2.0 - 2.0 * oxygen + h_c / 2.0).min(1.0));
        for _ in 0..60 {
            let middle = at(0.5 * (low + high));
            let too_much = middle.co * middle.h2o > 3.5 * middle.co2 * middle.h2;
            *(if too_much { &mut high } else { &mut low }) = middle.co;
        }
        at(0.5 * (low + high))
    }

    fn dry(&self) -> f64 {
        self.co2 + self.co + self.h2 + self.o2 + self.n2
    }
}
