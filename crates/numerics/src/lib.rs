//! Numerical building blocks shared by controller and plant: lookup tables, lag, ring buffer, parameters, floating-point math.
//!
//! No allocation, no `unsafe`, no standard library, no model of the engine. All floating-point functions go through [`Real`], so that
//! results are equal to the bit in debug and release builds and on a Cortex-M4F.
//!
//! | module | what |
//! |---|---|
//! | [`real`] | the floating-point trait and its math backend (`libm`; `micromath` for `f32` with feature `fast-math`) |
//! | [`axis`] | strictly rising breakpoints and the position of a value between them |
//! | [`curve`] | lookup table over one axis |
//! | [`grid`] | lookup table over two axes, bilinear, with the weights of the four cells |
//! | [`lag`] | first-order lag, exact for a constant input over the step |
//! | [`delay`] | ring buffer of the last samples |
//! | [`mod@parameters`] | registry of parameters: default, range, unit, source and meaning of each |
//!
//! # Equations
//!
//! - A table has its end values outside its axis; it is not extrapolated. Between breakpoints it is linear, over two axes bilinear:
//!   with fractions `u` and `v` the four cells around a point have the shares `(1-u)(1-v)`, `u(1-v)`, `(1-u)v` and `uv`, which add up
//!   to one. A learner distributes an update over the cells by these shares.
//! - A lag `tau dy/dt + y = u` is stepped by `y += (1 - exp(-dt / tau)) (u - y)`: exact for a constant input over the step, stable
//!   for any step (solution of the linear equation).
//! - [`Real::held`] clamps to a range and turns NaN into the lower limit, so that no output computed from it can be NaN.
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
//! Features: `fast-math` uses `micromath` for `f32` on microcontrollers without a floating-point unit, `defmt` makes the types loggable.
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
