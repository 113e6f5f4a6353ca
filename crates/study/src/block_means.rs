//! How the correction that an engine needs wanders in time: spread of its means over blocks, and between trips.
//!
//! A trip is one pass of a scenario's schedule with feedback and learning off. Of each warm and steady sample outside fuel cuts the correction
//! needed is `ln(lambda_true / lambda_wanted)`: what the wall film does for a second after a change is none of a map's business. A map over
//! speed and manifold pressure, common to all trips, and each trip's own mean are taken away; what is left is averaged over blocks of time.

use trimwright_control::Options;
use trimwright_harness::drive::RunError;
use trimwright_harness::scenario::Scenario;
use trimwright_harness::session::{Moment, SessionBuilder, Until};
use trimwright_harness::steady::{self, Steady};
use trimwright_harness::units::RPM_PER_RAD_PER_S;

/// Time between two samples, s.
const SAMPLE_S: f64 = 0.5;
/// Least coolant temperature of a sample, K: 75 degC.
const WARM_K: f64 = 348.15;
/// Share of a block that must be sampled.
const FILLED: f64 = 0.3;
/// Width of a cell of the map.
const CELL_RAD_PER_S: f64 = 10.0;
const CELL_PA: f64 = 2.5e3;
/// Cells along manifold pressure: up to 160 kPa.
const CELLS_ALONG_PA: usize = 64;
/// Rounds in which map and trip means are fitted in turn.
const ROUNDS: usize = 30;

/// One sample of a trip.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct CorrectionSample {
    /// Time since power-up, s.
    pub time_s: f64,
    /// Cell of the map over speed and manifold pressure.
    pub cell: usize,
    /// Correction needed, ln.
    pub needed_ln: f64,
}

/// Drives one pass with feedback and learning off and samples the correction needed.
///
/// # Errors
/// [`RunError`] when the scenario's truth or answers are outside their ranges.
pub fn trip(scenario: &Scenario) -> Result<Vec<CorrectionSample>, RunError> {
    let options = Options { feedback: false, learning: false, ..Options::default() };
    let scenario = scenario.clone().with_passes(1);
    let mut session = SessionBuilder::new(scenario).with_options(options).build()?;
    let steps = session.steps(SAMPLE_S);
    let (mut samples, mut sum_ln, mut events) = (Vec::new(), 0.0, 0_u32);
    let mut steady = Steady::new();
    let steady_steps = session.steps(steady::PERIOD_S);
    session.run(Until::Driven, &mut |now: &Moment<'_>| {
        if now.is_each(steady_steps) {
            let view = now.closed_loop.view();
            steady.feed(view.map_pa, view.speed_rad_per_s * RPM_PER_RAD_PER_S);
        }
        let insight = now.closed_loop.controller().state().insight();
        if insight.phase.started() && insight.phase.burns() && steady.is_steady() {
            for event in now.closed_loop.plant().events().iter().filter(|event| event.fuel_kg > 0.0) {
                sum_ln += libm::log(event.lambda) - libm::log(f64::from(insight.wanted_lambda));
                events += 1;
            }
        }
        if now.is_each(steps) {
            let view = now.closed_loop.view();
            if events > 0 && view.coolant_k >= WARM_K {
                let along_pa = ((view.map_pa / CELL_PA) as usize).min(CELLS_ALONG_PA - 1);
                let along_speed = (view.speed_rad_per_s / CELL_RAD_PER_S) as usize;
                samples.push(CorrectionSample {
                    time_s: view.time_s,
                    cell: along_speed * CELLS_ALONG_PA + along_pa,
                    needed_ln: sum_ln / f64::from(events),
                });
            }
            (sum_ln, events) = (0.0, 0);
        }
    })?;
    Ok(samples)
}

/// Root mean square of the block means of each length in `blocks_s`, ln, over all trips.
pub fn spread_ln<const LENGTHS: usize>(
    trips: &[Vec<CorrectionSample>],
    blocks_s: [f64; LENGTHS],
) -> [f64; LENGTHS] {
    let left = without_map_and_means(trips);
    blocks_s.map(|block_s| {
        let fewest = (FILLED * block_s / SAMPLE_S).max(1.0);
        let (mut squares, mut blocks) = (0.0, 0_u32);
        for trip in &left {
            for block in trip.chunk_by(|one, next| (one.0 / block_s).floor() == (next.0 / block_s).floor()) {
                if block.len() as f64 >= fewest {
                    let mean = block.iter().map(|(_, ln)| ln).sum::<f64>() / block.len() as f64;
                    squares += mean * mean;
                    blocks += 1;
                }
            }
        }
        libm::sqrt(squares / f64::from(blocks))
    })
}

/// Mean correction of each trip without the map, ln.
pub fn trip_means_ln(trips: &[Vec<CorrectionSample>]) -> Vec<f64> {
    fitted(trips).1
}

/// Time and correction of each sample, without map and trip mean.
fn without_map_and_means(trips: &[Vec<CorrectionSample>]) -> Vec<Vec<(f64, f64)>> {
    let (map, means) = fitted(trips);
    let left = |trip: &Vec<CorrectionSample>, mean: f64| {
        trip.iter().map(|sample| (sample.time_s, sample.needed_ln - map[sample.cell] - mean)).collect()
    };
    trips.iter().zip(means).map(|(trip, mean)| left(trip, mean)).collect()
}

/// Map by cell and mean by trip that leave the least squares: each in turn the mean of what the other leaves.
fn fitted(trips: &[Vec<CorrectionSample>]) -> (Vec<f64>, Vec<f64>) {
    let cells = trips.iter().flatten().map(|sample| sample.cell + 1).max().unwrap_or(0);
    let (mut map, mut means) = (vec![0.0; cells], vec![0.0; trips.len()]);
    for _ in 0..ROUNDS {
        let mut sums = vec![(0.0, 0_u32); cells];
        for (trip, mean) in trips.iter().zip(&means) {
            for sample in trip {
                sums[sample.cell].0 += sample.needed_ln - mean;
                sums[sample.cell].1 += 1;
            }
        }
        map = sums.iter().map(|&(sum, count)| if count > 0 { sum / f64::from(count) } else { 0.0 }).collect();
        for (trip, mean) in trips.iter().zip(&mut means) {
            let sum: f64 = trip.iter().map(|sample| sample.needed_ln - map[sample.cell]).sum();
            *mean = if trip.is_empty() { 0.0 } else { sum / trip.len() as f64 };
        }
    }
    (map, means)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn ident_map_and_trip_means_are_taken_away() {
        let sample = |step: u32, trip: f64| {
            let cell = (step % 7) as usize;
            CorrectionSample {
                time_s: f64::from(step) * SAMPLE_S,
                cell,
                needed_ln: 0.03 * trip + 0.02 * cell as f64 + if step < 700 { 0.01 } else { -0.01 },
            }
        };
        let trips: Vec<Vec<CorrectionSample>> =
            [-1.0, 0.0, 1.0].map(|trip| (0..1400).map(|step| sample(step, trip)).collect()).to_vec();
        for spread in spread_ln(&trips, [1.0, 70.0, 350.0]) {
            assert!(
                (spread - 0.01).abs() < 1e-6,
                "a square wave keeps its size in blocks of half its length"
            );
        }
        let means = trip_means_ln(&trips);
        assert!((means[2] - means[0] - 0.06).abs() < 1e-9);
    }
}
