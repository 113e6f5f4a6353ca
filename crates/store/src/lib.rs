//! Learned map, trouble codes and setup answers in flash: survive loss of power at any moment and damage to any bit.
//!
//! They lie there as the image of [`trimwright_control::persistence`], with its own letters, version, running number, fingerprint of the
//! setup and checksum, in two places that are written in turn. A log over all pages holds both
//! ([`sequential_storage::map`]), so that wear is spread; each entry has a checksum of its own.
//!
//! ```text
//! page 0      page 1      page 2      page 3        each page: begun | entry | entry | ... | closed
//! [A7 B8 A9]  [B8 A9 B10] [ erased  ] [ erased  ]   entry: head with length and checksum, place (1 byte), image
//! ```
//!
//! A save writes one entry; when the page is full the newest entry of the other place is carried over to the next page first, and the
//! page after that is erased. What was stored before stays readable until what replaces it is whole.
//!
//! At key on, [`Store::answers`] and then [`Store::restore`]; at key off, [`Store::save`].
//!
//! Flash wears by erasing: save at key off and at most every [`SAVE_EVERY_S`] of driving; the tests hold that to
//! [`MOST_ERASES_PER_HOUR`] page erases an hour, over all pages together, with the four pages of 4 KiB they use.
#![no_std]

mod blocking;

use core::ops::Range;

use embedded_storage_async::nor_flash::NorFlash;
use sequential_storage::Error as FlashError;
use sequential_storage::cache::{Cache, Uncached};
use sequential_storage::map::{MapConfig, MapStorage};
use trimwright_control::persistence::{self, IMAGE_BYTES, ImageError, PersistentData};
use trimwright_control::{Calibrated, Codes, LearnedMap, SetupAnswers};

pub use blocking::{Blocking, wait_for};

/// Least time between two saves while driving, seconds. Engineering judgement: five minutes of lessons are soon learned again.
pub const SAVE_EVERY_S: f64 = 300.0;
/// Most page erases in an hour of driving, all pages together, when saved as often as [`SAVE_EVERY_S`] allows. Flash inside
/// microcontrollers stands 10 000 erases of a page (common practice, no source): at this rate four pages outlast 13 000 hours.
pub const MOST_ERASES_PER_HOUR: u32 = 3;

/// Room for an image with its place, in whole flash words; and for a later controller's longer one, that it be refused by name.
const BUFFER_BYTES: usize = IMAGE_BYTES + 260;

/// Why one of the two places gave nothing.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Refusal {
    /// Nothing was ever stored there.
    Empty,
    /// Its image was refused.
    Image(ImageError),
    /// The log around it can't be read.
    Unreadable,
}

/// What came back from flash.
#[derive(Clone, Debug, PartialEq)]
pub struct Restored {
    /// What is in the newest sound image of this setup, and its running number.
    pub kept: Option<(PersistentData, u32)>,
    /// Why each of the two places gave nothing, if it did not.
    pub refused: [Option<Refusal>; 2],
}

/// The flash can't keep anything.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum StoreError {
    /// The range is not made of at least two whole pages.
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

/// Images in a range of flash.
pub struct Store<F: NorFlash> {
    log: MapStorage<u8, F, Cache<Uncached, Uncached, Uncached, u8>>,
}

impl<F: NorFlash> Store<F> {
    /// In this range of the flash, which nothing else uses: two or more pages, each larger than three images.
    ///
    /// # Errors
    /// [`StoreError::Range`].
    pub fn new(flash: F, range: Range<u32>) -> Result<Self, StoreError> {
        let config = MapConfig::try_new(range).map_err(|_| StoreError::Range)?;
        Ok(Self { log: MapStorage::new(flash, config, Cache::new_uncached()) })
    }

    /// The answers in the newest sound image, of whatever setup, to make a calibration of; `None` when there is none.
    pub async fn answers(&mut self) -> Option<SetupAnswers> {
        let (first, second) =
            (self.place(0, persistence::answers).await, self.place(1, persistence::answers).await);
        first.into_iter().chain(second).max_by_key(|(_, number)| *number).map(|(answers, _)| answers)
    }

    /// Map and codes out of the newest sound image that was stored with this setup.
    pub async fn restore(&mut self, calibration: &impl Calibrated) -> Restored {
        let unpack = |image: &[u8]| persistence::unpack(calibration, image);
        let (first, second) = (self.place(0, unpack).await, self.place(1, unpack).await);
        let refused = [first.as_ref().err().copied(), second.as_ref().err().copied()];
        let kept = first.into_iter().chain(second).max_by_key(|(_, number)| *number);
        Restored { kept, refused }
    }

    /// Keeps learned map, stored codes and the calibration's answers under the running number after `last`, which is that of what was
    /// restored or saved before.
    ///
    /// # Errors
    /// [`StoreError::Flash`]; what was stored before is untouched.
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
        let place = (number % 2) as u8;
        let stored = self.log.store_item(&mut buffer, &place, &image.as_slice()).await;
        stored.map(|()| number).map_err(|_| StoreError::Flash)
    }

    /// Erases everything, for a flash that is damaged beyond use.
    ///
    /// # Errors
    /// [`StoreError::Flash`].
    pub async fn erase(&mut self) -> Result<(), StoreError> {
        self.log.erase_all().await.map_err(|_| StoreError::Flash)
    }

    /// Gives the flash back.
    pub fn into_flash(self) -> F {
        self.log.destroy().0
    }

    async fn place<T>(
        &mut self,
        place: u8,
        unpack: impl Fn(&[u8]) -> Result<T, ImageError>,
    ) -> Result<T, Refusal> {
        let mut buffer = [0; BUFFER_BYTES];
        match self.log.fetch_item::<&[u8]>(&mut buffer, &place).await {
            Ok(Some(image)) => unpack(image).map_err(Refusal::Image),
            Ok(None) => Err(Refusal::Empty),
            Err(FlashError::BufferTooSmall(bytes)) => Err(Refusal::Image(ImageError::Length(bytes))),
            Err(_) => Err(Refusal::Unreadable),
        }
    }
}
