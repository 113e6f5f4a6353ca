//! Logger over the processor's trace pin (SWO, Armv7-M instrumentation trace macrocell).

use core::cell::UnsafeCell;
use cortex_m::itm;
use cortex_m::peripheral::ITM;
use critical_section::RestoreState;

#[defmt::global_logger]
struct Swo;

struct LockedEncoder(UnsafeCell<(RestoreState, defmt::Encoder)>);

// SAFETY: only reached between `acquire` and `release`, which hold a critical section.
unsafe impl Sync for LockedEncoder {}

static ENCODER: LockedEncoder =
    LockedEncoder(UnsafeCell::new((RestoreState::invalid(), defmt::Encoder::new())));

fn send(bytes: &[u8]) {
    // SAFETY: the trace unit belongs to the logger alone, which writes inside a critical section.
    let unit = unsafe { &mut *ITM::PTR };
    itm::write_all(&mut unit.stim[0], bytes);
}

// SAFETY: `acquire` begins a critical section and `release` ends it; nothing in between logs.
unsafe impl defmt::Logger for Swo {
    fn acquire() {
        // SAFETY: the one matching `release` is below, in the order that the trait promises.
        unsafe {
            let restore = critical_section::acquire();
            let locked = &mut *ENCODER.0.get();
            locked.0 = restore;
            locked.1.start_frame(send);
        }
    }

    unsafe fn flush() {}

    unsafe fn release() {
        // SAFETY: called after `acquire`, inside its critical section.
        unsafe {
            let locked = &mut *ENCODER.0.get();
            locked.1.end_frame(send);
            critical_section::release(locked.0);
        }
    }

    unsafe fn write(bytes: &[u8]) {
        // SAFETY: called between `acquire` and `release`.
        unsafe { (*ENCODER.0.get()).1.write(bytes, send) }
    }
}
