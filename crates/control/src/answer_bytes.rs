//! Setup answers as bytes, for [`crate::persistence`]: the eleven numbers in the order of [`SetupAnswers`], four bytes each, little-endian;
//! cylinders, camshaft, injectors and fuel system, one byte each; spark, fans and nitrous, one byte each, 0 or 1; and a 0.

use crate::answers::{Cam, FuelSystemType, SetupAnswers};

/// Bytes of the answers.
pub(crate) const ANSWER_BYTES: usize = 52;
const NUMBER_BYTES: usize = 44;

/// The answers as bytes.
pub(crate) fn pack(answers: &SetupAnswers) -> [u8; ANSWER_BYTES] {
    // Destructured by name, so that the compiler reports an answer that is added and not packed.
    let SetupAnswers {
        displacement_m3,
        cylinders,
        cam,
        compression_ratio,
        injectors,
        injector_flow_kg_per_s,
        injector_rated_pressure_pa,
        rail_pressure_pa,
        fuel_system,
        stoich_afr,
        idle_speed_rad_per_s,
        rev_limit_rad_per_s,
        controls_spark,
        controls_fans,
        fan1_on_k,
        fan2_on_k,
        nitrous,
        nitrous_flow_kg_per_s,
    } = *answers;
    let numbers = [
        displacement_m3,
        compression_ratio,
        injector_flow_kg_per_s,
        injector_rated_pressure_pa,
        rail_pressure_pa,
        stoich_afr,
        idle_speed_rad_per_s,
        rev_limit_rad_per_s,
        fan1_on_k,
        fan2_on_k,
        nitrous_flow_kg_per_s,
    ];
    let cam = match cam {
        Cam::Stock => 0,
        Cam::Mild => 1,
        Cam::Hot => 2,
    };
    let fuel_system = match fuel_system {
        FuelSystemType::Return => 0,
        FuelSystemType::Returnless => 1,
    };
    let choices = [cylinders, cam, injectors, fuel_system];
    let switches = [controls_spark, controls_fans, nitrous].map(u8::from);
    let mut bytes = [0; ANSWER_BYTES];
    let packed = numbers.into_iter().flat_map(f32::to_le_bytes).chain(choices).chain(switches);
    for (place, byte) in bytes.iter_mut().zip(packed) {
        *place = byte;
    }
    bytes
}

/// The answers in these bytes; `None` when a choice does not exist or a number is outside its range.
pub(crate) fn unpack(bytes: &[u8; ANSWER_BYTES]) -> Option<SetupAnswers> {
    let (numbers, choices) = bytes.split_first_chunk::<NUMBER_BYTES>()?;
    let mut numbers = numbers.as_chunks::<4>().0.iter().map(|number| f32::from_le_bytes(*number));
    let &[cylinders, cam, injectors, fuel_system, spark, fans, nitrous, _] = choices else { return None };
    let answers = SetupAnswers {
        displacement_m3: numbers.next()?,
        cylinders,
        cam: match cam {
            0 => Cam::Stock,
            1 => Cam::Mild,
            2 => Cam::Hot,
            _ => return None,
        },
        compression_ratio: numbers.next()?,
        injectors,
        injector_flow_kg_per_s: numbers.next()?,
        injector_rated_pressure_pa: numbers.next()?,
        rail_pressure_pa: numbers.next()?,
        fuel_system: match fuel_system {
            0 => FuelSystemType::Return,
            1 => FuelSystemType::Returnless,
            _ => return None,
        },
        stoich_afr: numbers.next()?,
        idle_speed_rad_per_s: numbers.next()?,
        rev_limit_rad_per_s: numbers.next()?,
        controls_spark: switch(spark)?,
        controls_fans: switch(fans)?,
        fan1_on_k: numbers.next()?,
        fan2_on_k: numbers.next()?,
        nitrous: switch(nitrous)?,
        nitrous_flow_kg_per_s: numbers.next()?,
    };
    answers.check().is_ok().then_some(answers)
}

const fn switch(byte: u8) -> Option<bool> {
    match byte {
        0 => Some(false),
        1 => Some(true),
        _ => None,
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn ident_packed_answers_unpack_unchanged() {
        let other = SetupAnswers {
            displacement_m3: 1.6e-3,
            cylinders: 4,
            cam: Cam::Hot,
            compression_ratio: 9.5,
            injectors: 2,
            injector_flow_kg_per_s: 5e-3,
            injector_rated_pressure_pa: 250e3,
            rail_pressure_pa: 280e3,
            fuel_system: FuelSystemType::Returnless,
            stoich_afr: 14.1,
            idle_speed_rad_per_s: 90.0,
            rev_limit_rad_per_s: 700.0,
            controls_spark: false,
            controls_fans: true,
            fan1_on_k: 361.0,
            fan2_on_k: 368.0,
            nitrous: true,
            nitrous_flow_kg_per_s: 0.02,
        };
        for answers in [SetupAnswers::default(), other] {
            assert_eq!(unpack(&pack(&answers)), Some(answers));
        }
    }

    #[test]
    fn unknown_choices_and_numbers_out_of_range_are_rejected() {
        let valid = pack(&SetupAnswers::default());
        for (place, byte) in [(45, 3), (47, 2), (48, 2), (50, 7), (44, 99), (3, 0xFF)] {
            let mut bytes = valid;
            bytes[place] = byte;
            assert_eq!(unpack(&bytes), None, "byte {place}");
        }
    }

    #[test]
    fn ident_every_choice_is_unpacked_as_packed() {
        for cam in [Cam::Stock, Cam::Mild, Cam::Hot] {
            for fuel_system in [FuelSystemType::Return, FuelSystemType::Returnless] {
                let answers = SetupAnswers { cam, fuel_system, ..SetupAnswers::default() };
                assert_eq!(unpack(&pack(&answers)), Some(answers));
            }
        }
    }
}
