//! Report data with invented numbers in the shape and size of a real run: two passes of half-hour city driving.

use trimwright_harness::driveability::{
    CutFigures, Driveability, EventFigures, Excursion, IdleFigures, StartFigures, TipInFigures,
};
use trimwright_harness::summary::{Finding, Weight};
use trimwright_harness::units::UnitSystem;
use trimwright_report::{
    Convergence, ErrorHistogram, Fact, Figure, MapFigures, Mark, RefusalCount, ReplayFrame, ReportData,
    Trace, TroubleCode,
};

const END_S: f64 = 2_740.0;
const RPM: [f64; 14] = [
    500.0, 700.0, 900.0, 1_100.0, 1_400.0, 1_700.0, 2_000.0, 2_400.0, 2_800.0, 3_300.0, 3_800.0, 4_400.0,
    5_000.0, 5_800.0,
];
const MAP_KPA: [f64; 12] = [20.0, 27.0, 34.0, 41.0, 48.0, 55.0, 62.0, 70.0, 78.0, 86.0, 94.0, 102.0];

/// Noise between -1 and 1 that is the same each time.
struct Noise(u64);

impl Noise {
    fn next(&mut self) -> f64 {
        self.0 ^= self.0 << 13;
        self.0 ^= self.0 >> 7;
        self.0 ^= self.0 << 17;
        (self.0 >> 11) as f64 / (1_u64 << 52) as f64 - 1.0
    }
}

/// Stop and go: hills of different height with stops between.
fn wanted_speed(time_s: f64) -> f64 {
    let within = time_s % (0.5 * END_S);
    let hill = (within / 93.0).sin() + 0.5 * (within / 41.0).sin() + 0.2 * (within / 17.0).cos();
    (9.0 * hill + 3.0).clamp(0.0, 25.0)
}

fn true_ln(rpm: f64, map_kpa: f64) -> f64 {
    0.11 * (rpm / 900.0).sin() + 0.09 * (map_kpa / 21.0).cos() + 0.04
}

/// Share of the drive spent around a cell, zero where the engine never ran.
fn dwell_share(rpm: f64, map_kpa: f64) -> f64 {
    let share = (-((rpm - 1_500.0) / 900.0).powi(2) - ((map_kpa - 48.0 - rpm / 150.0) / 17.0).powi(2)).exp();
    if share > 0.02 { share } else { 0.0 }
}

fn cells() -> impl Iterator<Item = (f64, f64)> {
    MAP_KPA.iter().flat_map(|&map_kpa| RPM.iter().map(move |&rpm| (rpm, map_kpa)))
}

fn snapshot(time_s: f64) -> ReplayFrame {
    let mut noise = Noise(77);
    let mut snapshot = ReplayFrame { time_s, ..ReplayFrame::default() };
    for (rpm, map_kpa) in cells() {
        let lessons = dwell_share(rpm, map_kpa) * time_s / 8.0;
        let learned = lessons / (1.0 + lessons);
        snapshot.learned_ln.push(learned * true_ln(rpm, map_kpa) + 0.008 * noise.next() * learned);
        snapshot.sigma_ln.push(0.08 / (1.0 + lessons));
        snapshot.has_lesson.push(lessons > 0.5);
    }
    snapshot
}

fn trace() -> Trace {
    let mut noise = Noise(12_345);
    let mut trace = Trace::default();
    for sample in 0..(2.0 * END_S) as usize {
        let time_s = 0.5 * sample as f64;
        let wanted = wanted_speed(time_s);
        let pull = (wanted_speed(time_s + 2.0) - wanted).clamp(-2.0, 2.0);
        let shrink = (-time_s / 500.0).exp() + 0.12;
        let error = 0.09 * shrink * (time_s / 23.0).sin() + 0.02 * noise.next() + 0.015 * pull * noise.next();
        let cut = pull < -1.2;
        trace.time_s.push(time_s);
        trace.wanted_speed_m_per_s.push(wanted);
        trace.speed_m_per_s.push((wanted + 0.25 * noise.next()).max(0.0));
        trace.wanted_lambda.push(if cut { f64::NAN } else { 1.0 - 0.1 * (-time_s / 60.0).exp() });
        trace.lambda.push(if cut { f64::NAN } else { (1.0 - 0.1 * (-time_s / 60.0).exp()) * error.exp() });
        trace.short_term_trim_ln.push(-0.6 * error);
        trace.long_term_trim_ln.push(0.08 * (1.0 - shrink) * (time_s / 23.0).cos());
        trace.map_pa.push(1e3 * (42.0 + 18.0 * pull + 0.6 * wanted + 2.0 * noise.next()).clamp(22.0, 99.0));
        trace.rpm.push(700.0 + 70.0 * wanted + 12.0 * noise.next());
    }
    trace
}

fn error_histogram() -> ErrorHistogram {
    let edges_ln: Vec<f64> = (-40..=40).map(|edge| 0.005 * f64::from(edge)).collect();
    let bell = |centre: f64, width: f64| {
        edges_ln
            .windows(2)
            .map(|bin| {
                let distance = (0.5 * (bin[0] + bin[1]) - centre) / width;
                (20_000.0 / width * (-0.5 * distance * distance).exp() * 0.005) as u64
            })
            .collect()
    };
    let (base_map, learned_map, closed_loop) = (bell(0.06, 0.085), bell(0.001, 0.013), bell(0.0, 0.019));
    ErrorHistogram { base_map, learned_map, closed_loop, edges_ln }
}

fn words(lines: &[&str]) -> Vec<String> {
    lines.iter().map(|&line| line.to_owned()).collect()
}

fn driveability() -> Driveability {
    let excursion = |lean, rich| Excursion { lean, rich };
    let start = |engine_degc, cranked_s, stalls| StartFigures { engine_degc, cranked_s, stalls };
    let tip_in = |engine_degc, uncompensated| TipInFigures {
        engine_degc,
        compensated: excursion(0.061, 0.058),
        uncompensated: excursion(uncompensated, 0.0),
    };
    Driveability {
        starts: vec![start(-18.0, None, 0), start(0.0, Some(1.24), 1), start(90.0, Some(0.81), 0)],
        tip_ins: vec![tip_in(90.0, 0.184), tip_in(20.0, 0.197)],
        idle: IdleFigures {
            park_rms_rpm: 10.9,
            drive_rms_rpm: 8.7,
            ac: EventFigures { drop_rpm: 48.5, mixture: 0.0303 },
            fan: None,
        },
        fuel_cut: CutFigures { drop_rpm: 130.5, stalls: 0, cuts: 3 },
    }
}

fn findings() -> Vec<Finding> {
    vec![
        Finding {
            title: "The map was learned where the car was driven.".into(),
            weight: Weight::Note,
            evidence: words(&[
                "69 cells visited, 58 of them known to 1 %.",
                "Map alone within 1.4 % (rms) over the last pass.",
            ]),
            ..Finding::default()
        },
        Finding {
            title: "Idle reads lean, and more so the lower the flow.".into(),
            weight: Weight::Act,
            evidence: words(&[
                "Extra fuel of 2 % moved the reading by 1.1 % only.",
                "The bias falls from 6 % at idle to 0.4 % at 2000 rpm.",
            ]),
            causes: words(&[
                "Air entering the exhaust upstream of the sensor.",
                "An injector that opens late at low voltage.",
            ]),
            tell_apart: words(&[
                "A leak acts on the reading only: the engine runs rich by ear and by plug.",
                "A late injector follows battery voltage.",
            ]),
            check: words(&[
                "Gaskets and welds between head and sensor, cold, with soapy water and shop air at low pressure.",
            ]),
        },
    ]
}

/// The report data.
pub(crate) fn report_data() -> ReportData {
    let snapshots: Vec<ReplayFrame> = (0..=91).map(|step| snapshot(30.0 * f64::from(step))).collect();
    let last = snapshots.last().cloned().unwrap_or_default();
    let dwell_s: Vec<f64> = cells().map(|(rpm, map_kpa)| 60.0 * dwell_share(rpm, map_kpa)).collect();
    let windows: Vec<f64> = (2..=45).map(|window| 60.0 * f64::from(window)).collect();
    ReportData {
        title: "Invented numbers, to try the page".into(),
        scenario:
            "No engine was simulated for this page: the numbers only have the shape and size of a real run. \
                   Assumed: a delivery van with a 5.2 L V8 and a four-bore throttle body."
                .into(),
        driven: "Stop and go, twice the same 23 minutes, cold start at 20 °C.".into(),
        facts: [
            ("Engine", "5.2 L V8, mild cam"),
            ("Schedule", "hills of a sine, 2 passes"),
            ("Seed", "12345"),
            ("Start", "20 °C, 120 m"),
        ]
        .map(|(label, value)| Fact { label: label.into(), value: value.into() })
        .into(),
        figures: [
            ("mixture.base_map_rms", 0.1042),
            ("mixture.learned_map_rms", 0.0131),
            ("mixture.closed_loop_rms", 0.0192),
            ("mixture.p95_abs", 0.0391),
            ("mixture.transient_rms", 0.0287),
            ("mixture.cylinder_spread_rms", 0.031),
            ("learning.settle_s", 913.0),
            ("learning.cells_visited", 69.0),
            ("learning.cells_confident", 58.0),
            ("learning.visited_error_rms", 0.0124),
            ("learning.offline_fit_rms", f64::NAN),
            ("drive.distance_km", 23.98),
            ("drive.speed_error_rms_m_per_s", 0.14),
            ("drive.l_per_100km", 16.9),
            ("drive.stalls", 0.0),
        ]
        .map(|(name, value)| Figure { name: name.into(), value })
        .into(),
        trace: trace(),
        driveability: Some(driveability()),
        units: UnitSystem::Us,
        marks: vec![
            Mark { time_s: 3.0, label: "engine started".into() },
            Mark { time_s: 0.5 * END_S, label: "pass 2".into() },
        ],
        convergence: Convergence {
            window_s: 60.0,
            map_rms: windows.iter().map(|time_s| 0.09 * (-time_s / 420.0).exp() + 0.012).collect(),
            closed_loop_rms: windows.iter().map(|time_s| 0.05 * (-time_s / 400.0).exp() + 0.018).collect(),
            time_s: windows,
        },
        error_histogram: error_histogram(),
        map: MapFigures {
            rpm: RPM.into(),
            map_pa: MAP_KPA.iter().map(|map_kpa| 1e3 * map_kpa).collect(),
            base_filling: cells()
                .map(|(rpm, map_kpa)| 0.55 + 0.003 * map_kpa + 0.08 * (rpm / 2_300.0).sin())
                .collect(),
            true_ln: cells().map(|(rpm, map_kpa)| true_ln(rpm, map_kpa)).collect(),
            visited: dwell_s.iter().map(|&dwell_s| dwell_s > 2.0).collect(),
            learned_ln: last.learned_ln,
            sigma_ln: last.sigma_ln,
            dwell_s,
        },
        snapshots,
        lessons: 9_214,
        refusals: [
            ("transient", 10_877),
            ("sensor_not_ready", 812),
            ("cold", 1_930),
            ("fuel_cut", 2_204),
            ("authority", 3),
        ]
        .map(|(reason, count)| RefusalCount { reason: reason.into(), count })
        .into(),
        dtcs: vec![TroubleCode {
            code: "P0171".into(),
            meaning: "System too lean, bank 1".into(),
            time_s: 604.0,
        }],
        findings: findings(),
        cautions: Vec::new(),
    }
}
