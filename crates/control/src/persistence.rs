//! Persistence: learned map, trouble codes and setup answers as bytes for flash or a file, and back.
//!
//! ```text
//! | head 16 | codes 8 | answers 52 | corrections 336 | deviations 336 | film 8 | common 8 | checksum 4 |
//!
//! head: | T W L M | version | axes 2 | codes | fingerprint 4 | number 4 |
//! ```
//!
//! | part | bytes | content |
//! |---|---|---|
//! | letters | 4 | `TWLM` |
//! | version | 1 | [`VERSION`] of this layout |
//! | axes | 2 | breakpoints of the RPM axis and of the MAP axis |
//! | codes | 1 | number of codes in [`Dtc::ALL`] |
//! | fingerprint | 4 | of engine, injectors, axes and base map |
//! | number | 4 | running number of the image |
//! | codes | 8 | stored codes: bit n is the code at place n of [`Dtc::ALL`] |
//! | answers | 52 | setup answers: eleven floats, then seven bytes of choices and a 0, in the order of [`SetupAnswers`] |
//! | corrections | 336 | 16-bit signed each, 2e-5 ln; rows MAP, columns RPM |
//! | deviations | 336 | their standard deviations, 16-bit unsigned each, 2e-6 ln |
//! | film | 4 | corrections of the film's share and time constant, 16-bit signed each, 2e-5 ln |
//! | film deviations | 4 | 16-bit unsigned each, 1e-5 ln |
//! | common | 4 | common fuel scale and opening delay, 16-bit signed each, 2e-5 ln and 1e-8 s |
//! | common deviations | 4 | 16-bit unsigned each, the same units |
//! | checksum | 4 | CRC-32 of all bytes before it, in every version |
//!
//! All numbers are little-endian. To survive a loss of power at any byte, use two places and overwrite the older one:
//! [`newest`] takes the valid image with the higher running number, so a half-written one costs only the newest lessons.
//! The checksum is CRC-32 as of ITU-T V.42 (reflected polynomial 0xEDB88320).
//!
//! At power-up read [`answers`] first and make the calibration from them; [`unpack`] needs it. When an answer that the fingerprint
//! covers has changed, the image is rejected as [`ImageError::OtherSetup`]: corrections of another base map are
//! meaningless, and so may its codes be; a fault still present sets its code again. Other answers, such as fans or spark, may
//! change freely: the new ones apply.

use core::fmt;

use trimwright_numerics::Real;

use crate::answer_bytes::{self, ANSWER_BYTES};
use crate::answers::SetupAnswers;
use crate::base_map::{CELLS, MAP_POINTS, RPM_POINTS};
use crate::calibration::Calibrated;
use crate::common_correction::CommonCorrectionParameters;
use crate::dtc::{Codes, Dtc};
use crate::film::FILM;
use crate::learned_map::{CommonCorrection, LearnedMap};
use crate::parameters::Parameters;
use crate::setup::Setup;

/// Bytes of an image.
pub const IMAGE_BYTES: usize = HEAD_BYTES + CODE_BYTES + ANSWER_BYTES + 4 * (CELLS + FILM) + 8 + 4;
/// Version of the layout.
pub const VERSION: u8 = 3;

const LETTERS: [u8; 4] = *b"TWLM";
const HEAD_BYTES: usize = 16;
const CODE_BYTES: usize = 8;
const LN_UNIT: f32 = 2e-5;
const SIGMA_UNIT: f32 = 2e-6;
const FILM_LN_UNIT: f32 = 2e-5;
const FILM_SIGMA_UNIT: f32 = 1e-5;
const FLOW_UNIT: f32 = 2e-5;
const DELAY_UNIT: f32 = 1e-8;

/// What survives a power-down beside the setup answers.
#[derive(Clone, Debug, PartialEq)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub struct PersistentData {
    /// The learned map: long-term trim.
    pub learned: LearnedMap,
    /// The stored trouble codes.
    pub codes: Codes,
}

/// Why an image was rejected.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
#[non_exhaustive]
pub enum ImageError {
    /// It has this many bytes.
    Length(usize),
    /// It does not start with the letters of an image.
    Foreign,
    /// Its checksum is wrong: half-written or damaged.
    Damaged,
    /// Written by a later controller, with this version of the layout.
    TooNew(u8),
    /// Written by an earlier controller, with this version of the layout.
    TooOld(u8),
    /// Learned with another setup, or by a controller with other axes or codes.
    OtherSetup,
    /// A number in it is outside its range or authority although the checksum is right.
    OutOfRange,
}

impl fmt::Display for ImageError {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Self::Length(bytes) => write!(f, "a persistence image has {IMAGE_BYTES} bytes, not {bytes}"),
            Self::Foreign => f.write_str("this is not a persistence image"),
            Self::Damaged => f.write_str("the persistence image is damaged or was only half written"),
            Self::TooNew(version) => {
                write!(
                    f,
                    "the persistence image is too new: its layout is {version}, this controller knows {VERSION}"
                )
            }
            Self::TooOld(version) => {
                write!(
                    f,
                    "the persistence image is too old: its layout is {version}, this controller knows {VERSION}"
                )
            }
            Self::OtherSetup => f.write_str("the persistence image belongs to another setup"),
            Self::OutOfRange => f.write_str("the persistence image holds a number out of range"),
        }
    }
}

impl core::error::Error for ImageError {}

/// Image of the learned map, the codes and the calibration's answers. `number` should be one more than in the last image.
///
/// ```
/// use trimwright_control::persistence::{self, PersistentData};
/// use trimwright_control::{Calibration, Codes, Dtc, SetupAnswers};
/// let calibration = Calibration::from_answers(&SetupAnswers::default())?;
/// let persistent = PersistentData { learned: calibration.parameters().blank_map(), codes: Codes::empty().with(Dtc::MapLow) };
/// let image = persistence::pack(&calibration, &persistent.learned, persistent.codes, 7);
/// assert_eq!(persistence::answers(&image), Ok((SetupAnswers::default(), 7)));
/// let (kept, number) = persistence::unpack(&calibration, &image).expect("complete");
/// assert_eq!((kept.codes, kept.learned.ln, number), (persistent.codes, persistent.learned.ln, 7));
/// # Ok::<(), trimwright_control::AnswerError>(())
/// ```
pub fn pack(calibration: &impl Calibrated, map: &LearnedMap, codes: Codes, number: u32) -> [u8; IMAGE_BYTES] {
    let setup = calibration.setup();
    let sigmas = map.variance.flat().iter().map(|variance| Real::sqrt(variance.max(0.0)));
    let corrections = map.ln.flat().iter().map(|ln| round(ln / LN_UNIT) as i16 as u16);
    let deviations = sigmas.map(|sigma| round(sigma / SIGMA_UNIT) as u16);
    let film = map.film_ln.iter().map(|ln| round(ln / FILM_LN_UNIT) as i16 as u16);
    let film_sigmas = map.film_variance.iter().map(|variance| Real::sqrt(variance.max(0.0)));
    let film_deviations = film_sigmas.map(|sigma| round(sigma / FILM_SIGMA_UNIT) as u16);
    let common = common_words(&map.common);
    let learned = corrections.chain(deviations).chain(film).chain(film_deviations).chain(common);
    let words = learned.flat_map(u16::to_le_bytes);
    let head = LETTERS
        .into_iter()
        .chain([VERSION, RPM_POINTS as u8, MAP_POINTS as u8, Dtc::ALL.len() as u8])
        .chain(fingerprint(setup).to_le_bytes())
        .chain(number.to_le_bytes())
        .chain(codes.bits().to_le_bytes())
        .chain(answer_bytes::pack(setup.answers()));
    let mut image = [0; IMAGE_BYTES];
    for (place, byte) in image.iter_mut().zip(head.chain(words)) {
        *place = byte;
    }
    if let Some((body, sum)) = image.split_last_chunk_mut::<4>() {
        *sum = crc32(body.iter().copied()).to_le_bytes();
    }
    image
}

/// Learned map, codes and running number of an image.
///
/// ```
/// use trimwright_control::persistence::{ImageError, pack, unpack};
/// use trimwright_control::{Calibration, Codes, SetupAnswers};
/// let calibration = Calibration::from_answers(&SetupAnswers::default())?;
/// let mut learned = calibration.parameters().blank_map();
/// learned.ln.flat_mut()[40] = 0.05;
/// let image = pack(&calibration, &learned, Codes::empty(), 7);
/// let (persistent, number) = unpack(&calibration, &image).unwrap();
/// assert!((persistent.learned.ln.flat()[40] - 0.05).abs() < 1e-4 && number == 7);
/// // Larger injectors: corrections for the others are meaningless.
/// let larger = SetupAnswers { injector_flow_kg_per_s: 10e-3, ..SetupAnswers::default() };
/// assert_eq!(unpack(&Calibration::from_answers(&larger)?, &image), Err(ImageError::OtherSetup));
/// # Ok::<(), trimwright_control::AnswerError>(())
/// ```
///
/// # Errors
/// [`ImageError`] says why the image was rejected; nothing of it is used.
pub fn unpack(calibration: &impl Calibrated, image: &[u8]) -> Result<(PersistentData, u32), ImageError> {
    let Parts { fingerprint: made_for, number, codes, words, .. } = parts(image)?;
    if made_for != fingerprint(calibration.setup()) {
        return Err(ImageError::OtherSetup);
    }
    let codes = Codes::from_bits(codes).ok_or(ImageError::OutOfRange)?;
    Ok((PersistentData { learned: read_map(calibration.parameters(), words)?, codes }, number))
}

/// Setup answers and running number of an image.
///
/// # Errors
/// [`ImageError`] says why the image was rejected.
pub fn answers(image: &[u8]) -> Result<(SetupAnswers, u32), ImageError> {
    let Parts { number, answers, .. } = parts(image)?;
    Ok((answer_bytes::unpack(answers).ok_or(ImageError::OutOfRange)?, number))
}

/// The valid image with the highest running number; `None` when there is none.
pub fn newest<'a>(
    calibration: &impl Calibrated,
    places: impl IntoIterator<Item = &'a [u8]>,
) -> Option<(PersistentData, u32)> {
    let valid = places.into_iter().filter_map(|place| unpack(calibration, place).ok());
    valid.max_by_key(|(_, number)| *number)
}

/// The parts of an image with valid checksum and layout.
struct Parts<'a> {
    fingerprint: u32,
    number: u32,
    codes: u64,
    answers: &'a [u8; ANSWER_BYTES],
    words: &'a [u8],
}

fn parts(image: &[u8]) -> Result<Parts<'_>, ImageError> {
    let length = ImageError::Length(image.len());
    let (body, sum) = image.split_last_chunk::<4>().ok_or(length)?;
    let (head, rest) = body.split_first_chunk::<HEAD_BYTES>().ok_or(length)?;
    let [l0, l1, l2, l3, version, rpm_points, map_points, codes, f0, f1, f2, f3, n0, n1, n2, n3] = *head;
    if [l0, l1, l2, l3] != LETTERS {
        return Err(ImageError::Foreign);
    }
    if crc32(body.iter().copied()) != u32::from_le_bytes(*sum) {
        return Err(ImageError::Damaged);
    }
    if version > VERSION {
        return Err(ImageError::TooNew(version));
    }
    if version < VERSION {
        return Err(ImageError::TooOld(version));
    }
    if [rpm_points, map_points, codes].map(usize::from) != [RPM_POINTS, MAP_POINTS, Dtc::ALL.len()] {
        return Err(ImageError::OtherSetup);
    }
    if image.len() != IMAGE_BYTES {
        return Err(length);
    }
    let (codes, rest) = rest.split_first_chunk::<CODE_BYTES>().ok_or(length)?;
    let (answers, words) = rest.split_first_chunk::<ANSWER_BYTES>().ok_or(length)?;
    Ok(Parts {
        fingerprint: u32::from_le_bytes([f0, f1, f2, f3]),
        number: u32::from_le_bytes([n0, n1, n2, n3]),
        codes: u64::from_le_bytes(*codes),
        answers,
        words,
    })
}

/// Reads the map within the limits of these parameters.
fn read_map(parameters: &Parameters, words: &[u8]) -> Result<LearnedMap, ImageError> {
    let mut map = parameters.blank_map();
    let (learner, common_correction) = (&parameters.learner, &parameters.common_correction);
    let whole_authority_ln = learner.authority_ln + common_correction.flow_authority_ln;
    let short = ImageError::Length(words.len());
    let (corrections, words) = words.split_at_checked(2 * CELLS).ok_or(short)?;
    let (deviations, words) = words.split_at_checked(2 * CELLS).ok_or(short)?;
    let (film, words) = words.split_at_checked(2 * FILM).ok_or(short)?;
    let (film_deviations, common) = words.split_at_checked(2 * FILM).ok_or(short)?;
    read_corrections(map.ln.flat_mut(), corrections, LN_UNIT, whole_authority_ln)?;
    read_deviations(map.variance.flat_mut(), deviations, SIGMA_UNIT, learner.prior_sigma_ln)?;
    read_corrections(&mut map.film_ln, film, FILM_LN_UNIT, learner.film_authority_ln)?;
    read_deviations(&mut map.film_variance, film_deviations, FILM_SIGMA_UNIT, learner.film_prior_sigma_ln)?;
    map.common = read_common(common_correction, common)?;
    Ok(map)
}

fn common_words(common: &CommonCorrection) -> [u16; 4] {
    let signed = |value: f32, unit: f32| round(value / unit) as i16 as u16;
    [
        signed(common.flow_ln, FLOW_UNIT),
        signed(common.delay_s, DELAY_UNIT),
        round(common.flow_sigma_ln / FLOW_UNIT) as u16,
        round(common.delay_sigma_s / DELAY_UNIT) as u16,
    ]
}

fn read_common(
    parameters: &CommonCorrectionParameters,
    words: &[u8],
) -> Result<CommonCorrection, ImageError> {
    let &[flow, delay, flow_sigma, delay_sigma] = words.as_chunks::<2>().0 else {
        return Err(ImageError::Length(words.len()));
    };
    Ok(CommonCorrection {
        flow_ln: read_correction(flow, FLOW_UNIT, parameters.flow_authority_ln)?,
        delay_s: read_correction(delay, DELAY_UNIT, parameters.delay_authority_s)?,
        flow_sigma_ln: read_deviation(flow_sigma, FLOW_UNIT, parameters.flow_prior_sigma_ln)?,
        delay_sigma_s: read_deviation(delay_sigma, DELAY_UNIT, parameters.delay_prior_sigma_s)?,
    })
}

fn read_corrections(places: &mut [f32], words: &[u8], unit: f32, authority: f32) -> Result<(), ImageError> {
    for (ln, word) in places.iter_mut().zip(words.as_chunks::<2>().0) {
        *ln = read_correction(*word, unit, authority)?;
    }
    Ok(())
}

fn read_correction(word: [u8; 2], unit: f32, authority: f32) -> Result<f32, ImageError> {
    let value = f32::from(i16::from_le_bytes(word)) * unit;
    if value.abs() > authority + unit {
        Err(ImageError::OutOfRange)
    } else {
        Ok(value.held(-authority, authority))
    }
}

fn read_deviations(variances: &mut [f32], words: &[u8], unit: f32, prior: f32) -> Result<(), ImageError> {
    for (variance, word) in variances.iter_mut().zip(words.as_chunks::<2>().0) {
        let sigma = read_deviation(*word, unit, prior)?;
        *variance = sigma * sigma;
    }
    Ok(())
}

fn read_deviation(word: [u8; 2], unit: f32, prior: f32) -> Result<f32, ImageError> {
    let sigma = f32::from(u16::from_le_bytes(word)) * unit;
    if sigma > prior + unit { Err(ImageError::OutOfRange) } else { Ok(sigma.min(prior)) }
}

/// Rounds to the nearest whole number, halves away from zero.
fn round(value: f32) -> i32 {
    (if value < 0.0 { value - 0.5 } else { value + 0.5 }) as i32
}

/// Fingerprint of what a learned map depends on. The base map and its parameters are in its filling and axes.
fn fingerprint(setup: &Setup) -> u32 {
    let answers = setup.answers();
    let scalars = [
        answers.displacement_m3,
        f32::from(answers.cylinders),
        f32::from(answers.injectors),
        answers.injector_flow_kg_per_s,
        answers.injector_rated_pressure_pa,
        answers.stoich_afr,
    ];
    let axes = setup.rpm_axis().points().iter().chain(setup.map_axis().points());
    let numbers = scalars.iter().chain(axes).chain(setup.filling().flat());
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
    use crate::answers::SetupAnswers;
    use crate::calibration::Calibration;
    use proptest::prelude::*;
    use trimwright_numerics::parameters::{Block, Slot};

    fn calibration() -> Calibration {
        Calibration::from_answers(&SetupAnswers::default()).unwrap()
    }

    const CODES: Codes = Codes::empty().with(Dtc::MapLow).with(Dtc::VoltsHigh);

    fn learned(seed: u32) -> LearnedMap {
        let mut map = Parameters::DEFAULT.blank_map();
        let cells = map.ln.flat_mut().iter_mut().zip(map.variance.flat_mut());
        for (cell, (ln, variance)) in (seed..).zip(cells) {
            *ln = (cell.wrapping_mul(2_654_435_761) >> 16) as f32 / 65_536.0 * 0.6 - 0.3;
            *variance = (cell.wrapping_mul(2_246_822_519) >> 16) as f32 / 65_536.0 * 0.0144;
        }
        map.common =
            CommonCorrection { flow_ln: 0.031, delay_s: -4.5e-5, flow_sigma_ln: 0.02, delay_sigma_s: 1.5e-5 };
        map
    }

    /// CRC-32 of the digits 1 to 9 is 0xCBF43926: the usual check value of this checksum, from memory.
    #[test]
    fn val_the_checksum_has_its_check_value() {
        assert_eq!(crc32(*b"123456789"), 0xCBF4_3926);
    }

    #[test]
    fn ident_a_packed_map_unpacks_within_its_resolution() {
        let (calibration, map) = (calibration(), learned(3));
        let (back, number) = unpack(&calibration, &pack(&calibration, &map, CODES, 41)).unwrap();
        assert_eq!((number, back.codes), (41, CODES));
        for (before, after) in map.ln.flat().iter().zip(back.learned.ln.flat()) {
            assert!((before - after).abs() <= 0.6 * LN_UNIT);
        }
        for (before, after) in map.variance.flat().iter().zip(back.learned.variance.flat()) {
            assert!((Real::sqrt(*before) - Real::sqrt(*after)).abs() <= 0.6 * SIGMA_UNIT);
        }
        assert!((back.learned.common.delay_s - map.common.delay_s).abs() <= 0.6 * DELAY_UNIT);
        assert!((back.learned.common.flow_ln - map.common.flow_ln).abs() <= 0.6 * FLOW_UNIT);
        assert_eq!(
            pack(&calibration, &back.learned, back.codes, 41),
            pack(&calibration, &map, CODES, 41),
            "packing again changes nothing"
        );
    }

    #[test]
    fn every_single_flipped_bit_is_rejected() {
        let calibration = calibration();
        let image = pack(&calibration, &learned(1), CODES, 1);
        for bit in 0..IMAGE_BYTES * 8 {
            let mut flipped = image;
            flipped[bit / 8] ^= 1 << (bit % 8);
            let expected = if bit < 32 { ImageError::Foreign } else { ImageError::Damaged };
            assert_eq!(unpack(&calibration, &flipped), Err(expected), "bit {bit}");
        }
    }

    #[test]
    fn power_lost_at_any_byte_leaves_a_valid_image() {
        let calibration = calibration();
        let (old, new) =
            (pack(&calibration, &learned(1), CODES, 8), pack(&calibration, &learned(2), CODES, 9));
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

    /// An image with one byte changed and its checksum recalculated.
    fn altered(place: usize, byte: u8) -> [u8; IMAGE_BYTES] {
        let mut image = pack(&calibration(), &learned(1), CODES, 1);
        image[place] = byte;
        let sum = crc32(image[..IMAGE_BYTES - 4].iter().copied());
        image[IMAGE_BYTES - 4..].copy_from_slice(&sum.to_le_bytes());
        image
    }

    #[test]
    fn a_map_of_another_setup_is_rejected_and_its_answers_are_readable() {
        let image = pack(&calibration(), &learned(1), CODES, 1);
        let answers = SetupAnswers { displacement_m3: 4e-3, ..SetupAnswers::default() };
        assert_eq!(
            unpack(&Calibration::from_answers(&answers).unwrap(), &image),
            Err(ImageError::OtherSetup)
        );
        assert_eq!(super::answers(&image), Ok((SetupAnswers::default(), 1)));
    }

    #[test]
    fn an_answer_without_effect_on_the_base_map_leaves_the_learned_map() {
        let image = pack(&calibration(), &learned(1), CODES, 1);
        let answers = SetupAnswers { rail_pressure_pa: 280e3, fan1_on_k: 360.0, ..SetupAnswers::default() };
        let (persistent, _) = unpack(&Calibration::from_answers(&answers).unwrap(), &image).unwrap();
        assert_eq!(persistent.codes, CODES);
    }

    #[test]
    fn later_and_earlier_layouts_have_errors_of_their_own_whatever_their_length() {
        let calibration = calibration();
        assert_eq!(unpack(&calibration, &altered(4, VERSION + 1)), Err(ImageError::TooNew(VERSION + 1)));
        assert_eq!(unpack(&calibration, &altered(4, 1)), Err(ImageError::TooOld(1)));
        let mut longer = [7; IMAGE_BYTES + 30];
        longer[..5].copy_from_slice(b"TWLM\x09");
        let sum = crc32(longer[..IMAGE_BYTES + 26].iter().copied());
        longer[IMAGE_BYTES + 26..].copy_from_slice(&sum.to_le_bytes());
        assert_eq!(unpack(&calibration, &longer), Err(ImageError::TooNew(9)));
        longer[4] = VERSION;
        assert_eq!(unpack(&calibration, &longer), Err(ImageError::Damaged));
        assert_eq!(unpack(&calibration, b"TWLM"), Err(ImageError::Length(4)));
    }

    #[test]
    fn unknown_codes_and_answers_are_rejected_although_the_checksum_is_right() {
        let of_the_codes = altered(HEAD_BYTES + 7, 0xFF);
        assert_eq!(unpack(&calibration(), &of_the_codes), Err(ImageError::OutOfRange));
        let of_the_cam = altered(HEAD_BYTES + CODE_BYTES + 45, 9);
        assert_eq!(super::answers(&of_the_cam), Err(ImageError::OutOfRange));
        assert_eq!(unpack(&calibration(), &altered(7, 30)), Err(ImageError::OtherSetup));
    }

    #[test]
    fn a_map_learned_over_another_base_map_is_rejected() {
        let image = pack(&calibration(), &learned(1), CODES, 1);
        let mut parameters = Parameters::DEFAULT;
        parameters.base_map.factor.cells[1][1] = 1.05;
        let other = Calibration::new(&SetupAnswers::default(), &parameters).unwrap();
        assert_eq!(unpack(&other, &image), Err(ImageError::OtherSetup));
    }

    #[test]
    fn limits_are_those_of_the_parameters() {
        let image = pack(&calibration(), &learned(1), CODES, 1);
        let with = |change: fn(&mut Parameters)| {
            let mut parameters = Parameters::DEFAULT;
            change(&mut parameters);
            Calibration::new(&SetupAnswers::default(), parameters).unwrap()
        };
        let narrow = with(|parameters| parameters.learner.authority_ln = 0.02);
        assert_eq!(unpack(&narrow, &image), Err(ImageError::OutOfRange));
        let tight = with(|parameters| parameters.common_correction.flow_prior_sigma_ln = 0.01);
        assert_eq!(unpack(&tight, &image), Err(ImageError::OutOfRange));
    }

    /// The highest value that the range of each limit allows unpacks unchanged.
    #[test]
    fn ident_the_widest_limits_fit_into_the_image() {
        let mut widest = Parameters::DEFAULT;
        let widen = |block: &mut dyn Block<f32>, name: &str| {
            let place = block.info().iter().position(|info| info.name == name).unwrap();
            let most = block.info()[place].range.max;
            if let Some(Slot::Number(number)) = block.slot(place) {
                *number = most;
            }
        };
        for name in ["authority_ln", "prior_sigma_ln", "film_authority_ln", "film_prior_sigma_ln"] {
            widen(&mut widest.learner, name);
        }
        for name in ["flow_authority_ln", "delay_authority_s", "flow_prior_sigma_ln", "delay_prior_sigma_s"] {
            widen(&mut widest.common_correction, name);
        }
        let mut map = widest.blank_map();
        map.common.flow_ln = -widest.common_correction.flow_authority_ln;
        map.common.delay_s = widest.common_correction.delay_authority_s;
        map.ln.flat_mut().fill(map.common.flow_ln - widest.learner.authority_ln);
        map.film_ln = [widest.learner.film_authority_ln; FILM];
        let calibration = Calibration::new(&SetupAnswers::default(), widest).unwrap();
        let (back, _) = unpack(&calibration, &pack(&calibration, &map, CODES, 1)).unwrap();
        assert!((back.learned.ln.flat()[0] - map.ln.flat()[0]).abs() <= LN_UNIT);
        assert!((back.learned.sigma_ln(0) - map.sigma_ln(0)).abs() <= SIGMA_UNIT);
        assert!((back.learned.film_ln[0] - map.film_ln[0]).abs() <= FILM_LN_UNIT);
        let film_sigma_ln = |map: &LearnedMap| Real::sqrt(map.film_variance[0]);
        assert!((film_sigma_ln(&back.learned) - film_sigma_ln(&map)).abs() <= FILM_SIGMA_UNIT);
        assert!((back.learned.common.flow_ln - map.common.flow_ln).abs() <= FLOW_UNIT);
        assert!((back.learned.common.delay_s - map.common.delay_s).abs() <= DELAY_UNIT);
        assert!((back.learned.common.flow_sigma_ln - map.common.flow_sigma_ln).abs() <= FLOW_UNIT);
        assert!((back.learned.common.delay_sigma_s - map.common.delay_sigma_s).abs() <= DELAY_UNIT);
    }

    #[test]
    fn every_reason_to_reject_an_image_is_told() {
        extern crate std;
        use std::string::ToString;
        let told = |error: ImageError| error.to_string();
        assert_eq!(
            told(ImageError::Length(4)),
            std::format!("a persistence image has {IMAGE_BYTES} bytes, not 4")
        );
        assert!(told(ImageError::Foreign).contains("not a persistence image"));
        assert!(told(ImageError::Damaged).contains("damaged"));
        assert!(
            told(ImageError::TooNew(9)).contains("too new")
                && told(ImageError::TooOld(1)).contains("too old")
        );
        assert!(told(ImageError::OtherSetup).contains("another setup"));
        assert!(told(ImageError::OutOfRange).contains("out of range"));
    }

    #[test]
    fn a_number_may_be_beyond_its_limit_by_one_unit_of_the_image() {
        let of = |word: i16| read_correction(word.to_le_bytes(), 0.5, 1.0);
        assert_eq!([of(1), of(3), of(-3), of(4)], [Ok(0.5), Ok(1.0), Ok(-1.0), Err(ImageError::OutOfRange)]);
        let of = |word: u16| read_deviation(word.to_le_bytes(), 0.5, 1.0);
        assert_eq!([of(1), of(3), of(4)], [Ok(0.5), Ok(1.0), Err(ImageError::OutOfRange)]);
    }

    proptest! {
        #[test]
        fn no_bytes_make_it_panic(bytes in proptest::collection::vec(any::<u8>(), 0..IMAGE_BYTES + 2)) {
            prop_assert!(unpack(&calibration(), &bytes).is_err());
        }
    }
}
