//! Blocking use, for boards without an executor: adapter for blocking flash drivers, and [`wait_for`].

use core::future::Future;
use core::pin::pin;
use core::task::{Context, Poll, Waker};

use embedded_storage::nor_flash as blocking;
use embedded_storage_async::nor_flash::{ErrorType, NorFlash, ReadNorFlash};

/// Adapter for a blocking flash driver with the traits of `embedded-storage`.
#[derive(Clone, Debug, Default)]
pub struct Blocking<F>(pub F);

impl<F: blocking::ErrorType> ErrorType for Blocking<F> {
    type Error = F::Error;
}

impl<F: blocking::ReadNorFlash> ReadNorFlash for Blocking<F> {
    const READ_SIZE: usize = F::READ_SIZE;

    async fn read(&mut self, offset: u32, bytes: &mut [u8]) -> Result<(), Self::Error> {
        self.0.read(offset, bytes)
    }

    fn capacity(&self) -> usize {
        self.0.capacity()
    }
}

impl<F: blocking::NorFlash> NorFlash for Blocking<F> {
    const WRITE_SIZE: usize = F::WRITE_SIZE;
    const ERASE_SIZE: usize = F::ERASE_SIZE;

    async fn erase(&mut self, from: u32, to: u32) -> Result<(), Self::Error> {
        self.0.erase(from, to)
    }

    async fn write(&mut self, offset: u32, bytes: &[u8]) -> Result<(), Self::Error> {
        self.0.write(offset, bytes)
    }
}

/// Polls a future until it is ready: at the first poll with a [`Blocking`] driver.
///
/// ```
/// assert_eq!(trimwright_store::wait_for(async { 7 }), 7);
/// ```
pub fn wait_for<T>(work: impl Future<Output = T>) -> T {
    let mut work = pin!(work);
    loop {
        if let Poll::Ready(result) = work.as_mut().poll(&mut Context::from_waker(Waker::noop())) {
            return result;
        }
    }
}
