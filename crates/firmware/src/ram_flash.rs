//! NOR flash simulated in RAM: erased page by page to ones, written word by word from one to zero.

use embedded_storage::nor_flash::{
    ErrorType, NorFlash, NorFlashError, NorFlashErrorKind, ReadNorFlash, check_erase, check_read, check_write,
};

/// Page size, bytes.
pub const PAGE_BYTES: usize = 4096;
/// Total size, bytes.
pub const BYTES: usize = 4 * PAGE_BYTES;

/// Stands for the flash of a board; its content is lost with the power.
#[derive(Clone, Debug)]
pub struct RamFlash([u8; BYTES]);

impl RamFlash {
    /// A fully erased flash.
    pub const fn erased() -> Self {
        Self([0xFF; BYTES])
    }
}

/// An access outside the memory or not aligned to words or pages.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct AccessError(NorFlashErrorKind);

impl NorFlashError for AccessError {
    fn kind(&self) -> NorFlashErrorKind {
        self.0
    }
}

impl ErrorType for RamFlash {
    type Error = AccessError;
}

impl ReadNorFlash for RamFlash {
    const READ_SIZE: usize = 1;

    fn read(&mut self, offset: u32, bytes: &mut [u8]) -> Result<(), AccessError> {
        check_read(self, offset, bytes.len()).map_err(AccessError)?;
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

    fn erase(&mut self, from: u32, to: u32) -> Result<(), AccessError> {
        check_erase(self, from, to).map_err(AccessError)?;
        self.0[from as usize..to as usize].fill(0xFF);
        Ok(())
    }

    fn write(&mut self, offset: u32, bytes: &[u8]) -> Result<(), AccessError> {
        check_write(self, offset, bytes.len()).map_err(AccessError)?;
        for (place, byte) in self.0[offset as usize..].iter_mut().zip(bytes) {
            *place &= byte;
        }
        Ok(())
    }
}
