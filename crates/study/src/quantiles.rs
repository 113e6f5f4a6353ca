//! Quantiles of a figure over a fleet.

use trimwright_harness::csv_text::csv_text;

use crate::fleet::{Figures, FleetEngine, with};
use crate::learners::LEARNERS;

/// Shares of the engines that the table tells about: from the least to the most.
///
/// ```
/// use trimwright_study::quantiles::{SHARES, quantile};
/// let rms = [0.011, 0.012, 0.014, 0.019, 0.031];
/// let told = SHARES.map(|share| quantile(&rms, share));
/// assert_eq!((told[0], told[3], told[6]), (0.011, 0.014, 0.031), "best, middle and worst engine");
/// ```
pub const SHARES: [f64; 7] = [0.0, 0.05, 0.25, 0.50, 0.75, 0.95, 1.0];

/// How a figure is had from an engine's figures.
///
/// ```
/// # use trimwright_control::Strategy;
/// # use trimwright_harness::{scenario::Scenario, schedule::Schedule};
/// # use trimwright_study::fleet::{FleetEngine, Order};
/// use trimwright_study::quantiles::{QuantileFigure, sorted};
/// # let trip = "time [s],speed [km/h]\n0,0\n10,0\n20,30\n60,30\n";
/// # let schedule = Schedule::parse("trip", "trip.csv", trip)?;
/// # let scenario = Scenario { schedule, passes: 1, ..Scenario::load("delivery-van")? };
/// # let order = Order { engines: 1, seed: 1, learners: vec![Strategy::Kalman], jobs: 1 };
/// let g_per_km: QuantileFigure = |figures| Some(1e3 * figures.fuel_kg / figures.distance_km);
/// let engines = FleetEngine::drive(&scenario, &order, 0);
/// let taken = sorted(&[&engines[0]], g_per_km)[0];
/// assert!((100.0..400.0).contains(&taken), "a cold V8 in town: {taken} g/km");
/// # Ok::<(), Box<dyn std::error::Error>>(())
/// ```
pub type QuantileFigure = fn(&Figures) -> Option<f64>;

/// How a figure is written.
///
/// ```
/// use trimwright_study::quantiles::Way;
/// let rms = Way::Percent;
/// assert_eq!(format!("{} {}", rms.written(0.0123), rms.unit()), "1.23 %");
/// ```
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Way {
    /// A ratio, as per cent.
    Percent,
    /// Seconds.
    Seconds,
    /// A ratio, as it is.
    Ratio,
    /// How many.
    Count,
}

/// A figure whose quantiles are told.
///
/// ```
/// use trimwright_study::quantiles::{FIGURES, Told, Way};
/// let told: &Told = FIGURES.iter().find(|told| told.name == "settle_s").ok_or("not told")?;
/// assert_eq!((told.label, told.way), ("Within 2 % after", Way::Seconds));
/// assert_eq!(told.way.written(f64::INFINITY), "not yet");
/// # Ok::<(), Box<dyn std::error::Error>>(())
/// ```
#[derive(Clone, Copy, Debug)]
pub struct Told {
    /// Its name, as in the summary of a run.
    pub name: &'static str,
    /// What a person calls it.
    pub label: &'static str,
    /// How it is written.
    pub way: Way,
    /// How it is had.
    pub figure: QuantileFigure,
}

const fn told(name: &'static str, label: &'static str, way: Way, figure: QuantileFigure) -> Told {
    Told { name, label, way, figure }
}

/// Figures whose quantiles are told. An engine that never settled counts as later than all.
///
/// ```
/// use trimwright_study::quantiles::{FIGURES, Way};
/// let errors = FIGURES.iter().filter(|told| told.name.ends_with("_rms"));
/// assert!(errors.clone().count() == 6 && errors.clone().all(|told| told.way == Way::Percent));
/// ```
pub const FIGURES: [Told; 10] = [
    told("base_map_rms", "First calibration", Way::Percent, |figures| figures.base_map_rms),
    told("learned_map_rms", "Learned map", Way::Percent, |figures| figures.learned_map_rms),
    told("closed_loop_rms", "With feedback", Way::Percent, |figures| figures.closed_loop_rms),
    told("transient_rms", "In transients", Way::Percent, |figures| figures.transient_rms),
    told("settle_s", "Within 2 % after", Way::Seconds, |figures| {
        Some(figures.settle_s.unwrap_or(f64::INFINITY))
    }),
    told("visited_error_rms", "Left in visited cells", Way::Percent, Figures::left_in_visited),
    told("offline_fit_rms", "Fit made afterwards", Way::Percent, |figures| figures.offline_fit_rms),
    told("over_offline_fit", "Learner against fit", Way::Ratio, Figures::over_offline_fit),
    told("within_two_sigma", "Within two sigma", Way::Percent, |figures| figures.within_two_sigma),
    told("stalls", "Stalls per engine", Way::Count, |figures| Some(figures.stalls as f64)),
];

impl Way {
    /// A value as a person would write it, without the unit.
    ///
    /// ```
    /// use trimwright_study::quantiles::Way;
    /// assert_eq!(Way::Percent.written(0.017), "1.70");
    /// assert_eq!(Way::Seconds.written(431.6), "432");
    /// assert_eq!(Way::Seconds.written(f64::INFINITY), "not yet", "never within the drive");
    /// assert_eq!(Way::Ratio.written(f64::NAN), "-", "not measured");
    /// assert_eq!([3.0, 0.25].map(|stalls| Way::Count.written(stalls)), ["3", "0.2"]);
    /// ```
    pub fn written(self, value: f64) -> String {
        match self {
            _ if value == f64::INFINITY => "not yet".to_owned(),
            _ if !value.is_finite() => "-".to_owned(),
            Self::Percent => format!("{:.2}", 100.0 * value),
            Self::Seconds => format!("{value:.0}"),
            Self::Ratio => format!("{value:.2}"),
            Self::Count if value.fract() == 0.0 => format!("{value:.0}"),
            Self::Count => format!("{value:.1}"),
        }
    }

    /// The unit.
    ///
    /// ```
    /// use trimwright_study::quantiles::Way;
    /// assert_eq!([Way::Percent, Way::Seconds, Way::Ratio].map(Way::unit), ["%", "s", ""]);
    /// ```
    pub const fn unit(self) -> &'static str {
        match self {
            Self::Percent => "%",
            Self::Seconds => "s",
            Self::Ratio | Self::Count => "",
        }
    }
}

/// Engines in at most `bins` equal bins, 3 or more, that hold all finite values: edges (one more than bins) and counts. The edges are
/// multiples of a round width: 1, 2 or 5 times a power of ten.
///
/// ```
/// use trimwright_study::quantiles::histogram;
/// assert_eq!(histogram(&[0.3, 1.0, 1.5, 2.1], 3), (vec![0.0, 1.0, 2.0, 3.0], vec![1, 2, 1]));
/// assert_eq!(histogram(&[431.0, 977.0], 24).0[..3], [400.0, 450.0, 500.0], "the least lies in the first");
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
        // A single value has no width: some share of itself will do.
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

/// 1, 2 and 5 times powers of ten, rising; the first is at most `least`.
fn round_widths(least: f64) -> impl Iterator<Item = f64> {
    let power = least.log10().floor() as i32;
    // Read as a decimal number: the nearest there is, on every machine.
    (power..)
        .flat_map(|power| [1, 2, 5].map(|times| format!("{times}e{power}")))
        .filter_map(|width| width.parse().ok())
}

/// The figure over all engines that have it, rising.
///
/// ```
/// use trimwright_control::Strategy;
/// use trimwright_harness::{scenario::Scenario, schedule::Schedule};
/// use trimwright_study::fleet::{FleetEngine, Order};
/// use trimwright_study::quantiles::sorted;
/// let trip = "time [s],speed [km/h]\n0,0\n10,0\n20,30\n40,30\n";
/// let schedule = Schedule::parse("trip", "trip.csv", trip)?;
/// let scenario = Scenario { schedule, passes: 1, ..Scenario::load("delivery-van")? };
/// let order = Order { engines: 3, seed: 1, learners: vec![Strategy::Kalman], jobs: 1 };
/// let engines: Vec<FleetEngine> = (0..3).flat_map(|index| FleetEngine::drive(&scenario, &order, index)).collect();
/// let fuel_kg = sorted(&engines.iter().collect::<Vec<_>>(), |figures| Some(figures.fuel_kg));
/// assert!(fuel_kg.len() == 3 && fuel_kg[0] < fuel_kg[2], "the thirstiest stands last");
/// # Ok::<(), Box<dyn std::error::Error>>(())
/// ```
pub fn sorted(engines: &[&FleetEngine], figure: QuantileFigure) -> Vec<f64> {
    let mut values: Vec<f64> = engines
        .iter()
        .filter_map(|engine| engine.figures())
        .filter_map(figure)
        .filter(|value| !value.is_nan())
        .collect();
    values.sort_by(f64::total_cmp);
    values
}

/// The value below which a share of the rising `values` lies, between two of them in proportion (definition 7 of Hyndman and Fan, The
/// American Statistician 50 (1996) 361); NaN when there is none.
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
    // An infinite neighbour that has no part in it must not make the value undefined.
    if part == 0.0 || below == above { below } else { below + part * (above - below) }
}

/// The quantiles of a figure at [`SHARES`].
///
/// ```
/// use trimwright_control::Strategy;
/// use trimwright_harness::{scenario::Scenario, schedule::Schedule};
/// use trimwright_study::fleet::{FleetEngine, Order};
/// use trimwright_study::quantiles::of;
/// let trip = "time [s],speed [km/h]\n0,0\n10,0\n20,30\n40,30\n";
/// let schedule = Schedule::parse("trip", "trip.csv", trip)?;
/// let scenario = Scenario { schedule, passes: 1, ..Scenario::load("delivery-van")? };
/// let order = Order { engines: 3, seed: 1, learners: vec![Strategy::Kalman], jobs: 1 };
/// let engines: Vec<FleetEngine> = (0..3).flat_map(|index| FleetEngine::drive(&scenario, &order, index)).collect();
/// let stalls = of(&engines.iter().collect::<Vec<_>>(), |figures| Some(figures.stalls as f64));
/// assert_eq!(stalls, [0.0; 7], "from the best to the worst none stalled");
/// # Ok::<(), Box<dyn std::error::Error>>(())
/// ```
pub fn of(engines: &[&FleetEngine], figure: QuantileFigure) -> [f64; SHARES.len()] {
    let values = sorted(engines, figure);
    SHARES.map(|share| quantile(&values, share))
}

/// What is counted besides.
const COUNTED: [(&str, QuantileFigure); 2] = [
    ("cells_run_away", |figures| Some(figures.cells_run_away as f64)),
    ("cells_beyond_authority", |figures| Some(figures.cells_beyond_authority as f64)),
];

/// Quantiles and mean of each figure as comma-separated values, a row for each learner and figure; in the units of the figures' names, ratios
/// as they are. `engines` are those that have the figure: what could not be measured is left out there and nowhere else.
///
/// ```
/// use trimwright_control::Strategy;
/// use trimwright_study::fleet::{Ended, FleetEngine};
/// use trimwright_study::quantiles::csv;
/// let failed = FleetEngine { index: 0, learner: Strategy::Kalman, ended: Ended::Failed("a reason".to_owned()) };
/// let text = csv(&[failed]);
/// assert!(text.starts_with("learner,figure,engines,q0,q5,q25,q50,q75,q95,q100,mean\n"));
/// assert!(text.contains("kalman,stalls,0,NaN,"), "no engine, no figure");
/// ```
pub fn csv(engines: &[FleetEngine]) -> String {
    let quantiles = SHARES.map(|share| format!("q{:.0}", 100.0 * share));
    let head = ["learner", "figure", "engines"].map(str::to_owned).into_iter().chain(quantiles);
    let figures = || FIGURES.iter().map(|told| (told.name, told.figure)).chain(COUNTED);
    let with_it = LEARNERS.map(|(learner, strategy)| (learner, with(engines, strategy)));
    let rows = with_it.iter().filter(|(_, engines)| !engines.is_empty()).flat_map(|(learner, engines)| {
        figures().map(move |(name, figure)| {
            let values = sorted(engines, figure);
            let mean = values.iter().sum::<f64>() / values.len() as f64;
            let told = SHARES.map(|share| quantile(&values, share)).into_iter().chain([mean]);
            let words = [(*learner).to_owned(), name.to_owned(), values.len().to_string()];
            words.into_iter().chain(told.map(|value| format!("{value:.5}")))
        })
    });
    csv_text(head.chain(["mean".to_owned()]), rows)
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    /// By hand: the place in a list of n is `share (n - 1)`, counted from 0.
    #[test]
    fn quantiles_of_a_list_worked_by_hand() {
        let values = [0.1, 0.4, 0.5, 1.0, 2.0];
        for (share, expected) in [(0.0, 0.1), (0.05, 0.16), (0.25, 0.4), (0.9, 1.6), (0.95, 1.8), (1.0, 2.0)]
        {
            assert!((quantile(&values, share) - expected).abs() < 1e-12, "{share}");
        }
    }

    #[test]
    fn one_value_has_a_bin() {
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
        fn they_rise_and_stay_inside(mut values in proptest::collection::vec(-5.0..5.0_f64, 1..60), share in 0.0..1.0_f64) {
            values.sort_by(f64::total_cmp);
            let (here, more) = (quantile(&values, share), quantile(&values, (share + 0.1).min(1.0)));
            prop_assert!(here <= more && values[0] <= here && more <= values[values.len() - 1]);
        }
    }
}
