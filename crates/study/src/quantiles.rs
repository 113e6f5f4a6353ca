//! Quantiles of figures over a fleet.

use trimwright_harness::csv_text::csv_text;

use crate::fleet::{Figures, FleetEngine, with_learner};
use crate::learners::LEARNERS;

/// Shares of the quantiles in the table, from minimum to maximum.
///
/// ```
/// use trimwright_study::quantiles::{SHARES, quantile};
/// let rms = [0.011, 0.012, 0.014, 0.019, 0.031];
/// let quantiles = SHARES.map(|share| quantile(&rms, share));
/// assert_eq!((quantiles[0], quantiles[3], quantiles[6]), (0.011, 0.014, 0.031), "best, middle and worst engine");
/// ```
pub const SHARES: [f64; 7] = [0.0, 0.05, 0.25, 0.50, 0.75, 0.95, 1.0];

/// Function of a figure from the figures of an engine.
///
/// ```
/// # use trimwright_control::Strategy;
/// # use trimwright_harness::{scenario::Scenario, schedule::Schedule};
/// # use trimwright_study::fleet::{FleetEngine, FleetPlan};
/// use trimwright_study::quantiles::{QuantileFigure, sorted};
/// # let trip = "time [s],speed [km/h]\n0,0\n10,0\n20,30\n60,30\n";
/// # let schedule = Schedule::parse("trip", "trip.csv", trip)?;
/// # let scenario = Scenario { schedule, passes: 1, ..Scenario::load("delivery-van")? };
/// # let plan = FleetPlan { engines: 1, seed: 1, learners: vec![Strategy::Kalman], jobs: 1 };
/// let g_per_km: QuantileFigure = |figures| Some(1e3 * figures.fuel_kg / figures.distance_km);
/// let engines = FleetEngine::drive(&scenario, &plan, 0);
/// let consumption = sorted(&[&engines[0]], g_per_km)[0];
/// assert!((100.0..400.0).contains(&consumption), "a cold V8 in town: {consumption} g/km");
/// # Ok::<(), Box<dyn std::error::Error>>(())
/// ```
pub type QuantileFigure = fn(&Figures) -> Option<f64>;

/// Text format of a figure.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum FigureFormat {
    /// A ratio, as per cent.
    Percent,
    /// Seconds.
    Seconds,
    /// A plain ratio.
    Ratio,
    /// A count.
    Count,
}

/// A figure with quantiles in the table.
///
/// ```
/// use trimwright_study::quantiles::{FIGURES, FleetFigure, FigureFormat};
/// let settle: &FleetFigure = FIGURES.iter().find(|figure| figure.name == "settle_s").ok_or("missing")?;
/// assert_eq!((settle.label, settle.format), ("Within 2 % after", FigureFormat::Seconds));
/// assert_eq!(settle.format.text(f64::INFINITY), "not reached");
/// # Ok::<(), Box<dyn std::error::Error>>(())
/// ```
#[derive(Clone, Copy, Debug)]
pub struct FleetFigure {
    /// Name, as in the summary of a run.
    pub name: &'static str,
    /// Label for tables and charts.
    pub label: &'static str,
    /// Text format.
    pub format: FigureFormat,
    /// Its function.
    pub value: QuantileFigure,
}

const fn entry(
    name: &'static str,
    label: &'static str,
    format: FigureFormat,
    value: QuantileFigure,
) -> FleetFigure {
    FleetFigure { name, label, format, value }
}

/// The figures of the table. An engine that never settled counts with infinite time.
pub const FIGURES: [FleetFigure; 11] = [
    entry("base_map_rms", "First calibration", FigureFormat::Percent, |figures| figures.base_map_rms),
    entry("learned_map_rms", "Learned map", FigureFormat::Percent, |figures| figures.learned_map_rms),
    entry(
        "learned_map_lasting_rms",
        "Learned map, what a map could know",
        FigureFormat::Percent,
        |figures| figures.learned_map_lasting_rms,
    ),
    entry("closed_loop_rms", "With feedback", FigureFormat::Percent, |figures| figures.closed_loop_rms),
    entry("transient_rms", "In transients", FigureFormat::Percent, |figures| figures.transient_rms),
    entry("settle_s", "Within 2 % after", FigureFormat::Seconds, |figures| {
        Some(figures.settle_s.unwrap_or(f64::INFINITY))
    }),
    entry("visited_error_rms", "Error in visited cells", FigureFormat::Percent, Figures::visited_error),
    entry("offline_fit_rms", "Offline fit", FigureFormat::Percent, |figures| figures.offline_fit_rms),
    entry("over_offline_fit", "Learner / offline fit", FigureFormat::Ratio, Figures::over_offline_fit),
    entry("within_two_sigma", "Within two sigma", FigureFormat::Percent, |figures| figures.within_two_sigma),
    entry("stalls", "Stalls per engine", FigureFormat::Count, |figures| Some(figures.stalls as f64)),
];

impl FigureFormat {
    /// A value as text, without the unit.
    ///
    /// ```
    /// use trimwright_study::quantiles::FigureFormat;
    /// assert_eq!(FigureFormat::Percent.text(0.017), "1.70");
    /// assert_eq!(FigureFormat::Seconds.text(431.6), "432");
    /// assert_eq!(FigureFormat::Seconds.text(f64::INFINITY), "not reached", "never within the drive");
    /// assert_eq!(FigureFormat::Ratio.text(f64::NAN), "-", "not measured");
    /// assert_eq!([3.0, 0.25].map(|stalls| FigureFormat::Count.text(stalls)), ["3", "0.2"]);
    /// ```
    pub fn text(self, value: f64) -> String {
        match self {
            _ if value == f64::INFINITY => "not reached".to_owned(),
            _ if !value.is_finite() => "-".to_owned(),
            Self::Percent => format!("{:.2}", 100.0 * value),
            Self::Seconds => format!("{value:.0}"),
            Self::Ratio => format!("{value:.2}"),
            Self::Count if value.fract() == 0.0 => format!("{value:.0}"),
            Self::Count => format!("{value:.1}"),
        }
    }

    /// The unit.
    pub const fn unit(self) -> &'static str {
        match self {
            Self::Percent => "%",
            Self::Seconds => "s",
            Self::Ratio | Self::Count => "",
        }
    }
}

/// Histogram of the finite values with 3 to `bins` equal bins: edges (one more than bins) and counts. The bin width is 1, 2 or 5 times a
/// power of ten, the edges are multiples of it.
///
/// ```
/// use trimwright_study::quantiles::histogram;
/// assert_eq!(histogram(&[0.3, 1.0, 1.5, 2.1], 3), (vec![0.0, 1.0, 2.0, 3.0], vec![1, 2, 1]));
/// assert_eq!(histogram(&[431.0, 977.0], 24).0[..3], [400.0, 450.0, 500.0], "the minimum lies in the first");
/// assert_eq!(histogram(&[], 24), (vec![], vec![]));
/// ```
pub fn histogram(values: &[f64], bins: usize) -> (Vec<f64>, Vec<u32>) {
    let finite = || values.iter().copied().filter(|value| value.is_finite());
    let (low, high) = finite()
        .fold((f64::INFINITY, f64::NEG_INFINITY), |(low, high), value| (low.min(value), high.max(value)));
    if low > high || bins < 3 {
        return (Vec::new(), Vec::new());
    }
    let span = match high - low {
        // A single value has no span; its own size is used.
        0.0 if high == 0.0 => 1.0,
        0.0 => high.abs(),
        span => span,
    };
    let first = |width: f64| (low / width).floor();
    let count = |width: f64| (high / width).floor() - first(width) + 1.0;
    let width = round_widths(span / bins as f64).find(|width| count(*width) <= bins as f64);
    let Some(width) = width else { return (Vec::new(), Vec::new()) };
    let mut counts = vec![0; count(width) as usize];
    for value in finite() {
        counts[((value / width).floor() - first(width)) as usize] += 1;
    }
    ((0..=counts.len()).map(|edge| width * (first(width) + edge as f64)).collect(), counts)
}

/// 1, 2 and 5 times powers of ten, ascending; the first is at most `least`.
fn round_widths(least: f64) -> impl Iterator<Item = f64> {
    let power = least.log10().floor() as i32;
    // Parsed from decimal text, which is exact to the nearest float on every machine.
    (power..)
        .flat_map(|power| [1, 2, 5].map(|times| format!("{times}e{power}")))
        .filter_map(|width| width.parse().ok())
}

/// The values of a figure over all engines that have it, ascending.
///
/// ```
/// use trimwright_control::Strategy;
/// use trimwright_harness::{scenario::Scenario, schedule::Schedule};
/// use trimwright_study::fleet::{FleetEngine, FleetPlan};
/// use trimwright_study::quantiles::sorted;
/// let trip = "time [s],speed [km/h]\n0,0\n10,0\n20,30\n40,30\n";
/// let schedule = Schedule::parse("trip", "trip.csv", trip)?;
/// let scenario = Scenario { schedule, passes: 1, ..Scenario::load("delivery-van")? };
/// let plan = FleetPlan { engines: 3, seed: 1, learners: vec![Strategy::Kalman], jobs: 1 };
/// let engines: Vec<FleetEngine> = (0..3).flat_map(|index| FleetEngine::drive(&scenario, &plan, index)).collect();
/// let fuel_kg = sorted(&engines.iter().collect::<Vec<_>>(), |figures| Some(figures.fuel_kg));
/// assert!(fuel_kg.len() == 3 && fuel_kg[0] < fuel_kg[2], "sorted by consumption");
/// # Ok::<(), Box<dyn std::error::Error>>(())
/// ```
pub fn sorted(engines: &[&FleetEngine], value: QuantileFigure) -> Vec<f64> {
    let mut values: Vec<f64> = engines
        .iter()
        .filter_map(|engine| engine.figures())
        .filter_map(value)
        .filter(|value| !value.is_nan())
        .collect();
    values.sort_by(f64::total_cmp);
    values
}

/// Quantile of ascending `values`, with linear interpolation (definition 7 of Hyndman and Fan, The
/// American Statistician 50 (1996) 361); NaN for an empty list.
///
/// ```
/// use trimwright_study::quantiles::quantile;
/// assert_eq!(quantile(&[1.0, 2.0, 3.0, 4.0], 0.5), 2.5);
/// assert_eq!(quantile(&[1.0, 2.0, f64::INFINITY], 1.0), f64::INFINITY);
/// assert!(quantile(&[], 0.5).is_nan());
/// ```
pub fn quantile(values: &[f64], share: f64) -> f64 {
    let Some(last) = values.len().checked_sub(1) else { return f64::NAN };
    let place = share.clamp(0.0, 1.0) * last as f64;
    let (below, above) = (values[place.floor() as usize], values[place.ceil() as usize]);
    let part = place - place.floor();
    // An infinite neighbour with weight zero must not make the value undefined.
    if part == 0.0 || below == above { below } else { below + part * (above - below) }
}

/// The quantiles of a figure at [`SHARES`].
///
/// ```
/// use trimwright_control::Strategy;
/// use trimwright_harness::{scenario::Scenario, schedule::Schedule};
/// use trimwright_study::fleet::{FleetEngine, FleetPlan};
/// use trimwright_study::quantiles::quantiles_of;
/// let trip = "time [s],speed [km/h]\n0,0\n10,0\n20,30\n40,30\n";
/// let schedule = Schedule::parse("trip", "trip.csv", trip)?;
/// let scenario = Scenario { schedule, passes: 1, ..Scenario::load("delivery-van")? };
/// let plan = FleetPlan { engines: 3, seed: 1, learners: vec![Strategy::Kalman], jobs: 1 };
/// let engines: Vec<FleetEngine> = (0..3).flat_map(|index| FleetEngine::drive(&scenario, &plan, index)).collect();
/// let stalls = quantiles_of(&engines.iter().collect::<Vec<_>>(), |figures| Some(figures.stalls as f64));
/// assert_eq!(stalls, [0.0; 7], "none stalled");
/// # Ok::<(), Box<dyn std::error::Error>>(())
/// ```
pub fn quantiles_of(engines: &[&FleetEngine], value: QuantileFigure) -> [f64; SHARES.len()] {
    let values = sorted(engines, value);
    SHARES.map(|share| quantile(&values, share))
}

/// Further counts in the table.
const COUNTS: [(&str, QuantileFigure); 2] = [
    ("cells_run_away", |figures| Some(figures.cells_run_away as f64)),
    ("cells_beyond_authority", |figures| Some(figures.cells_beyond_authority as f64)),
];

/// Quantiles and mean of each figure as CSV, one row per learner and figure, in the units of the figures' names. Column `engines` counts the
/// engines that have the figure.
///
/// ```
/// use trimwright_control::Strategy;
/// use trimwright_study::fleet::{EngineOutcome, FleetEngine};
/// use trimwright_study::quantiles::csv;
/// let failed = FleetEngine { index: 0, learner: Strategy::Kalman, outcome: EngineOutcome::Failed("a reason".to_owned()) };
/// let text = csv(&[failed]);
/// assert!(text.starts_with("learner,figure,engines,q0,q5,q25,q50,q75,q95,q100,mean\n"));
/// assert!(text.contains("kalman,stalls,0,NaN,"), "no engine has figures");
/// ```
pub fn csv(engines: &[FleetEngine]) -> String {
    let quantiles = SHARES.map(|share| format!("q{:.0}", 100.0 * share));
    let head = ["learner", "figure", "engines"].map(str::to_owned).into_iter().chain(quantiles);
    let figures = || FIGURES.iter().map(|figure| (figure.name, figure.value)).chain(COUNTS);
    let by_learner = LEARNERS.map(|(learner, strategy)| (learner, with_learner(engines, strategy)));
    let rows = by_learner.iter().filter(|(_, engines)| !engines.is_empty()).flat_map(|(learner, engines)| {
        figures().map(move |(name, figure)| {
            let values = sorted(engines, figure);
            let mean = values.iter().sum::<f64>() / values.len() as f64;
            let numbers = SHARES.map(|share| quantile(&values, share)).into_iter().chain([mean]);
            let words = [(*learner).to_owned(), name.to_owned(), values.len().to_string()];
            words.into_iter().chain(numbers.map(|value| format!("{value:.5}")))
        })
    });
    csv_text(head.chain(["mean".to_owned()]), rows)
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    /// The position in a list of n is `share (n - 1)`, from 0.
    #[test]
    fn quantiles_of_a_list_computed_by_hand() {
        let values = [0.1, 0.4, 0.5, 1.0, 2.0];
        for (share, expected) in [(0.0, 0.1), (0.05, 0.16), (0.25, 0.4), (0.9, 1.6), (0.95, 1.8), (1.0, 2.0)]
        {
            assert!((quantile(&values, share) - expected).abs() < 1e-12, "{share}");
        }
    }

    #[test]
    fn a_single_value_has_a_bin() {
        for value in [-0.7, 0.0, 1.0, 431.0] {
            let (edges, counts) = histogram(&[value; 4], 24);
            assert_eq!(counts, [4]);
            assert!(edges[0] <= value && value < edges[1], "{value} in {edges:?}");
        }
    }

    proptest! {
        #[test]
        fn every_value_is_in_the_bin_of_its_edges(values in proptest::collection::vec(-5.0..5.0_f64, 1..60), bins in 3..40_usize) {
            let (edges, counts) = histogram(&values, bins);
            prop_assert!(counts.len() <= bins && edges.len() == counts.len() + 1);
            for (edge, count) in edges.windows(2).zip(&counts) {
                let inside = |value: &&f64| (edge[0] + 1e-9..edge[1] - 1e-9).contains(*value);
                let about = |value: &&f64| (edge[0] - 1e-9..edge[1] + 1e-9).contains(*value);
                let number = |found: usize| u32::try_from(found).expect("few");
                prop_assert!(number(values.iter().filter(inside).count()) <= *count);
                prop_assert!(*count <= number(values.iter().filter(about).count()));
            }
            prop_assert_eq!(counts.iter().sum::<u32>() as usize, values.len());
        }

        #[test]
        fn quantiles_rise_and_stay_inside(mut values in proptest::collection::vec(-5.0..5.0_f64, 1..60), share in 0.0..1.0_f64) {
            values.sort_by(f64::total_cmp);
            let (here, more) = (quantile(&values, share), quantile(&values, (share + 0.1).min(1.0)));
            prop_assert!(here <= more && values[0] <= here && more <= values[values.len() - 1]);
        }
    }
}
