//! Stoichiometry of petrol, ethanol and their blends.

use crate::table;
use trimwright_plant::Fuel;

fn blend(ethanol_share: f64) -> Fuel {
    Fuel { ethanol_share, ..Fuel::DEFAULT }
}

/// Source: atom balance with the dry air of ISO 2533; the plant's petrol is CH1.87.
#[test]
fn val_stoichiometric_ratio_of_petrol_and_ethanol() {
    let air = "AFR ISO 2533/USSA76 dry air 0.209476 O2,0.78084 N2,0.00934 Ar,0.000314 CO2";
    for (fuel, share) in [("gasoline CH1.87", 0.0), ("ethanol", 1.0)] {
        table::read_where("stoich_afr_lhv", "fuel", fuel)[0].agrees(air, blend(share).stoich_afr(), 1e-5);
    }
}

/// Source: atom balance, densities at 15 degC by CoolProp 8.0.0.
#[test]
fn val_stoichiometric_ratio_and_ethanol_mass_of_blends() {
    let rows = table::read_where("stoich_blends", "gasoline_H_C", "1.87");
    for row in rows {
        let fuel = blend(row.number("E_vol_pct") / 100.0);
        row.agrees("AFR_stdair", fuel.stoich_afr(), 1e-5);
        row.agrees_within("w_ethanol", fuel.ethanol_by_mass(), 1e-5);
    }
}

/// Source: CoolProp 8.0.0: pentane to nonane, and toluene. One formula for all is within a fifth of each.
#[test]
fn val_vapour_pressure_of_the_parts_of_petrol() {
    for row in table::read("hydrocarbon_vapour") {
        let vapour_pa = Fuel::vapour_pressure_of_cut_pa(row.number("T_boil_K"), row.number("T_K"));
        row.agrees("p_vapour_Pa", vapour_pa, 0.2);
    }
}

/// Source: ASTM D86 corrects its temperatures to 760 mm of mercury of 13.5951 kg/L at standard gravity, 9.80665 m/s2.
#[test]
fn val_a_cut_boils_at_the_pressure_of_the_distillation() {
    let mercury_pa = 0.760 * 13_595.1 * 9.806_65;
    for boils_k in [310.0, 370.0, 440.0] {
        assert!((Fuel::vapour_pressure_of_cut_pa(boils_k, boils_k) / mercury_pa - 1.0).abs() < 1e-5);
    }
}

/// Source: cantera 3.2.0 (gas) less CoolProp 8.0.0 (vaporisation at 25 degC), liquid ethanol.
#[test]
fn val_heating_value_of_ethanol() {
    let row = &table::read_where("stoich_afr_lhv", "fuel", "ethanol")[0];
    row.agrees("LHV_liquid_MJ_kg", blend(1.0).heating_value_j_per_kg() / 1e6, 1e-3);
}
