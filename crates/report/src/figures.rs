//! Label, way of writing and explanation of each figure of the summary.

/// How a value is written.
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

/// What is known of a figure.
#[derive(Debug)]
pub(crate) struct Meaning {
    pub(crate) name: &'static str,
    pub(crate) label: &'static str,
    pub(crate) way: Notation,
    pub(crate) explanation: &'static str,
}

const fn meaning(
    name: &'static str,
    label: &'static str,
    way: Notation,
    explanation: &'static str,
) -> Meaning {
    Meaning { name, label, way, explanation }
}

use Notation::{Count, Duration, Millis, Number, Percent};

/// The figures in the order of the page.
pub(crate) const MEANINGS: &[Meaning] = &[
    meaning(
        "mixture.base_map_rms",
        "Mixture error, first calibration",
        Percent,
        "How far lambda was from the wanted lambda (root mean square, steady driving) with the calibration made from the \
         setup answers alone: no feedback, no learning. The starting point.",
    ),
    meaning(
        "mixture.learned_map_rms",
        "Mixture error, learned map",
        Percent,
        "The same drive and the same measure with what was learned, frozen, and still no feedback: what the map is worth \
         by itself.",
    ),
    meaning(
        "mixture.closed_loop_rms",
        "Mixture error, with feedback",
        Percent,
        "All driving of the last pass, steady or not, with feedback and learning at work: what the engine got.",
    ),
    meaning(
        "mixture.p95_abs",
        "Error not exceeded 95 % of the time",
        Percent,
        "Nineteen of twenty cylinder events of the last pass were closer to the wanted lambda than this.",
    ),
    meaning(
        "mixture.transient_rms",
        "Mixture error while the throttle moves",
        Percent,
        "Last pass, only the events that were not steady: shows how well the fuel film on the manifold wall is allowed for.",
    ),
    meaning(
        "mixture.cylinder_spread_rms",
        "Spread between cylinders",
        Percent,
        "How unevenly the manifold shares the fuel out. No map can put this right: it sets the same fuel for all.",
    ),
    meaning(
        "learning.settle_s",
        "Settled after",
        Duration,
        "From then on the map was within 2 % in every window of a minute.",
    ),
    meaning(
        "learning.cells_visited",
        "Cells visited",
        Count,
        "Places of the map where the engine ran steadily for more than two seconds. Elsewhere nothing can be learned.",
    ),
    meaning(
        "learning.cells_confident",
        "Cells known to 1 %",
        Count,
        "Those of the visited cells that the learner itself says are within 1 % (one standard deviation).",
    ),
    meaning(
        "learning.within_two_sigma",
        "Cells within two standard deviations",
        Percent,
        "Share of the visited cells whose true error is below two of the learner's own standard deviations. Honest confidence \
         gives some 95 %.",
    ),
    meaning(
        "learning.visited_error_rms",
        "What is left in the visited cells",
        Percent,
        "Learned correction against the right one, weighted by the time spent in each cell.",
    ),
    meaning(
        "learning.offline_fit_rms",
        "Left by a fit made afterwards",
        Percent,
        "The same for a least-squares fit that sees the whole log at once: about the practical limit. A learner that sees each reading once can \
         come close, not much better.",
    ),
    meaning(
        "learning.common_flow_ln",
        "Flow that all cells share",
        Percent,
        "By how much more fuel than believed is right everywhere: injectors, fuel, displacement. Cells that were never visited stand there.",
    ),
    meaning(
        "learning.opening_delay_s",
        "Injectors open later by",
        Millis,
        "Than believed; it weighs the more the shorter the pulse. Whether the drive could tell it from a flow that is off stands \
         among the facts above.",
    ),
    meaning(
        "learning.lessons",
        "Lessons taken",
        Count,
        "Readings of the oxygen sensor that changed the map.",
    ),
    meaning("drive.distance_km", "Distance", Number(2, "km"), "Driven while learning, all passes together."),
    meaning(
        "drive.speed_error_rms_m_per_s",
        "Speed kept within",
        Number(2, "m/s"),
        "Root mean square of the difference between the schedule's speed and the car's.",
    ),
    meaning("drive.fuel_kg", "Fuel injected", Number(2, "kg"), "While learning, all passes together."),
    meaning(
        "drive.l_per_100km",
        "Consumption",
        Number(1, "L/100 km"),
        "Of the simulated car. It depends on its weight and gearing, so take it as plausible or not, no more.",
    ),
    meaning("drive.stalls", "Stalls", Count, "How often the engine died while it should have run."),
    meaning("drive.crank_s", "Cranked for", Number(1, "s"), "Time the starter turned, all starts together."),
    meaning(
        "cost.simulated_s",
        "Time driven",
        Duration,
        "Simulated time of three drives together: with the first calibration, while learning, and with what was learned.",
    ),
    meaning("cost.wall_s", "Time to compute", Number(2, "s"), "On the computer that made this page."),
    meaning(
        "cost.times_real_time",
        "Faster than life",
        Number(0, "times"),
        "Simulated time over time to compute.",
    ),
];

/// `value` as a person would write it.
pub(crate) fn written(value: f64, way: Notation) -> String {
    if !value.is_finite() {
        return if way == Duration { "not reached" } else { "not measured" }.to_owned();
    }
    match way {
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

/// What is known of the figure `name`.
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
