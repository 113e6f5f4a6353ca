//! Simulated NOR flash whose power can fail in the middle of a word or of an erase.

use embedded_storage_async::nor_flash::{
    ErrorType, MultiwriteNorFlash, NorFlash, NorFlashError, NorFlashErrorKind, ReadNorFlash,
};

pub(crate) const PAGE: usize = 4096;
pub(crate) const PAGES: usize = 4;
const WORD: usize = 4;

/// SplitMix64, after Steele, Lea and Flood (2014).
#[derive(Clone)]
pub(crate) struct Random(pub(crate) u64);

impl Random {
    pub(crate) fn next(&mut self) -> u64 {
        self.0 = self.0.wrapping_add(0x9E37_79B9_7F4A_7C15);
        let mut mixed = self.0;
        mixed = (mixed ^ (mixed >> 30)).wrapping_mul(0xBF58_476D_1CE4_E5B9);
        mixed = (mixed ^ (mixed >> 27)).wrapping_mul(0x94D0_49BB_1331_11EB);
        mixed ^ (mixed >> 31)
    }

    pub(crate) fn below(&mut self, limit: usize) -> usize {
        (self.next() % limit as u64) as usize
    }
}

#[derive(Clone)]
pub(crate) struct Flash {
    pub(crate) bytes: Vec<u8>,
    /// Words written and pages erased so far.
    pub(crate) operations: u64,
    pub(crate) erases: u32,
    /// Operations left until the power fails in the middle of one.
    pub(crate) left: Option<u64>,
    pub(crate) random: Random,
}

#[derive(Debug)]
pub(crate) struct Failed;

impl NorFlashError for Failed {
    fn kind(&self) -> NorFlashErrorKind {
        NorFlashErrorKind::Other
    }
}

impl Flash {
    pub(crate) fn new() -> Self {
        let bytes = vec![0xFF; PAGE * PAGES];
        Self { bytes, operations: 0, erases: 0, left: None, random: Random(1) }
    }

    /// Whether the power lasts through the next operation; after it has failed, every operation fails.
    fn holds(&mut self) -> Result<bool, Failed> {
        self.operations += 1;
        match &mut self.left {
            None => Ok(true),
            Some(0) => Err(Failed),
            Some(left) => {
                *left -= 1;
                Ok(*left > 0)
            }
        }
    }
}

impl ErrorType for Flash {
    type Error = Failed;
}

impl ReadNorFlash for Flash {
    const READ_SIZE: usize = 1;

    async fn read(&mut self, offset: u32, bytes: &mut [u8]) -> Result<(), Failed> {
        if self.left == Some(0) {
            return Err(Failed);
        }
        bytes.copy_from_slice(&self.bytes[offset as usize..offset as usize + bytes.len()]);
        Ok(())
    }

    fn capacity(&self) -> usize {
        self.bytes.len()
    }
}

impl NorFlash for Flash {
    const WRITE_SIZE: usize = WORD;
    const ERASE_SIZE: usize = PAGE;

    async fn erase(&mut self, from: u32, to: u32) -> Result<(), Failed> {
        for page in (from as usize..to as usize).step_by(PAGE) {
            let whole = self.holds()?;
            self.erases += 1;
            let erased = if whole { PAGE } else { self.random.below(PAGE) };
            self.bytes[page..page + erased].fill(0xFF);
            if !whole {
                return Err(Failed);
            }
        }
        Ok(())
    }

    async fn write(&mut self, offset: u32, bytes: &[u8]) -> Result<(), Failed> {
        for (index, word) in bytes.chunks(WORD).enumerate() {
            let whole = self.holds()?;
            for (place, byte) in self.bytes[offset as usize + index * WORD..].iter_mut().zip(word) {
                // Writing clears bits; when the power fails some are not cleared yet.
                *place &= if whole { *byte } else { *byte | self.random.next() as u8 };
            }
            if !whole {
                return Err(Failed);
            }
        }
        Ok(())
    }
}

impl MultiwriteNorFlash for Flash {}
