//! Reads an engine and its car from an engine file.
//!
//! Sections and keys are the parts and parameters of [`Truth`] without their units; what is not given is as in [`Truth::mild_v8`]. The same
//! keys below `[truth]` in a scenario override the file.

use crate::document::{Document, inside};
use crate::error::InputError;
use crate::scenario_source::Source;
use crate::units::Kind;
use crate::{block_reader, sensor_curves};
use trimwright_plant::{Coupling, Gearbox, Truth};

/// Required keys of an engine file.
pub(crate) const REQUIRED: &[&str] = &["title", "engine.displacement", "engine.cylinders"];

/// Lists with one item per gear: path of the parameter, and key.
pub(crate) const GEAR_LISTS: block_reader::Aliases<'_> = &[
    ("gearbox.ratios", "gearbox.ratios"),
    ("gearbox.up_closed_m_per_s", "gearbox.up_closed"),
    ("gearbox.up_full_m_per_s", "gearbox.up_full"),
];

/// Keys that differ from the parameter's name without its unit. The length of [`GEAR_LISTS`] sets the number of gears.
pub(crate) const ALIASES: block_reader::Aliases<'_> = &[
    ("ambient.sea_level_k", "ambient.sea_level_temperature"),
    ("ambient.sea_level_pa", "ambient.sea_level_pressure"),
    ("manifold.wall_w_per_k", "manifold.wall_heat"),
    ("injectors.delay_v", "injectors.delay_supply"),
    ("film.floor_w_per_k", "film.floor_heat"),
    ("film.floor_j_per_k", "film.floor_capacity"),
    ("fuel_system.pump_free_kg_per_s", "fuel_system.pump_free_flow"),
    ("fuel_system.filter_pa", "fuel_system.filter_drop"),
    ("fuel_system.rail_m3", "fuel_system.rail_volume"),
    ("fuel_system.fuel_k", "fuel_system.fuel_temperature"),
    ("gearbox.gears", ""),
    ("gearbox.ratios", ""),
    ("gearbox.up_closed_m_per_s", ""),
    ("gearbox.up_full_m_per_s", ""),
    ("thermal.coolant_j_per_k", "thermal.coolant_capacity"),
    ("thermal.bonnet_m_per_s", "thermal.bonnet_speed"),
    ("thermal.soak_kg_per_s", "thermal.soak_flow"),
    ("electrical.alternator_a", "electrical.alternator_current"),
    ("nitrous.bottle_k", "nitrous.bottle_temperature"),
    ("nitrous.bottle_j_per_k", "nitrous.bottle_capacity"),
];

/// Reads an engine file; the document is returned for messages about ranges.
pub(crate) fn parse(source: &Source) -> Result<(Document, Truth), InputError> {
    let document = Document::parse(&source.file, &source.text)?;
    let mut truth = Truth::mild_v8();
    document.text("title", &mut String::new())?;
    document.lines("about", &mut String::new())?;
    read(&document, "", &mut truth)?;
    document.finish(REQUIRED)?;
    Ok((document, truth))
}

/// Reads the section into `truth` (`""` is the whole document).
pub(crate) fn read(document: &Document, section: &str, truth: &mut Truth) -> Result<(), InputError> {
    for block in truth.blocks_mut() {
        block_reader::read(document, section, block, ALIASES)?;
    }
    sensor_curves::check(document, section, &truth.sensors)?;
    gearbox(document, &inside(section, "gearbox"), &mut truth.gearbox)
}

/// Reads the gearbox: lists with one item per gear, and converter or clutch.
fn gearbox(document: &Document, section: &str, gearbox: &mut Gearbox) -> Result<(), InputError> {
    let key = |name: &str| inside(section, name);
    if let Some(gears) = document.quantities(&key("ratios"), Kind::Ratio, true, &mut gearbox.ratios)? {
        gearbox.gears = u8::try_from(gears).unwrap_or(u8::MAX);
    }
    document.quantities(&key("up_closed"), Kind::Speed, true, &mut gearbox.up_closed_m_per_s)?;
    document.quantities(&key("up_full"), Kind::Speed, true, &mut gearbox.up_full_m_per_s)?;
    let others: &[&str] = match gearbox.coupling {
        Coupling::Converter => &["clutch_torque", "clutch_bite"],
        Coupling::Clutch => &["converter_capacity", "converter_ratio", "converter_pump"],
    };
    match others.iter().map(|name| key(name)).find(|key| document.has(key)) {
        Some(other) => {
            Err(document.wrong(&other, "belongs to the other kind of coupling than this gearbox has"))
        }
        None => Ok(()),
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use trimwright_numerics::parameters::padded;
    use trimwright_plant::{Circuit, SenderKind};

    fn given(text: &str) -> Result<Truth, InputError> {
        let document = Document::parse("car.toml", text).expect("TOML");
        let mut truth = Truth::mild_v8();
        read(&document, "", &mut truth)?;
        document.finish(&[]).map(|()| truth)
    }

    #[test]
    fn every_parameter_of_the_truth_can_be_given() {
        let document = Document::parse("empty.toml", "").expect("TOML");
        let mut truth = Truth::mild_v8();
        read(&document, "", &mut truth).expect("nothing to read");
        assert_eq!(truth, Truth::mild_v8());
        let paths = || truth.blocks().into_iter().flat_map(|block| block.info()).map(|info| info.path);
        let missing: Vec<&str> =
            paths().filter(|path| document.key_of(path).is_none() && *path != "gearbox.gears").collect();
        assert!(missing.is_empty(), "no key fills {missing:?}");
        let unused: Vec<_> =
            ALIASES.iter().filter(|(path, _)| !paths().any(|known| known == *path)).collect();
        assert!(unused.is_empty(), "{unused:?}");
    }

    #[test]
    fn a_renamed_key_is_rejected_with_its_present_name() {
        for (text, problem) in [
            ("[film]\ndraw = 0.5\n", "car.toml, line 2, film.draw: is now called film.draw_share"),
            (
                "[injectors]\nbend = \"50 us\"\n",
                "car.toml, line 2, injectors.bend: is now called injectors.nonlinearity",
            ),
            (
                "[exhaust]\nbend = 0.04\n",
                "car.toml, line 2, exhaust.bend: is now called exhaust.sensor_bend_error",
            ),
        ] {
            assert_eq!(given(text).expect_err("renamed").to_string(), problem);
        }
        let document = Document::parse("van.toml", "[truth.film]\nflash = 0.1\n").expect("TOML");
        read(&document, "truth", &mut Truth::mild_v8()).expect("nothing known to read");
        let error = document.finish(&[]).expect_err("renamed");
        assert_eq!(
            error.to_string(),
            "van.toml, line 2, truth.film.flash: is now called truth.film.flash_share"
        );
    }

    #[test]
    fn a_truth_is_read_in_trade_units() {
        let truth = given(
            "[throttle]\nbore = \"2 in\"\n[gearbox]\ncoupling = \"clutch\"\nratios = [3.5, 2.0, 1.0, 0.8]\n\
            clutch_torque = \"300 lb ft\"\n[faults]\no2 = \"open\"\nvss_lost = true\n[injectors]\ncount = 2\n\
            delay = [\"4 ms\", \"3 ms\", \"2 ms\", \"1 ms\", \"1 ms\"]\n",
        )
        .expect("readable");
        assert!((truth.throttle.bore_m - 0.0508).abs() < 1e-15);
        assert_eq!((truth.gearbox.gears, truth.gearbox.ratios[3], truth.injectors.count), (4, 0.8, 2));
        assert_eq!(truth.gearbox.coupling, Coupling::Clutch);
        assert!((truth.gearbox.clutch_torque_nm - 406.745).abs() < 1e-3);
        assert_eq!((truth.faults.o2, truth.faults.vss_lost), (Circuit::Open, true));
        assert_eq!(truth.injectors.delay_s, [4e-3, 3e-3, 2e-3, 1e-3, 1e-3]);
        assert_eq!(truth.check(), Ok(()));
    }

    #[test]
    fn sensors_have_the_keys_of_the_controllers() {
        let truth = given(
            "[sensors]\nmap = [[\"0.4 V\", \"20 kPa\"], [\"4.65 V\", \"250 kPa\"]]\nmap_limits = [\"0.3 V\", \"4.9 V\"]\n\
            tp = [[\"0.7 V\", 0], [\"4 V\", \"100 %\"]]\nfrp = [[\"0.5 V\", \"0 kPa\"], [\"4.5 V\", \"10 bar\"]]\n\
            baro = [[\"0 V\", \"0 kPa\"], [\"5 V\", \"120 kPa\"]]\nlambda = [[\"0 V\", 1.4], [\"5 V\", 0.7]]\n\
            ect_sender = \"2 kohm\"\nect_pull_up = \"1 kohm\"\niat_sender = \"points\"\n\
            iat_points = [[\"0 degC\", \"9 kohm\"], [\"100 degC\", \"300 ohm\"]]\nect_coefficients = [1e-3, 2e-4, 1e-7, 0.0]\n\
            pulses_per_firing = 2\n",
        )
        .expect("readable");
        let sensors = &truth.sensors;
        assert_eq!(
            (sensors.map_pa, sensors.map_limits_v),
            (padded([(0.4, 20e3), (4.65, 250e3)]), [0.3, 4.9])
        );
        assert_eq!(
            (sensors.tp, sensors.baro_pa),
            (padded([(0.7, 0.0), (4.0, 1.0)]), padded([(0.0, 0.0), (5.0, 120e3)]))
        );
        assert_eq!(
            (sensors.frp_pa, sensors.lambda),
            (padded([(0.5, 0.0), (4.5, 1e6)]), padded([(0.0, 1.4), (5.0, 0.7)]))
        );
        assert_eq!((sensors.ect_sender, sensors.iat_sender), (SenderKind::TwoKiloOhm, SenderKind::Points));
        assert_eq!((sensors.ect_pull_up_ohm, sensors.ect_coefficients), (1e3, [1e-3, 2e-4, 1e-7, 0.0]));
        assert_eq!(
            (sensors.iat_points_ohm, sensors.pulses_per_firing),
            (padded([(273.15, 9e3), (373.15, 300.0)]), 2)
        );
        assert_eq!(truth.check(), Ok(()));
    }

    #[test]
    fn a_key_of_the_other_coupling_is_rejected() {
        let error = given("[gearbox]\nclutch_torque = \"300 N m\"\n").expect_err("rejected").to_string();
        assert!(error.starts_with("car.toml, line 2, gearbox.clutch_torque = "), "{error}");
        assert!(error.ends_with("belongs to the other kind of coupling than this gearbox has"), "{error}");
    }
}
