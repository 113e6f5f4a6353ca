//! A step of the loop does not allocate.

#[path = "../benches/stretch/mod.rs"]
mod stretch;

use stretch::Stretch;

/// Heap allocations while `work` runs.
fn allocations(work: impl FnOnce()) -> u64 {
    allocation_counter::measure(work).count_total
}

#[test]
fn ident_ten_seconds_of_steps_allocate_nothing() {
    assert_eq!(allocations(|| drop(std::hint::black_box(vec![0_u8; 16]))), 1, "the counter counts");
    let stretch = Stretch::new();
    assert_eq!(allocations(|| stretch.drive()), 0);
    assert_eq!(allocations(|| stretch.drive_plant()), 0);
    assert_eq!(allocations(|| stretch.run_controller()), 0);
}
