//! Label, notation and explanation of each figure of the summary.

/// Notation of a value.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(crate) enum Notation {
    /// A ratio or a natural logarithm, shown as per cent.
    Percent,
    /// Seconds, shown as milliseconds.
    Millis,
    /// Seconds, shown as minutes and seconds.
    Duration,
    /// A whole number.
    Count,
    /// A number with this many decimals and a unit.
    Number(usize, &'static str),
}

/// Label, notation and explanation of a figure.
#[derive(Debug)]
pub(crate) struct Meaning {
    pub(crate) name: &'static str,
    pub(crate) label: &'static str,
    pub(crate) notation: Notation,
    pub(crate) explanation: &'static str,
}

const fn meaning(
    name: &'static str,
    label: &'static str,
    notation: Notation,
    explanation: &'static str,
) -> Meaning {
    Meaning { name, label, notation, explanation }
}

use Notation::{Count, Duration, Millis, Number, Percent};

/// The figures in the order of the page.
pub(crate) const MEANINGS: &[Meaning] = &[
    meaning(
        "mixture.base_map_rms",
        "Mixture error, first calibration",
        Percent,
        "Deviation of lambda from wanted lambda (root mean square, steady driving) with the calibration from the setup \
         answers alone, without feedback and learning.",
    ),
    meaning(
        "mixture.learned_map_rms",
        "Mixture error, learned map",
        Percent,
        "The same drive and measure with the learned map frozen and without feedback: the quality of the map alone.",
    ),
    meaning(
        "mixture.learned_map_lasting_rms",
        "Mixture error, learned map, what a map could know",
        Percent,
        "The same without the disturbances that pass within seconds or minutes: what is left for a map to learn.",
    ),
    meaning(
        "mixture.passing_rms",
        "Disturbances that pass",
        Percent,
        "Charge temperature, fuel vapour and drift over the same events: what no map can know; feedback takes out the slow part.",
    ),
    meaning(
        "mixture.closed_loop_rms",
        "Mixture error, with feedback",
        Percent,
        "All cylinder events of the last pass, steady or not, with feedback and learning.",
    ),
    meaning(
        "mixture.p95_abs",
        "Error not exceeded 95 % of the time",
        Percent,
        "95 % of the cylinder events of the last pass were closer to wanted lambda than this.",
    ),
    meaning(
        "mixture.transient_rms",
        "Mixture error in transients",
        Percent,
        "Last pass, only the events that were not steady: shows the quality of the fuel film compensation.",
    ),
    meaning(
        "mixture.cylinder_spread_rms",
        "ErrorHistogram between cylinders",
        Percent,
        "Uneven distribution of fuel by the manifold. A map cannot correct it: it sets the same fuel for all cylinders.",
    ),
    meaning(
        "learning.settle_s",
        "Settled after",
        Duration,
        "From this time on the map was within 2 % in every window of one minute.",
    ),
    meaning(
        "learning.cells_visited",
        "Cells visited",
        Count,
        "Cells of the map near which the engine ran steadily for more than two seconds.",
    ),
    meaning(
        "learning.cells_confident",
        "Cells known to 1 %",
        Count,
        "Visited cells whose standard deviation, as estimated by the learner, is below 1 %.",
    ),
    meaning(
        "learning.within_two_sigma",
        "Cells within two standard deviations",
        Percent,
        "Share of the visited cells whose true error is below two standard deviations as estimated by the learner. A correct estimate \
         gives about 95 %.",
    ),
    meaning(
        "learning.visited_error_rms",
        "Remaining error in the visited cells",
        Percent,
        "Learned minus true correction, root mean square, weighted by dwell time.",
    ),
    meaning(
        "learning.offline_fit_rms",
        "Remaining error of an offline fit",
        Percent,
        "The same for a least-squares fit to the whole log: about the practical limit for a learner that uses each reading once.",
    ),
    meaning(
        "learning.common_flow_ln",
        "Common fuel correction",
        Percent,
        "Additional fuel that all cells need: injector flow, fuel, displacement. Cells that were never visited have this correction.",
    ),
    meaning(
        "learning.opening_delay_s",
        "Opening delay correction",
        Millis,
        "Estimated opening delay minus that of the calibration; its effect grows with shorter pulses. The head of the page says whether the drive \
         could distinguish it from a flow error.",
    ),
    meaning(
        "learning.lessons",
        "Lessons accepted",
        Count,
        "Readings of the oxygen sensor that updated the map.",
    ),
    meaning(
        "drive.distance_km",
        "Distance",
        Number(2, "km"),
        "Distance while learning, all passes together.",
    ),
    meaning(
        "drive.speed_error_rms_m_per_s",
        "Speed error",
        Number(2, "m/s"),
        "Root mean square of the difference between schedule and car speed.",
    ),
    meaning("drive.fuel_kg", "Fuel injected", Number(2, "kg"), "While learning, all passes together."),
    meaning(
        "drive.l_per_100km",
        "Consumption",
        Number(1, "L/100 km"),
        "Fuel consumption of the simulated car; depends on its weight and gearing.",
    ),
    meaning("drive.stalls", "Stalls", Count, "Number of times the engine stopped while it should have run."),
    meaning(
        "drive.crank_s",
        "Cranking time",
        Number(1, "s"),
        "Time with the starter engaged, all starts together.",
    ),
    meaning(
        "cost.simulated_s",
        "Simulated time",
        Duration,
        "Simulated time of three drives together: with the first calibration, while learning, and with what was learned.",
    ),
    meaning("cost.wall_s", "Computing time", Number(2, "s"), "On the computer that made this page."),
    meaning(
        "cost.times_real_time",
        "Times real time",
        Number(0, "times"),
        "Simulated time divided by computing time.",
    ),
];

/// `value` as text.
pub(crate) fn written(value: f64, notation: Notation) -> String {
    if !value.is_finite() {
        return if notation == Duration { "not reached" } else { "not measured" }.to_owned();
    }
    match notation {
        Percent => format!("{:.2} %", 100.0 * value),
        Millis => format!("{:.3} ms", 1e3 * value),
        Duration => {
            let seconds = value.round().max(0.0) as u64;
            format!("{}:{:02} min", seconds / 60, seconds % 60)
        }
        Count => format!("{value:.0}"),
        Number(decimals, unit) => format!("{value:.decimals$} {unit}"),
    }
}

/// The entry of the figure `name`.
pub(crate) fn of(name: &str) -> Option<&'static Meaning> {
    MEANINGS.iter().find(|meaning| meaning.name == name)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn values_are_written_with_their_unit() {
        assert_eq!(written(0.0213, Percent), "2.13 %");
        assert_eq!(written(-7e-5, Millis), "-0.070 ms");
        assert_eq!(written(605.4, Duration), "10:05 min");
        assert_eq!(written(23.979, Number(1, "km")), "24.0 km");
        assert_eq!(written(117.0, Count), "117");
        assert_eq!(written(f64::NAN, Duration), "not reached");
        assert_eq!(written(f64::NAN, Percent), "not measured");
    }

    #[test]
    fn each_figure_is_explained_once() {
        for (index, meaning) in MEANINGS.iter().enumerate() {
            assert!(MEANINGS.iter().skip(index + 1).all(|other| other.name != meaning.name));
            assert!(meaning.explanation.ends_with('.'), "{} needs a sentence", meaning.name);
        }
        assert!(of("mixture.base_map_rms").is_some() && of("no.such_figure").is_none());
    }
}
