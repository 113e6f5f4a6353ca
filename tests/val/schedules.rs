//! The shipped drive schedules.

use crate::table;
use trimwright_harness::schedule::Schedule;

fn shipped(name: &str) -> Schedule {
    let path = format!("{}/shared/schedules/{name}.csv", env!("CARGO_MANIFEST_DIR"));
    let text = std::fs::read_to_string(&path).unwrap_or_else(|error| panic!("{path}: {error}"));
    Schedule::parse(name, &path, &text).expect("a valid schedule")
}

/// Source: 40 CFR part 86 appendix I(a) (UDDS) and part 600 appendix I (HWFET), figures computed from the traces that
/// fastsim carries.
#[test]
fn val_traces_have_the_published_length_distance_and_speeds() {
    for row in table::read("drive_schedules") {
        let schedule = shipped(&row.text("cycle").to_lowercase());
        let points = schedule.points();
        row.agrees("points", points.len() as f64, 0.0);
        row.agrees("duration_s", schedule.duration_s(), 0.0);
        row.agrees("dist_trapz_km", schedule.distance_m() / 1000.0, 1e-9);
        let top = points.iter().map(|point| point.speed_m_per_s).fold(0.0, f64::max);
        row.agrees("vmax_kmh", top * 3.6, 1e-9);
        row.agrees("vmean_kmh", schedule.distance_m() / schedule.duration_s() * 3.6, 1e-9);
        row.agrees("idle_s", points.iter().filter(|point| point.speed_m_per_s == 0.0).count() as f64, 0.0);
    }
}

/// Source: the distances and top speeds as the agency rounds them in print: UDDS 7.45 mi, 56.7 mph; HWFET 10.26 mi, 59.9 mph.
#[test]
fn val_traces_agree_with_the_printed_miles() {
    for (name, miles, top_mph) in [("udds", 7.45, 56.7), ("hwfet", 10.26, 59.9)] {
        let schedule = shipped(name);
        assert!((schedule.distance_m() / 1609.344 - miles).abs() < 0.005, "{name}");
        let top = schedule.points().iter().map(|point| point.speed_m_per_s).fold(0.0, f64::max);
        assert!((top * 3600.0 / 1609.344 - top_mph).abs() < 0.05, "{name}");
    }
}
