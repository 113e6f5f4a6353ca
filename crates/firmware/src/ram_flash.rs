//! Memory that behaves as NOR flash does: erased page by page to ones, written word by word from one to zero.

use embedded_storage::nor_flash::{
    ErrorType, NorFlash, NorFlashError, NorFlashErrorKind, ReadNorFlash, check_erase, check_read, check_write,
};

/// Bytes of a page.
pub const PAGE_BYTES: usize = 4096;
/// All bytes.
pub const BYTES: usize = 4 * PAGE_BYTES;

/// Stands for the flash of a board; goes with the power as flash would not.
#[derive(Clone, Debug)]
pub struct RamFlash([u8; BYTES]);

impl RamFlash {
    /// Erased.
    pub const fn erased() -> Self {
        Self([0xFF; BYTES])
    }
}

/// An access outside the memory or across words or pages.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Misplaced(NorFlashErrorKind);

impl NorFlashError for Misplaced {
    fn kind(&self) -> NorFlashErrorKind {
        self.0
    }
}

impl ErrorType for RamFlash {
    type Error = Misplaced;
}

impl ReadNorFlash for RamFlash {
    const READ_SIZE: usize = 1;

    fn read(&mut self, offset: u32, bytes: &mut [u8]) -> Result<(), Misplaced> {
        check_read(self, offset, bytes.len()).map_err(Misplaced)?;
        bytes.copy_from_slice(&self.0[offset as usize..][..bytes.len()]);
        Ok(())
    }

    fn capacity(&self) -> usize {
        BYTES
    }
}

impl NorFlash for RamFlash {
    const WRITE_SIZE: usize = 4;
    const ERASE_SIZE: usize = PAGE_BYTES;

    fn erase(&mut self, from: u32, to: u32) -> Result<(), Misplaced> {
        check_erase(self, from, to).map_err(Misplaced)?;
        self.0[from as usize..to as usize].fill(0xFF);
        Ok(())
    }

    fn write(&mut self, offset: u32, bytes: &[u8]) -> Result<(), Misplaced> {
        check_write(self, offset, bytes.len()).map_err(Misplaced)?;
        for (place, byte) in self.0[offset as usize..].iter_mut().zip(bytes) {
            *place &= byte;
        }
        Ok(())
    }
}
