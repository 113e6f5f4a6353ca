//! Small numerical pieces that the controller and the plant share, without either learning anything of the other.
//!
//! No allocation, no `unsafe`, no standard library. Every float function goes through [`Real`], so that a result is
//! the same to the bit in a debug build, a release build and on a Cortex-M4F.
//!
//! | module | what |
//! |---|---|
//! | [`real`] | the float trait and its math backend (`libm`; `micromath` for `f32` with feature `fast-math`) |
//! | [`axis`] | strictly rising breakpoints and the place of a value between them |
//! | [`curve`] | one value over one axis |
//! | [`grid`] | one value over two axes, bilinear, with the weights of the four cells that made it |
//! | [`lag`] | first-order lag, exact for a held input |
//! | [`delay`] | a ring of the last samples |
//! | [`mod@parameters`] | a registry of parameters: default, range, unit, source and a sentence, each written once |
//!
//! # What they compute
//!
//! - A table holds its end values outside its axis and never extrapolates. Between breakpoints it is linear; over two axes bilinear:
//!   with fractions `u` and `v` the four cells around a point have the shares `(1-u)(1-v)`, `u(1-v)`, `(1-u)v` and `uv`, which add up
//!   to one. These shares are what a learner gives its lessons by.
//! - A lag `tau dy/dt + y = u` is stepped by `y += (1 - exp(-dt / tau)) (u - y)`: exact for an input held over the step, stable
//!   for any step (solution of the linear equation).
//! - [`Real::held`] makes of NaN the lower end, so that no output built on it can be NaN.
//!
//! ```
//! use trimwright_numerics::{Axis, Grid, Weights};
//!
//! let (rpm, kpa) = (Axis::new([800.0_f32, 1600.0, 2400.0])?, Axis::new([30.0_f32, 60.0])?);
//! let filling = Grid::new([[0.50, 0.55, 0.60], [0.70, 0.76, 0.80]]);
//! let weights = Weights::new(rpm.place(1200.0), kpa.place(45.0), 3);
//! assert!((filling.at(&weights) - 0.6275).abs() < 1e-6);
//! # Ok::<(), trimwright_numerics::AxisError>(())
//! ```
//!
//! Features: `fast-math` takes `micromath` for `f32` on parts without a floating-point unit, `defmt` makes the types loggable.
#![no_std]

/// The examples of the README.
#[cfg(doctest)]
#[doc = include_str!("../README.md")]
pub struct Readme;

pub mod axis;
pub mod curve;
pub mod delay;
pub mod grid;
pub mod lag;
pub mod parameters;
pub mod real;

pub use axis::{Axis, AxisError, Place};
pub use curve::Curve;
pub use delay::Ring;
pub use grid::{Grid, Weights};
pub use lag::Lag;
pub use real::Real;
