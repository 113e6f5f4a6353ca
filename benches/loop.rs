//! Time of ten simulated seconds, in steps of 1 ms: the whole closed loop, the plant alone and the controller alone. A million
//! steps a second is a thousand times real time.

mod stretch;

use criterion::{Criterion, Throughput};
use stretch::{STEPS, Stretch};

fn main() {
    let stretch = Stretch::new();
    let mut criterion = Criterion::default().configure_from_args();
    let mut group = criterion.benchmark_group("step");
    group.throughput(Throughput::Elements(STEPS as u64));
    group.bench_function("loop", |bencher| bencher.iter(|| stretch.drive()));
    group.bench_function("plant", |bencher| bencher.iter(|| stretch.drive_plant()));
    group.bench_function("control", |bencher| bencher.iter(|| stretch.run_controller()));
    group.finish();
    criterion.final_summary();
}
