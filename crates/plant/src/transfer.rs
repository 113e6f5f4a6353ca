//! What a sensor makes of a quantity: volts.

use heapless::Vec;

/// Most points of a sensor's curve.
pub(crate) const POINTS: usize = 6;

/// A straight piece of a curve.
#[derive(Clone, Copy, Debug, PartialEq)]
struct Piece {
    /// Quantity from which on it counts, and the volts there.
    from: f64,
    from_v: f64,
    v_per_quantity: f64,
}

/// A sensor's curve, worked out for reading it from quantity to volts. It goes on beyond both ends.
#[derive(Clone, Debug, PartialEq)]
pub(crate) struct Transfer {
    first: Piece,
    /// Quantity up to which the first piece counts, infinite when there is no other.
    first_to: f64,
    rest: Vec<Piece, POINTS>,
}

impl Transfer {
    /// The curve through points of volts and quantity, of which either may fall.
    pub(crate) fn new(mut points: [(f64, f64); POINTS]) -> Self {
        if points[0].1 > points[POINTS - 1].1 {
            points.reverse();
        }
        let pieces = points.windows(2).filter(|pair| pair[0].1 < pair[1].1).map(|pair| {
            let ((low_v, low), (high_v, high)) = (pair[0], pair[1]);
            Piece { from: low, from_v: low_v, v_per_quantity: (high_v - low_v) / (high - low) }
        });
        let mut rest: Vec<Piece, POINTS> = pieces.collect();
        if rest.is_empty() {
            let (from_v, from) = points[0];
            return Self {
                first: Piece { from, from_v, v_per_quantity: 0.0 },
                first_to: f64::INFINITY,
                rest,
            };
        }
        let first = rest.remove(0);
        Self { first, first_to: rest.first().map_or(f64::INFINITY, |next| next.from), rest }
    }

    /// Volts for a quantity.
    #[inline]
    pub(crate) fn volts(&self, quantity: f64) -> f64 {
        // Most sensors are linear, and all are read in every step.
        let piece = if quantity < self.first_to { &self.first } else { self.later(quantity) };
        piece.from_v + (quantity - piece.from) * piece.v_per_quantity
    }

    /// The piece that a quantity beyond the first lies on.
    #[inline]
    fn later(&self, quantity: f64) -> &Piece {
        self.rest.iter().rfind(|piece| piece.from <= quantity).unwrap_or(&self.first)
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use trimwright_numerics::parameters::padded;

    #[test]
    fn a_curve_of_several_pieces_passes_through_its_points_and_goes_on() {
        let transfer = Transfer::new(padded([(0.5, 0.0), (1.5, 0.2), (4.5, 1.0)]));
        let volts = [0.0, 0.1, 0.2, 0.6, 1.0, 1.2].map(|opening| transfer.volts(opening));
        for (volts, want) in volts.into_iter().zip([0.5, 1.0, 1.5, 3.0, 4.5, 5.25]) {
            assert!((volts - want).abs() < 1e-12, "{volts} {want}");
        }
    }

    #[test]
    fn a_falling_curve_is_read_as_well_as_a_rising_one() {
        let transfer = Transfer::new(padded([(0.0, 1.4), (2.0, 1.0), (5.0, 0.7)]));
        for (lambda, want) in
            [(1.5, -0.5), (1.4, 0.0), (1.2, 1.0), (1.0, 2.0), (0.85, 3.5), (0.7, 5.0), (0.6, 6.0)]
        {
            assert!((transfer.volts(lambda) - want).abs() < 1e-12, "{lambda}");
        }
    }

    #[test]
    fn a_single_quantity_gives_its_volts_whatever_happens() {
        let transfer = Transfer::new([(2.0, 50e3); POINTS]);
        assert_eq!([0.0, 50e3, 1e6].map(|pascal| transfer.volts(pascal)), [2.0; 3]);
    }
}
