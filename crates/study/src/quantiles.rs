//! Quantiles of a figure over a fleet.

use crate::fleet::{Engine, Figures};

/// Shares of the engines that the table tells about.
pub const SHARES: [f64; 6] = [0.05, 0.25, 0.50, 0.75, 0.95, 1.0];

/// How a figure is had from an engine's figures.
pub type Figure = fn(&Figures) -> Option<f64>;

/// Figures whose quantiles are told: name and how it is had from an engine. An engine that never settled counts as later than all.
pub const FIGURES: [(&str, Figure); 9] = [
    ("base_map_rms", |figures| figures.base_map_rms),
    ("learned_map_rms", |figures| figures.learned_map_rms),
    ("closed_loop_rms", |figures| figures.closed_loop_rms),
    ("transient_rms", |figures| figures.transient_rms),
    ("settle_s", |figures| Some(figures.settle_s.unwrap_or(f64::INFINITY))),
    ("visited_error_rms", |figures| figures.visited_error_rms),
    ("offline_fit_rms", |figures| figures.offline_fit_rms),
    ("over_offline_fit", Figures::over_offline_fit),
    ("within_two_sigma", |figures| figures.within_two_sigma),
];

/// The figure over all engines that have it, rising.
pub fn sorted(engines: &[Engine], figure: Figure) -> Vec<f64> {
    let mut values: Vec<f64> = engines
        .iter()
        .filter_map(Engine::figures)
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
pub fn of(engines: &[Engine], figure: Figure) -> [f64; SHARES.len()] {
    let values = sorted(engines, figure);
    SHARES.map(|share| quantile(&values, share))
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

    proptest! {
        #[test]
        fn they_rise_and_stay_inside(mut values in proptest::collection::vec(-5.0..5.0_f64, 1..60), share in 0.0..1.0_f64) {
            values.sort_by(f64::total_cmp);
            let (here, more) = (quantile(&values, share), quantile(&values, (share + 0.1).min(1.0)));
            prop_assert!(here <= more && values[0] <= here && more <= values[values.len() - 1]);
        }
    }
}
