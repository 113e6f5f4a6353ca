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
#![no_std]

pub mod axis;
pub mod curve;
pub mod delay;
pub mod grid;
pub mod lag;
pub mod real;

pub use axis::{Axis, AxisError, Place};
pub use curve::Curve;
pub use delay::Ring;
pub use grid::{Grid, Weights};
pub use lag::Lag;
pub use real::Real;
