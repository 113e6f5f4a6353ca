//! Outside air.

use crate::table;
use trimwright_plant::{Ambient, saturation_pa};

/// Source: standard atmosphere of 760 mm of mercury of 13.5951 kg/L at standard gravity, 9.80665 m/s2.
#[test]
fn val_the_default_pressure_is_the_standard_atmosphere() {
    let mercury_pa = 0.760 * 13_595.1 * 9.806_65;
    assert!((Ambient::DEFAULT.sea_level_pa / mercury_pa - 1.0).abs() < 1e-5);
}

fn standard() -> Ambient {
    Ambient { altitude_m: 0.0, sea_level_k: 288.15, sea_level_pa: 101_325.0, relative_humidity: 0.0 }
}

/// Source: ISO 2533 / US Standard Atmosphere 1976, by formula and by fluids 1.3.1.
#[test]
fn val_standard_atmosphere() {
    for row in table::read("atmosphere") {
        let air = standard().air(row.number("Z_m"));
        row.agrees("p_Pa", air.pressure_pa, 2e-6);
        row.agrees("fluids_P", air.pressure_pa, 2e-6);
        row.agrees("T_K", air.temperature_k, 1e-6);
    }
}

/// Source: CoolProp 8.0.0, humid air. Below freezing it counts humidity over ice, the plant over water (as weather
/// reports do), so those rows are held in the share of the whole air only.
#[test]
fn val_water_share_of_humid_air() {
    for row in table::read("humid_air") {
        let celsius = row.number("T_C");
        let ambient = Ambient {
            sea_level_k: celsius + 273.15,
            sea_level_pa: row.number("p_Pa"),
            relative_humidity: row.number("relative_humidity"),
            ..standard()
        };
        let share = ambient.water_share();
        let per_dry_air = share / (1.0 - share);
        let tolerance = if celsius < 0.0 { 2.5e-4 } else { 1e-6 + 0.008 * per_dry_air };
        row.agrees_within("kg_water_per_kg_dry_air", per_dry_air, tolerance);
    }
}

/// Source: CoolProp 8.0.0, humid air at saturation. Its vapour pressure holds the enhancement by the air, up to 0.5 %, that
/// the plant leaves out.
#[test]
fn val_saturation_pressure_of_water() {
    let saturated = table::read("humid_air")
        .into_iter()
        .filter(|row| row.number("relative_humidity") == 1.0 && row.number("T_C") >= 0.0);
    let mut seen = 0;
    for row in saturated {
        row.agrees("water_partial_Pa", saturation_pa(row.number("T_C") + 273.15), 0.008);
        seen += 1;
    }
    assert!(seen >= 10);
}
