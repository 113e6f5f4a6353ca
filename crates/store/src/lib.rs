//! Storage of learned map, trouble codes and setup answers in flash, safe against loss of power at any moment and damaged bits.
//!
//! They are stored as an image of [`trimwright_control::persistence`] (magic, version, sequence number, fingerprint of the setup, checksum) in two
//! slots A and B that are written alternately. Both slots are entries of a log over all pages ([`sequential_storage::map`]), which levels
//! the wear; each entry has its own checksum.
//!
//! ```text
//! page 0      page 1      page 2      page 3        each page: open mark | entry | entry | ... | closed mark
//! [A7 B8 A9]  [B8 A9 B10] [ erased  ] [ erased  ]   entry: header with length and checksum, slot (1 byte), image
//! ```
//!
//! A save writes one entry. When the page is full, the newest entry of the other slot is first copied to the next page, and the page after
//! that is erased. The stored image stays readable until the one that replaces it is complete.
//!
//! At key on, [`Store::answers`] and then [`Store::restore`]; at key off, [`Store::save`].
//!
//! Erasing wears flash: save at key off and at most every [`MIN_SAVE_INTERVAL_S`] of driving; the tests limit that to
//! [`MAX_ERASES_PER_HOUR`] page erases per hour of all pages together, with four pages of 4 KiB.
#![no_std]

/// The examples of the README.
#[cfg(doctest)]
#[doc = include_str!("../README.md")]
pub struct Readme;

mod blocking;

use core::ops::Range;

use embedded_storage_async::nor_flash::NorFlash;
use sequential_storage::Error as FlashError;
use sequential_storage::cache::{Cache, Uncached};
use sequential_storage::map::{MapConfig, MapStorage};
use trimwright_control::persistence::{self, IMAGE_BYTES, ImageError, PersistentData};
use trimwright_control::{Calibrated, Codes, LearnedMap, SetupAnswers};

pub use blocking::{Blocking, wait_for};

/// Minimum interval between two saves while driving, s. Engineering judgement: five minutes of learning are soon repeated.
pub const MIN_SAVE_INTERVAL_S: f64 = 300.0;
/// Most page erases per hour of driving, all pages together, with a save every [`MIN_SAVE_INTERVAL_S`]. Flash of
/// microcontrollers endures 10 000 erases per page (common practice, no source): at this rate four pages last 13 000 hours.
pub const MAX_ERASES_PER_HOUR: u32 = 3;

/// Buffer for an image with its slot number, in whole flash words, and for a longer image of a later version, whose version is then reported.
const BUFFER_BYTES: usize = IMAGE_BYTES + 260;

/// Why a slot has no usable image.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
#[non_exhaustive]
pub enum SlotError {
    /// The slot was never written.
    Empty,
    /// The image was rejected.
    Image(ImageError),
    /// The log cannot be read.
    Unreadable,
}

/// Result of [`Store::restore`].
#[derive(Clone, Debug, PartialEq)]
pub struct Restored {
    /// Learned map and codes of the newest valid image of this setup, and its sequence number.
    pub kept: Option<(PersistentData, u32)>,
    /// Why each of the two slots was rejected; `None` for a valid one.
    pub rejected: [Option<SlotError>; 2],
}

/// Why nothing can be stored.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
#[non_exhaustive]
pub enum StoreError {
    /// The range is not two or more whole pages.
    Range,
    /// The flash failed or is damaged beyond use; after [`Store::erase`] it may work again.
    Flash,
}

impl core::fmt::Display for StoreError {
    fn fmt(&self, f: &mut core::fmt::Formatter<'_>) -> core::fmt::Result {
        f.write_str(match self {
            Self::Range => "the range is not made of at least two whole pages of flash",
            Self::Flash => "the flash failed or is damaged",
        })
    }
}

impl core::error::Error for StoreError {}

/// Two image slots in a range of flash.
pub struct Store<F: NorFlash> {
    log: MapStorage<u8, F, Cache<Uncached, Uncached, Uncached, u8>>,
}

impl<F: NorFlash> Store<F> {
    /// A store in this range of the flash, in bytes: two or more pages, each larger than three images, used by nothing else.
    ///
    /// # Errors
    /// [`StoreError::Range`] when the range is not two or more whole pages.
    pub fn new(flash: F, range: Range<u32>) -> Result<Self, StoreError> {
        let config = MapConfig::try_new(range).map_err(|_| StoreError::Range)?;
        Ok(Self { log: MapStorage::new(flash, config, Cache::new_uncached()) })
    }

    /// Setup answers of the newest valid image, of any setup; `None` without one.
    pub async fn answers(&mut self) -> Option<SetupAnswers> {
        let (first, second) =
            (self.read_slot(0, persistence::answers).await, self.read_slot(1, persistence::answers).await);
        first.into_iter().chain(second).max_by_key(|(_, number)| *number).map(|(answers, _)| answers)
    }

    /// Learned map and codes of the newest valid image with this calibration's setup.
    pub async fn restore(&mut self, calibration: &impl Calibrated) -> Restored {
        let unpack = |image: &[u8]| persistence::unpack(calibration, image);
        let (first, second) = (self.read_slot(0, unpack).await, self.read_slot(1, unpack).await);
        let rejected = [first.as_ref().err().copied(), second.as_ref().err().copied()];
        let kept = first.into_iter().chain(second).max_by_key(|(_, number)| *number);
        Restored { kept, rejected }
    }

    /// Stores learned map, codes and the calibration's answers. `last` is the sequence number of the image restored or saved before, 0
    /// without one; returns the new one.
    ///
    /// # Errors
    /// [`StoreError::Flash`]; the images stored before are kept.
    pub async fn save(
        &mut self,
        calibration: &impl Calibrated,
        map: &LearnedMap,
        codes: Codes,
        last: u32,
    ) -> Result<u32, StoreError> {
        let number = last.wrapping_add(1);
        let image = persistence::pack(calibration, map, codes, number);
        let mut buffer = [0; BUFFER_BYTES];
        let slot = (number % 2) as u8;
        let stored = self.log.store_item(&mut buffer, &slot, &image.as_slice()).await;
        stored.map(|()| number).map_err(|_| StoreError::Flash)
    }

    /// Erases all pages, for a flash that is damaged beyond use.
    ///
    /// # Errors
    /// [`StoreError::Flash`] when the flash fails.
    pub async fn erase(&mut self) -> Result<(), StoreError> {
        self.log.erase_all().await.map_err(|_| StoreError::Flash)
    }

    /// Returns the flash driver.
    pub fn into_flash(self) -> F {
        self.log.destroy().0
    }

    async fn read_slot<T>(
        &mut self,
        slot: u8,
        unpack: impl Fn(&[u8]) -> Result<T, ImageError>,
    ) -> Result<T, SlotError> {
        let mut buffer = [0; BUFFER_BYTES];
        match self.log.fetch_item::<&[u8]>(&mut buffer, &slot).await {
            Ok(Some(image)) => unpack(image).map_err(SlotError::Image),
            Ok(None) => Err(SlotError::Empty),
            Err(FlashError::BufferTooSmall(bytes)) => Err(SlotError::Image(ImageError::Length(bytes))),
            Err(_) => Err(SlotError::Unreadable),
        }
    }
}
