//! Sensor curve from quantity to volts, piecewise linear.

use heapless::Vec;

/// Capacity of a sensor's curve in points.
pub(crate) const POINTS: usize = 6;

/// A straight segment of a curve.
#[derive(Clone, Copy, Debug, PartialEq)]
struct Segment {
    /// Quantity at the start of the segment, and the volts there.
    from: f64,
    from_v: f64,
    v_per_quantity: f64,
}

/// A sensor's curve prepared for evaluation from quantity to volts. It is extrapolated beyond both ends.
#[derive(Clone, Debug, PartialEq)]
pub(crate) struct Transfer {
    first: Segment,
    /// Quantity at the end of the first segment; infinite when there is no other.
    first_to: f64,
    rest: Vec<Segment, POINTS>,
}

impl Transfer {
    /// Curve through points of volts and quantity, rising or falling.
    pub(crate) fn new(mut points: [(f64, f64); POINTS]) -> Self {
        if points[0].1 > points[POINTS - 1].1 {
            points.reverse();
        }
        let segments = points.windows(2).filter(|pair| pair[0].1 < pair[1].1).map(|pair| {
            let ((low_v, low), (high_v, high)) = (pair[0], pair[1]);
            Segment { from: low, from_v: low_v, v_per_quantity: (high_v - low_v) / (high - low) }
        });
        let mut rest: Vec<Segment, POINTS> = segments.collect();
        if rest.is_empty() {
            let (from_v, from) = points[0];
            return Self {
                first: Segment { from, from_v, v_per_quantity: 0.0 },
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
        // The first segment first: most sensors are linear, and all are evaluated in every step.
        let segment =
            if quantity < self.first_to { &self.first } else { self.segment_beyond_first(quantity) };
        segment.from_v + (quantity - segment.from) * segment.v_per_quantity
    }

    /// The segment of a quantity beyond the first one.
    #[inline]
    fn segment_beyond_first(&self, quantity: f64) -> &Segment {
        self.rest.iter().rfind(|segment| segment.from <= quantity).unwrap_or(&self.first)
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use trimwright_numerics::parameters::padded;

    #[test]
    fn a_curve_of_several_segments_passes_through_its_points_and_is_extrapolated() {
        let transfer = Transfer::new(padded([(0.5, 0.0), (1.5, 0.2), (4.5, 1.0)]));
        let volts = [0.0, 0.1, 0.2, 0.6, 1.0, 1.2].map(|opening| transfer.volts(opening));
        for (volts, want) in volts.into_iter().zip([0.5, 1.0, 1.5, 3.0, 4.5, 5.25]) {
            assert!((volts - want).abs() < 1e-12, "{volts} {want}");
        }
    }

    #[test]
    fn a_falling_curve_is_evaluated_as_a_rising_one() {
        let transfer = Transfer::new(padded([(0.0, 1.4), (2.0, 1.0), (5.0, 0.7)]));
        for (lambda, want) in
            [(1.5, -0.5), (1.4, 0.0), (1.2, 1.0), (1.0, 2.0), (0.85, 3.5), (0.7, 5.0), (0.6, 6.0)]
        {
            assert!((transfer.volts(lambda) - want).abs() < 1e-12, "{lambda}");
        }
    }

    #[test]
    fn a_single_point_gives_its_volts_for_every_quantity() {
        let transfer = Transfer::new([(2.0, 50e3); POINTS]);
        assert_eq!([0.0, 50e3, 1e6].map(|pascal| transfer.volts(pascal)), [2.0; 3]);
    }
}
