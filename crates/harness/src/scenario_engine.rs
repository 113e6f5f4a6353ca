//! An engine and its car from an engine file, in human units.
//!
//! Sections and keys are the parts and fields of [`Truth`] without their units; what a file leaves out is as in
//! [`Truth::mild_v8`]. The same keys below `[truth]` in a scenario overrule the file.

use crate::document::{Document, inside, quantities};
use crate::error::InputError;
use crate::scenario_source::Source;
use crate::units::Kind;
use trimwright_plant::{Circuit, Coupling, Gearbox, Ignition, Supply, Truth};

const IGNITIONS: &[(&str, Ignition)] =
    &[("commanded", Ignition::Commanded), ("distributor", Ignition::Distributor)];
const SUPPLIES: &[(&str, Supply)] = &[
    ("return", Supply::Return),
    ("regulated at tank", Supply::RegulatedAtTank),
    ("returnless", Supply::Returnless),
];
const CIRCUITS: &[(&str, Circuit)] = &[
    ("sound", Circuit::Sound),
    ("open", Circuit::Open),
    ("grounded", Circuit::Grounded),
    ("supplied", Circuit::Supplied),
    ("stuck", Circuit::Stuck),
    ("noisy", Circuit::Noisy),
];
/// Converter capacity (N m s^2) and stall ratio, clutch torque (N m) and biting speed (rad/s) when a file says which coupling
/// there is but not what it is like. Engineering judgement.
const CUSTOMARY_COUPLING: (f64, f64, f64, f64) = (0.004, 2.0, 400.0, 120.0);
/// What there is a whole number of, and how many: as [`Truth::check`] allows.
const COUNTS: [(&str, (i64, i64)); 4] = [
    ("engine.cylinders", (2, 12)),
    ("throttle.bores", (1, 4)),
    ("injectors.count", (1, 8)),
    ("exhaust.banks", (1, 2)),
];
const SEED: (i64, i64) = (0, i64::MAX);

/// Reads an engine file; the document comes along for messages about ranges.
pub(crate) fn parse(source: &Source) -> Result<(Document, Truth), InputError> {
    let document = Document::parse(&source.file, &source.text)?;
    let mut truth = Truth::mild_v8();
    document.text("title", &mut String::new())?;
    document.lines("about", &mut String::new())?;
    read(&document, "", &mut truth)?;
    document.finish(&["title", "engine.displacement", "engine.cylinders"])?;
    Ok((document, truth))
}

/// Fills what the section gives (`""` is the whole document).
pub(crate) fn read(document: &Document, section: &str, truth: &mut Truth) -> Result<(), InputError> {
    air_path(document, section, truth)?;
    fuel_path(document, section, truth)?;
    engine(document, section, truth)?;
    exhaust_and_sensors(document, section, truth)?;
    surroundings(document, section, truth)?;
    car(document, section, truth)?;
    gearbox(document, section, &mut truth.gearbox)?;
    faults(document, section, truth)?;
    let key = |path: &str| inside(section, path);
    for ((path, range), target) in COUNTS.into_iter().zip([
        &mut truth.engine.cylinders,
        &mut truth.throttle.bores,
        &mut truth.injectors.count,
        &mut truth.exhaust.banks,
    ]) {
        document.whole(&key(path), range, target)?;
    }
    document.whole(&key("filling.deviation_seed"), SEED, &mut truth.filling.deviation_seed)?;
    document.whole(&key("distribution.seed"), SEED, &mut truth.distribution.seed)?;
    document.choice(&key("fuel_system.supply"), SUPPLIES, &mut truth.fuel_system.supply)?;
    document.flag(&key("fuel_system.manifold_referenced"), &mut truth.fuel_system.manifold_referenced)?;
    document.choice(&key("combustion.ignition"), IGNITIONS, &mut truth.combustion.ignition)
}

fn air_path(document: &Document, section: &str, truth: &mut Truth) -> Result<(), InputError> {
    quantities!(document, section, truth, {
        throttle.bore_m: Length,
        throttle.closed_plate_deg: Angle,
        throttle.leak_m2: Area,
        throttle.discharge: Ratio,
        throttle.secondary_start: Ratio,
        throttle.iac_m2: Area,
        manifold.volume_m3: Volume,
        manifold.wall_w_per_k as "manifold.wall_heat": HeatTransfer,
        manifold.wall_share: Ratio,
        filling.speed_rad_per_s: Rotation,
        filling.speed_factor: Ratio,
        filling.overlap: Ratio,
        filling.deviation: Ratio,
    });
    Ok(())
}

fn fuel_path(document: &Document, section: &str, truth: &mut Truth) -> Result<(), InputError> {
    quantities!(document, section, truth, {
        fuel_system.pump_free_kg_per_s as "fuel_system.pump_free_flow": MassRate,
        fuel_system.pump_stall_pa: Pressure,
        fuel_system.regulator_pa: Pressure,
        fuel_system.regulator_band_pa: Pressure,
        fuel_system.compliance_kg_per_pa: Ratio,
        fuel_system.line_m: Length,
        fuel_system.line_bore_m: Length,
        fuel_system.suction_m: Length,
        fuel_system.suction_bore_m: Length,
        fuel_system.filter_pa as "fuel_system.filter_drop": Pressure,
        fuel_system.tank_kg: Mass,
        fuel_system.slosh_kg: Mass,
        fuel_system.fuel_k as "fuel_system.fuel_temperature": Temperature,
        fuel.ethanol_share: Ratio,
        fuel.octane: Ratio,
        fuel.vapour_pressure_pa: Pressure,
        injectors.static_flow_kg_per_s: MassRate,
        injectors.rated_drop_pa: Pressure,
        injectors.delay_v as "injectors.delay_supply": Voltage,
        injectors.delay_s: Time,
        injectors.delay_drop: Ratio,
        injectors.bend_s: Time,
        injectors.spread: Ratio,
        injectors.clogged: Ratio,
        film.x_scale: Ratio,
        film.tau_scale: Ratio,
        film.x_cold_per_k: Ratio,
        film.tau_cold_per_k: Ratio,
        film.flash: Ratio,
        film.draw: Ratio,
        film.air_heat_share: Ratio,
        distribution.spread: Ratio,
        distribution.bank: Ratio,
    });
    Ok(())
}

fn engine(document: &Document, section: &str, truth: &mut Truth) -> Result<(), InputError> {
    quantities!(document, section, truth, {
        engine.displacement_m3: Volume,
        engine.compression_ratio: Ratio,
        combustion.work_share: Ratio,
        combustion.coolant_share: Ratio,
        combustion.mbt_base_deg: Angle,
        combustion.lean_limit: Ratio,
        combustion.rich_limit: Ratio,
        combustion.cold_vapour: Ratio,
        combustion.variation: Ratio,
        friction.scale: Ratio,
        friction.rubbing_share: Ratio,
        friction.cold_per_k: Ratio,
        friction.ac_nm: Torque,
    });
    Ok(())
}

/// The gearbox, whose lists are as long as it has gears, and which has a converter or a clutch.
fn gearbox(document: &Document, section: &str, gearbox: &mut Gearbox) -> Result<(), InputError> {
    let section = &inside(section, "gearbox");
    let key = |name: &str| inside(section, name);
    if let Some(gears) = document.quantities(&key("ratios"), Kind::Ratio, true, &mut gearbox.ratios)? {
        gearbox.gears = u8::try_from(gears).unwrap_or(u8::MAX);
    }
    document.quantities(&key("up_closed"), Kind::Speed, true, &mut gearbox.up_closed_m_per_s)?;
    document.quantities(&key("up_full"), Kind::Speed, true, &mut gearbox.up_full_m_per_s)?;
    quantities!(document, section, gearbox, {
        final_drive: Ratio,
        efficiency: Ratio,
        shift_s: Time,
        down_share: Ratio,
    });

    let (mut capacity, mut ratio, mut torque_nm, mut bite_rad_per_s) = CUSTOMARY_COUPLING;
    let mut has_clutch = false;
    match gearbox.coupling {
        Coupling::Converter { capacity: c, ratio: r } => (capacity, ratio) = (c, r),
        Coupling::Clutch { torque_nm: t, bite_rad_per_s: b } => {
            (has_clutch, torque_nm, bite_rad_per_s) = (true, t, b)
        }
    }
    document.choice(&key("coupling"), &[("converter", false), ("clutch", true)], &mut has_clutch)?;
    for (name, field, kind, of_clutch, target) in [
        ("converter_capacity", "coupling.capacity", Kind::Ratio, false, &mut capacity),
        ("converter_ratio", "coupling.ratio", Kind::Ratio, false, &mut ratio),
        ("clutch_torque", "coupling.torque_nm", Kind::Torque, true, &mut torque_nm),
        ("clutch_bite", "coupling.bite_rad_per_s", Kind::Rotation, true, &mut bite_rad_per_s),
    ] {
        document.field(&key(name), &key(field), kind, target)?;
        if of_clutch != has_clutch && document.has(&key(name)) {
            return Err(
                document.wrong(&key(name), "belongs to the other kind of coupling than this gearbox has")
            );
        }
    }
    gearbox.coupling = if has_clutch {
        Coupling::Clutch { torque_nm, bite_rad_per_s }
    } else {
        Coupling::Converter { capacity, ratio }
    };
    Ok(())
}

fn exhaust_and_sensors(document: &Document, section: &str, truth: &mut Truth) -> Result<(), InputError> {
    quantities!(document, section, truth, {
        exhaust.pipe_m3: Volume,
        exhaust.mixing_m3: Volume,
        exhaust.port_k: Temperature,
        exhaust.cooling_kg_per_s: MassRate,
        exhaust.wall_tau_s: Time,
        exhaust.back_pressure: Ratio,
        exhaust.bend: Ratio,
        exhaust.misfire_seen: Ratio,
        oxygen_sensor.tau_s: Time,
        oxygen_sensor.light_off_s: Time,
        oxygen_sensor.noise: Ratio,
        oxygen_sensor.drift: Ratio,
        oxygen_sensor.offset: Ratio,
        oxygen_sensor.ground_v: Voltage,
        sensors.map_tau_s: Time,
        sensors.map_offset_pa: Pressure,
        sensors.map_ripple_pa: Pressure,
        sensors.noise_v: Voltage,
        sensors.pulses_per_m: Ratio,
        trigger.jitter_deg: Angle,
    });
    Ok(())
}

fn surroundings(document: &Document, section: &str, truth: &mut Truth) -> Result<(), InputError> {
    quantities!(document, section, truth, {
        ambient.altitude_m: Length,
        ambient.sea_level_k as "ambient.sea_level_temperature": Temperature,
        ambient.sea_level_pa as "ambient.sea_level_pressure": Pressure,
        ambient.relative_humidity: Ratio,
        thermal.start_k: Temperature,
        thermal.start_bonnet_k: Temperature,
        thermal.coolant_j_per_k as "thermal.coolant_capacity": HeatCapacity,
        thermal.thermostat_k: Temperature,
        thermal.thermostat_range_k: TemperatureStep,
        thermal.radiator_w_per_k: HeatTransfer,
        thermal.radiator_per_speed: Ratio,
        thermal.fan_w_per_k: HeatTransfer,
        thermal.block_w_per_k: HeatTransfer,
        thermal.oil_tau_s: Time,
        thermal.wall_tau_s: Time,
        thermal.wall_share: Ratio,
        thermal.bonnet_share: Ratio,
        thermal.bonnet_m_per_s as "thermal.bonnet_speed": Speed,
        thermal.intake_share: Ratio,
        thermal.soak_kg_per_s as "thermal.soak_flow": MassRate,
    });
    Ok(())
}

fn car(document: &Document, section: &str, truth: &mut Truth) -> Result<(), InputError> {
    quantities!(document, section, truth, {
        nitrous.bottle_kg: Mass,
        nitrous.bottle_k as "nitrous.bottle_temperature": Temperature,
        nitrous.bottle_j_per_k as "nitrous.bottle_capacity": HeatCapacity,
        nitrous.jet_m2: Area,
        nitrous.fuel_jet_ratio: Ratio,
        nitrous.air_heat_share: Ratio,
        crank.inertia_kg_m2: Inertia,
        crank.starter_nm: Torque,
        crank.starter_free_rad_per_s: Rotation,
        vehicle.mass_kg: Mass,
        vehicle.rotating_kg: Mass,
        vehicle.drag_m2: Area,
        vehicle.rolling: Ratio,
        vehicle.wheel_m: Length,
        vehicle.braking: Ratio,
        vehicle.traction: Ratio,
        electrical.battery_v: Voltage,
        electrical.battery_ohm as "electrical.battery_resistance": Resistance,
        electrical.battery_ah: Ratio,
        electrical.alternator_v: Voltage,
        electrical.alternator_a as "electrical.alternator_current": Current,
        electrical.cut_in_rad_per_s: Rotation,
        electrical.base_a: Current,
        electrical.pump_a: Current,
        electrical.fan_a: Current,
        electrical.heater_a: Current,
        electrical.ac_a: Current,
        electrical.starter_a: Current,
        electrical.wiring_v: Voltage,
    });
    Ok(())
}

/// What is broken on purpose.
fn faults(document: &Document, section: &str, truth: &mut Truth) -> Result<(), InputError> {
    quantities!(document, section, truth, {
        faults.vacuum_leak_m2: Area,
        faults.exhaust_leak_kg_per_s: MassRate,
        faults.weak_pump: Ratio,
        faults.clogged_filter: Ratio,
        faults.lost_pulses: Ratio,
        faults.extra_pulses_hz: Ratio,
    });
    let section = &inside(section, "faults");
    let key = |name: &str| inside(section, name);
    let faults = &mut truth.faults;
    for (name, target) in [
        ("heater_dead", &mut faults.heater_dead),
        ("fans_dead", &mut faults.fans_dead),
        ("thermostat_open", &mut faults.thermostat_open),
        ("vss_lost", &mut faults.vss_lost),
    ] {
        document.flag(&key(name), target)?;
    }
    for (name, target) in [
        ("map", &mut faults.map),
        ("tp", &mut faults.tp),
        ("ect", &mut faults.ect),
        ("iat", &mut faults.iat),
        ("frp", &mut faults.frp),
        ("o2", &mut faults.o2),
        ("battery", &mut faults.battery),
    ] {
        document.choice(&key(name), CIRCUITS, target)?;
    }
    Ok(())
}

#[cfg(test)]
mod tests {
    use super::*;

    /// The paths of all fields, from the way a truth prints itself.
    fn fields_of(truth: &Truth) -> Vec<String> {
        let (mut path, mut fields) = (Vec::<String>::new(), Vec::new());
        for line in format!("{truth:#?}").lines().skip(1) {
            let line = line.trim();
            let name = line.split_once(": ").map(|(name, _)| name.to_owned());
            match (name, line.ends_with(['{', '['])) {
                (Some(name), true) => path.push(name),
                (Some(name), false) => fields.push([path.clone(), vec![name]].concat().join(".")),
                (None, _) => {}
            }
            if line.ends_with(['{', '[']) && line.contains(": ") && line.ends_with('[') {
                fields.push(path.join("."));
            }
            if line.starts_with(['}', ']']) {
                path.pop();
            }
        }
        fields
    }

    #[test]
    fn every_field_of_the_truth_can_be_given() {
        let document = Document::parse("empty.toml", "").expect("TOML");
        read(&document, "", &mut Truth::mild_v8()).expect("nothing to read");
        let fields = fields_of(&Truth::mild_v8());
        assert!(fields.len() > 150, "{} fields", fields.len());
        let missing: Vec<&String> = fields
            .iter()
            .filter(|field| {
                !document.knows(field) && *field != "gearbox.gears" && *field != "engine.cylinders"
            })
            .collect();
        assert!(missing.is_empty(), "no key fills {missing:?}");
    }

    #[test]
    fn a_truth_is_told_by_keys_in_human_units() {
        let text = "[throttle]\nbore = \"2 in\"\n[gearbox]\ncoupling = \"clutch\"\nratios = [3.5, 2.0, 1.0, 0.8]\n\
            clutch_torque = \"300 lb ft\"\n[faults]\no2 = \"open\"\nvss_lost = true\n[injectors]\ncount = 2\n\
            delay = [\"4 ms\", \"3 ms\", \"2 ms\", \"1 ms\", \"1 ms\"]\n";
        let document = Document::parse("car.toml", text).expect("TOML");
        let mut truth = Truth::mild_v8();
        read(&document, "", &mut truth).expect("readable");
        assert_eq!(document.finish(&[]), Ok(()));
        assert!((truth.throttle.bore_m - 0.0508).abs() < 1e-15);
        assert_eq!((truth.gearbox.gears, truth.gearbox.ratios[3], truth.injectors.count), (4, 0.8, 2));
        assert!(
            matches!(truth.gearbox.coupling, Coupling::Clutch { torque_nm, .. } if (torque_nm - 406.745).abs() < 1e-3)
        );
        assert_eq!((truth.faults.o2, truth.faults.vss_lost), (Circuit::Open, true));
        assert_eq!(truth.injectors.delay_s, [4e-3, 3e-3, 2e-3, 1e-3, 1e-3]);
        assert_eq!(truth.check(), Ok(()));
    }

    #[test]
    fn counts_are_asked_for_as_they_are_checked() {
        for ((path, (low, high)), put) in COUNTS.into_iter().zip::<[fn(&mut Truth); 4]>([
            |truth| truth.engine.cylinders = 0,
            |truth| truth.throttle.bores = 0,
            |truth| truth.injectors.count = 0,
            |truth| truth.exhaust.banks = 0,
        ]) {
            let mut truth = Truth::mild_v8();
            put(&mut truth);
            let error = truth.check().expect_err("none of them");
            assert_eq!((error.field, error.low, error.high), (path, low as f64, high as f64));
        }
    }

    #[test]
    fn a_key_of_the_other_coupling_is_refused() {
        let document = Document::parse("car.toml", "[gearbox]\nclutch_torque = \"300 N m\"\n").expect("TOML");
        let error = read(&document, "", &mut Truth::mild_v8()).expect_err("refused").to_string();
        assert!(error.starts_with("car.toml, line 2, gearbox.clutch_torque = "), "{error}");
        assert!(error.ends_with("belongs to the other kind of coupling than this gearbox has"), "{error}");
    }
}
