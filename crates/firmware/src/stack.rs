//! Measures stack usage.

/// Pattern that fills the unused stack.
const PAINT: u32 = 0x5AA5_C33C;
/// Bytes below the stack pointer that [`depth_bytes`] fills: more than any step uses.
const PAINTED_BYTES: usize = 32 * 1024;
/// Bytes next to the stack pointer that are left alone, for the filling itself.
const CLEAR_BYTES: usize = 256;

/// Runs `work` and returns its result and its largest stack usage, bytes, to the word.
#[inline(never)]
pub fn depth_bytes<T>(work: impl FnOnce() -> T) -> (T, usize) {
    let top = cortex_m::register::msp::read() as usize & !3;
    let bottom = top - PAINTED_BYTES;
    let words = (bottom..top - CLEAR_BYTES).step_by(4);
    for address in words.clone() {
        // SAFETY: the memory below the stack pointer is RAM reserved for the stack by the linker script, far more than is
        // filled; no interrupt is enabled, and no reference points there.
        unsafe { (address as *mut u32).write_volatile(PAINT) };
    }
    let result = work();
    // SAFETY: as above, read only.
    let deepest = words.clone().find(|address| unsafe { (*address as *const u32).read_volatile() } != PAINT);
    (result, top - deepest.unwrap_or(top - CLEAR_BYTES))
}
