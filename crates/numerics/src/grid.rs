//! Lookup table over two axes, bilinear, and the weights of the four cells around a point.

use crate::{Place, Real};

/// Bilinear weights: the four cells around a point and the share of each; the shares add up to one.
///
/// Cells are numbered row by row: `cell = y_index * X + x_index`.
///
/// ```
/// use trimwright_numerics::{Place, Weights};
/// let weights = Weights::new(Place { index: 1, fraction: 0.25_f64 }, Place { index: 0, fraction: 0.5 }, 14);
/// assert_eq!(weights.cells, [1, 2, 15, 16]);
/// assert_eq!(weights.shares, [0.375, 0.125, 0.375, 0.125]);
/// ```
#[derive(Clone, Copy, Debug, PartialEq)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub struct Weights<T> {
    /// Cell indices.
    pub cells: [u16; 4],
    /// Share of each cell, 0 to 1.
    pub shares: [T; 4],
}

impl<T: Real> Weights<T> {
    /// Weights from a position on each axis of a grid with `x_len` columns.
    #[inline]
    pub fn new(x: Place<T>, y: Place<T>, x_len: usize) -> Self {
        let corner = y.index * x_len + x.index;
        let (x_rest, y_rest) = (T::ONE - x.fraction, T::ONE - y.fraction);
        Self {
            cells: [corner, corner + 1, corner + x_len, corner + x_len + 1].map(|cell| cell as u16),
            shares: [x_rest * y_rest, x.fraction * y_rest, x_rest * y.fraction, x.fraction * y.fraction],
        }
    }

    /// Pairs of cell index and share.
    #[inline]
    pub fn iter(&self) -> impl Iterator<Item = (usize, T)> + '_ {
        self.cells.iter().zip(self.shares.iter()).map(|(&cell, &share)| (usize::from(cell), share))
    }

    /// Sum of the squared shares: 1 on a breakpoint, 1/4 in the middle between four.
    #[inline]
    pub fn norm2(&self) -> T {
        self.shares.iter().fold(T::ZERO, |sum, &share| sum + share * share)
    }
}

/// Values at the nodes of an x axis of `X` and a y axis of `Y` breakpoints, row by row (`cells[y][x]`).
///
/// ```
/// use trimwright_numerics::{Axis, Grid, Weights};
/// let (x, y) = (Axis::new([0.0_f64, 1.0]).unwrap(), Axis::new([0.0_f64, 10.0]).unwrap());
/// let grid = Grid::new([[1.0, 2.0], [3.0, 4.0]]);
/// let weights = Weights::new(x.place(0.5), y.place(5.0), 2);
/// assert_eq!(grid.at(&weights), 2.5);
/// ```
#[derive(Clone, Copy, Debug, PartialEq)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub struct Grid<T, const X: usize, const Y: usize> {
    cells: [[T; X]; Y],
}

impl<T: Real, const X: usize, const Y: usize> Grid<T, X, Y> {
    /// A grid of these values.
    pub const fn new(cells: [[T; X]; Y]) -> Self {
        Self { cells }
    }

    /// A grid with `value` in every cell.
    pub const fn filled(value: T) -> Self {
        Self { cells: [[value; X]; Y] }
    }

    /// The interpolated value. Cells outside the grid contribute zero.
    #[inline]
    pub fn at(&self, weights: &Weights<T>) -> T {
        let flat = self.cells.as_flattened();
        let mut sum = T::ZERO;
        for (cell, share) in weights.iter() {
            if let Some(&value) = flat.get(cell) {
                sum += value * share;
            }
        }
        sum
    }

    /// All cells, row by row.
    pub const fn flat(&self) -> &[T] {
        self.cells.as_flattened()
    }

    /// All cells, row by row, mutable.
    pub const fn flat_mut(&mut self) -> &mut [T] {
        self.cells.as_flattened_mut()
    }

    /// The rows.
    pub const fn rows(&self) -> &[[T; X]; Y] {
        &self.cells
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::Axis;
    use proptest::prelude::*;

    proptest! {
        #[test]
        fn a_bilinear_surface_is_reproduced_exactly(x in -1.0..5.0_f64, y in 0.0..3.0_f64) {
            let (xs, ys) = (Axis::new([-1.0, 0.0, 2.0, 5.0]).unwrap(), Axis::new([0.0, 1.0, 3.0]).unwrap());
            let plane = |x: f64, y: f64| 1.0 + 2.0 * x - 3.0 * y;
            let grid = Grid::new(ys.points().map(|y| xs.points().map(|x| plane(x, y))));
            let weights = Weights::new(xs.place(x), ys.place(y), 4);
            prop_assert!((grid.at(&weights) - plane(x, y)).abs() < 1e-9);
            prop_assert!((weights.shares.iter().sum::<f64>() - 1.0).abs() < 1e-12);
            prop_assert!(weights.norm2() >= 0.25 - 1e-12 && weights.norm2() <= 1.0 + 1e-12);
        }
    }

    #[test]
    fn cells_outside_the_grid_contribute_zero() {
        let grid = Grid::<f32, 2, 2>::filled(1.0);
        assert_eq!(grid.at(&Weights { cells: [0, 900, 901, 902], shares: [0.25; 4] }), 0.25);
    }
}
