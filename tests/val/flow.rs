//! Flow through nozzles, lines and injectors.

use crate::table;
use trimwright_plant::{Truth, critical_ratio, flow_function, line_drop_pa};

/// Source: isentropic relations, Mach number by fluids 1.3.1; gamma 1.4 is the air's.
#[test]
fn val_nozzle_flow_function() {
    let rows = table::read_where("nozzle_flow", "kind", "psi(pr)");
    let air: Vec<_> = rows.iter().filter(|row| row.number("gamma") == 1.4).collect();
    assert!(air.len() > 20);
    for row in air {
        let psi = flow_function(row.number("pr"));
        row.agrees_within("value", psi, 1e-9);
        row.agrees_within("fluids", psi, 1e-6);
    }
}

/// Source: `(2 / (k + 1))^(k / (k - 1))`, by formula and by fluids 1.3.1; gamma 1.4.
#[test]
fn val_critical_pressure_ratio() {
    let row = &table::read_where("nozzle_flow", "kind", "critical pressure ratio")[0];
    row.agrees("gamma", 1.4, 0.0);
    row.agrees("value", critical_ratio(), 1e-12);
    row.agrees("fluids", critical_ratio(), 1e-12);
}

/// Source: orifice law, flow proportional to the root of the pressure difference; psi by definition.
#[test]
fn val_injector_flow_goes_with_the_root_of_the_pressure() {
    let injectors = Truth::mild_v8().injectors;
    for row in table::read("injector_sqrt") {
        let pa = 1e3 * row.number("dp_kPa");
        let ratio = |to_pa| injectors.flow_kg_per_s(pa) / injectors.flow_kg_per_s(to_pa);
        row.agrees("flow_ratio_to_43p5", ratio(43.5 * 6_894.757_293_168), 3e-6);
        row.agrees("flow_ratio_to_300kPa", ratio(300e3), 3e-6);
    }
}

/// Source: sizing arithmetic at 0.50 lb/(hp h) and 80 % duty (both common practice, no source): 500 hp on eight injectors
/// ask for 39.06 lb/h each. An injector of that flow, held open for 80 % of the time, must feed its eighth of 500 hp.
#[test]
fn val_injector_sizing_arithmetic() {
    const POUND_PER_HOUR: f64 = 0.453_592_37 / 3600.0;
    let mut injectors = Truth::mild_v8().injectors;
    (injectors.static_flow_kg_per_s, injectors.nonlinearity_s) = (39.06 * POUND_PER_HOUR, 0.0);
    let drop_pa = injectors.rated_drop_pa;
    let flowing_s = 0.8;
    let fed_kg = injectors.fuel_kg(flowing_s + injectors.delay_s(13.5, drop_pa), 13.5, drop_pa);
    assert!((fed_kg / (500.0 * 0.50 / 8.0 * POUND_PER_HOUR) - 1.0).abs() < 1e-3, "{fed_kg} kg in a second");
}

/// Source: Darcy-Weisbach with Colebrook's and Haaland's friction factor by fluids 1.3.1. The table's petrol is thinner than the
/// plant's (0.55 mm2/s and 745 kg/m3 against 0.53 mPa s): by similarity a flow that many times larger has the same Reynolds number
/// and that many times squared the drop.
#[test]
fn val_pressure_drop_of_the_fuel_line() {
    let thicker = 0.53e-3 / (0.55e-6 * 745.0);
    for row in table::read("fuel_line") {
        let flow_kg_per_s = thicker * row.number("flow_lb_h") * 0.453_592_37 / 3600.0;
        let drop_pa = line_drop_pa(flow_kg_per_s, 1.0, 1e-3 * row.number("ID_mm"), 745.0);
        let kpa_per_m = drop_pa / thicker.powi(2) / 1000.0;
        if row.text("f_haaland").is_empty() {
            row.agrees_within("dP_per_m_kPa_colebrook", kpa_per_m, 1e-5);
        } else {
            row.agrees("dP_per_m_kPa_haaland", kpa_per_m, 2e-4);
            row.agrees("dP_per_m_kPa_colebrook", kpa_per_m, 9e-3);
        }
    }
}
