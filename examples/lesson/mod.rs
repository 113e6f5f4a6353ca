//! Common parts of the lessons: random numbers, plot, drive on the road, engine on a dynamometer.
#![allow(dead_code, reason = "not every lesson uses all of it")]

pub(crate) mod chance;
pub(crate) mod plot;
pub(crate) mod road;
pub(crate) mod stand;

use plot::Plot;
use std::error::Error;
use std::fmt::Display;

/// Rad/s in one rpm.
pub(crate) const RPM: f64 = std::f64::consts::PI / 30.0;

/// Prints the answer and saves its plot as `out/lessons/NAME.svg`.
#[expect(clippy::print_stdout, reason = "a lesson prints its answer")]
pub(crate) fn show(name: &str, answer: &impl Display, plot: &Plot) -> Result<(), Box<dyn Error>> {
    println!("{answer}\nplot: {}", plot.save(name)?.display());
    Ok(())
}

/// Root of the mean square; NaN for nothing.
pub(crate) fn rms(values: impl IntoIterator<Item = f64>) -> f64 {
    let (sum, count) =
        values.into_iter().fold((0.0, 0.0), |(sum, count), value| (sum + value * value, count + 1.0));
    libm::sqrt(sum / count)
}
