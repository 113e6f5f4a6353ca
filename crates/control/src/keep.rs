//! The learned map as bytes, and back: for flash or a file.
//!
//! | bytes | what |
//! |---|---|
//! | 0 to 3 | the letters `TWLM` |
//! | 4 | version of this layout, 1 |
//! | 5, 6 | breakpoints of the RPM axis and of the MAP axis |
//! | 7 | 0 |
//! | 8 to 11 | fingerprint of engine, injectors, axes and base filling |
//! | 12 to 15 | running number of the image |
//! | 16 to 351 | corrections, 16-bit signed each, 1e-5 ln; rows MAP, columns RPM |
//! | 352 to 687 | standard deviations, 16-bit unsigned each, 2e-6 ln |
//! | 688 to 691 | the film's share and time constant over the believed ones, 16-bit signed each, 2e-5 ln |
//! | 692 to 695 | their standard deviations, 16-bit unsigned each, 1e-5 ln |
//! | 696 to 699 | CRC-32 of all before it |
//!
//! All numbers are little-endian. To survive a loss of power at any byte, keep two places and write the older one:
//! [`newest`] takes the sound image with the higher running number, so that a half-written one costs only the newest lessons.
//! The checksum is CRC-32 as of ITU-T V.42 (reflected polynomial 0xEDB88320).

use core::fmt;

use trimwright_numerics::Real;

use crate::calibration::{CELLS, Calibration, MAP_POINTS, RPM_POINTS};
use crate::film::FILM;
use crate::learner::{AUTHORITY_LN, FILM_AUTHORITY_LN, FILM_PRIOR_SIGMA_LN, LearnedMap, PRIOR_SIGMA_LN};

/// Bytes of an image.
pub const IMAGE_BYTES: usize = 20 + 4 * (CELLS + FILM);
/// Version of the layout.
pub const VERSION: u8 = 1;

const LETTERS: [u8; 4] = *b"TWLM";
const HEAD_BYTES: usize = 16;
const LN_UNIT: f32 = 1e-5;
const SIGMA_UNIT: f32 = 2e-6;
const FILM_LN_UNIT: f32 = 2e-5;
const FILM_SIGMA_UNIT: f32 = 1e-5;

/// Why an image was refused.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub enum KeepError {
    /// It has this many bytes.
    Length(usize),
    /// It does not start with the letters of a learned map.
    Foreign,
    /// Its checksum is wrong: half-written or damaged.
    Damaged,
    /// Its layout has this version.
    Version(u8),
    /// It was learned with another setup.
    OtherSetup,
    /// A number in it lies outside the authority, although the checksum is right.
    OutOfRange,
}

impl fmt::Display for KeepError {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Self::Length(bytes) => write!(f, "a learned map has {IMAGE_BYTES} bytes, not {bytes}"),
            Self::Foreign => f.write_str("this is not a learned map"),
            Self::Damaged => f.write_str("the learned map is damaged or was only half written"),
            Self::Version(version) => {
                write!(f, "the learned map has layout {version}, this is layout {VERSION}")
            }
            Self::OtherSetup => f.write_str("the learned map belongs to another setup"),
            Self::OutOfRange => f.write_str("the learned map holds a correction out of range"),
        }
    }
}

impl core::error::Error for KeepError {}

/// The map as bytes. `number` should be one more than that of the image before.
///
/// ```
/// use trimwright_control::{Calibration, LearnedMap, SetupAnswers, keep};
/// let calibration = Calibration::from_answers(&SetupAnswers::default())?;
/// let image = keep::pack(&calibration, &LearnedMap::default(), 7);
/// assert_eq!(keep::unpack(&calibration, &image), Ok((LearnedMap::default(), 7)));
/// # Ok::<(), trimwright_control::AnswerError>(())
/// ```
pub fn pack(calibration: &Calibration, map: &LearnedMap, number: u32) -> [u8; IMAGE_BYTES] {
    let sigmas = map.variance.flat().iter().map(|variance| Real::sqrt(variance.max(0.0)));
    let corrections = map.ln.flat().iter().map(|ln| round(ln / LN_UNIT) as i16 as u16);
    let deviations = sigmas.map(|sigma| round(sigma / SIGMA_UNIT) as u16);
    let film = map.film_ln.iter().map(|ln| round(ln / FILM_LN_UNIT) as i16 as u16);
    let film_sigmas = map.film_variance.iter().map(|variance| Real::sqrt(variance.max(0.0)));
    let film_deviations = film_sigmas.map(|sigma| round(sigma / FILM_SIGMA_UNIT) as u16);
    let words = corrections.chain(deviations).chain(film).chain(film_deviations).flat_map(u16::to_le_bytes);
    let head = LETTERS
        .into_iter()
        .chain([VERSION, RPM_POINTS as u8, MAP_POINTS as u8, 0])
        .chain(fingerprint(calibration).to_le_bytes())
        .chain(number.to_le_bytes());
    let mut image = [0; IMAGE_BYTES];
    for (place, byte) in image.iter_mut().zip(head.chain(words)) {
        *place = byte;
    }
    if let Some((body, sum)) = image.split_last_chunk_mut::<4>() {
        *sum = crc32(body.iter().copied()).to_le_bytes();
    }
    image
}

/// The map and the running number out of an image.
///
/// # Errors
/// [`KeepError`] says why the image was refused; nothing of a refused image is used.
pub fn unpack(calibration: &Calibration, image: &[u8]) -> Result<(LearnedMap, u32), KeepError> {
    if image.len() != IMAGE_BYTES {
        return Err(KeepError::Length(image.len()));
    }
    let (body, sum) = image.split_last_chunk::<4>().ok_or(KeepError::Length(image.len()))?;
    let (head, words) = body.split_first_chunk::<HEAD_BYTES>().ok_or(KeepError::Length(image.len()))?;
    let [l0, l1, l2, l3, version, rpm_points, map_points, _, f0, f1, f2, f3, n0, n1, n2, n3] = *head;
    if [l0, l1, l2, l3] != LETTERS {
        return Err(KeepError::Foreign);
    }
    if crc32(body.iter().copied()) != u32::from_le_bytes(*sum) {
        return Err(KeepError::Damaged);
    }
    if version != VERSION {
        return Err(KeepError::Version(version));
    }
    let same_axes = [usize::from(rpm_points), usize::from(map_points)] == [RPM_POINTS, MAP_POINTS];
    if !same_axes || u32::from_le_bytes([f0, f1, f2, f3]) != fingerprint(calibration) {
        return Err(KeepError::OtherSetup);
    }
    Ok((read_map(words)?, u32::from_le_bytes([n0, n1, n2, n3])))
}

/// The newest sound image of several places; `None` when there is none.
pub fn newest<'a>(
    calibration: &Calibration,
    places: impl IntoIterator<Item = &'a [u8]>,
) -> Option<(LearnedMap, u32)> {
    places.into_iter().filter_map(|place| unpack(calibration, place).ok()).max_by_key(|(_, number)| *number)
}

fn read_map(words: &[u8]) -> Result<LearnedMap, KeepError> {
    let mut map = LearnedMap::default();
    let short = KeepError::Length(words.len());
    let (corrections, words) = words.split_at_checked(2 * CELLS).ok_or(short)?;
    let (deviations, words) = words.split_at_checked(2 * CELLS).ok_or(short)?;
    let (film, film_deviations) = words.split_at_checked(2 * FILM).ok_or(short)?;
    read_corrections(map.ln.flat_mut(), corrections, LN_UNIT, AUTHORITY_LN)?;
    read_deviations(map.variance.flat_mut(), deviations, SIGMA_UNIT, PRIOR_SIGMA_LN)?;
    read_corrections(&mut map.film_ln, film, FILM_LN_UNIT, FILM_AUTHORITY_LN)?;
    read_deviations(&mut map.film_variance, film_deviations, FILM_SIGMA_UNIT, FILM_PRIOR_SIGMA_LN)?;
    Ok(map)
}

fn read_corrections(places: &mut [f32], words: &[u8], unit: f32, authority_ln: f32) -> Result<(), KeepError> {
    for (ln, word) in places.iter_mut().zip(words.as_chunks::<2>().0) {
        *ln = f32::from(i16::from_le_bytes(*word)) * unit;
        if ln.abs() > authority_ln + unit {
            return Err(KeepError::OutOfRange);
        }
        *ln = ln.held(-authority_ln, authority_ln);
    }
    Ok(())
}

fn read_deviations(variances: &mut [f32], words: &[u8], unit: f32, prior: f32) -> Result<(), KeepError> {
    for (variance, word) in variances.iter_mut().zip(words.as_chunks::<2>().0) {
        let sigma = f32::from(u16::from_le_bytes(*word)) * unit;
        if sigma > prior + unit {
            return Err(KeepError::OutOfRange);
        }
        *variance = (sigma * sigma).min(prior * prior);
    }
    Ok(())
}

/// To the nearest whole number, halves away from zero.
fn round(value: f32) -> i32 {
    (if value < 0.0 { value - 0.5 } else { value + 0.5 }) as i32
}

/// What a map depends on: a correction means nothing over another base.
fn fingerprint(calibration: &Calibration) -> u32 {
    let answers = calibration.answers();
    let made_of = [
        answers.displacement_m3,
        f32::from(answers.cylinders),
        f32::from(answers.injectors),
        answers.injector_flow_kg_per_s,
        answers.injector_rated_pressure_pa,
        answers.stoich_afr,
    ];
    let axes = calibration.rpm_axis().points().iter().chain(calibration.map_axis().points());
    let numbers = made_of.iter().chain(axes).chain(calibration.filling().flat());
    crc32(numbers.flat_map(|number| number.to_le_bytes()))
}

fn crc32(bytes: impl IntoIterator<Item = u8>) -> u32 {
    !bytes.into_iter().fold(u32::MAX, |sum, byte| {
        (0..8).fold(sum ^ u32::from(byte), |sum, _| (sum >> 1) ^ (0xEDB8_8320 & (sum & 1).wrapping_neg()))
    })
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::setup::SetupAnswers;
    use proptest::prelude::*;

    fn calibration() -> Calibration {
        Calibration::from_answers(&SetupAnswers::default()).unwrap()
    }

    fn learned(seed: u32) -> LearnedMap {
        let mut map = LearnedMap::default();
        let cells = map.ln.flat_mut().iter_mut().zip(map.variance.flat_mut());
        for (cell, (ln, variance)) in (seed..).zip(cells) {
            *ln = (cell.wrapping_mul(2_654_435_761) >> 16) as f32 / 65_536.0 * 0.6 - 0.3;
            *variance = (cell.wrapping_mul(2_246_822_519) >> 16) as f32 / 65_536.0 * 0.0144;
        }
        map
    }

    /// CRC-32 of the digits 1 to 9 is 0xCBF43926: the usual check value of this checksum, from memory.
    #[test]
    fn val_the_checksum_is_the_usual_one() {
        assert_eq!(crc32(*b"123456789"), 0xCBF4_3926);
    }

    #[test]
    fn ident_what_was_kept_comes_back_within_its_unit() {
        let (calibration, map) = (calibration(), learned(3));
        let (back, number) = unpack(&calibration, &pack(&calibration, &map, 41)).unwrap();
        assert_eq!(number, 41);
        for (before, after) in map.ln.flat().iter().zip(back.ln.flat()) {
            assert!((before - after).abs() <= 0.6 * LN_UNIT);
        }
        for (before, after) in map.variance.flat().iter().zip(back.variance.flat()) {
            assert!((Real::sqrt(*before) - Real::sqrt(*after)).abs() <= 0.6 * SIGMA_UNIT);
        }
        assert_eq!(
            pack(&calibration, &back, 41),
            pack(&calibration, &map, 41),
            "keeping again changes nothing"
        );
    }

    #[test]
    fn every_single_flipped_bit_is_refused() {
        let calibration = calibration();
        let image = pack(&calibration, &learned(1), 1);
        for bit in 0..IMAGE_BYTES * 8 {
            let mut flipped = image;
            flipped[bit / 8] ^= 1 << (bit % 8);
            let expected = if bit < 32 { KeepError::Foreign } else { KeepError::Damaged };
            assert_eq!(unpack(&calibration, &flipped), Err(expected), "bit {bit}");
        }
    }

    #[test]
    fn power_lost_at_any_byte_leaves_a_sound_map() {
        let calibration = calibration();
        let (old, new) = (pack(&calibration, &learned(1), 8), pack(&calibration, &learned(2), 9));
        let (old_map, new_map) = (unpack(&calibration, &old).unwrap(), unpack(&calibration, &new).unwrap());
        for written in 0..=IMAGE_BYTES {
            let mut place = [0xFF; IMAGE_BYTES];
            place[..written].copy_from_slice(&new[..written]);
            let expected = if written == IMAGE_BYTES { &new_map } else { &old_map };
            assert_eq!(
                newest(&calibration, [&old[..], &place[..]]).as_ref(),
                Some(expected),
                "{written} bytes"
            );
        }
        assert_eq!(newest(&calibration, [&[0xFF; IMAGE_BYTES][..]]), None);
    }

    #[test]
    fn another_setup_version_or_length_is_named() {
        let calibration = calibration();
        let answers = SetupAnswers { displacement_m3: 4e-3, ..SetupAnswers::default() };
        let other = Calibration::from_answers(&answers).unwrap();
        let mut image = pack(&calibration, &learned(1), 1);
        assert_eq!(unpack(&other, &image), Err(KeepError::OtherSetup));
        assert_eq!(unpack(&calibration, &image[1..]), Err(KeepError::Length(IMAGE_BYTES - 1)));
        image[4] = 9;
        let sum = crc32(image[..IMAGE_BYTES - 4].iter().copied());
        image[IMAGE_BYTES - 4..].copy_from_slice(&sum.to_le_bytes());
        assert_eq!(unpack(&calibration, &image), Err(KeepError::Version(9)));
    }

    proptest! {
        #[test]
        fn no_bytes_make_it_panic(bytes in proptest::collection::vec(any::<u8>(), 0..IMAGE_BYTES + 2)) {
            prop_assert!(unpack(&calibration(), &bytes).is_err());
        }
    }
}
